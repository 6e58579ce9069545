"""What looking back is worked out from: a detector's uses, what gas showed of it, what happened to it.

A part of a detector is one of its channels, one of its signals, or the detector as a whole (a check, a bare
fail from elsewhere). A *showing* is one instant at which a part was shown to be good or not. Spoiled tests
show nothing; a pass or a calibration whose clock is in doubt shows nothing good.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, NamedTuple

import msgspec

from pitbird.fleet import bump
from pitbird.fleet.folding import Item, advance, empty, items
from pitbird.fleet.folding.detector import tested_fact
from pitbird.fleet.folding.lives import found_within
from pitbird.fleet.state import DetectorState, TestFact
from pitbird.fleet.times import Ms

#: What, once it happened, comes before any reckoning of chances.
OVERRIDING: Final = ("drop", "water", "over-range", "suspected-poison", "fault")
#: Kinds of entry that can change what a look-back lists.
BEARING: Final = frozenset(
    {"bump-test", "calibration", "handed-out", "handed-back", "issued-untested", "happened"}
)

Trial = Literal["test", "calibration"]


class Part(NamedTuple):
    """A channel or a signal by its name, or the detector as a whole (no name)."""

    sort: Literal["channel", "signal", "whole"]
    name: str = ""


WHOLE: Final = Part("whole")


@dataclass(frozen=True, slots=True)
class Use:
    """A stretch of time in which somebody had the detector; ``end`` is None while it lasts.

    ``authority`` is set where it was issued untested. ``where`` is the site of the hand-out.
    """

    detector: str
    entry: str
    index: int
    wearer: str
    start: Ms
    end: Ms | None = None
    where: str | None = None
    permit: str | None = None
    authority: str | None = None

    def overlaps(self, since: Ms, until: Ms | None) -> bool:
        """Whether it lies, in part at least, in ``[since, until)``."""
        begun = until is None or self.start < until
        return begun and (self.end is None or self.end > since or self.start >= since)


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened to the detector; ``channels`` are those it concerns, none for all."""

    what: str
    at: Ms
    entry: str
    index: int
    channels: tuple[str, ...] = ()

    def concerns(self, part: Part) -> bool:
        """Whether it may have harmed a part."""
        return part.sort != "channel" or not self.channels or part.name in self.channels


class Showing(msgspec.Struct, frozen=True):
    """A part shown to be good or not, by gas. A msgspec struct: a long history makes very many."""

    part: Part
    good: bool
    at: Ms
    entry: str
    index: int
    trial: Trial
    by: str
    cylinders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class History:
    """All of one detector's life that a look-back asks for, in the order in which things happened.

    ``states`` holds the detector's state after each passed test, by the test's entry.
    """

    detector: str
    uses: tuple[Use, ...]
    happenings: tuple[Happening, ...]
    showings: tuple[Showing, ...]
    states: Mapping[str, DetectorState]

    def of(self, part: Part) -> tuple[Showing, ...]:
        """The showings of one part."""
        return tuple(showing for showing in self.showings if showing.part == part)

    def uses_in(self, since: Ms, until: Ms | None) -> tuple[Use, ...]:
        """The uses that lie, in part at least, in ``[since, until)``."""
        return tuple(use for use in self.uses if use.overlaps(since, until))


@dataclass(frozen=True, slots=True)
class Failing:
    """One part that a trial showed to have failed.

    ``last_good`` is the last showing before it that was good and accepted (None: there is none),
    ``passed_over`` the good ones in between that were not; ``first`` the first showing since then that was
    not good, which may be an earlier trial; ``again`` the next good and accepted one afterwards.
    """

    part: Part
    failed: Showing
    last_good: Showing | None
    passed_over: tuple[Showing, ...]
    first: Showing
    again: Showing | None

    @property
    def since(self) -> Ms | None:
        """From when on the part is in doubt."""
        return self.last_good.at if self.last_good else None


@dataclass(frozen=True, slots=True)
class Resting:
    """A time in which a detector's parts rested on suspect trials; ``until`` is None while it lasts."""

    parts: tuple[Part, ...]
    since: Ms
    until: Ms | None
    trials: tuple[Showing, ...]


@dataclass
class _Gathered:
    detector: str
    uses: list[Use] = field(default_factory=list)
    happenings: list[Happening] = field(default_factory=list)
    showings: list[Showing] = field(default_factory=list)
    states: dict[str, DetectorState] = field(default_factory=dict)


