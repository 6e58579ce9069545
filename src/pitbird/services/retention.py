"""Which sealed names and texts are past their period, and erasing them. Entries are never deleted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256

from django.db import transaction

from pitbird.fleet.state import DetectorState, PersonState, State
from pitbird.fleet.times import Ms, local
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.services import clock, seeing
from pitbird.services.erasing import Erased, Sealed, erase_groups, require_keeper, rewrite_files, sealed_of
from pitbird.services.knowing import Now
from pitbird.services.periods import Period, years_after
from pitbird.services.writing import Actor
from pitbird.store import book, seals

#: Detectors with this open reason come back no more.
_FOR_GOOD = "life-ended"


@dataclass(frozen=True)
class Held:
    """One sealed text or photo with its age; ``ends`` is the first day on which it may go, None while that
    cannot be said (somebody is still here, a detector still in use, or no period is set for its kind)."""

    sealed: Sealed
    day: date
    ends: date | None
    by: str | None

    def past(self, today: date) -> bool:
        """Whether every period has ended."""
        return self.ends is not None and self.ends <= today


@dataclass(frozen=True)
class KindHeld:
    """What is held of one kind of entry: how many texts, the oldest, and how many are past their period."""

    kind: str
    count: int
    oldest: date
    past: int
    periods: tuple[Period, ...]


@dataclass(frozen=True)
class PersonLeft:
    """Somebody who left and of whom names or notes are still held."""

    person: str
    left: date
    count: int
    past: int
    ends: date | None


@dataclass(frozen=True)
class Survey:
    """All that is held, by kind and for people who left; ``past`` is what may go, in the book's order."""

    today: date
    kinds: tuple[KindHeld, ...]
    left: tuple[PersonLeft, ...]
    past: tuple[Held, ...]
    sights: int

    @property
    def mark(self) -> str:
        """A short mark of exactly these texts, so that what is erased is what was looked at."""
        return sha256("\n".join(held.sealed.commitment for held in self.past).encode()).hexdigest()[:16]

    @property
    def count(self) -> int:
        """How many texts, photos and lines of who saw what may go."""
        return len(self.past) + self.sights


@dataclass(frozen=True)
class Gone:
    """What went: texts and photos, with the entries that say so, and lines of who saw what."""

    erased: Erased | None
    sights: int


def survey(periods: Sequence[Period], *, zone: str = "UTC", now: Ms | None = None) -> Survey:
    """Look at every sealed text in the book; reads the book once."""
    today = local(clock.now() if now is None else now, zone).date()
    applying = [period for period in periods if period.applies]
    held = tuple(_held(applying, zone))
    kinds = []
    for kind in dict.fromkeys(sorted(each.sealed.kind for each in held)):
        of_kind = [each for each in held if each.sealed.kind == kind]
        kinds.append(
            KindHeld(
                kind=kind,
                count=len(of_kind),
                oldest=min(each.day for each in of_kind),
                past=sum(each.past(today) for each in of_kind),
                periods=tuple(period for period in applying if kind in period.kinds),
            )
        )
    kept = {each.sealed.commitment for each in held if not each.past(today)}
    sights = seeing.past(periods, zone=zone, now=now)
    past = [each for each in held if each.past(today) and each.sealed.commitment not in kept]
    return Survey(today, tuple(kinds), tuple(_people(held, today)), tuple(past), sights)


def erase_past(
    mark: str, periods: Sequence[Period], actor: Actor, *, zone: str = "UTC", now: Ms | None = None
) -> Gone:
    """Erase what is past its period: names of people under each person, other texts under the book, and the
    old lines of who saw what.

    ``mark`` is that of the survey that was looked at. Raises ``EntryRefused`` for anybody but a keeper, where
    nothing is past its period, and where something changed since; then nothing is erased.
    """
    require_keeper(actor)
    found = survey(periods, zone=zone, now=now)
    if found.mark != mark:
        problem = "what is past its period changed meanwhile; look anew"
        raise EntryRefused([Fault("erasure.commitments", "", problem)])
    if not found.count:
        raise EntryRefused([Fault("erasure.commitments", "", "nothing is past its period")])
    with transaction.atomic():
        sights = seeing.erase_past(periods, zone=zone, now=now)
        entries = erase_groups(_groups(found.past), "retention-ended", actor, now=now)
    erased = Erased(entries, len(found.past), rewrite_files()) if found.past else None
    return Gone(erased, sights)


