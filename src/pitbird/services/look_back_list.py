"""The working list of look-backs: what still has no decision; and the entry that records one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, Literal

from django.db.models import Q

from pitbird.fleet.folding.lives import found_within
from pitbird.fleet.state import CylinderState, DetectorState, Span
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.services.counted import counted
from pitbird.services.knowing import Now
from pitbird.services.look_back import Ground, looked_from
from pitbird.services.look_back_decisions import Decision, decisions
from pitbird.services.look_back_doubt import AfterFailure
from pitbird.services.look_back_testers import UntrainedTest, awaiting_of, untrained_tests
from pitbird.services.look_back_trials import AfterTrials
from pitbird.services.quick import QUICK
from pitbird.store import book
from pitbird.store.models import Entry, Mention

#: Quarantines that put every earlier test on the cylinder in question, not only those made since.
CONTENTS: Final = frozenset({"suspect-contents", "no-certificate", "recalled"})
_OUT: Final = frozenset({"test-failed", "calibration-failed"})
_USES: Final = ("handed-out", "issued-untested")
_AT_ONCE: Final = 500


@dataclass(frozen=True)
class Awaiting:
    """A failure, a cylinder in doubt or somebody who tested untrained, about which nobody has decided, or not
    since more was written.

    ``entry`` is the failed test or calibration, the quarantine, or the newest test of somebody untrained;
    ``newer`` holds the places of entries that were not on the list when ``decision`` was made. ``look`` is
    the look-back, of a failure; ``tests`` are those in question of somebody untrained.
    """

    sort: Literal["failure", "gas", "tester"]
    subject: str
    entry: book.Row
    because: str
    decision: Decision | None
    newer: tuple[int, ...]
    look: AfterFailure | None = None
    tests: tuple[UntrainedTest, ...] = ()


def awaiting(
    site: str | None = None, *, limit: int | None = None, before: int | None = None, people: bool = True
) -> tuple[Awaiting, ...]:
    """What awaits a decision (at a site), the newest first: all of it, or up to ``limit``; ``before`` leaves
    out what happened at the time of the entry at that place or later, ``people=False`` untrained testers.

    A fail that only repeats an earlier one, with no use begun in between, is not listed on its own.
    """
    made = decisions()
    last = book.at_index(before) if before is not None else None
    listed: list[tuple[book.Row, str | Awaiting]] = [
        *((row, detector) for row, detector in _failed_entries()),
        *((each.entry, each) for each in _gas(made, site)),
        *((each.entry, each) for each in (_testers(made, site) if people else ())),
    ]
    listed.sort(key=lambda pair: (-pair[0].at, -pair[0].index))
    found: list[Awaiting] = []
    ask = _Failures(made, site)
    for row, what in listed:
        if last is not None and (row.at, row.index) >= (last.at, last.index):
            continue
        each = ask(row, what) if isinstance(what, str) else what
        if each is not None:
            found.append(each)
        if limit is not None and len(found) >= limit:
            break
    return tuple(found)


class _Failures:
    """Whether failures await a decision."""

    def __init__(self, made: tuple[Decision, ...], site: str | None) -> None:
        self._decided = {each.body["failed"]: each for each in reversed(made) if "failed" in each.body}
        self._ground = Ground(made)
        self._detectors = {state.subject for state in Now().all_of(DetectorState, site)}

    def __call__(self, row: book.Row, detector: str) -> Awaiting | None:
        """The failure, if it awaits a decision."""
        decision = self._decided.get(row.entry_id)
        if detector not in self._detectors:
            return None
        if decision is not None:
            size = decision.book_size
            if not (written_since(row, detector, size) or used_since(detector, size)):
                return None
        look = looked_from(row, detector, ground=self._ground)
        if look is None or not look.begins_anew:
            return None
        newer = look.newer(decision.book_size) if decision else ()
        if decision is not None and not newer:
            return None
        return Awaiting("failure", detector, row, look.failed.trial, decision, newer, look)


def _failed_entries() -> Iterator[tuple[book.Row, str]]:
    """Every test and calibration that ever took a detector out of service, with the detector as it counts.

    Each stands as an open reason, or in the return to service that answered it; a calibration that found a
    channel outside and adjusted it took nothing out, and is read itself: states hold only the latest lives.
    """
    ids: dict[str, str] = {}
    for said in counted("calibration"):
        if any(found_within(channel, said.get("tolerance_pct")) is False for channel in said["channels"]):
            ids[said["id"]] = said["detector"]
    for row in book.of_kind("returned-to-service"):
        body = QUICK.decode(row.leaf)["body"]
        ids.update(dict.fromkeys(body["answers"], body["detector"]))
    for state in Now().all_of(DetectorState):
        open_ids = [reason.entry for reason in state.open_reasons if reason.because in _OUT]
        failed = [life.failed_by for life in state.lives if life.failed_by is not None]
        last = [state.last_failure.entry] if state.last_failure else []
        ids.update(dict.fromkeys((*open_ids, *failed, *last), state.subject))
    listed = list(ids)
    for start in range(0, len(listed), _AT_ONCE):
        part = Entry.objects.filter(
            entry_id__in=listed[start : start + _AT_ONCE], kind__in=("bump-test", "calibration")
        )
        for found in part.values_list(*book.Row.__struct_fields__):
            row = book.row_of(found)
            yield row, ids[row.entry_id]


def written_since(row: book.Row, detector: str, size: int) -> bool:
    """Whether anything was written after a decision that may bear on it; looked at closely only then."""
    bears = Q(at__lte=max(row.at, row.recorded_at)) | Q(correction=True)
    return Mention.objects.filter(bears, subject=detector, index__gte=size).exists()


def used_since(detector: str, size: int) -> bool:
    """Whether a detector was handed out by an entry that a decision did not know: what failed may not have
    been shown to be good again by then, in a test that counts."""
    places = Mention.objects.filter(subject=detector, index__gte=size).values("index")
    return Entry.objects.filter(index__in=places, kind__in=_USES).exists()


def _gas(made: tuple[Decision, ...], site: str | None) -> Iterator[Awaiting]:
    for state in Now().all_of(CylinderState, site):
        for span in state.withdrawn:
            row = book.by_id(span.entry)
            if row is None or not _puts_tests_in_doubt(state, span):
                continue
            decision = next(
                (each for each in made if state.subject in each.body["of"] and each.row.index > row.index),
                None,
            )
            newer = _newer_on(state.subject, decision) if decision else ()
            if decision is None or newer:
                yield Awaiting("gas", state.subject, row, span.because, decision, newer)
            break  # the newest quarantine stands for the earlier ones


def _puts_tests_in_doubt(state: CylinderState, span: Span) -> bool:
    if state.last_test_at is None:
        return False
    return span.because in CONTENTS or state.last_test_at >= span.since


def _newer_on(cylinder: str, decision: Decision) -> tuple[int, ...]:
    """Tests on a cylinder that reached the book after a decision and were made before it."""
    since = ms_of(decision.body["looked_from"]) if "looked_from" in decision.body else Ms(0)
    until = ms_of(decision.body["looked_to"]) if "looked_to" in decision.body else Ms(decision.row.at)
    found = Mention.objects.filter(
        subject=cylinder, index__gte=decision.book_size, at__gte=since, at__lt=until
    ).exclude(index=decision.row.index)
    return tuple(sorted(found.values_list("index", flat=True)))


def _testers(made: tuple[Decision, ...], site: str | None) -> Iterator[Awaiting]:
    for person, listed in groupby(untrained_tests(), lambda each: each.person):
        tests, decision, newer = awaiting_of(
            (each for each in listed if site is None or site in each.sites), made
        )
        if tests:
            last = tests[-1]
            yield Awaiting("tester", person, last.row, last.finding.code, decision, newer, tests=tuple(tests))


LookBack = AfterFailure | AfterTrials


def draft(
    looked: LookBack, *, assessed_by: str, outcome: str, done: str, book_size: int | None = None
) -> dict[str, Any]:
    """The entry that records what was decided about a look-back, as a draft for ``writing.write``."""
    made: dict[str, Any] = {
        "kind": "look-back",
        "of": list(looked.of),
        "book_size": looked.book_size if book_size is None else book_size,
        "assessed_by": assessed_by,
        "outcome": outcome,
        "done": done,
    }
    if isinstance(looked, AfterFailure):
        return {**made, "failed": looked.failed.entry}
    for field, at in (("looked_from", looked.since), ("looked_to", looked.until)):
        if at is not None:
            made[field] = text_of(at)
    return made