def history(
    detector: str,
    entries: Iterable[tuple[int, Mapping[str, Any], str]],
    *,
    start: DetectorState | None = None,
    running: Use | None = None,
    until: Ms | None = None,
) -> History:
    """A detector's uses, showings and happenings from its entries (``(index, body, recorded_at)``).

    ``start`` is the state up to which nothing is told, ``running`` the use that lasted then; the entries
    are those that a fold from there wants. What happened after ``until`` is left out: a use may then seem
    to last that has ended.
    """
    gathered = _Gathered(detector, uses=[running] if running else [])
    told = [
        item
        for item in items(detector, entries)
        if (start is None or item.order_at > start.last_at) and (until is None or item.order_at <= until)
    ]
    for item, state in zip(told, advance(start or empty(detector), told) or (), strict=True):
        if isinstance(state, DetectorState) and item.kind in _TAKES:
            _TAKES[item.kind](gathered, item, state)
    return History(
        detector,
        tuple(gathered.uses),
        tuple(gathered.happenings),
        tuple(gathered.showings),
        gathered.states,
    )


def failings(
    seen: History, entry: str, accept: Callable[[Showing], bool] = lambda showing: True
) -> tuple[Failing, ...]:
    """The parts that a trial showed to have failed, each with the last accepted good showing before it."""
    failed = [each for each in seen.showings if each.entry == entry and not each.good]
    return tuple(_failing(seen, each, accept) for each in failed)


def failed_trials(seen: History) -> tuple[Showing, ...]:
    """The first showing of each trial that showed anything to have failed, in order."""
    first: dict[str, Showing] = {}
    for each in seen.showings:
        if not each.good:
            first.setdefault(each.entry, each)
    return tuple(first.values())


def resting(
    seen: History,
    suspect: Callable[[Showing], bool],
    accept: Callable[[Showing], bool] = lambda showing: True,
) -> tuple[Resting, ...]:
    """When the detector rested on suspect trials: from each to the next trial of the same part that is not,
    and, where it was good, is accepted.

    What a calibration set, only another calibration sets anew. Times that overlap are told as one.
    """
    found = []
    for part in dict.fromkeys(each.part for each in seen.showings):
        found += list(_rests(part, seen.of(part), suspect, accept))
    places = {id(each): place for place, each in enumerate(seen.showings)}
    merged: list[Resting] = []
    for each in sorted(found, key=lambda rest: (rest.since, rest.parts)):
        if merged and (merged[-1].until is None or each.since <= merged[-1].until):
            merged[-1] = _joined(merged[-1], each, places)
        else:
            merged.append(each)
    return tuple(merged)


# --- Gathering


def _handed_out(gathered: _Gathered, item: Item, state: DetectorState) -> None:
    _end_use(gathered, item.order_at)
    body = item.body
    gathered.uses.append(
        Use(
            detector=gathered.detector,
            entry=item.id,
            index=item.index,
            wearer=body["to"],
            start=item.order_at,
            where=body.get("where"),
            permit=body.get("permit"),
            authority=body.get("authority"),
        )
    )


def _handed_back(gathered: _Gathered, item: Item, state: DetectorState) -> None:
    if item.counts:
        _end_use(gathered, item.order_at)


def _end_use(gathered: _Gathered, at: Ms) -> None:
    if gathered.uses and gathered.uses[-1].end is None:
        gathered.uses[-1] = replace(gathered.uses[-1], end=at)


def _happened(gathered: _Gathered, item: Item, state: DetectorState) -> None:
    what = item.body["what"] if item.kind == "happened" else item.kind
    named = item.body.get("channels", item.body.get("replaced", ()))
    channels = (item.body["channel"],) if "channel" in item.body else tuple(named)
    gathered.happenings.append(Happening(what, item.order_at, item.id, item.index, channels))


def _tested(gathered: _Gathered, item: Item, state: DetectorState) -> None:
    fact = tested_fact(state, item)  # the state may keep so many that are newer
    if fact.outcome == "spoiled":
        return
    failed = _failed_parts(fact, item, state) if fact.outcome == "failed" else {}
    cylinders = {Part("channel", shown.channel): (shown.cylinder,) for shown in fact.shown}
    good = [Part("channel", shown.channel) for shown in fact.shown if shown.reached]
    good += [Part("signal", name) for name, came in fact.signals if came == "yes"]
    if fact.outcome == "passed" and fact.footing == "shown":
        good.append(WHOLE)
    parts = {part: True for part in good if fact.counts and part not in failed} | failed
    for part, shown_good in parts.items():
        gathered.showings.append(
            Showing(
                part=part,
                good=shown_good,
                at=fact.at,
                entry=item.id,
                index=item.index,
                trial="test",
                by=fact.by,
                cylinders=cylinders.get(part, fact.cylinders),
            )
        )
    if fact.outcome == "passed":
        gathered.states[item.id] = state


