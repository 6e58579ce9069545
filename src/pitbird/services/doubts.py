"""Entries left out because their clock cannot be right, and the countersigning that makes them count."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pitbird.fleet.state import CylinderState, DetectorState, PersonState
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.services import clock
from pitbird.services.appending import Appended
from pitbird.services.correcting import what_counts
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, write
from pitbird.store import book


@dataclass(frozen=True)
class Doubt:
    """One entry that is left out: its own time lies after that at which it was recorded, or its
    phone's clock was ahead. ``body`` is what
    counts of it, corrections heeded."""

    row: book.Row
    body: dict[str, Any]

    @property
    def ahead(self) -> int:
        """By how many milliseconds its clock runs ahead, at the least."""
        told = int(Decimal(self.body.get("phone", {}).get("ahead_s", "0")) * 1000)
        return max(max(self.row.at, ms_of(self.body["at"])) - self.row.recorded_at, told)


class NotCountersigned(ValueError):
    """The entry stays left out; the message says why and what to do."""


def doubts() -> tuple[Doubt, ...]:
    """Every entry that states leave out for its clock, the newest first."""
    known = Now()
    ids: dict[str, None] = {}
    for detector in known.all_of(DetectorState):
        ids.update(dict.fromkeys(detector.doubtful))
    for cylinder in known.all_of(CylinderState):
        ids.update(dict.fromkeys(cylinder.doubtful))
    for person in known.all_of(PersonState):
        ids.update(dict.fromkeys(person.doubtful))
    rows = [row for row in map(book.by_id, ids) if row is not None]
    rows.sort(key=lambda row: -row.index)
    return tuple(Doubt(row, body) for row in rows if (body := what_counts(row)) is not None)


def countersign(entry_id: str, at: Ms, reason: str, actor: Actor, *, now: Ms | None = None) -> Appended:
    """Say when an entry of doubtful clock really happened: a correction with the right time, its gas times
    shifted alike. By a keeper who did not write it. Raises ``NotCountersigned`` or ``EntryRefused``.
    """
    instant = clock.now() if now is None else now
    doubt = next((one for one in doubts() if one.row.entry_id == entry_id), None)
    if doubt is None:
        raise NotCountersigned("this entry is not left out for its clock; correct it instead")
    signer = Now().state(actor.person)
    if not isinstance(signer, PersonState) or "keeper" not in signer.roles:
        raise NotCountersigned("only a keeper countersigns; ask one")
    if doubt.row.by == actor.person:
        raise NotCountersigned(
            "whoever wrote an entry does not countersign it: a second person has to know when it happened"
        )
    if at > doubt.row.recorded_at:
        raise NotCountersigned(
            f"it was recorded at {text_of(Ms(doubt.row.recorded_at))}, so it cannot have happened later"
        )
    return write(
        {
            "kind": "correction",
            "corrects": entry_id,
            "how": "replace",
            "replacement": at_another_time(doubt.body, at),
            "reason": reason,
        },
        actor,
        now=instant,
    )


def at_another_time(body: dict[str, Any], at: Ms) -> dict[str, Any]:
    """The same entry at another time; gas on and off, which its clock told too, move with it."""
    moved = copy.deepcopy(body)
    shift = at - ms_of(body["at"])
    moved["at"] = text_of(at)
    for application in moved.get("applications", ()):
        for name in ("gas_on", "gas_off"):
            application[name] = text_of(Ms(ms_of(application[name]) + shift))
    return moved
