"""Entries from raw values and from JSON text: accepted whole, or refused with every fault."""

import copy
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.kinds import ALL, KINDS
from pitbird.fleet.kinds.base import Body
from pitbird.intake.entries import parse_body, read_body


def example(kind: str, **changes: Any) -> dict[str, Any]:
    return {**copy.deepcopy(KINDS[kind].EXAMPLE), **changes}


def said(raw: object) -> list[str]:
    body, faults = read_body(raw)
    assert (body is None) == bool(faults)
    return [str(fault) for fault in faults]


@pytest.mark.parametrize("model", ALL, ids=lambda model: model.model_fields["kind"].default)
def test_every_example_is_accepted_as_its_kind(model: type[Body]) -> None:
    body, faults = read_body(model.EXAMPLE)
    assert faults == ()
    assert type(body) is model


@pytest.mark.parametrize("model", ALL, ids=lambda model: model.model_fields["kind"].default)
def test_every_example_is_accepted_as_text(model: type[Body]) -> None:
    body, faults = parse_body(json.dumps(model.EXAMPLE).encode())
    assert faults == ()
    assert type(body) is model


def test_all_faults_of_an_entry_are_said_at_once_with_line_and_path() -> None:
    raw = example(
        "cylinder",
        expires="2026-13-01",
        lott="L-1",
        components=[{"gas": "methane", "amount": 2.2, "unit": "% vol"}, {"amount": "2,2", "unit": "ppm"}],
        home="north",
    )
    body, faults = read_body(raw, line=3)
    assert body is None
    assert {str(fault) for fault in faults} == {
        "line 3: cylinder.expires = '2026-13-01': not a date; write it as YYYY-MM-DD",
        "line 3: cylinder.lott = 'L-1': no such field; did you mean lot?",
        'line 3: cylinder.components[0].amount = 2.2: a bare number; write "2.2" as a string',
        (
            "line 3: cylinder.components[0].unit = '% vol': not a unit that is known here; write ppm or "
            "vol_pct; did you mean vol_pct?"
        ),
        "line 3: cylinder.components[1].gas: missing; it must be given",
        "line 3: cylinder.components[1].amount = '2,2': not a decimal; write \"2.2\" with a point",
        (
            "line 3: cylinder.home = 'north': not a reference to a site; write site: and its code, "
            "such as site:north-works"
        ),
    }


@pytest.mark.parametrize(
    ("raw", "fault"),
    [
        (5, "entry = 5: not an entry; an entry is an object with a 'kind'"),
        (["kind"], "entry = […]: not an entry; an entry is an object with a 'kind'"),
        (None, "entry = null: not an entry; an entry is an object with a 'kind'"),
        ({}, "entry.kind: missing; every entry names its kind, such as genesis, site, person, detector"),
        ({"kind": 7}, "entry.kind = 7: must be the name of a kind, as text"),
        ({"kind": "bump_tset"}, "entry.kind = 'bump_tset': no such kind of entry; did you mean bump-test?"),
        ({"kind": "zzzz"}, "entry.kind = 'zzzz': no such kind of entry"),
    ],
)
def test_what_is_no_entry_of_a_known_kind_is_refused(raw: object, fault: str) -> None:
    assert said(raw) == [fault]


@pytest.mark.parametrize("version", [True, 1.0])
def test_the_version_is_a_whole_number_and_nothing_that_only_equals_it(version: object) -> None:
    [fault] = said(example("note", v=version))
    assert fault.startswith("note.v = ")
    assert fault.endswith("must be the whole number 1")


# --- What the book cannot hold ------------------------------------------------------------------------------


def test_numbers_and_keys_that_the_book_cannot_hold_are_found_in_free_parts_too() -> None:
    document = {"a": 1.5, "b": [2**60, {"ü": 1}], "c": float("nan"), "d": b"raw"}
    assert said(example("rules-adopted", document=document)) == [
        'rules-adopted.document.a = 1.5: a bare number; write "1.5" as a string',
        (
            "rules-adopted.document.b[0] = 1152921504606846976: a number too big for the book; "
            "write it as a string"
        ),
        "rules-adopted.document.b[1] = 'ü': the name of a field must be ASCII text",
        "rules-adopted.document.c = NaN: no number at all",
        "rules-adopted.document.d = bytes: is no JSON value",
    ]


def test_half_a_surrogate_pair_is_refused_once() -> None:
    [fault] = said(example("site", name="\ud800"))
    assert fault.endswith("holds half of a surrogate pair, which is no character; write it again")