def _failed_parts(fact: TestFact, item: Item, state: DetectorState) -> dict[Part, bool]:
    """What a failed test showed to have failed; the whole detector where it does not say which part."""
    failed: dict[Part, bool] = {}
    _, reasons = bump.outcome(bump.plan(state), item.body)
    for code, _, name in (reason.partition(":") for reason in reasons):
        sort = _FAILED_BY.get(code)
        if sort is not None:
            failed[Part(sort, "" if sort == "whole" else name)] = False
    for shown in fact.shown:
        if not shown.reached:
            failed[Part("channel", shown.channel)] = False
    return failed or {WHOLE: False}


_FAILED_BY: Final[dict[str, Literal["channel", "signal", "whole"]]] = {
    "not-reached": "channel",
    "clean-air-wrong": "channel",
    "signal-silent": "signal",
    "check-failed": "whole",
    "not-cleared": "whole",
}


def _calibrated(gathered: _Gathered, item: Item, state: DetectorState) -> None:
    body = item.body
    made = Showing(
        part=WHOLE,
        good=False,
        at=item.order_at,
        entry=item.id,
        index=item.index,
        trial="calibration",
        by=body["by"],
        cylinders=tuple(body.get("cylinders", ())),
    )
    for channel in body["channels"]:
        part = Part("channel", channel["channel"])
        found = found_within(channel, body.get("tolerance_pct"))
        if found is False or (found and item.counts):
            gathered.showings.append(msgspec.structs.replace(made, part=part, good=found))
        left_within = channel.get("adjusted", "yes") == "yes" and channel["result"] == "within"
        if not found and left_within and item.counts:
            gathered.showings.append(msgspec.structs.replace(made, part=part, good=True))


_TAKES: Final[dict[str, Callable[[_Gathered, Item, DetectorState], None]]] = {
    "handed-out": _handed_out,
    "issued-untested": _handed_out,
    "handed-back": _handed_back,
    "happened": _happened,
    "alarm-in-use": _happened,
    "fresh-air-set": _happened,
    "repaired": _happened,
    "bump-test": _tested,
    "calibration": _calibrated,
}


# --- Working out


def _failing(seen: History, failed: Showing, accept: Callable[[Showing], bool]) -> Failing:
    showings = seen.of(failed.part)
    place = next(place for place, each in enumerate(showings) if each is failed)
    last_good: Showing | None = None
    passed_over: list[Showing] = []
    first = failed
    for each in reversed(showings[:place]):
        if not each.good:
            first = each
        elif accept(each):
            last_good = each
            break
        else:
            passed_over.append(each)
    again = next((each for each in showings[place + 1 :] if each.good and accept(each)), None)
    return Failing(failed.part, failed, last_good, tuple(reversed(passed_over)), first, again)


def _rests(
    part: Part,
    showings: Iterable[Showing],
    suspect: Callable[[Showing], bool],
    accept: Callable[[Showing], bool],
) -> Iterator[Resting]:
    """The times in which one part rested on suspect tests, and those on suspect calibrations."""
    kinds: tuple[tuple[Trial, frozenset[str]], ...] = (
        ("test", frozenset({"test", "calibration"})),
        ("calibration", frozenset({"calibration"})),
    )
    listed = list(showings)
    for trial, ends in kinds:
        rest: list[Showing] = []
        for each in listed:
            if suspect(each):
                if each.good and each.trial == trial:
                    rest.append(each)
            elif rest and each.trial in ends and (not each.good or accept(each)):
                yield Resting((part,), rest[0].at, each.at, tuple(rest))
                rest = []
        if rest:
            yield Resting((part,), rest[0].at, None, tuple(rest))


def _joined(one: Resting, other: Resting, places: Mapping[int, int]) -> Resting:
    until = None if one.until is None or other.until is None else Ms(max(one.until, other.until))
    trials = {(each.entry, each.part): each for each in (*one.trials, *other.trials)}
    return Resting(
        parts=tuple(sorted({*one.parts, *other.parts})),
        since=one.since,
        until=until,
        trials=tuple(sorted(trials.values(), key=lambda each: places[id(each)])),
    )
