"""A form for the request of any calculation, made from its schema: typed text on one side, the request on the
other. Empty boxes are left out of the request, empty rows of a list too."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from pitbird.calc import units
from pitbird.calc.definition import Refused
from pitbird.record.faults import Fault
from pitbird.science.gases import GASES
from pitbird.web.calc_words import Words, words_of

Schema = Mapping[str, Any]
#: Empty rows that stand on the page where a list may take the place of a name.
SPARE_ROWS: Final = 2
#: The path of a row that is no part of the request.
_NOWHERE: Final = "nowhere"
Typed = Mapping[str, str]

GAS_NAMES: Final = tuple(sorted(gas.name for gas in GASES))
#: Fields that are asked for as lines of text, and how a line is written.
_LINES: Final = {
    "numbers": "Numbers, with spaces or lines between them.",
    "pairs": "One pair a line, as 30 60; a dash for an end that is open.",
    "named": "One a line, as carbon monoxide 0.02.",
}
#: What one of several in a box is called.
_PLACES: Final = {"pairs": "line", "numbers": "number"}


@dataclass(frozen=True)
class Box:
    """One thing to type or choose. ``how``: number, text, gas, choice, yes-no, numbers, pairs, named."""

    name: str
    path: str
    how: str
    words: Words
    help: str
    value: str
    required: bool
    unit: str = ""
    units: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()

    @property
    def format(self) -> str:
        """How lines of text are to be written; "" for other boxes."""
        return _LINES.get(self.how, "")


@dataclass(frozen=True)
class Group:
    """Boxes under a heading: a part of the request, or a row of a list."""

    name: str
    path: str
    words: Words
    help: str
    nodes: tuple[Box | Group | Rows, ...]
    required: bool = True
    faults: tuple[str, ...] = ()
    number: int = 0


@dataclass(frozen=True)
class Rows:
    """A list of parts; an empty one is always there to be filled where ``more`` was asked for. ``named`` is
    the choice of a name in its place, where the request takes either."""

    name: str
    path: str
    words: Words
    help: str
    rows: tuple[Group, ...]
    required: bool
    faults: tuple[str, ...] = ()
    named: Box | None = None


Node = Box | Group | Rows


@dataclass(frozen=True)
class Sheet:
    """The form: its nodes, the request that was typed, and faults that belong to no box."""

    nodes: tuple[Node, ...]
    raw: Mapping[str, Any]
    elsewhere: tuple[str, ...] = ()

    @property
    def at_fault(self) -> list[tuple[str, str, str]]:
        """Name of the box, its words, and the problem, in the order of the page."""
        return [(node.name, node.words.label, fault) for node in _walk(self.nodes) for fault in node.faults]


def sheet(schema: Schema, typed: Typed, *, more: str = "", faults: Iterable[Fault] = ()) -> Sheet:
    """The form for a request's schema with what was typed; ``more`` names a list that gets an empty row."""
    making = _Making(schema, typed, more, _by_path(faults))
    nodes, raw = making.fields(schema, "", "")
    left = [
        f"{path}: {problem}" if path else problem for path, told in making.faults.items() for problem in told
    ]
    return Sheet(nodes, raw, tuple(left))


def typed_of(raw: Any, name: str = "") -> dict[str, str]:
    """The boxes' texts for a request: the way back, for examples."""
    if isinstance(raw, Mapping):
        numbers = all(isinstance(value, int | float) for value in raw.values())
        # Names of gases hold no underscore, names of fields nearly always do.
        if raw and name and numbers and "-" not in name and not any("_" in key for key in raw):
            return {name: _named_lines(raw)}
        joined: dict[str, str] = {}
        for key, value in raw.items():
            joined |= typed_of(value, f"{name}-{key}" if name else key)
        return joined
    if isinstance(raw, list | tuple):
        if raw and isinstance(raw[0], Mapping):
            rows: dict[str, str] = {}
            for index, value in enumerate(raw):
                rows |= typed_of(value, f"{name}-{index}")
            return rows
        return {name: _lines(raw)}
    if raw is None:
        return {}
    return {name: {True: "yes", False: "no"}[raw] if isinstance(raw, bool) else _plain(raw)}


def _lines(values: Iterable[Any]) -> str:
    listed = list(values)
    if listed and isinstance(listed[0], list | tuple):
        return "\n".join(" ".join("-" if end is None else _plain(end) for end in pair) for pair in listed)
    return " ".join(_plain(value) for value in listed)


def _named_lines(values: Mapping[str, Any]) -> str:
    return "\n".join(f"{name} {_plain(value)}" for name, value in values.items())


