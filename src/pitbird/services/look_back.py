"""Look-back: after a failed test, gas in doubt or an untrained tester, every use that is put in question.

Whatever it lists is never a clearance: a chance is worked out from the record alone, and the record does not
know what nobody wrote down.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cached_property
from itertools import count
from typing import Final

from pitbird.fleet.look_back import History, Showing, Use, failed_trials, failings, history
from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import DAY, Ms
from pitbird.rules.deciding import decide
from pitbird.services.correcting import what_counts
from pitbird.services.gate import Around, UnknownSubject
from pitbird.services.knowing import Now
from pitbird.services.look_back_decisions import Decision, decisions
from pitbird.services.look_back_doubt import AfterFailure, Entries, grouped, in_doubt
from pitbird.services.quick import QUICK
from pitbird.services.refolding import entries_about, entries_between, entries_since, point_by
from pitbird.store import book

_TRIALS: Final = ("bump-test", "calibration")
#: Before everything that ever happened.
NEVER: Final = Ms(-(2**62))
#: So far after a failure is read first; most parts are soon shown to be good again.
READ_ON: Final = 8 * DAY
#: The step from which on all of it is read.
FEW: Final = 3


class BadRate(ValueError):
    """A failure rate that is none."""

    def __init__(self, rate: float) -> None:
        super().__init__(f"rate: {rate:g} is no failure rate; it must be a number from 0")


class NothingFailed(ValueError):
    """The entry is no failed test or calibration, or no longer counts; the message says which."""


# --- After a failure


def after_failure(entry_or_detector: str, *, rate_per_day: float | None = None) -> AfterFailure:
    """The uses that a failed test or calibration puts in question; of a detector, its newest failure.

    Parameters
    ----------
    entry_or_detector : str
        The id of the failed entry, or a detector.
    rate_per_day : float, optional
        Failure rate of the part [1/day], for both clocks; the upper limit of an estimate is the cautious
        choice. Without it only the order of chance is told, which is the same for every constant rate.

    Raises
    ------
    UnknownSubject
        The book has no such entry or detector.
    NothingFailed
        The entry shows no failure, was voided, or the detector never failed.
    BadRate
        A rate below 0 or that is no number.
    """
    if rate_per_day is not None and not (math.isfinite(rate_per_day) and rate_per_day >= 0):
        raise BadRate(rate_per_day)
    if entry_or_detector.startswith("detector:"):
        return _newest_failure(entry_or_detector, rate_per_day)
    row = book.by_id(entry_or_detector)
    if row is not None and row.kind == "correction":
        row = book.by_id(QUICK.decode(row.leaf)["body"]["corrects"])
    if row is None:
        raise UnknownSubject(entry_or_detector)
    body = what_counts(row)
    if body is None:
        raise NothingFailed(f"entry {row.index} was voided: it counts for nothing")
    if body["kind"] not in _TRIALS:
        raise NothingFailed(f"entry {row.index} is no test and no calibration")
    found = looked_from(row, body["detector"], rate_per_day)
    if found is None:
        raise NothingFailed(f"entry {row.index} shows no failure")
    return found


def looked_from(
    row: book.Row, detector: str, rate_per_day: float | None = None, *, ground: Ground | None = None
) -> AfterFailure | None:
    """The look-back from one failed entry of a detector; None where it shows no failure.

    Reads from the newest fold point before it to some days after it, and further only where that does not
    reach: how long the detector has been in the book does not matter.
    """
    ground = ground or Ground()
    state = Now().state(detector)
    last = state.last_at if isinstance(state, DetectorState) else None
    at = min(row.at, row.recorded_at)  # dated later, it counts from when it was recorded
    since: Ms | None = Ms(at - 1)
    on: int | None = READ_ON
    for step in count(1):
        until = None if on is None or last is None or at + on >= last else Ms(at + on)
        looker = Looker(detector, ground, since=since, until=until)
        found = looker.at(row.entry_id, rate_per_day)
        back, forth = looker.reaches(found)
        if back and forth:
            return found
        if not back and looker.since is not None:
            since = Ms(looker.since - 1) if step < FEW else None
        if not forth and on is not None:
            on = on * 8 if step < FEW else None
    raise AssertionError("all of it was read, and that reaches")


def _newest_failure(detector: str, rate_per_day: float | None) -> AfterFailure:
    if not isinstance(Now().state(detector), DetectorState):
        raise UnknownSubject(detector)
    looker = Looker(detector)
    for showing in reversed(looker.failures):
        found = looker.at(showing.entry, rate_per_day)
        if found is not None:
            return found
    raise NothingFailed(f"{detector} has failed no test and no calibration")


class Ground:
    """What look-backs made at one time stand on, read once: what is around the detectors, which good showings
    are believed, what was decided (``made``, where that was read already)."""

    def __init__(self, made: Iterable[Decision] | None = None) -> None:
        self._made = list(made) if made is not None else None
        self._believed: dict[tuple[str, tuple[str, ...]], bool] = {}

    @cached_property
    def _around(self) -> Around:
        return Around(Now())

    @cached_property
    def _cylinders(self) -> dict[str, CylinderState]:
        return {state.subject: state for state in Now().all_of(CylinderState)}

    def decided(self, detector: str, failed: str) -> tuple[Decision, ...]:
        """What was decided about a failure, the newest first."""
        made = decisions(detector) if self._made is None else self._made
        return tuple(each for each in made if each.body.get("failed") == failed)

    def believes(self, showing: Showing, state: DetectorState | None) -> bool:
        """Whether a good showing is believed: not on gas that was in doubt at the time, as known now, and a
        pass (after which the detector's state was ``state``) only if it counted by the site rules of its time
        (where there were any)."""
        key = (showing.entry, showing.cylinders)
        if key not in self._believed:
            self._believed[key] = self._believe(showing, state)
        return self._believed[key]

    def _believe(self, showing: Showing, state: DetectorState | None) -> bool:
        for name in showing.cylinders:
            cylinder = self._cylinders.get(name)
            if cylinder is not None and cylinder.withdrawn_at(showing.at) is not None:
                return False
        if state is None or showing.trial != "test":
            return True
        surroundings = self._around.of(state)
        at = Ms(max(showing.at, state.last_at))
        if surroundings.rules_at(at) is None:
            return True
        return decide(state, surroundings, as_of=at).test == showing.entry


class Looker:
    """Looks back over one detector: its entries are read and folded once for all its failures.

    With ``since`` reading begins at the newest fold point by then, with ``until`` it ends there: a look-back
    that has to reach further does not see all of it (``reaches``).
    """

    def __init__(
        self, detector: str, ground: Ground | None = None, *, since: Ms | None = None, until: Ms | None = None
    ) -> None:
        self.detector = detector
        self._ground = ground or Ground()
        self.size = book.head().size
        self.until = until
        start = point_by(detector, since) if since is not None else None
        self._start = start if isinstance(start, DetectorState) else None
        after = self._start.last_at if self._start is not None else NEVER
        self.entries: Entries = list(
            entries_between(detector, after, until)
            if until is not None
            else entries_since(detector, after)
            if self._start is not None
            else entries_about(detector)
        )
        self.history: History = history(
            detector,
            self.entries,
            start=self._start,
            running=_running(self._start) if self._start is not None else None,
            until=until,
        )

    @property
    def since(self) -> Ms | None:
        """What happened by then was not read; None where all of it was."""
        return self._start.last_at if self._start is not None else None

    def reaches(self, looked: AfterFailure | None) -> tuple[bool, bool]:
        """Whether enough was read for a look-back, back and forth: each part was shown to be good within it,
        and shown to be good again, and every use that it lists has ended."""
        since = self.since
        if looked is None:
            return since is None, self.until is None
        back = since is None or all(
            group.last_good is not None and group.last_good.at > since for group in looked.groups
        )
        forth = self.until is None or (
            all(group.again is not None for group in looked.groups)
            and all(use.end is not None for use in looked.uses)
        )
        return back, forth

    @property
    def failures(self) -> tuple[Showing, ...]:
        """The first showing of each failed test or calibration, in order."""
        return failed_trials(self.history)

    def at(self, entry: str, rate_per_day: float | None = None) -> AfterFailure | None:
        """The look-back from one failed entry; None where it shows no failure."""
        found = failings(self.history, entry, self.believes)
        if not found:
            return None
        state = Now().state(self.detector)
        return AfterFailure(
            detector=self.detector,
            site=state.site if isinstance(state, DetectorState) else None,
            failed=found[0].failed,
            groups=tuple(
                in_doubt(self.history, group, rate_per_day) for group in grouped(self.history, found)
            ),
            rate_per_day=rate_per_day,
            book_size=self.size,
            decisions=self._ground.decided(self.detector, entry),
            entries=self.entries,
        )

    def believes(self, showing: Showing) -> bool:
        """Whether a good showing is believed (``Ground.believes``)."""
        return self._ground.believes(showing, self.history.states.get(showing.entry))


def _running(state: DetectorState) -> Use | None:
    """The use that lasts in a state, as its entry tells it."""
    custody = state.custody
    row = book.by_id(custody.entry) if custody is not None and custody.holder is not None else None
    if custody is None or custody.holder is None or row is None:
        return None
    body = what_counts(row) or {}
    return Use(
        detector=state.subject,
        entry=custody.entry,
        index=row.index,
        wearer=custody.holder,
        start=custody.begun,
        where=body.get("where"),
        permit=custody.permit,
        authority=body.get("authority"),
    )
