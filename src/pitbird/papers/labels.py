"""Sheets of labels: a QR code that the pages take as scanned, and the code in letters beside or under it.

The grid of a sheet is given by its measures; where margins are not given the grid stands in the middle of
the page. A label too small for a code that a phone can read is refused.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pitbird.papers.typesetting import Paper, qr, typeset

#: Width and height of the page, [mm] (ISO 216; ANSI/ASME Y14.1 size A).
PAGES: Final[dict[Paper, tuple[float, float]]] = {"a4": (210.0, 297.0), "us-letter": (215.9, 279.4)}
#: The smallest side of one square of the code that is printed, [mm]; ours, for a phone at arm's length.
SMALLEST_SQUARE_MM: Final = 0.33
#: Room around what is printed on a label, for the cut, [mm]; ours.
EDGE_MM: Final = 1.5
#: Room that the letters need beside or under the code, [mm]; ours.
_BESIDE_MM: Final = 14.0
_UNDER_MM: Final = 5.0


class LabelsRefused(ValueError):
    """A sheet cannot be printed so; each line names a field, what is wrong, and what to do."""


@dataclass(frozen=True)
class Grid:
    """Where the labels of a sheet stand, [mm]; ``left`` and ``top`` None: the grid in the middle."""

    paper: Paper
    columns: int
    rows: int
    width: float
    height: float
    gap_x: float = 0.0
    gap_y: float = 0.0
    left: float | None = None
    top: float | None = None


#: Grids that fit their page without margins of their own: columns x rows of width x height, and gaps.
GRIDS: Final[dict[Paper, tuple[str, ...]]] = {
    "a4": ("3x8 of 70x37", "2x7 of 99x38.1 gap 2.5x0", "4x10 of 48.5x25.4"),
    "us-letter": ("3x10 of 66.7x25.4 gap 3.2x0", "2x7 of 101.6x33.9"),
}
_PAIR: Final = r"([0-9]{1,3}(?:\.[0-9]{1,2})?)x([0-9]{1,3}(?:\.[0-9]{1,2})?)"
_GRID: Final = re.compile(rf"([0-9]{{1,2}})x([0-9]{{1,2}}) of {_PAIR}(?: gap {_PAIR})?(?: margin {_PAIR})?")


def read_grid(text: str, paper: Paper) -> Grid:
    """A grid from its measures in mm: ``3x8 of 70x37 gap 2.5x0 margin 5x10``.

    Columns x rows of width x height; gaps across x down; left x top margin. Raises LabelsRefused.
    """
    found = _GRID.fullmatch(" ".join(text.lower().replace("×", "x").replace(",", ".").split()))
    if not found:
        raise LabelsRefused(
            f"grid: {text!r} cannot be read; write columns x rows of width x height in mm, as "
            "3x8 of 70x37, and behind it gap 2.5x0 or margin 5x10 where needed"
        )
    columns, rows = int(found[1]), int(found[2])
    width, height, gap_x, gap_y, left, top = (
        None if part is None else float(part) for part in found.groups()[2:]
    )
    return Grid(paper, columns, rows, width or 0, height or 0, gap_x or 0, gap_y or 0, left, top)


@dataclass(frozen=True)
class Label:
    """One label: the subject as it is scanned, the code as it is read, a line or two of what it is."""

    scanned: str
    code: str
    lines: tuple[str, ...] = ()


def faults(labels: Sequence[Label], grid: Grid, start: int) -> list[str]:
    """Everything for which a sheet cannot be printed."""
    found = []
    if not 1 <= grid.columns <= 20 or not 1 <= grid.rows <= 50:
        found.append(f"grid: {grid.columns} x {grid.rows} labels; write 1 to 20 columns and 1 to 50 rows")
        return found
    for name, value in (("width", grid.width), ("height", grid.height)):
        if not 10 <= value <= 200:
            found.append(f"{name}: {value:g} mm; a label measures 10 to 200 mm")
    for name, value in (("gap-x", grid.gap_x), ("gap-y", grid.gap_y)):
        if not 0 <= value <= 50:
            found.append(f"{name}: {value:g} mm; write 0 to 50")
    if not 1 <= start <= grid.columns * grid.rows:
        found.append(f"start: {start}; the sheet has the labels 1 to {grid.columns * grid.rows}")
    if not labels:
        found.append("labels: there is nothing to print; name at least one thing")
    if found:
        return found
    for (left, size), page, name in zip(_spans(grid), PAGES[grid.paper], ("width", "height"), strict=True):
        if left < -0.05 or left + size > page + 0.05:
            found.append(
                f"{name}: the labels reach over the page, which measures {page:g} mm; "
                "write smaller labels, gaps or margins"
            )
    smallest = min((_square(label.scanned, grid) for label in labels), default=1.0)
    if smallest < SMALLEST_SQUARE_MM:
        found.append(
            f"height: a square of the code would measure {smallest:.2f} mm on labels of {grid.width:g} x "
            f"{grid.height:g} mm, where a phone needs {SMALLEST_SQUARE_MM} mm; take larger labels"
        )
    return found


def print_labels(
    labels: Sequence[Label], grid: Grid, *, start: int = 1, made_at: datetime, title: str = "Labels"
) -> bytes:
    """The sheets, as PDF; ``start`` is the first free label of the first sheet. Raises LabelsRefused."""
    if told := faults(labels, grid, start):
        raise LabelsRefused("\n".join(told))
    (left, _width), (top, _height) = _spans(grid)
    each = grid.columns * grid.rows
    placed = []
    for at, label in enumerate(labels, start=start - 1):
        sheet, place = divmod(at, each)
        row, column = divmod(place, grid.columns)
        placed.append(
            {
                "sheet": sheet,
                "x": left + column * (grid.width + grid.gap_x),
                "y": top + row * (grid.height + grid.gap_y),
                "code": label.code,
                "lines": list(label.lines[:2]),
                "qr": qr(label.scanned),
                "alt": f"QR code: {label.scanned}",
            }
        )
    data = {
        "title": title,
        "lang": "en-GB",
        "width": grid.width,
        "height": grid.height,
        "edge": EDGE_MM,
        "side": _side(grid),
        "under": _is_under(grid),
        "sheets": 1 + (start - 2 + len(labels)) // each,
        "labels": placed,
    }
    return typeset("labels", data, made_at=made_at, paper=grid.paper)


def _spans(grid: Grid) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where the grid begins and how long it is, across and down."""
    width, height = PAGES[grid.paper]
    across = grid.columns * grid.width + (grid.columns - 1) * grid.gap_x
    down = grid.rows * grid.height + (grid.rows - 1) * grid.gap_y
    left = (width - across) / 2 if grid.left is None else grid.left
    top = (height - down) / 2 if grid.top is None else grid.top
    return (left, across), (top, down)


def _is_under(grid: Grid) -> bool:
    """Whether the letters stand under the code: on labels that are no wider than they are high."""
    return grid.width < grid.height + _BESIDE_MM


def _side(grid: Grid) -> float:
    """The side of the code with its quiet zone, [mm]."""
    inside = min(grid.width, grid.height) - 2 * EDGE_MM
    if _is_under(grid):
        return min(grid.width - 2 * EDGE_MM, grid.height - 2 * EDGE_MM - _UNDER_MM)
    return min(inside, 30.0)


def _square(text: str, grid: Grid) -> float:
    import segno

    modules = segno.make(text, error="m", micro=False, boost_error=False).symbol_size(border=4)[0]
    return _side(grid) / modules
