"""Canonical form. Sources: RFC 8785 and its reference test data (repository cyberphone/json-canonicalization,
folder testdata); the package rfc8785 from PyPI as an independent reading under Hypothesis."""

import json
import re
from enum import IntEnum, StrEnum
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.canonical import MAX_DEPTH, MAX_INT, canonical, parse, parse_canonical
from pitbird.record.errors import DuplicateKey, NotCanonical, NotJson, RecordError

ascii_keys = st.text(st.characters(max_codepoint=127), max_size=6)
values = st.recursive(
    st.none() | st.booleans() | st.integers(-MAX_INT, MAX_INT) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(ascii_keys, inner, max_size=4),
    max_leaves=20,
)


class Colour(StrEnum):
    RED = "red"


class Level(IntEnum):
    LOW = 1


def nested(depth: int) -> Any:
    value: Any = 0
    for _ in range(depth):
        value = [value]
    return value


# RFC 8785 section 3.2.2, the sample of literals and strings; its line of floats is outside the subset.
def test_the_strings_and_literals_of_rfc_8785_section_3_2_2_are_written_as_printed_there() -> None:
    text = r"""{"literals": [null, true, false], "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/"}"""
    assert canonical(parse(text)).hex(" ") == (
        # {  "  l  i  t  e  r  a  l  s  "  :  [  null         ,  true         ,  false           ]  ,
        "7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61 6c 73 65 5d 2c "
        # "string":"  then the hexadecimal octets of RFC 8785 section 3.2.4 for the string
        "22 73 74 72 69 6e 67 22 3a "
        "22 e2 82 ac 24 5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d"
    )


# cyberphone/json-canonicalization, testdata/input and testdata/output: structures.json (56.0 written as 56)
# and unicode.json
@pytest.mark.parametrize(
    ("given_text", "written"),
    [
        (
            (
                '{ "1": {"f": {"f": "hi","F": 5} ,"\\n": 56},\n "10": { }, "": "empty",\n'
                ' "a": { },\n "111": [ { } ],\n "A": { } }'
            ),
            '{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{}],"A":{},"a":{}}',
        ),
        ('{ "Unnormalized Unicode":"\\u1e0d\\u0307" }', '{"Unnormalized Unicode":"\u1e0d\u0307"}'),
    ],
)
def test_the_reference_samples_inside_the_subset_are_written_as_published(
    given_text: str, written: str
) -> None:
    assert canonical(parse(given_text)) == written.encode()


# RFC 8785 section 3.2.3 sorts these keys; the five outside ASCII are refused, the two within keep its order.
def test_the_sorting_sample_keeps_its_order_for_ascii_keys_and_is_refused_with_the_others() -> None:
    assert canonical({"1": "One", "\r": "Carriage Return"}) == b'{"\\r":"Carriage Return","1":"One"}'
    for key in ("\u20ac", "\ufb33", "\U0001f600", "\x80", "\xf6"):
        with pytest.raises(NotCanonical, match=r"^\$: the key .* is not an ASCII string\. Name keys"):
            canonical({"1": "One", key: "x"})


# RFC 8785 section 3.2.2.2: short escapes for seven characters, lower-case hex for other controls, else as is.
@pytest.mark.parametrize(
    ("character", "written"),
    [
        ("\b", r"\b"),
        ("\t", r"\t"),
        ("\n", r"\n"),
        ("\f", r"\f"),
        ("\r", r"\r"),
        ('"', r"\""),
        ("\\", r"\\"),
        ("\x00", r"\u0000"),
        ("\x1f", r"\u001f"),
        ("\x7f", "\x7f"),
        ("/", "/"),
        ("\u2028", "\u2028"),
        ("\U0001f602", "\U0001f602"),
    ],
)
def test_each_character_has_the_escape_of_rfc_8785(character: str, written: str) -> None:
    assert canonical(character) == f'"{written}"'.encode()


@given(values)
def test_the_bytes_are_those_of_the_rfc8785_package(value: Any) -> None:
    assert canonical(value) == rfc8785.dumps(value)


@given(values)
def test_what_was_written_is_read_back_the_same(value: Any) -> None:
    assert parse_canonical(canonical(value)) == value


@given(values, st.sampled_from([None, 1, "\t"]), st.booleans())
def test_spelling_does_not_change_what_is_read(value: Any, indent: Any, escaped: bool) -> None:
    assert canonical(parse(json.dumps(value, indent=indent, ensure_ascii=escaped))) == canonical(value)


