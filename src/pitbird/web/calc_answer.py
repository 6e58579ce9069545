"""The answer of any calculation laid out for a page: single values, then tables in the request's order."""

from __future__ import annotations

import json
import pprint
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from pitbird.web.calc_words import Words, value_shown, words_of

_APART = frozenset({"footing", "cautions"})
#: How a fit went: after what it says.
_LAST = ("interval_method", "log_likelihood", "converged", "certificate")


@dataclass(frozen=True)
class Fact:
    """One value in words."""

    label: str
    text: str


@dataclass(frozen=True)
class Cell:
    """One value of a table, with the head it stands under."""

    head: str
    text: str
    number: bool


@dataclass(frozen=True)
class Table:
    """Rows of values under their heads."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def columns(self) -> list[tuple[str, bool]]:
        """The heads, each with whether numbers stand under it."""
        return [(head, any(row[place].number for row in self.rows)) for place, head in enumerate(self.heads)]


@dataclass(frozen=True)
class Section:
    """A part of an answer: single values, lists of sentences, tables, and parts of its own."""

    title: str
    facts: tuple[Fact, ...]
    lists: tuple[tuple[str, tuple[str, ...]], ...]
    tables: tuple[Table, ...]
    parts: tuple[Section, ...] = ()


def laid_out(result: Mapping[str, Any], title: str = "") -> Section:
    """A result as a section; what has parts with tables of their own becomes sections in it."""
    facts: list[Fact] = []
    lists: list[tuple[str, tuple[str, ...]]] = []
    tables: list[Table] = []
    parts: list[Section] = []
    if result.get("support"):
        tables.append(_spans(result["support"], result["masses"]))
    for field, value in _in_order(result):
        words = words_of(field)
        if field in _APART or field in {"support", "masses"}:
            continue
        if isinstance(value, Mapping):
            parts.append(laid_out(value, words.label))
        elif _of_mappings(value):
            if any(_of_mappings(inner) for each in value for inner in each.values()):
                parts += [laid_out(each, str(each.get("name", words.label))) for each in value]
            else:
                tables.append(_table(words.label, value))
        elif isinstance(value, list) and value and isinstance(value[0], str):
            lists.append((words.label, tuple(value)))
        elif isinstance(value, list) and not value:
            continue
        elif not (field == "name" and title):
            facts.append(Fact(words.label, _with_unit(value, words.unit, field)))
    return Section(title, tuple(facts), tuple(lists), tuple(tables), tuple(parts))


def _in_order(result: Mapping[str, Any]) -> list[tuple[str, Any]]:
    return sorted(result.items(), key=lambda each: _LAST.index(each[0]) if each[0] in _LAST else -1)


def _spans(support: Sequence[tuple[float, float | None]], masses: Sequence[float]) -> Table:
    """Where a life without a form carries its failures."""
    heads = (_("After, days"), _("Up to, days"), _("Share of the failures"))
    rows = tuple(
        tuple(
            Cell(head, text, True)
            for head, text in zip(
                heads,
                (
                    value_shown(left),
                    _("outlives all tests") if right is None else value_shown(right),
                    f"{value_shown(100 * mass)} %",
                ),
                strict=True,
            )
        )
        for (left, right), mass in zip(support, masses, strict=True)
    )
    return Table(_("Share of the failures by age"), heads, rows)


def command_line(name: str, request: Mapping[str, Any]) -> str:
    """The command that gives the same answer."""
    return f"pitbird calc {name} <<'END'\n{json.dumps(request, indent=2, ensure_ascii=False)}\nEND"


def python_snippet(name: str, request: Mapping[str, Any]) -> str:
    """The Python that gives the same answer."""
    written = pprint.pformat(dict(request), sort_dicts=False, width=88)
    return f"from pitbird.calc.registry import answer\n\nanswer({name!r}, {written})"


def _of_mappings(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(each, Mapping) for each in value)


def _table(title: str, values: Sequence[Mapping[str, Any]]) -> Table:
    fields = list(dict.fromkeys(field for each in values for field in each))
    heads = tuple(_head(words_of(field)) for field in fields)
    rows = tuple(
        tuple(_cell(head, each.get(field), field) for head, field in zip(heads, fields, strict=True))
        for each in values
    )
    return Table(title, heads, rows)


def _head(words: Words) -> str:
    return f"{words.label} [{words.unit}]" if words.unit else words.label


def _cell(head: str, value: Any, field: str) -> Cell:
    return Cell(
        head, value_shown(value, field), isinstance(value, int | float) and not isinstance(value, bool)
    )


def _with_unit(value: Any, unit: str, field: str) -> str:
    shown = value_shown(value, field)
    return (
        f"{shown} {unit}".rstrip()
        if isinstance(value, int | float) and not isinstance(value, bool)
        else shown
    )
