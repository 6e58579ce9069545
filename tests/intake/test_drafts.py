"""Drafts: what was left out is filled in, times take the book's form, texts are taken out and sealed."""

import copy
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.kinds import ALL, KINDS
from pitbird.fleet.kinds.base import INSTANT, Body
from pitbird.intake.drafts import (
    INSTANTS,
    book_time,
    complete,
    put_commitments,
    take_texts,
    with_book_times,
)
from pitbird.intake.entries import read_body

ID = "0195a000-0000-7000-8000-0000000000aa"
NOW = "2026-03-02T07:00:00.000Z"
SEAL = "sha256:" + "ab" * 32


def filled(draft: dict[str, Any]) -> dict[str, Any]:
    return complete(
        draft, new_id=ID, at=NOW, zone="Europe/Lisbon", by="person:P-07", where="site:north-works"
    )


def test_a_draft_is_filled_with_what_it_leaves_out() -> None:
    assert filled({"kind": "gauge-read", "cylinder": "cylinder:C-112", "gauge_bar": "41"}) == {
        "kind": "gauge-read",
        "cylinder": "cylinder:C-112",
        "gauge_bar": "41",
        "v": 1,
        "id": ID,
        "at": NOW,
        "zone": "Europe/Lisbon",
        "by": "person:P-07",
        "where": "site:north-works",
    }


@pytest.mark.parametrize("model", ALL, ids=lambda model: model.model_fields["kind"].default)
def test_what_a_draft_says_itself_stays(model: type[Body]) -> None:
    whole = {"where": "site:south-works", **model.EXAMPLE}
    before = copy.deepcopy(whole)
    assert filled(whole) == before == whole


def test_null_counts_as_left_out_and_no_site_stays_none() -> None:
    draft = {"kind": "note", "at": None, "where": None}
    made = complete(draft, new_id=ID, at=NOW, zone="UTC", by="person:P-07", where=None)
    assert made == {"kind": "note", "v": 1, "id": ID, "at": NOW, "zone": "UTC", "by": "person:P-07"}
    assert draft == {"kind": "note", "at": None, "where": None}


# --- Times --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "in_the_book"),
    [
        ("2026-03-02T06:41:00.000Z", "2026-03-02T06:41:00.000Z"),
        ("2026-03-02T06:41:00Z", "2026-03-02T06:41:00.000Z"),
        ("2026-03-02T06:41Z", "2026-03-02T06:41:00.000Z"),
        ("2026-03-02T07:41:00+01:00", "2026-03-02T06:41:00.000Z"),
        ("2026-03-01T23:41:00-07:00", "2026-03-02T06:41:00.000Z"),
        ("2026-03-02 12:11+05:30", "2026-03-02T06:41:00.000Z"),
        ("2026-03-02T06:41:00.123456789Z", "2026-03-02T06:41:00.123Z"),
        ("2026-03-02T06:41:00.9999Z", "2026-03-02T06:41:00.999Z"),
        ("20260302T064100Z", "2026-03-02T06:41:00.000Z"),
    ],
)
def test_a_time_with_its_offset_takes_the_books_form(written: str, in_the_book: str) -> None:
    """Forms of ISO 8601; offsets as in RFC 3339."""
    assert book_time(written) == in_the_book


@pytest.mark.parametrize(
    ("written", "fault"),
    [
        ("2026-03-02T06:41:00", "a time without its zone"),
        ("2026-03-02", "a time without its zone"),
        ("2026-02-30T06:41Z", "not a time"),
        ("06:41", "not a time"),
        ("yesterday", "not a time"),
        ("", "not a time"),
        ("0001-01-01T00:00:00+14:00", "no year in which"),
        ("9999-12-31T23:59:59-12:00", "no year in which"),
    ],
)
def test_a_time_that_cannot_be_placed_is_refused(written: str, fault: str) -> None:
    with pytest.raises(ValueError, match=fault):
        book_time(written)


@given(
    moment=st.datetimes(min_value=datetime(1971, 1, 1), max_value=datetime(2100, 1, 1)),  # noqa: DTZ001
    minutes=st.integers(-14 * 60, 14 * 60),
)
def test_any_offset_names_the_same_instant(moment: datetime, minutes: int) -> None:
    """Held against the standard library's conversion to UTC."""
    written = moment.replace(tzinfo=timezone(timedelta(minutes=minutes)))
    utc = written.astimezone(UTC)
    assert book_time(written.isoformat()) == utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def test_every_time_of_a_draft_takes_the_books_form_and_every_one_at_fault_is_said() -> None:
    draft = {
        "kind": "bump-test",
        "at": "2026-03-02T07:41+01:00",
        "applications": [
            {"gas_on": "2026-03-02T07:40:10+01:00", "gas_off": "2026-03-02T06:40:32"},
            {"gas_on": "soon", "gas_off": 7},
        ],
    }
    tidy, faults = with_book_times(draft, line=4)
    assert tidy["at"] == "2026-03-02T06:41:00.000Z"
    assert tidy["applications"][0] == {"gas_on": "2026-03-02T06:40:10.000Z", "gas_off": "2026-03-02T06:40:32"}
    assert [str(fault) for fault in faults] == [
        (
            "line 4: bump-test.applications[0].gas_off = '2026-03-02T06:40:32': a time without its zone; "
            "add Z for UTC, or the offset of the clock it was read from, such as +01:00"
        ),
        (
            "line 4: bump-test.applications[1].gas_on = 'soon': not a time; write date, time and offset, "
            "such as 2026-03-02T06:41+00:00"
        ),
    ]
    assert draft["at"] == "2026-03-02T07:41+01:00"


