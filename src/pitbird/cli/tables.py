"""Plain text tables: columns as wide as their words, wrapped to the terminal where there is one."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Sequence

_LEAST = 20


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, width: int | None = None) -> str:
    """Rows under their heads, ``width`` wide (None: as wide as they need); the last two columns give way."""
    lines = [list(heads), *[list(row) for row in rows]]
    widths = [max(len(line[column]) for line in lines) for column in range(len(heads))]
    if width is not None:
        widths = _fitted(widths, width)
    shown = [_line(cells, widths) for cells in lines]
    rule = "  ".join("-" * each for each in widths)
    return "\n".join([shown[0], rule, *shown[1:]])


def terminal_width() -> int | None:
    """The terminal's width, or None where the output goes to a file or another program."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def _fitted(widths: list[int], width: int) -> list[int]:
    widths = list(widths)
    for column in (len(widths) - 1, len(widths) - 2):
        over = sum(widths) + 2 * (len(widths) - 1) - width
        if over > 0 and column >= 0:
            widths[column] = max(min(_LEAST, widths[column]), widths[column] - over)
    return widths


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    pieces = [textwrap.wrap(cell, wide) or [""] for cell, wide in zip(cells, widths, strict=True)]
    lines = []
    for row in range(max(map(len, pieces))):
        words = [piece[row] if row < len(piece) else "" for piece in pieces]
        lines.append("  ".join(word.ljust(wide) for word, wide in zip(words, widths, strict=True)).rstrip())
    return "\n".join(lines)
