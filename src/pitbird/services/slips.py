"""Taking an entry back at once after a slip: a void correction by the one who wrote it, within minutes."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from pitbird.fleet.times import MINUTE, Ms
from pitbird.record.leaf import read_leaf
from pitbird.services import clock
from pitbird.services.appending import Appended
from pitbird.services.correcting import is_corrected
from pitbird.services.writing import Actor, write
from pitbird.store import book

#: For so long after it was recorded an entry can be taken back by the one who wrote it.
WITHIN: Final = 10 * MINUTE
_NEVER: Final = frozenset({"genesis", "correction", "erasure", "epoch"})


class WhyNot(StrEnum):
    """Why an entry cannot be taken back."""

    KIND = "kind"
    OTHER_PERSON = "other-person"
    TOO_LATE = "too-late"
    CORRECTED = "corrected"
    A_FAIL = "a-fail"


class NotTakenBack(ValueError):
    """The entry stays; a correction with its reason is the way."""

    def __init__(self, why: WhyNot) -> None:
        super().__init__(f"this entry cannot be taken back as a slip ({why}); a keeper can correct it")
        self.why = why


def why_not(row: book.Row, person: str, *, keeper: bool, now: Ms) -> WhyNot | None:
    """Why somebody cannot take an entry back as a slip; None if they can.

    A failed test, or whatever else speaks against a detector or a cylinder, is taken back by a keeper only:
    it must not be the tester who makes a fail disappear.
    """
    if row.kind in _NEVER:
        return WhyNot.KIND
    if row.by != person:
        return WhyNot.OTHER_PERSON
    if now - row.recorded_at > WITHIN:
        return WhyNot.TOO_LATE
    if is_corrected(row.entry_id):
        return WhyNot.CORRECTED
    return WhyNot.A_FAIL if not keeper and _speaks_against(row) else None


def _speaks_against(row: book.Row) -> bool:
    body = read_leaf(row.leaf.encode()).body
    if body.get("outcome") == "failed" or body.get("result") == "failed":
        return True
    return row.kind in {
        "out-of-service",
        "happened",
        "cylinder-quarantined",
        "cylinder-emptied",
        "alarm-in-use",
    }


def take_back(row: book.Row, actor: Actor, *, keeper: bool, now: Ms | None = None) -> Appended:
    """Void an entry as a slip; both stay in the book. Raises ``NotTakenBack``; then nothing is written."""
    instant = clock.now() if now is None else now
    why = why_not(row, actor.person, keeper=keeper, now=instant)
    if why is not None:
        raise NotTakenBack(why)
    draft = {
        "kind": "correction",
        "corrects": row.entry_id,
        "how": "void",
        "reason": "A slip, taken back at once",
    }
    return write(draft, actor, now=instant)
