"""Template filters: instants on a site's clock, codes and addresses of subjects."""

from __future__ import annotations

from django import template

from pitbird.fleet.times import Ms
from pitbird.web import names, times

register = template.Library()


@register.filter
def when(instant: int | None, zone: str | None = None) -> str:
    """``Wed 26 Nov 2025, 04:00 WET``."""
    return times.shown(None if instant is None else Ms(instant), zone)


@register.filter
def when_short(instant: int | None, zone: str | None = None) -> str:
    """``Wed 26 Nov, 04:00 WET``."""
    return times.short(None if instant is None else Ms(instant), zone)


@register.filter
def day(text: str | None) -> str:
    """``31 Mar 2026``."""
    return times.day_shown(text)


@register.filter
def code(subject: str) -> str:
    """``D-017`` for ``detector:D-017``."""
    return names.code(subject)


@register.filter
def address(subject: str) -> str:
    """The page of a subject; "" where it has none."""
    return names.address(subject)
