"""How days, times and numbers are written on paper: the order of a date and the decimal sign of a locale.

The words of the papers are English but for stamps, findings and what is loud of a detector. The orders follow
Unicode CLDR 44 (en-GB: d MMM y, decimal point; en-US: MMM d, y; de: dd.MM.y, fr: dd/MM/y, es: d/MM/y, nl:
dd-MM-y, decimal comma; values from memory). Months are words where the words are English, since 3/4 is April
in one country and March in another.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from pitbird.fleet.times import Ms, local

_MONTHS: Final = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
_DAYS: Final = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]


#: What stamps, findings and loud lines are written in beside English; they are the same as on the pages.
LANGUAGES: Final = ("de", "es", "fr")


@dataclass(frozen=True)
class Locale:
    """``day`` and ``weekday`` are patterns of {wd}, {d}, {dd}, {mm}, {mon} and {y}."""

    tag: str
    day: str
    weekday: str
    point: str
    clock12: bool = False

    @property
    def language(self) -> str:
        """The language of stamps and findings beside the papers' English: English where there is no other."""
        language = self.tag.partition("-")[0]
        return language if language in LANGUAGES else "en"


LOCALES: Final = {
    each.tag: each
    for each in (
        Locale("en-GB", "{d} {mon} {y}", "{wd} {d} {mon} {y}", "."),
        Locale("en-US", "{mon} {d}, {y}", "{wd}, {mon} {d}, {y}", ".", clock12=True),
        Locale("de", "{dd}.{mm}.{y}", "{dd}.{mm}.{y}", ","),
        Locale("fr", "{dd}/{mm}/{y}", "{dd}/{mm}/{y}", ","),
        Locale("es", "{d}/{mm}/{y}", "{d}/{mm}/{y}", ","),
        Locale("nl", "{dd}-{mm}-{y}", "{dd}-{mm}-{y}", ","),
    )
}


def locale_of(tag: str) -> Locale:
    """The locale of a tag. Raises ValueError that names those there are."""
    try:
        return LOCALES[tag]
    except KeyError:
        raise ValueError(f"locale: {tag!r} is none of {', '.join(LOCALES)}") from None


def day(when: date | str, locale: Locale, *, weekday: bool = False) -> str:
    """A day ("24 Nov 2026"); a text that is no ISO day comes back as it is."""
    if isinstance(when, str):
        text = when
        try:
            when = date.fromisoformat(text)
        except ValueError:
            return text
    pattern = locale.weekday if weekday else locale.day
    return pattern.format(
        wd=_DAYS[when.weekday()],
        d=when.day,
        dd=f"{when.day:02}",
        mm=f"{when.month:02}",
        mon=_MONTHS[when.month - 1],
        y=f"{when.year:04}",
    )


def clock(when: datetime, locale: Locale, *, seconds: bool = False) -> str:
    """A time of day, in twelve hours where the locale counts so."""
    tail = f":{when.second:02}" if seconds else ""
    if not locale.clock12:
        return f"{when.hour:02}:{when.minute:02}{tail}"
    return f"{when.hour % 12 or 12}:{when.minute:02}{tail} {'AM' if when.hour < 12 else 'PM'}"


def moment(at: Ms, zone: str, locale: Locale, *, weekday: bool = False, seconds: bool = False) -> str:
    """A day and a time on a site's clock with the zone ("24 Nov 2026, 06:12 GMT")."""
    when = local(at, zone)
    return f"{day(when.date(), locale, weekday=weekday)}, {clock(when, locale, seconds=seconds)} {when:%Z}"


def number(text: str, locale: Locale) -> str:
    """A decimal string with the locale's decimal sign; digits and their count stay as they were recorded."""
    return text.replace(".", locale.point)