def test_a_value_nested_too_deep_is_refused_without_being_followed() -> None:
    document: dict[str, Any] = {}
    for _ in range(5000):
        document = {"a": document}
    [fault] = said(example("rules-adopted", document=document))
    assert fault.endswith("nested deeper than 64 levels; send a flatter entry")


# --- Corrections --------------------------------------------------------------------------------------------


def test_a_replacement_is_held_to_its_own_kind() -> None:
    raw = example("correction", how="replace", replacement=example("gauge-read", gauge_bar=4.1, colour="red"))
    assert set(said(raw)) == {
        'correction.replacement.gauge_bar = 4.1: a bare number; write "4.1" as a string',
        "correction.replacement.colour = 'red': no such field",
    }


def test_a_replacement_comes_back_complete_so_that_everything_it_is_about_is_told() -> None:
    replacement = example("gauge-read", cylinder="cylinder:C-115")
    body, faults = read_body(example("correction", how="replace", replacement=replacement))
    assert faults == ()
    assert body is not None
    assert body.about == ("detector:D-017", "cylinder:C-115")
    assert body.as_body()["replacement"]["about"] == ["cylinder:C-115"]
    assert replacement == example("gauge-read", cylinder="cylinder:C-115")


@pytest.mark.parametrize("kind", ["genesis", "correction", "erasure"])
def test_some_kinds_never_replace_an_entry(kind: str) -> None:
    raw = example("correction", how="replace", replacement=example(kind))
    assert said(raw) == [
        (
            f"correction.replacement.kind = '{kind}': cannot stand in for another entry; write an entry of "
            "the kind that is corrected"
        )
    ]


def test_a_replacement_of_an_unknown_kind_is_refused() -> None:
    raw = example("correction", how="replace", replacement={"kind": "gauge-reed"})
    assert said(raw) == [
        "correction.replacement.kind = 'gauge-reed': no such kind of entry; did you mean gauge-read?"
    ]


# --- Text ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "beginning"),
    [
        (b"", "line 7: entry: not JSON: "),
        (b'{"kind":', "line 7: entry: not JSON: "),
        (b"\xff\xfe", "line 7: entry: not valid UTF-8"),
        ('{"kind":"note","kind":"site"}', "line 7: entry: the key 'kind' stands twice in one object"),
        (
            '{"kind":"rules-adopted","document":{"id":1,"id":2}}',
            "line 7: document: the key 'id' stands twice in one object",
        ),
        ("[" * 100 + "]" * 100, "line 7: entry"),
        ('{"a":' * 100_000, "line 7: "),
        ('{"kind":"note","v":' + "9" * 5000 + "}", "line 7: v: the number 999"),
        ('{"kind":"note","v":NaN}', "line 7: note."),
    ],
    ids=[
        "empty",
        "cut off",
        "no UTF-8",
        "key twice",
        "inner key twice",
        "deep",
        "deeper",
        "long number",
        "NaN",
    ],
)
def test_hostile_text_is_refused_with_its_line(text: bytes | str, beginning: str) -> None:
    body, faults = parse_body(text, line=7)
    assert body is None
    assert str(faults[0]).startswith(beginning)


def test_broken_json_is_placed_by_line_and_column() -> None:
    _, [fault] = parse_body('{"kind": "note",\n "id": }')
    assert "line 2, column 8" in fault.problem


def test_a_bare_number_in_text_is_one_fault_beside_the_others() -> None:
    text = json.dumps(example("gauge-read", gauge_bar=20.9, by="P-07"))
    body, faults = parse_body(text)
    assert body is None
    assert {fault.where for fault in faults} == {"gauge-read.gauge_bar", "gauge-read.by"}
    assert 'gauge-read.gauge_bar = 20.9: a bare number; write "20.9" as a string' in map(str, faults)


# --- Whatever comes in --------------------------------------------------------------------------------------

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(raw=JSON)
def test_any_value_is_an_entry_or_has_faults_and_never_crashes(raw: object) -> None:
    body, faults = read_body(raw)
    assert body is None
    assert all(str(fault) for fault in faults)
    assert faults


@given(data=st.data(), model=st.sampled_from(ALL), value=JSON)
def test_any_field_may_hold_anything_without_a_crash(
    data: st.DataObject, model: type[Body], value: object
) -> None:
    field = data.draw(st.sampled_from(sorted(model.model_fields)))
    body, faults = read_body({**model.EXAMPLE, field: value})
    assert (body is None) == bool(faults)
    if body is not None:
        again, none = read_body(body.as_body())
        assert none == ()
        assert again == body


@given(text=st.text() | st.binary())
def test_any_text_is_an_entry_or_has_faults_and_never_crashes(text: str | bytes) -> None:
    body, faults = parse_body(text)
    assert body is None
    assert faults
