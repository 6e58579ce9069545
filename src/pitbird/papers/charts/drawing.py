"""One hand for all charts: Vega-Lite drawn to SVG in one ink, told apart by form and never by colour."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Final

Spec = dict[str, Any]
Row = Mapping[str, Any]

#: Dashes by which lines are told apart: none, long, short, long and short.
DASHES: Final = ([1, 0], [8, 4], [2, 3], [9, 3, 2, 3], [5, 2], [1, 5])
#: Roles of the parts of a drawing: it is one picture with one label.
_ROLES: Final = re.compile(r' (?:role|aria-[a-z]+)="[^"]*"')
_FONT: Final = "Source Serif 4, Georgia, Times New Roman, serif"


@dataclass(frozen=True, slots=True)
class Ink:
    """The colours of the ground a chart is drawn on."""

    line: str
    grid: str
    alarm: str


#: Those of the page it stands in, light or dark.
PAGE: Final = Ink("currentColor", "var(--rule)", "var(--no)")
#: Black on white.
PAPER: Final = Ink("#14213d", "#b8c1cf", "#8a3d00")


@dataclass(frozen=True, slots=True)
class Size:
    """Width and height of the frame [px], with a size of letters that can be read at that width."""

    width: int
    height: int
    letters: int


WIDE: Final = Size(560, 270, 14)
NARROW: Final = Size(230, 230, 13)


def axis(field: str, title: str, *, log: bool = False, zero: bool = False, **more: Any) -> Spec:
    """A quantitative axis on a field."""
    scale: Spec = {"type": "log"} if log else {"zero": zero, "nice": True}
    return {"field": field, "type": "quantitative", "title": title, "scale": scale, **more}


def line(rows: Sequence[Row], x: Spec, y: Spec, *, dash: Sequence[int] = DASHES[0], wide: float = 2) -> Spec:
    """A line through rows, in their order."""
    mark = {"type": "line", "strokeDash": list(dash), "strokeWidth": wide, "interpolate": "linear"}
    return {"data": {"values": list(rows)}, "mark": mark, "encoding": {"x": x, "y": y, "order": {"value": 0}}}


def band(rows: Sequence[Row], x: Spec, low: Spec, high: str) -> Spec:
    """The area between two fields of the rows."""
    return {
        "data": {"values": list(rows)},
        "mark": {"type": "area", "opacity": 0.16, "interpolate": "linear"},
        "encoding": {"x": x, "y": low, "y2": {"field": high}},
    }


def points(rows: Sequence[Row], x: Spec, y: Spec, *, shape: str = "circle", filled: bool = False) -> Spec:
    """A mark at each row."""
    mark = {"type": "point", "shape": shape, "filled": filled, "size": 34, "opacity": 1}
    return {"data": {"values": list(rows)}, "mark": mark, "encoding": {"x": x, "y": y}}


def level(
    rows: Sequence[Row], y: Spec, words: str, ink: Ink, *, dash: Sequence[int] = DASHES[1]
) -> list[Spec]:
    """Horizontal lines at a field of the rows, each with the words of a field above its left end."""
    data = {"values": list(rows)}
    text = {"type": "text", "align": "left", "dx": 4, "dy": -3, "baseline": "bottom", "color": ink.alarm}
    return [
        {
            "data": data,
            "mark": {"type": "rule", "strokeDash": list(dash), "color": ink.alarm},
            "encoding": {"y": y},
        },
        {"data": data, "mark": text, "encoding": {"y": y, "x": {"value": 0}, "text": {"field": words}}},
    ]


def mark_at(rows: Sequence[Row], x: Spec, words: str, *, left_of: bool = True) -> list[Spec]:
    """Vertical lines at a field of the rows, each with the words of a field beside its top."""
    data = {"values": list(rows)}
    side: Spec = {"align": "right", "dx": -5} if left_of else {"align": "left", "dx": 5}
    text = {"type": "text", "dy": 8, "baseline": "top", **side}
    return [
        {"data": data, "mark": {"type": "rule", "strokeDash": DASHES[2]}, "encoding": {"x": x}},
        {"data": data, "mark": text, "encoding": {"x": x, "y": {"value": 0}, "text": {"field": words}}},
    ]


def svg(layers: Iterable[Spec], label: str, *, ink: Ink = PAGE, size: Size = WIDE) -> str:
    """Layers drawn over each other as one SVG element.

    ``label`` says in words what the picture shows, for those who cannot see it; the numbers stand in the
    table beside it. The drawing has no style attributes, no script, and the same bytes for the same layers.
    """
    import vl_convert

    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "width": size.width,
        "height": size.height,
        "background": None,
        "config": _config(ink, size),
        "layer": list(layers),
    }
    drawn: str = vl_convert.vegalite_to_svg(spec, "v5_20")
    start, _, rest = drawn.partition("<svg ")
    return f'{start}<svg role="img" aria-label="{escape(label, quote=True)}" {_ROLES.sub("", rest)}'


def _config(ink: Ink, size: Size) -> Spec:
    words = {"labelFontSize": size.letters, "titleFontSize": size.letters, "titleFontWeight": 600}
    lines = dict.fromkeys(("labelColor", "titleColor", "tickColor", "domainColor"), ink.line)
    return {
        "aria": False,
        "font": _FONT,
        "view": {"stroke": None},
        "axis": {**words, **lines, "gridColor": ink.grid, "labelLimit": size.width, "tickCount": 5},
        "line": {"color": ink.line},
        "area": {"color": ink.line},
        "point": {"color": ink.line, "fill": None, "stroke": ink.line},
        "bar": {"color": ink.line},
        "rule": {"color": ink.line},
        "text": {"color": ink.line, "fontSize": size.letters, "font": _FONT},
    }
