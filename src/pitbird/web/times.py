"""Instants on a site's clock: shown with their zone, and read from what a person typed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import dateformat
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from pitbird.fleet.times import DAY, HOUR, MINUTE, Ms, local, ms_from
from pitbird.services import clock

UTC_NAME = "UTC"
_YEAR_IS_PLAIN = 183 * DAY


class NoSuchTime(ValueError):
    """A typed time that does not exist or cannot be read; the message says what to write."""


def zone_name(moment: datetime) -> str:
    """The zone's abbreviation at a moment; where the tables know none but an offset, ``UTC−1``."""
    name = moment.tzname() or UTC_NAME
    if not name.startswith(("+", "-")):
        return name
    offset = moment.utcoffset() or timedelta()
    sign = "−" if offset < timedelta() else "+"
    minutes = abs(int(offset.total_seconds())) // 60
    return f"UTC{sign}{minutes // 60}" + (f":{minutes % 60:02d}" if minutes % 60 else "")


def shown(instant: Ms | None, zone: str | None, *, form: str = "") -> str:
    """``Wed 26 Nov 2025, 04:00 WET``; an unknown zone shows UTC, which is always right."""
    if instant is None:
        return ""
    moment = local(instant, zone or UTC_NAME)
    # Translators: the letters are those of Django's date filter, here and below.
    form = form or pgettext("form of a time", "D j M Y, H:i")
    return f"{dateformat.format(moment, form)} {zone_name(moment)}"


def short(instant: Ms | None, zone: str | None) -> str:
    """``Wed 26 Nov, 04:00 WET`` while the year is plain; with its year from half a year away on."""
    if instant is None or abs(instant - clock.now()) > _YEAR_IS_PLAIN:
        return shown(instant, zone)
    return shown(instant, zone, form=pgettext("form of a time", "D j M, H:i"))


def day_shown(text: str | None) -> str:
    """``31 Mar 2026`` for ``2026-03-31``."""
    if not text:
        return ""
    try:
        return dateformat.format(date.fromisoformat(text), pgettext("form of a day", "j M Y"))
    except ValueError:
        return text


def span(length: int) -> str:
    """A length of time in words, ``3 h 55 min``; from two days on in days and hours; down, never up."""
    if length < 2 * DAY:
        hours, minutes = length // HOUR, length % HOUR // MINUTE
        return (_("%d h") % hours + " " if hours else "") + _("%d min") % minutes
    days, hours = length // DAY, length % DAY // HOUR
    return ngettext("%d day", "%d days", days) % days + (" " + _("%d h") % hours if hours else "")


def typed(instant: Ms, zone: str) -> str:
    """The value that a field of type datetime-local wants."""
    return local(instant, zone).strftime("%Y-%m-%dT%H:%M")


def read_typed(text: str, zone: str, *, later: bool = False) -> Ms:
    """The instant of a typed local time such as ``2026-03-02T06:41``; one with an offset is taken as it is.

    A time that the clocks show twice (when they are put back) is read as the first of the two, or the
    second if ``later``: the caller chooses the safe side. A time that they skip is refused.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as fault:
        raise NoSuchTime(_("Not a time. Write it like 2026-03-02T06:41, or pick it.")) from fault
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=ZoneInfo(zone), fold=1 if later else 0)
        there = moment.astimezone(UTC).astimezone(ZoneInfo(zone))
        if there.replace(tzinfo=None) != moment.replace(tzinfo=None):
            raise NoSuchTime(
                _("The clocks skip this time on that day, being put forward. Write a time before or after.")
            )
    if not 1970 <= moment.year <= 9998:
        raise NoSuchTime(_("Not a time in this book's days. Look at the year."))
    return ms_from(moment)
