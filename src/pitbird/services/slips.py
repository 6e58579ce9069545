"""Taking an entry back at once after a slip: a void correction by the one who wrote it, within minutes."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Any, Final

from pitbird.fleet import bump
from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import MINUTE, Ms
from pitbird.record.leaf import read_leaf
from pitbird.services import clock
from pitbird.services.appending import Appended
from pitbird.services.correcting import is_corrected
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, write
from pitbird.store import book

#: For so long after it was recorded an entry can be taken back by the one who wrote it.
WITHIN: Final = 10 * MINUTE
_NEVER: Final = frozenset(
    {"genesis", "correction", "erasure", "epoch", "key-changed", "audit-opened", "audit-closed"}
    | {"device", "device-ended"}
)
#: Without these nothing goes out that would stay in with them.
_ONLY_HELP: Final = frozenset(
    {"note", "handed-back", "returned-to-service", "cylinder-released", "cylinder-received"}
)


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

    A failed test, a spoiled attempt, or whatever else speaks against a detector or a cylinder, or may end an
    earlier pass, is taken back by a keeper only: it must not be the tester who makes it disappear.
    """
    if row.kind in _NEVER:
        return WhyNot.KIND
    if row.by != person:
        return WhyNot.OTHER_PERSON
    if now - row.recorded_at > WITHIN:
        return WhyNot.TOO_LATE
    if is_corrected(row.entry_id):
        return WhyNot.CORRECTED
    return WhyNot.A_FAIL if not keeper and _speaks_against(read_leaf(row.leaf.encode()).body) else None


def _speaks_against(body: Mapping[str, Any]) -> bool:
    """Whether taking an entry back could let something go out; of a kind not named here, that it could."""
    kind = body["kind"]
    if kind == "bump-test":
        gas = [one for one in body.get("applications", ()) if "gauge_bar" in one]
        return not _passed(body) or any(_too_low(one["cylinder"], one["gauge_bar"]) for one in gas)
    if kind == "training":
        return bool(body.get("result", "passed") != "passed")
    if kind in {"gauge-read", "cylinder-opened"}:
        return "gauge_bar" in body and _too_low(body["cylinder"], body["gauge_bar"])
    if kind == "handed-out":
        return not body["from_store"]
    return kind not in _ONLY_HELP


def _passed(body: Mapping[str, Any]) -> bool:
    """Whether a test passed by its facts, not only by what it says."""
    detector = Now().state(body["detector"])
    if not isinstance(detector, DetectorState) or detector.described_by is None:
        return False
    return bump.settled(detector, body) == "passed"


def _too_low(cylinder: str, bar: str) -> bool:
    """Whether a gauge stood below what the cylinder's description asks for, or where that is not known."""
    state = Now().state(cylinder)
    minimum = state.minimum_pressure_bar if isinstance(state, CylinderState) else None
    return minimum is None or Decimal(bar) < Decimal(minimum)


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