def test_an_alarms_set_point_is_no_time_and_the_site_rules_are_left_alone() -> None:
    detector = KINDS["detector"].EXAMPLE
    assert with_book_times(detector) == (detector, ())
    rules = {**KINDS["rules-adopted"].EXAMPLE, "document": {"effective": "at once", "rule": [{"until": "x"}]}}
    assert with_book_times(rules) == (rules, ())


def test_the_times_of_a_replacement_take_the_books_form_too() -> None:
    draft = {"kind": "correction", "replacement": {"kind": "note", "at": "2026-03-02T07:41+01:00"}}
    tidy, faults = with_book_times(draft)
    assert faults == ()
    assert tidy["replacement"]["at"] == "2026-03-02T06:41:00.000Z"


def fields_with(pattern: str, schema: Any, name: str = "") -> set[str]:
    """The names of the fields of a JSON Schema whose text must match a pattern."""
    if isinstance(schema, list):
        return set().union(*(fields_with(pattern, item, name) for item in schema))
    if not isinstance(schema, dict):
        return set()
    found = {name} if schema.get("pattern") == pattern else set()
    for key, item in schema.items():
        if key in ("properties", "$defs"):
            found = found.union(*(fields_with(pattern, inner, field) for field, inner in item.items()))
        else:
            found |= fields_with(pattern, item, name)
    return found


def test_the_fields_known_as_times_are_those_of_the_kinds() -> None:
    used = set().union(*(fields_with(INSTANT, kind.model_json_schema()) for kind in KINDS.values()))
    assert used == INSTANTS


# --- Texts --------------------------------------------------------------------------------------------------


def test_plain_texts_are_taken_out_and_commitments_stay() -> None:
    draft = {"kind": "person", "person": "person:P-07", "name": "Ana Reis", "note": SEAL}
    rest, texts = take_texts(draft)
    assert rest == {"kind": "person", "person": "person:P-07", "note": SEAL}
    assert texts == {"name": "Ana Reis"}
    assert draft["name"] == "Ana Reis"


def test_a_correction_is_looked_into() -> None:
    draft = {
        "kind": "correction",
        "reason": "wrong detector",
        "replacement": {"kind": "happened", "what": "drop", "note": "from the ladder", "photo": SEAL},
    }
    rest, texts = take_texts(draft)
    assert texts == {"reason": "wrong detector", "replacement.note": "from the ladder"}
    assert rest["replacement"] == {"kind": "happened", "what": "drop", "photo": SEAL}
    sealed = put_commitments(rest, {"reason": SEAL, "replacement.note": SEAL})
    assert (sealed["reason"], sealed["replacement"]["note"]) == (SEAL, SEAL)


@pytest.mark.parametrize("blank", ["", "  ", "\n"])
def test_a_blank_text_counts_as_none(blank: str) -> None:
    assert take_texts({"kind": "note", "text": blank}) == ({"kind": "note"}, {})


@pytest.mark.parametrize(
    "draft",
    [
        {"kind": "no-such", "note": "text"},
        {"kind": 7, "note": "text"},
        {"kind": "note", "text": 7},
        {"kind": "correction", "replacement": "text"},
        {"kind": "note", "replacement": {"kind": "note", "text": "not a correction"}},
    ],
)
def test_what_cannot_be_sealed_stays_to_be_found_at_fault(draft: dict[str, Any]) -> None:
    assert take_texts(draft) == (draft, {})


@pytest.mark.parametrize("model", ALL, ids=lambda model: model.model_fields["kind"].default)
def test_every_kind_goes_the_whole_way_from_draft_to_entry(model: type[Body]) -> None:
    kept = {k: v for k, v in model.EXAMPLE.items() if k not in ("v", "id", "at", "zone", "by", "where")}
    draft = {**kept, **dict.fromkeys(model.SEALED, "a plain text")}
    tidy, faults = with_book_times(filled(draft))
    assert faults == ()
    rest, texts = take_texts(tidy)
    assert set(texts) == set(model.SEALED)
    body, faults = read_body(put_commitments(rest, dict.fromkeys(texts, SEAL)))
    assert faults == ()
    assert body is not None
    assert body.id == ID
    assert {field: getattr(body, field) for field in model.SEALED} == dict.fromkeys(model.SEALED, SEAL)
