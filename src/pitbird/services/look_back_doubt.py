"""What a failure puts in question, worked out: uses, chances on both clocks, the events that come first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from pitbird.fleet.look_back import BEARING, OVERRIDING, Failing, Happening, History, Part, Showing, Use
from pitbird.fleet.times import DAY, Ms, text_of
from pitbird.science.reliability.look_back import look_back
from pitbird.services.look_back_decisions import Decision

#: ``(index, body, recorded_at)``, as the fold wants them.
Entries = list[tuple[int, dict[str, Any], str]]


@dataclass(frozen=True)
class UseInDoubt:
    """One use between the last good showing and the failed one.

    ``calendar`` and ``in_use`` are the chances that the part had failed by its end, on a clock that always
    runs and on one that runs only during uses; None where no rate was given, or the clock has no answer.
    ``order`` is 1 for the likeliest. ``event`` is a known event before its end: then the part is to be taken
    as failed from the event on, whatever the chances are.
    """

    use: Use
    calendar: float | None
    in_use: float | None
    order: int | None
    event: Happening | None

    @property
    def worst(self) -> float | None:
        """The larger chance over both clocks."""
        known = [chance for chance in (self.calendar, self.in_use) if chance is not None]
        return max(known) if known else None


@dataclass(frozen=True)
class PartsInDoubt:
    """Parts of a detector that failed together and were last shown to be good together.

    ``uses`` lie between, in the order in which they began; ``afterwards`` are uses that began after the
    failure and before the part was shown to be good again. ``happenings`` lie between the two showings.
    """

    parts: tuple[Part, ...]
    last_good: Showing | None
    passed_over: tuple[Showing, ...]
    first: Showing
    failed: Showing
    again: Showing | None
    uses: tuple[UseInDoubt, ...]
    afterwards: tuple[Use, ...]
    happenings: tuple[Happening, ...]

    @property
    def known(self) -> tuple[Happening, ...]:
        """Events that come before any chance."""
        return tuple(
            each
            for each in self.happenings
            if each.what in OVERRIDING and any(map(each.concerns, self.parts))
        )


@dataclass(frozen=True)
class AfterFailure:
    """The look-back from one failed test or calibration of one detector."""

    detector: str
    site: str | None
    failed: Showing
    groups: tuple[PartsInDoubt, ...]
    rate_per_day: float | None
    book_size: int
    decisions: tuple[Decision, ...]
    entries: Entries

    @property
    def of(self) -> tuple[str, ...]:
        """What a decision is about."""
        return (self.detector,)

    @cached_property
    def uses(self) -> tuple[Use, ...]:
        """Every use it lists, none twice, in the order in which they began."""
        found = {each.use.entry: each.use for group in self.groups for each in group.uses}
        found |= {use.entry: use for group in self.groups for use in group.afterwards}
        return tuple(sorted(found.values(), key=lambda use: use.start))

    @property
    def begins_anew(self) -> bool:
        """Whether it asks for a decision of its own: not where it only repeats an earlier fail."""
        repeats = (group.first.entry != self.failed.entry for group in self.groups)
        since = max(group.first.at for group in self.groups)
        return not all(repeats) or any(since <= use.start < self.failed.at for use in self.uses)

    def newer(self, size: int) -> tuple[int, ...]:
        """Places of entries from ``size`` on that bear on it: what was not on the list at that time."""
        starts = [group.last_good.at if group.last_good else None for group in self.groups]
        since = None if None in starts else min(at for at in starts if at is not None)
        window = (text_of(since) if since is not None else "", text_of(self.failed.at))
        bodies = {body["id"]: body for _, body, _ in self.entries}
        found = {use.index for use in self.uses if use.index >= size}
        for index, body, _ in self.entries:
            if index < size or body["id"] == self.failed.entry:
                continue
            told = [body] if body["kind"] != "correction" else [
                each for each in (bodies.get(body["corrects"]), body.get("replacement")) if each
            ]  # fmt: skip
            if any(each["kind"] in BEARING and window[0] <= each["at"] <= window[1] for each in told):
                found.add(index)
        return tuple(sorted(found))


def grouped(seen: History, found: Iterable[Failing]) -> list[list[Failing]]:
    """Failed parts put together where they were last good, first failed and good again alike, and the same
    known events concern them."""
    groups: dict[object, list[Failing]] = {}
    for each in found:
        events = tuple(
            event.entry
            for event in _between(seen, each)
            if event.what in OVERRIDING and event.concerns(each.part)
        )
        ends = tuple(showing and showing.entry for showing in (each.last_good, each.first, each.again))
        groups.setdefault((ends, events), []).append(each)
    return list(groups.values())


def _between(seen: History, failing: Failing) -> tuple[Happening, ...]:
    since = failing.since
    return tuple(
        each
        for each in seen.happenings
        if (since is None or since <= each.at) and each.at <= failing.failed.at
    )


def in_doubt(seen: History, group: list[Failing], rate_per_day: float | None) -> PartsInDoubt:
    """What is in question of parts that were put together: the uses with their chances, and what happened."""
    one = group[0]
    since = one.since if one.since is not None else _first_of(seen)
    happenings = _between(seen, one)
    known = [
        each for each in happenings if each.what in OVERRIDING and any(each.concerns(f.part) for f in group)
    ]
    uses = seen.uses_in(since, one.failed.at)
    until = one.again.at if one.again else None
    return PartsInDoubt(
        parts=tuple(each.part for each in group),
        last_good=one.last_good,
        passed_over=one.passed_over,
        first=one.first,
        failed=one.failed,
        again=one.again,
        uses=_reckoned(uses, one, known, rate_per_day),
        afterwards=tuple(use for use in seen.uses_in(one.failed.at, until) if use.start >= one.failed.at),
        happenings=happenings,
    )


def _first_of(seen: History) -> Ms:
    return min((use.start for use in seen.uses), default=Ms(0))


def _reckoned(
    uses: tuple[Use, ...], failing: Failing, known: list[Happening], rate_per_day: float | None
) -> tuple[UseInDoubt, ...]:
    """The uses with their chances on both clocks, the order of chance, and the event that overrides them."""
    calendar, in_use = _chances(uses, failing, rate_per_day or 0.0)
    ordered = sorted({chance for chance in calendar if chance is not None}, reverse=True)
    told = []
    for use, one, other in zip(uses, calendar, in_use, strict=True):
        event = next((each for each in known if use.end is None or each.at <= use.end), None)
        told.append(
            UseInDoubt(
                use=use,
                calendar=one if rate_per_day is not None else None,
                in_use=other if rate_per_day is not None else None,
                order=ordered.index(one) + 1 if one is not None else None,
                event=event,
            )
        )
    return tuple(told)


def _chances(
    uses: tuple[Use, ...], failing: Failing, rate_per_day: float
) -> tuple[list[float | None], list[float | None]]:
    """Chance of having failed by the end of each use, on the calendar and in use; None without an answer."""
    nothing: list[float | None] = [None] * len(uses)
    since, failed_at = failing.since, failing.first.at
    if since is None or not uses or since >= failed_at:
        return nothing, list(nothing)

    def days(at: int) -> float:
        return (at - since) / DAY

    spans = [
        (days(use.start), days(use.end if use.end is not None else max(failing.failed.at, use.start)))
        for use in uses
    ]
    last_pass, first_fail = 0.0, days(failed_at)
    found: list[list[float | None]] = []
    for clock in ("calendar", "in-use"):
        if clock == "in-use" and not any(min(end, first_fail) > max(start, 0.0) for start, end in spans):
            found.append(list(nothing))
            continue
        chances = look_back(spans, last_pass=last_pass, first_fail=first_fail, rate=rate_per_day, clock=clock)
        found.append([chance.failed_by_end for chance in chances])
    return found[0], found[1]