def _groups(past: Sequence[Held]) -> list[tuple[str, list[str]]]:
    first = book.at_index(0)
    groups: dict[str, list[str]] = {}
    for each in past:
        about = each.sealed.about
        person = about[0] if len(about) == 1 and about[0].startswith("person:") else None
        subject = person or f"book:{first.entry_id if first else ''}"
        groups.setdefault(subject, []).append(each.sealed.commitment)
    return list(groups.items())


def _held(applying: Sequence[Period], zone: str) -> Iterable[Held]:
    """Every sealed text with its end, in the book's order."""
    rows, states = [], dict[str, State]()
    for row in seals.rows_with_seals():
        rows.append(row)
        if len(rows) == 2000:
            yield from _held_of(rows, applying, zone, states)
            rows = []
    yield from _held_of(rows, applying, zone, states)


def _held_of(
    rows: list[book.Row], applying: Sequence[Period], zone: str, states: dict[str, State]
) -> Iterable[Held]:
    days = {row.index: local(Ms(max(row.at, row.recorded_at)), zone).date() for row in rows}
    sealed = sealed_of(rows)
    wanted = {subject for one in sealed for subject in one.about} - states.keys()
    states |= Now().some(sorted(wanted))
    for one in sealed:
        day = days[one.index]
        ends, by = _end(one, day, applying, states, zone)
        yield Held(one, day, ends, by)


def _end(
    one: Sealed, day: date, applying: Sequence[Period], states: dict[str, State], zone: str
) -> tuple[date | None, str | None]:
    """The day on which the longest of all periods ends, and that period."""
    ends: date | None = None
    by: str | None = None
    for period in applying:
        if one.kind not in period.kinds:
            continue
        start = _start(period, one, day, states, zone)
        if start is None:
            return None, period.id
        end = years_after(start, period.years)
        if ends is None or end > ends:
            ends, by = end, period.id
    return ends, by


def _start(period: Period, one: Sealed, day: date, states: dict[str, State], zone: str) -> date | None:
    """From when a period counts; None where that has not come. Never before the entry itself."""
    if period.start == "entry":
        return day
    sort = "person:" if period.start == "left" else "detector:"
    starts = [
        _left(states.get(subject)) if sort == "person:" else _retired(states.get(subject), zone)
        for subject in one.about
        if subject.startswith(sort)
    ]
    dates = [start for start in starts if start is not None]
    return max([day, *dates]) if dates and len(dates) == len(starts) else None


def _left(state: State | None) -> date | None:
    return date.fromisoformat(state.left) if isinstance(state, PersonState) and state.left else None


def _retired(state: State | None, zone: str) -> date | None:
    if not isinstance(state, DetectorState):
        return None
    for reason in state.open_reasons:
        if reason.because == _FOR_GOOD:
            return local(Ms(reason.at), zone).date()
    return None


def _people(held: Sequence[Held], today: date) -> Iterable[PersonLeft]:
    mine: dict[str, list[Held]] = {}
    for each in held:
        for subject in each.sealed.about:
            if subject.startswith("person:"):
                mine.setdefault(subject, []).append(each)
    states = Now().some(sorted(mine))
    for person in sorted(mine):
        left = _left(states.get(person))
        if left is None or left > today:
            continue
        ends = [each.ends for each in mine[person]]
        known = [end for end in ends if end is not None]
        yield PersonLeft(
            person,
            left,
            len(mine[person]),
            sum(each.past(today) for each in mine[person]),
            max(known) if len(known) == len(ends) else None,
        )