@given(st.binary(max_size=40) | st.text(max_size=40))
def test_garbage_is_refused_with_one_family_of_errors_or_is_json(data: bytes | str) -> None:
    try:
        value = parse(data)
    except RecordError:
        return
    assert value == json.loads(data)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (
            20.9,
            r"^\$: the number 20.9 is not a whole number below 2\^53. Write measured",
        ),
        ({"a": [{"b": float("nan")}]}, r"^\$\.a\[0\]\.b: the number nan is not"),
        ([1, 2**53], r"^\$\[1\]: the number a number of 2\^53 or more|^\$\[1\]: "),
        ([-(2**53)], r"^\$\[0\]: "),
        (("tuple",), r"^\$: the type tuple has no canonical form"),
        ({"c": Colour.RED}, r"^\$\.c: the type Colour has no canonical form"),
        ({"c": Level.LOW}, r"^\$\.c: the type Level has no canonical form"),
        (b"bytes", r"^\$: the type bytes has no canonical form"),
        ({1: "x"}, r"^\$: the key 1 is not an ASCII string"),
        ({"x": ["fine", "\ud800"]}, r"^\$\.x\[1\]: the string holds a lone surrogate"),
        (nested(MAX_DEPTH + 1), r"nested deeper than 64 levels"),
        ({"ok": ["\xfc", True, None, 1], "then": 1.5}, r"^\$\.then: the number 1.5"),
    ],
)
def test_a_value_outside_the_subset_is_refused_with_its_place(value: Any, message: str) -> None:
    with pytest.raises(NotCanonical, match=message):
        canonical(value)


def test_the_largest_values_of_the_subset_are_taken() -> None:
    assert canonical([MAX_INT, -MAX_INT]) == b"[9007199254740991,-9007199254740991]"
    assert canonical(nested(MAX_DEPTH)) == b"[" * MAX_DEPTH + b"0" + b"]" * MAX_DEPTH


def test_a_value_that_holds_itself_is_refused() -> None:
    value: list[Any] = []
    value.append(value)
    with pytest.raises(NotCanonical, match="nested deeper"):
        canonical(value)


@pytest.mark.parametrize(
    ("text", "path", "key"),
    [
        ('{"a":1,"a":1}', "$", "a"),
        ('{"b":[{"x":1},{"x":1,"y":2,"x":3}]}', "$.b[1]", "x"),
        ('{"a":1,"\\u0061":2}', "$", "a"),
    ],
)
def test_a_key_named_twice_is_refused_with_key_and_place(text: str, path: str, key: str) -> None:
    with pytest.raises(
        DuplicateKey, match=re.escape(f"{path}: the key '{key}' stands twice in one object")
    ) as caught:
        parse(text)
    assert (caught.value.key, caught.value.where) == (key, path)


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        (b"\xff", NotJson, "^byte 0: not valid UTF-8. Save the text"),
        (b'"\xed\xa0\x80"', NotJson, "^byte 1: not valid UTF-8"),
        ("", NotJson, "^line 1, column 1: not JSON"),
        ('{"a":1}\n{"b":2}', NotJson, "^line 2, column 1: not JSON: Extra data"),
        ("\ufeff1", NotJson, "not JSON"),
        ("'a'", NotJson, "not JSON"),
        ('"a\nb"', NotJson, "not JSON: Invalid control character"),
        ("[1,]", NotJson, "not JSON"),
        (12, NotJson, r"^\$: not JSON text but int"),
        ('{"v":20.9}', NotCanonical, r"^\$\.v: the number 20\.9 is not"),
        ("1e3", NotCanonical, r"^\$: the number 1e3 is not"),
        ("[NaN]", NotCanonical, r"^\$\[0\]: the number NaN is not"),
        ("-Infinity", NotCanonical, r"the number -Infinity is not"),
        ("9007199254740992", NotCanonical, "the number 9007199254740992 is not"),
        ("9" * 100_000, NotCanonical, r"the number 9{40}\.\.\. is not"),
        ('{"\\u00fc":1}', NotCanonical, "is not an ASCII string"),
        (r'"\ud800"', NotCanonical, "lone surrogate"),
        ("[" * 65 + "]" * 65, NotCanonical, "nested deeper than 64"),
        ("[" * 100_000 + "]" * 100_000, NotCanonical, "nested deeper than 64"),
    ],
)
def test_hostile_text_is_refused(text: Any, error: type[RecordError], message: str) -> None:
    with pytest.raises(error, match=message):
        parse(text)


def test_bytes_bytearray_memoryview_and_text_read_alike() -> None:
    data = '{"a":"\xfc"}'.encode()
    assert (
        parse(data)
        == parse(bytearray(data))
        == parse(memoryview(data))
        == parse(data.decode())
        == {"a": "\xfc"}
    )


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ('{"a": 1}', 5),
        ('{"b":1,"a":2}', 2),
        (r'"\u0041"', 1),
        (r'"\/"', 1),
        ("1 ", 1),
        ("-0", 0),
        (r'"\u000F"', 6),
    ],
)
def test_another_spelling_is_not_canonical_and_the_first_differing_byte_is_named(
    text: str, place: int
) -> None:
    with pytest.raises(NotCanonical, match=f"^byte {place}: the text is not in canonical form"):
        parse_canonical(text)
    with pytest.raises(NotCanonical, match=f"^byte {place}: "):
        parse_canonical(text.encode())
