"""Instants as whole milliseconds since 1970-01-01T00:00:00Z (``Ms``), and local working days."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import NewType
from zoneinfo import ZoneInfo

Ms = NewType("Ms", int)

MINUTE = 60_000
HOUR = 3_600_000
DAY = 86_400_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_UTC = _EPOCH.replace(tzinfo=None)
_MILLISECOND = timedelta(milliseconds=1)


@lru_cache(maxsize=16_384)
def ms_of(text: str) -> Ms:
    """The instant written as ``YYYY-MM-DDTHH:MM:SS.mmmZ`` (the book's only form of time).

    Remembered: of one entry the same times are asked for by each thing that it is about.
    """
    return Ms((datetime.fromisoformat(text) - _EPOCH) // _MILLISECOND)


def ms_from(moment: datetime) -> Ms:
    """The instant of an aware datetime; a naive one is refused, since its zone would be a guess."""
    if moment.tzinfo is None:
        raise ValueError("a time without a zone cannot be placed; give one with its zone, e.g. +00:00")
    return Ms((moment - _EPOCH) // _MILLISECOND)


def text_of(instant: Ms) -> str:
    """The book's form of an instant: UTC, three decimals, ``Z``."""
    return (_EPOCH_UTC + timedelta(milliseconds=instant)).isoformat(timespec="milliseconds") + "Z"


def local(instant: Ms, zone: str) -> datetime:
    """The instant on the clocks of a site's zone (an IANA name)."""
    return (_EPOCH + timedelta(milliseconds=instant)).astimezone(_zone(zone))


@lru_cache(maxsize=256)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


@lru_cache(maxsize=4096)
def _change_over(year: int, month: int, day: int, zone: str, minutes: int) -> Ms:
    """The instant at which local clocks first show the change-over time on that day, or, where clocks
    skip it, the first instant after the gap (never later: a pass must not outlive its day)."""
    wall = datetime(year, month, day, minutes // 60, minutes % 60, tzinfo=_zone(zone))
    earlier = ms_from(wall.replace(fold=0).astimezone(UTC))
    if local(earlier, zone).replace(tzinfo=None) == wall.replace(tzinfo=None):
        return earlier
    # The wall time falls in a gap: fold=1 reads it with the offset after the gap, hence before it.
    before = ms_from(wall.replace(fold=1).astimezone(UTC))
    low, high = int(min(before, earlier)), int(max(before, earlier))
    offset = local(Ms(low), zone).utcoffset()
    while high - low > 1:
        middle = (low + high) // 2
        if local(Ms(middle), zone).utcoffset() == offset:
            low = middle
        else:
            high = middle
    return Ms(high)


@lru_cache(maxsize=4096)
def _change_overs(utc_day: int, zone: str, change_overs: tuple[str, ...]) -> tuple[Ms, ...]:
    """The change-overs around a day of UTC, the earliest first; local days lie within a day of those of
    UTC."""
    around = [(_EPOCH + timedelta(days=utc_day + days)).date() for days in (-2, -1, 0, 1, 2, 3, 4)]
    return tuple(
        sorted(
            _change_over(day.year, day.month, day.day, zone, int(text[:2]) * 60 + int(text[3:]))
            for day in around
            for text in change_overs
        )
    )


def end_of_working_day(instant: Ms, zone: str, change_over: str = "04:00") -> Ms:
    """The end of the working day an instant lies in: the first change-over after it, in local time.

    A working day runs from one change-over hour to the next (default 04:00 local, so that a night
    shift's test before midnight still serves it). Instants exactly at a change-over begin the new day.
    Daylight saving and skipped or repeated hours are those of the zone.
    """
    return next_change_over(instant, zone, (change_over,))


def next_change_over(instant: Ms, zone: str, change_overs: tuple[str, ...]) -> Ms:
    """The first of several local change-over times (``HH:MM``) strictly after an instant."""
    for end in _change_overs(instant // DAY, zone, change_overs):
        if end > instant:
            return end
    raise ValueError(f"no change-over of {change_overs} found after {text_of(instant)} in {zone}")
