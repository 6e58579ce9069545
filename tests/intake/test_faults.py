"""A fault says where, what stood there, and what to write; a refusal says all of them."""

import pytest

from pitbird.intake.faults import EntryRefused, Fault, listed, shown


def test_a_fault_reads_as_one_line() -> None:
    fault = Fault("cylinder.expires", shown("2026-13-01"), "not a date; write it as YYYY-MM-DD", 3)
    assert str(fault) == "line 3: cylinder.expires = '2026-13-01': not a date; write it as YYYY-MM-DD"


def test_a_fault_without_line_or_value_leaves_them_out() -> None:
    assert str(Fault("cylinder.expires", "", "missing")) == "cylinder.expires: missing"


@pytest.mark.parametrize(
    ("where", "field"),
    [
        ("bump-test.applications[0].gas_on", "applications[0].gas_on"),
        ("bump-test", ""),
        ("correction.replacement.note", "replacement.note"),
    ],
)
def test_a_fault_knows_the_field_without_the_kind(where: str, field: str) -> None:
    assert Fault(where, "", "missing").field == field


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("20 ppm", "'20 ppm'"),
        ("x" * 60, "'" + "x" * 40 + "…'"),
        ("two\nlines", r"'two\nlines'"),
        (20.9, "20.9"),
        (10**60, "1" + "0" * 39 + "…"),
        (True, "true"),
        (None, "null"),
        ({}, "{}"),
        ({"a": 1}, "{…}"),
        ([1], "[…]"),
        ([], "[]"),
        (b"raw", "bytes"),
    ],
)
def test_values_are_shown_short_and_on_one_line(value: object, text: str) -> None:
    assert shown(value) == text


def test_a_refusal_carries_every_fault_and_says_them_all() -> None:
    faults = [Fault("note.text", "", "missing", 2), Fault("note.by", "", "missing", 2)]
    refused = EntryRefused(faults)
    assert refused.faults == tuple(faults)
    assert str(refused) == "line 2: note.text: missing\nline 2: note.by: missing"


@pytest.mark.parametrize(
    ("words", "text"), [([], ""), (["a"], "a"), (["a", "b"], "a or b"), (["a", "b", "c"], "a, b or c")]
)
def test_words_are_listed_as_in_speech(words: list[str], text: str) -> None:
    assert listed(words) == text
