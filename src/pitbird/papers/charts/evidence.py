"""What tests at an interval leave undetected, drawn with its limits and today's interval."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from pitbird.papers.charts.drawing import PAGE, Ink, Size, Spec, axis, band, level, line, mark_at, points, svg

#: Interval [days], share of time failed and not known, and its limits; None where there is no such number.
Share = tuple[float, float | None, float | None, float | None]


_TICKS_DAYS: Final = {"values": [1, 2, 7, 30, 91, 365], "format": "~g"}
_TICKS_PCT: Final = {"values": [1e-3, 1e-2, 0.1, 1, 10, 100], "format": "~g"}


def undetected(
    shares: Sequence[Share],
    today_days: float | None,
    label: str,
    *,
    asked_days: float | None = None,
    size: Size,
    ink: Ink = PAGE,
) -> str:
    """The share of time failed and not known against the interval, both on a scale of powers of ten; marked
    are the interval as tests are made now, and the one that the rules ask for."""
    rows = [
        {"days": days, "pct": _pct(value), "low": _pct(low or 1e-6), "high": _pct(high)}
        for days, value, low, high in shares
        if high is not None
    ]
    x = axis("days", "Days between tests", log=True, axis=_TICKS_DAYS)
    y = axis("pct", "Failed and not known [%]", log=True, axis=_TICKS_PCT)
    layers: list[Spec] = []
    if any(row["pct"] is not None for row in rows):
        layers.append(band(rows, x, {**y, "field": "low"}, "high"))
        layers.append(line(rows, x, y))
    else:
        layers.append(line(rows, x, {**y, "field": "high"}, dash=(6, 4)))
    if asked_days is not None:
        layers += mark_at([{"days": max(asked_days, 0.5), "words": "rules ask"}], x, "words", left_of=True)
    if today_days is not None:
        layers += mark_at([{"days": max(today_days, 0.5), "words": "as now"}], x, "words", left_of=False)
    return svg(layers, label, ink=ink, size=size)


def creep(
    months: Sequence[tuple[str, float]],
    stated_s: float | None,
    limit_s: float | None,
    label: str,
    *,
    size: Size,
    ink: Ink = PAGE,
) -> str:
    """The t90 of a sensor by the month, with the one stated and the slowest that a test would still show."""
    rows = [{"day": day, "t90": t90} for day, t90 in months]
    x: Spec = {
        "field": "day",
        "type": "temporal",
        "title": None,
        "axis": {"format": "%b %Y", "labelOverlap": True},
    }
    y = axis("t90", "t90 [s]", zero=True)
    # Room above the highest line for its words.
    top = max([t90 for _day, t90 in months] + [mark or 0.0 for mark in (stated_s, limit_s)])
    y["scale"] = {**y.get("scale", {}), "domain": [0, 1.15 * top]}
    marks = ((stated_s, "stated"), (limit_s, "alarm too late above"))
    lines = [{"t90": value, "words": words} for value, words in marks if value is not None]
    return svg(
        [line(rows, x, y), points(rows, x, y), *level(lines, y, "words", ink)], label, ink=ink, size=size
    )


def _pct(share: float | None) -> float | None:
    return None if share is None else 100 * share
