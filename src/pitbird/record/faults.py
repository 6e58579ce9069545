"""What was wrong with something that was handed in: where, what stood there, what is wanted."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in data that came in.

    ``where`` is the kind (or the calculation) and the path of the field
    (``bump-test.applications[0].gas_on``); ``value`` what stood there, as ``shown`` writes it, or "" where
    nothing stood or it is better not repeated; ``problem`` what is wrong and what to write instead; ``line``
    the line of the file, counted from 1.
    """

    where: str
    value: str
    problem: str
    line: int | None = None

    def __str__(self) -> str:
        """``line 3: cylinder.expires = '2026-13-01': not a date; write it as YYYY-MM-DD``."""
        place = f"line {self.line}: " if self.line is not None else ""
        value = f" = {self.value}" if self.value else ""
        return f"{place}{self.where}{value}: {self.problem}"

    @property
    def field(self) -> str:
        """The path of the field without the kind in front of it; "" where the whole of it is at fault."""
        return self.where.partition(".")[2]


def shown(value: object) -> str:
    """A value as a fault repeats it: texts quoted, everything shortened to some 40 signs."""
    if isinstance(value, str):
        return repr(value if len(value) <= _SHOWN else f"{value[:_SHOWN]}…")
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, dict):
        return "{…}" if value else "{}"
    if isinstance(value, list | tuple):
        return "[…]" if value else "[]"
    try:
        text = json.dumps(value)
    except (TypeError, ValueError):
        text = type(value).__name__
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


def listed(words: Iterable[str]) -> str:
    """``a``, ``a or b``, ``a, b or c``."""
    *most, last = list(words) or [""]
    return f"{', '.join(most)} or {last}" if most else last


def near(word: str, known: Iterable[str]) -> str:
    """``; did you mean A or B?`` for a word that is nearly one of those known, else nothing."""
    close = get_close_matches(word, list(known), n=3, cutoff=0.6)
    return f"; did you mean {listed(close)}?" if close else ""