def _plain(value: Any) -> str:
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _by_path(faults: Iterable[Fault]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for fault in faults:
        found.setdefault(fault.field, []).append(fault.problem)
    return found


def _walk(nodes: Iterable[Node]) -> Iterable[Node]:
    for node in nodes:
        yield node
        if isinstance(node, Group):
            yield from _walk(node.nodes)
        elif isinstance(node, Rows):
            yield from _walk((node.named, *node.rows) if node.named else node.rows)


class _Making:
    """Walks a schema beside what was typed."""

    def __init__(self, schema: Schema, typed: Typed, more: str, faults: dict[str, list[str]]) -> None:
        self.root = schema
        self.typed = typed
        self.more = more
        self.faults = faults

    def fields(self, schema: Schema, name: str, path: str) -> tuple[tuple[Node, ...], dict[str, Any]]:
        """The nodes of an object's fields, and the object that was typed."""
        nodes: list[Node] = []
        raw: dict[str, Any] = {}
        needed = schema.get("required", ())
        for field, of in schema.get("properties", {}).items():
            node, value = self.field(
                field, of, f"{name}-{field}" if name else field, f"{path}.{field}" if path else field,
                required=field in needed,
            )  # fmt: skip
            nodes.append(node)
            if value is not None:
                raw[field] = value
        return tuple(nodes), raw

    def field(self, field: str, of: Schema, name: str, path: str, *, required: bool) -> tuple[Node, Any]:
        """One field's node and value; the value is None where nothing was typed."""
        shape = self._shape(of)
        help_text = of.get("description", "") or shape.get("description", "")
        words = words_of(field)
        if "properties" in shape:
            nodes, raw = self.fields(shape, name, path)
            group = Group(name, path, words, help_text, nodes, required, tuple(self._taken(path)))
            return group, raw if raw or required else None
        if shape.get("type") == "array" and "properties" in self._shape(shape.get("items", {})):
            return self._rows(self._shape(shape["items"]), name, path, words, help_text, required=required)
        box = self._box(field, shape, of, name, path, required=required)
        if (item := self._own_rows(of)) is not None:
            return self._either(box, item, required=required)
        try:
            return box, _value(box, field)
        except Refused as refused:
            told = tuple(fault.problem for fault in refused.faults)
            return replace(box, faults=(*box.faults, *told)), box.value

    def _own_rows(self, of: Schema) -> Schema | None:
        """The parts of a list that may stand in place of a name; None where a field takes no such list."""
        for option in of.get("anyOf", ()):
            if option.get("type") == "array" and "properties" in self._shape(option.get("items", {})):
                return self._shape(option["items"])
        return None

    def _either(self, box: Box, item: Schema, *, required: bool) -> tuple[Rows, Any]:
        """A name to choose, or rows of one's own; both at once are a fault, since only one can hold."""
        rows, own = self._rows(
            item, box.name, box.path, box.words, box.help, required=False, spare=SPARE_ROWS
        )
        rows = replace(rows, rows=tuple(map(_as_limits, rows.rows)))
        named = replace(box, help="", words=Words("A named set", ""))
        chosen = named.value.strip()
        if chosen and own:
            fault = "a named set is chosen, and rows of your own are filled in; keep one of the two"
            named = replace(named, faults=(fault,))
            return replace(rows, named=named, required=required), {"named": chosen, "own": own}
        return replace(rows, named=named, required=required), chosen or own or None

    def _rows(
        self,
        item: Schema,
        name: str,
        path: str,
        words: Words,
        help_text: str,
        *,
        required: bool,
        spare: int = 0,
    ) -> tuple[Rows, Any]:
        rows: list[Group] = []
        values: list[Any] = []
        wanted = max(self._count(name), spare) + (self.more == name)
        for index in range(max(wanted, 1 if required else 0)):
            row = f"{name}-{index}"
            # An empty row has no place in the list, and so no faults of its own.
            there = f"{path}[{len(values)}]" if self._filled(item, row) else _NOWHERE
            nodes, raw = self.fields(item, row, there)
            if there != _NOWHERE:
                values.append(raw)
            rows.append(
                Group(row, there, words, "", nodes, True, tuple(self._taken(there)), number=index + 1)
            )
        made = Rows(name, path, words, help_text, tuple(rows), required, tuple(self._taken(path)))
        return made, values if values or required else None

    def _filled(self, item: Schema, row: str) -> bool:
        """Whether anything was typed into a row; what stands chosen of itself does not count."""
        nodes, _ = _Making(self.root, self.typed, "", {}).fields(item, row, "")
        boxes = (node for node in _walk(nodes) if isinstance(node, Box))
        return any(box.value.strip() and box.how not in ("choice", "yes-no") for box in boxes)

    def _count(self, name: str) -> int:
        start = re.compile(re.escape(name) + r"-(\d+)-")
        return max((int(found[1]) + 1 for key in self.typed if (found := start.match(key))), default=0)

    def _box(self, field: str, shape: Schema, of: Schema, name: str, path: str, *, required: bool) -> Box:
        own, others = units.offered(field) if self._how(shape) == "number" else ("", ())
        chosen = self.typed.get(f"{name}-unit", own)
        default = of.get("default")
        value = self.typed.get(name, "")
        return Box(
            name, path, self._how(shape), words_of(field), _help(of, shape, default), value, required,
            unit=chosen if chosen in others else own, units=others,
            choices=tuple(str(each) for each in shape.get("enum", ())),
            faults=tuple(self._taken(path) + self._taken_within(path, self._how(shape))),
        )  # fmt: skip

    def _how(self, shape: Schema) -> str:
        kind = shape.get("type")
        if "enum" in shape:
            return "choice"
        if kind == "boolean":
            return "yes-no"
        if kind in ("number", "integer"):
            return "number"
        if kind == "array":
            return "pairs" if self._shape(shape.get("items", {})).get("type") == "array" else "numbers"
        if kind == "object":
            return "named"
        return "gas" if shape.get("format") == "gas" else "text"

    def _shape(self, of: Schema) -> Schema:
        """A field's schema without references and without "or nothing"."""
        options = [option for option in of.get("anyOf", ()) if option.get("type") != "null"]
        if options:
            return self._shape(options[0])
        if "$ref" in of:
            found: Schema = self.root["$defs"][of["$ref"].rpartition("/")[2]]
            return found
        if "const" in of:
            return {**of, "enum": [of["const"]]}
        if of.get("type") == "array" and "prefixItems" in of:
            return {**of, "items": {"type": "array"}} if "items" not in of else of
        return of

    def _taken(self, path: str) -> list[str]:
        return self.faults.pop(path, [])

    def _taken_within(self, path: str, how: str) -> list[str]:
        """The faults of single lines or numbers of a box, each with the place of it."""
        if how not in _PLACES:
            return []
        told: list[str] = []
        for inner in [name for name in self.faults if name.startswith(f"{path}[")]:
            place = int(inner.removeprefix(f"{path}[").partition("]")[0]) + 1
            told += [f"{_PLACES[how]} {place}: {problem}" for problem in self.faults.pop(inner)]
        return told


#: What a mean is called where it is a limit and not a result.
_LIMIT_WORDS: Final = {"twa_15min_ppm": "15-minute mean", "twa_8h_ppm": "8-hour mean"}


def _as_limits(row: Group) -> Group:
    """A row with its means named as limits."""
    nodes = (
        replace(node, words=Words(_LIMIT_WORDS[name], node.words.unit))
        if isinstance(node, Box) and (name := node.name.rpartition("-")[2]) in _LIMIT_WORDS
        else node
        for node in row.nodes
    )
    return replace(row, nodes=tuple(nodes))


def _value(box: Box, field: str) -> Any:
    """What was typed as a plain value; None for nothing."""
    text = box.value.strip()
    if not text:
        return None
    if box.how == "number":
        return units.from_chosen(field, _number(text), box.unit)
    if box.how == "yes-no":
        return {"yes": True, "no": False}.get(text, text)
    if box.how == "numbers":
        return [_number(word) for word in re.split(r"[\s;]+", text) if word]
    if box.how == "pairs":
        return [[None if end == "-" else _number(end) for end in row.split()] for row in _rows_of(text)]
    if box.how == "named":
        return dict(_named(row) for row in _rows_of(text))
    return text


def _help(of: Schema, shape: Schema, default: Any) -> str:
    text = str(of.get("description", "") or shape.get("description", ""))
    if default is None or isinstance(default, list | dict):
        return text
    return f"{text} If left out: {_plain(default) if not isinstance(default, bool) else default}.".strip()


def _rows_of(text: str) -> list[str]:
    return [row.strip() for row in text.splitlines() if row.strip()]


def _named(row: str) -> tuple[str, Any]:
    name, _, number = row.rpartition(" ")
    return (name.rstrip(" :="), _number(number)) if name else (row, row)


def _number(text: str) -> float | str:
    """A number as typed, with a comma or a point; what is none is kept, so that the refusal can repeat it."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text
