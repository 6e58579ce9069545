"""Look-back from trials that prove nothing after all: those on gas in doubt, those of an untrained tester."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from pitbird.fleet.folding import items
from pitbird.fleet.look_back import Resting, Showing, Use, resting
from pitbird.fleet.state import CylinderState, PersonState
from pitbird.fleet.times import DAY, Ms, ms_of
from pitbird.services.gate import UnknownSubject
from pitbird.services.knowing import Now
from pitbird.services.look_back import Ground, Looker
from pitbird.services.look_back_decisions import Decision, decisions
from pitbird.services.look_back_testers import UntrainedTest, untrained_tests
from pitbird.services.quick import QUICK
from pitbird.services.refolding import entries_about
from pitbird.store import book
from pitbird.store.models import Entry

_TRIALS: Final = ("bump-test", "calibration")


@dataclass(frozen=True)
class Rested:
    """A time in which a detector rested on suspect tests or calibrations, and its uses in that time."""

    detector: str
    resting: Resting
    uses: tuple[Use, ...]


@dataclass(frozen=True)
class AfterTrials:
    """The look-back from gas in doubt, or from what somebody tested: times that rested on it, by detector.

    ``trials`` counts the tests and calibrations in question, passed or not. ``untrained`` are those tests of
    a person that the site rules refuse for the tester, where only these were asked for (None: all).
    """

    sort: Literal["gas", "person"]
    of: tuple[str, ...]
    lot: str | None
    since: Ms | None
    until: Ms | None
    trials: int
    rested: tuple[Rested, ...]
    book_size: int
    decisions: tuple[Decision, ...]
    untrained: tuple[UntrainedTest, ...] | None = None

    @cached_property
    def uses(self) -> tuple[Use, ...]:
        """Every use it lists, none twice, in the order in which they began."""
        found = {use.entry: use for rested in self.rested for use in rested.uses}
        return tuple(sorted(found.values(), key=lambda use: use.start))

    def newer(self, size: int) -> tuple[int, ...]:
        """Places of uses and tests on the list that were written from ``size`` on."""
        found = {use.index for use in self.uses if use.index >= size}
        found |= {
            each.index for rested in self.rested for each in rested.resting.trials if each.index >= size
        }
        return tuple(sorted(found))


@dataclass(frozen=True)
class OnCylinder:
    """What rested on one cylinder: trials on it, their detectors, the uses that rested on them."""

    cylinder: str
    trials: tuple[Showing, ...]
    detectors: tuple[str, ...]
    uses: tuple[Use, ...]


def by_cylinder(looked: AfterTrials) -> tuple[OnCylinder, ...]:
    """The graph from gas in doubt: from each cylinder to its trials, their detectors, the uses. A use that
    rested on trials on several cylinders stands with each of them."""
    found = []
    for cylinder in looked.of:
        trials: dict[str, Showing] = {}
        detectors: dict[str, None] = {}
        uses: dict[str, Use] = {}
        for rested in looked.rested:
            on_it = {each.entry: each for each in rested.resting.trials if cylinder in each.cylinders}
            if on_it:
                trials |= on_it
                detectors[rested.detector] = None
                uses |= {use.entry: use for use in rested.uses}
        found.append(OnCylinder(cylinder, tuple(trials.values()), tuple(detectors), tuple(uses.values())))
    return tuple(found)


def after_gas(
    cylinders: Iterable[str], *, since: Ms | None = None, until: Ms | None = None, lot: str | None = None
) -> AfterTrials:
    """From cylinders to the tests and calibrations on them (from ``since`` on, before ``until``), to their
    detectors, to the uses that rested on them until the next on other gas.

    Raises ``UnknownSubject`` for a cylinder that the book does not know.
    """
    asked = tuple(dict.fromkeys(cylinders))
    known = Now().some(asked)
    found: dict[str, Ms] = {}
    trials = set()
    for cylinder in asked:
        if not isinstance(known.get(cylinder), CylinderState):
            raise UnknownSubject(cylinder)
        for item in items(cylinder, entries_about(cylinder)):
            spoiled = item.body.get("outcome") == "spoiled"
            if item.kind in _TRIALS and not spoiled and _within(item.order_at, since, until):
                trials.add(item.id)
                _earliest(found, item.body["detector"], item.order_at)
    suspect_gas = frozenset(asked)

    def suspect(showing: Showing) -> bool:
        on_it = showing.part.sort == "channel" and not suspect_gas.isdisjoint(showing.cylinders)
        return on_it and _within(showing.at, since, until)

    return _after_trials("gas", asked, lot, since, until, len(trials), found, suspect)


def lot_of(cylinder: str) -> tuple[str | None, tuple[str, ...]]:
    """The lot of a cylinder and every cylinder of it that the book knows; itself alone where it has none.

    Raises ``UnknownSubject`` for a cylinder that the book does not know.
    """
    known = Now()
    state = known.state(cylinder)
    if not isinstance(state, CylinderState):
        raise UnknownSubject(cylinder)
    if state.lot is None:
        return None, (cylinder,)
    return state.lot, tuple(each.subject for each in known.all_of(CylinderState) if each.lot == state.lot)


def after_tester(
    person: str, *, since: Ms | None = None, until: Ms | None = None, untrained: bool = False
) -> AfterTrials:
    """From a person to the tests and calibrations they made (from ``since`` on, before ``until``), to their
    detectors, to the uses that rested on them until the next by somebody else. With ``untrained`` only to the
    passed tests that the site rules of their time refuse for the tester, as the book now knows.

    Raises ``UnknownSubject`` for a person whom the book does not know.
    """
    if not isinstance(Now().state(person), PersonState):
        raise UnknownSubject(person)
    refused = None
    if untrained:
        refused = tuple(each for each in untrained_tests(person) if _within(each.at, since, until))
        found: dict[str, Ms] = {}
        for each in refused:
            _earliest(found, each.detector, each.at)
    else:
        found = _tested_by(person, since, until)
    ids = None if refused is None else {each.row.entry_id for each in refused}

    def suspect(showing: Showing) -> bool:
        theirs = showing.by == person and _within(showing.at, since, until)
        return theirs and (ids is None or showing.entry in ids)

    return _after_trials("person", (person,), None, since, until, None, found, suspect, refused)


def _earliest(found: dict[str, Ms], detector: str, at: Ms) -> None:
    found[detector] = min(found.get(detector, at), at)


def _tested_by(person: str, since: Ms | None, until: Ms | None) -> dict[str, Ms]:
    """The detectors of which somebody made a test or calibration, corrected or not, with the earliest."""
    rows = Entry.objects.filter(kind__in=_TRIALS, by=person)
    if since is not None:
        rows = rows.filter(at__gte=since - DAY)
    if until is not None:
        rows = rows.filter(at__lt=until + DAY)
    found: dict[str, Ms] = {}
    for leaf, at, recorded_at in rows.values_list("leaf", "at", "recorded_at"):
        _earliest(found, QUICK.decode(leaf)["body"]["detector"], Ms(min(at, recorded_at)))
    for row in book.of_kind("correction"):
        body = QUICK.decode(row.leaf)["body"]
        replacement = body.get("replacement") or {}
        if replacement.get("kind") in _TRIALS:
            original = book.by_id(body["corrects"])
            if person in {replacement.get("by"), original.by if original is not None else None}:
                at = min(
                    [ms_of(replacement["at"]), *([original.at, original.recorded_at] if original else [])]
                )
                _earliest(found, replacement["detector"], Ms(at))
    return dict(sorted(found.items()))


def _after_trials(
    sort: Literal["gas", "person"],
    of: tuple[str, ...],
    lot: str | None,
    since: Ms | None,
    until: Ms | None,
    trials: int | None,
    detectors: Mapping[str, Ms],
    suspect: Callable[[Showing], bool],
    untrained: tuple[UntrainedTest, ...] | None = None,
) -> AfterTrials:
    """``detectors`` come with the time of their earliest trial in question; reading begins a day before."""
    size = book.head().size
    rested: list[Rested] = []
    made: set[str] = set()
    ground = Ground()
    for detector, at in detectors.items():
        looker = Looker(detector, ground, since=Ms(at - DAY))
        seen = looker.history
        made |= {showing.entry for showing in seen.showings if suspect(showing)}
        rested += [
            Rested(detector, each, seen.uses_in(each.since, each.until))
            for each in resting(seen, suspect, looker.believes)
        ]
    rested.sort(key=lambda each: (each.detector, each.resting.since))
    return AfterTrials(
        sort=sort,
        of=of,
        lot=lot,
        since=since,
        until=until,
        trials=len(made) if trials is None else trials,
        rested=tuple(rested),
        book_size=size,
        decisions=tuple(each for each in decisions() if not set(of).isdisjoint(each.body["of"])),
        untrained=untrained,
    )


def _within(at: Ms, since: Ms | None, until: Ms | None) -> bool:
    return (since is None or since <= at) and (until is None or at < until)
