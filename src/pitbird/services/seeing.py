"""Who saw what names people: a list beside the book, where law asks for one. Off unless PITBIRD_SEEN is 1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from pitbird.fleet.times import MINUTE, Ms, local, ms_from
from pitbird.services import clock
from pitbird.services.periods import WHO_SAW, Period, years_after
from pitbird.store.models import Seen

#: What is written down, with its words.
WHAT: Final = {
    "people": "the list of people",
    "person": "the page of a person",
    "account": "how a person signs in",
    "attempts": "the counts of people's tests",
    "erasing": "what erasing would take",
    "name-search": "a search by name or wearer",
    "export": "the export of the book",
    "api": "an answer of the API",
    "audit": "a part of the book, by an auditor's link",
}
TERMINAL: Final = 0
#: By a link, without an account; what it was about is then the entry by which the link was given.
LINK: Final = -1
#: By a phone's cookie, without an account; whose it is then names the phone.
PHONE: Final = -2
#: The same look again within this time is one line, as pages ask anew by themselves; an export never is.
AGAIN: Final = 10 * MINUTE


@dataclass(frozen=True)
class Sight:
    """One line: when, by which account (0: terminal, -1: a link, -2: a phone), whose it is, what was seen,
    about whom."""

    at: Ms
    account: int
    person: str
    what: str
    about: str


def record(what: str, *, account: int, person: str = "", about: str = "", now: Ms | None = None) -> None:
    """Write down that somebody saw something. Whoever calls lets nothing be seen where this fails."""
    if what not in WHAT:
        raise ValueError(f"what: {what!r} is nothing that is written down here")
    at = clock.now() if now is None else now
    line = {"account": account, "person": person, "what": what, "about": about[:80]}
    if what != "export" and Seen.objects.filter(**line, at__gt=at - AGAIN, at__lte=at).exists():
        return
    Seen.objects.create(at=at, **line)


def sights(
    *, person: str = "", by: str = "", before: int | None = None, most: int = 200
) -> tuple[Sight, ...]:
    """The newest lines: about a person, by a person, before an instant, where given."""
    found = Seen.objects.order_by("-at", "-pk")
    if person:
        found = found.filter(about=person)
    if by:
        found = found.filter(person=by)
    if before is not None:
        found = found.filter(at__lt=before)
    return tuple(Sight(Ms(one.at), one.account, one.person, one.what, one.about) for one in found[:most])


def count() -> int:
    """How many lines there are."""
    return Seen.objects.count()


def past(periods: Sequence[Period], *, zone: str = "UTC", now: Ms | None = None) -> int:
    """How many lines are past the longest period that applies to the list; none where none applies."""
    before = _end(periods, zone, now)
    return 0 if before is None else Seen.objects.filter(at__lt=before).count()


def erase_past(periods: Sequence[Period], *, zone: str = "UTC", now: Ms | None = None) -> int:
    """Take out the lines that are past their period; how many there were."""
    before = _end(periods, zone, now)
    return 0 if before is None else Seen.objects.filter(at__lt=before).delete()[0]


def _end(periods: Sequence[Period], zone: str, now: Ms | None) -> Ms | None:
    """The instant before which lines are past every period."""
    years = [period.years for period in periods if period.applies and WHO_SAW in period.kinds]
    if not years:
        return None
    today = local(clock.now() if now is None else now, zone).date()
    return _first_kept(today, max(years), zone)


def _first_kept(today: date, years: int, zone: str) -> Ms:
    """Midnight of the oldest day whose lines are still kept."""
    day = date(today.year - years, today.month, min(today.day, 28))
    while years_after(day, years) <= today:
        day += timedelta(days=1)
    return ms_from(datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone)))
