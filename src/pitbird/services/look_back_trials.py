"""Look-back from trials that prove nothing after all: those on gas in doubt, those of an untrained tester."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from pitbird.fleet.folding import items
from pitbird.fleet.look_back import Resting, Showing, Use, resting
from pitbird.fleet.state import CylinderState, PersonState
from pitbird.fleet.times import DAY, Ms
from pitbird.services.gate import UnknownSubject
from pitbird.services.knowing import Now
from pitbird.services.look_back import Looker
from pitbird.services.look_back_decisions import Decision, decisions
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

    ``trials`` counts the tests and calibrations in question, passed or not.
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


def after_gas(
    cylinders: Iterable[str], *, since: Ms | None = None, until: Ms | None = None, lot: str | None = None
) -> AfterTrials:
    """From cylinders to the tests and calibrations on them (from ``since`` on, before ``until``), to their
    detectors, to the uses that rested on them until the next on other gas.

    Raises ``UnknownSubject`` for a cylinder that the book does not know.
    """
    asked = tuple(dict.fromkeys(cylinders))
    known = Now().some(asked)
    found: dict[str, None] = {}
    trials = set()
    for cylinder in asked:
        if not isinstance(known.get(cylinder), CylinderState):
            raise UnknownSubject(cylinder)
        for item in items(cylinder, entries_about(cylinder)):
            spoiled = item.body.get("outcome") == "spoiled"
            if item.kind in _TRIALS and not spoiled and _within(item.order_at, since, until):
                trials.add(item.id)
                found[item.body["detector"]] = None
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


def after_tester(person: str, *, since: Ms | None = None, until: Ms | None = None) -> AfterTrials:
    """From a person to the tests and calibrations they made (from ``since`` on, before ``until``), to their
    detectors, to the uses that rested on them until the next by somebody else.

    Raises ``UnknownSubject`` for a person whom the book does not know.
    """
    if not isinstance(Now().state(person), PersonState):
        raise UnknownSubject(person)
    found: dict[str, None] = {}
    for detector in sorted(_tested_by(person, since, until)):
        found[detector] = None

    def suspect(showing: Showing) -> bool:
        return showing.by == person and _within(showing.at, since, until)

    return _after_trials("person", (person,), None, since, until, None, found, suspect)


def _tested_by(person: str, since: Ms | None, until: Ms | None) -> set[str]:
    """The detectors of which somebody made a test or calibration, corrected or not."""
    rows = Entry.objects.filter(kind__in=_TRIALS, by=person)
    if since is not None:
        rows = rows.filter(at__gte=since - DAY)
    if until is not None:
        rows = rows.filter(at__lt=until + DAY)
    found = {QUICK.decode(leaf)["body"]["detector"] for leaf in rows.values_list("leaf", flat=True)}
    for row in book.of_kind("correction"):
        replacement = QUICK.decode(row.leaf)["body"].get("replacement") or {}
        if replacement.get("kind") in _TRIALS and replacement.get("by") == person:
            found.add(replacement["detector"])
    return found


def _after_trials(
    sort: Literal["gas", "person"],
    of: tuple[str, ...],
    lot: str | None,
    since: Ms | None,
    until: Ms | None,
    trials: int | None,
    detectors: Iterable[str],
    suspect: Callable[[Showing], bool],
) -> AfterTrials:
    size = book.head().size
    rested: list[Rested] = []
    made: set[str] = set()
    for detector in detectors:
        looker = Looker(detector)
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
    )


def _within(at: Ms, since: Ms | None, until: Ms | None) -> bool:
    return (since is None or since <= at) and (until is None or at < until)
