"""Tables as CSV (RFC 4180, UTF-8, a header line) and as JSON Lines, line by line.

A spreadsheet takes some cells for formulas and runs them. Such a cell gets an apostrophe before it in the
CSV: one that begins with ``=``, ``+``, ``-``, ``@``, tab, carriage return or line feed (OWASP, "CSV
Injection"), or with the full-width forms of the first four, spaces before them left aside. Numbers stay
numbers.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping, Sequence
from typing import Final

#: The characters of OWASP's page "CSV Injection" and their full-width forms (U+FF1D, FF0B, FF0D, FF20).
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_NUMBER: Final = re.compile(r"-?[0-9]+(?:\.[0-9]+)?", re.ASCII)

Cell = str | int | None


def harmless(cell: Cell) -> str:
    """The cell as text that no spreadsheet takes for a formula."""
    text = "" if cell is None else str(cell)
    if text.lstrip(" ").startswith(FORMULA_STARTS) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def csv_line(cells: Sequence[Cell]) -> bytes:
    """One line of a table, ended by CR LF (RFC 4180, section 2)."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\r\n").writerow([harmless(cell) for cell in cells])
    return buffer.getvalue().encode()


def json_line(row: Mapping[str, Cell]) -> bytes:
    """One line of JSON Lines: the row as it is, empty cells left out."""
    kept = {name: cell for name, cell in row.items() if cell not in (None, "")}
    return json.dumps(kept, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
