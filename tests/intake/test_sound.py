"""What passes the schema of a kind can be written as it is: bulk import spares the look at each value."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

import pytest

from pitbird.fleet.kinds import KINDS
from pitbird.intake.entries import FREE, read_body
from pitbird.record.canonical import MAX_INT, canonical, fits

CLOSED = sorted(set(KINDS) - FREE)
#: Floats and large integers do not always come back alike: RFC 8785 section 3.2.2.3, RFC 7493 section 2.2.
FOREIGN: tuple[Any, ...] = (1.0, 1.5, float("nan"), MAX_INT + 1, -MAX_INT - 1, "\ud800", {"é": "x"}, (1.5,))
#: What no JSON text holds, and what fits; a schema may read the former as text or a list.
OTHER: tuple[Any, ...] = (b"x", ("x",), True, "", [], {}, None)


def leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The paths of all values in a body, the outer ones before the inner."""
    if path:
        yield path
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in pairs:
        yield from leaves(item, (*path, key))


def changed(body: dict[str, Any], path: tuple[Any, ...], value: object) -> dict[str, Any]:
    """A copy of a body with another value at a path."""
    made = copy.deepcopy(body)
    holder: Any = made
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    return made


@pytest.mark.parametrize("kind", CLOSED)
def test_the_schema_has_no_room_for_what_cannot_be_written(kind: str) -> None:
    def walk(schema: Any) -> None:
        if isinstance(schema, list):
            for each in schema:
                walk(each)
            return
        if not isinstance(schema, dict):
            return
        assert schema.get("type") != "number", schema
        if schema.get("type") == "object":
            assert schema.get("additionalProperties") is False, schema
        if schema.get("type") == "integer" and "const" not in schema:
            assert schema["maximum"] <= MAX_INT, schema
            assert schema["minimum"] >= -MAX_INT, schema
        for key, each in schema.items():
            if key in {"properties", "$defs"}:
                walk(list(each.values()))
            elif key not in {"default", "const", "enum", "required"}:
                walk(each)

    walk(KINDS[kind].model_json_schema())


@pytest.mark.parametrize("kind", CLOSED)
def test_a_foreign_value_is_refused_or_comes_out_as_one_that_can_be_written(kind: str) -> None:
    example = KINDS[kind].EXAMPLE
    for path in leaves(example):
        for foreign in FOREIGN + OTHER:
            raw = changed(example, path, foreign)
            body, faults = read_body(raw)
            assert (body is None) == bool(faults)
            if foreign in FOREIGN and not fits(raw):
                assert body is None, (path, foreign)
            if body is not None:
                canonical(body.as_body())


def test_the_free_kinds_are_looked_through() -> None:
    for kind, field in (("rules-adopted", "document"), ("correction", "replacement")):
        raw = {**KINDS[kind].EXAMPLE, field: {"kind": "note", "x": 1.5}}
        body, faults = read_body(raw)
        assert body is None
        assert any("1.5" in fault.value for fault in faults), faults
