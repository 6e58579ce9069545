"""The quick codec gives, takes and refuses what the record room's own does."""

from __future__ import annotations

import gc
import json
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from pitbird.intake.entries import read_body
from pitbird.record.canonical import MAX_INT, STANDARD, canonical, fits, parse_canonical
from pitbird.record.errors import BadLeaf, RecordError
from pitbird.record.leaf import leaf_of, make_leaf, read_leaf
from pitbird.services.quick import QUICK, uncollected
from tests.bodies import at, bump

KEYS = st.text(st.characters(max_codepoint=127), max_size=8)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-MAX_INT, MAX_INT) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=30,
)
ODD = VALUES | st.floats() | st.integers() | st.dictionaries(st.text(max_size=3), VALUES, max_size=3)


@given(VALUES)
def test_it_writes_the_same_bytes(value: Any) -> None:
    # Oracle: the package rfc8785, an implementation of RFC 8785 of its own.
    assert canonical(value, QUICK) == canonical(value) == rfc8785.dumps(value)


@given(VALUES)
def test_it_reads_the_same_value(value: Any) -> None:
    data = canonical(value)
    assert parse_canonical(data, QUICK) == parse_canonical(data) == value


def read(data: bytes | str, **codec: Any) -> tuple[Any, ...]:
    try:
        return ("read", parse_canonical(data, **codec))
    except RecordError as refused:
        return type(refused), refused.what, refused.where


@given(ODD | st.lists(ODD, max_size=3), st.booleans())
def test_it_takes_and_refuses_the_same_texts(value: Any, tight: bool) -> None:
    text = json.dumps(value, sort_keys=True, separators=(",", ":") if tight else None, ensure_ascii=False)
    try:
        data = text.encode()
    except UnicodeEncodeError:
        assert read(text, codec=QUICK) == read(text, codec=STANDARD)
    else:
        assert read(data, codec=QUICK) == read(data, codec=STANDARD)


@pytest.mark.parametrize(
    "data",
    [
        b'{"a":1,"a":1}', b'{"a":1,"a":2}', b'{"b":1,"a":2}', b'{"a": 1}', b'[1.0]', b"[-0]", b"[01]",
        b"[1e3]", b"[9007199254740992]", b"[9007199254740991]", b"[-9007199254740992]",
        b"[18446744073709551616]", b"[" + b"9" * 5000 + b"]", b"[NaN]",
        b"[Infinity]", b'["\\ud800"]', b'["\\u0041"]', b'["\\/"]',
        b'["\xff"]', b'["\xed\xa0\x80"]', b'{"\xc3\xa9":1}', b"\xef\xbb\xbf[]", b"[] ", b"", b"[1]x",
        b"[" * 64 + b"]" * 64, b"[" * 65 + b"]" * 65, b"[" * 100_000, b'["\x7f\xe2\x80\xa8"]', b'["\x01"]',
    ],
)  # fmt: skip
def test_texts_on_the_edge_are_taken_and_refused_alike(data: bytes) -> None:
    assert read(data, codec=QUICK) == read(data, codec=STANDARD)


def test_a_leaf_made_quickly_is_the_leaf() -> None:
    body, nth = bump(at("06:00")), {"detector:D-017": 2, "cylinder:C-112": 9}
    made = make_leaf(body, recorded_at=at("06:01"), nth=nth, codec=QUICK)
    assert made == make_leaf(body, recorded_at=at("06:01"), nth=nth)
    assert (made.body, made.nth, made.hash) == (body, nth, read_leaf(made.raw).hash)
    assert read_leaf(made.raw, QUICK).body == body


@given(ODD | st.tuples(st.integers()) | st.decimals() | st.binary() | st.dates())
def test_a_leaf_made_quickly_takes_and_refuses_the_same(value: Any) -> None:
    def made(**codec: Any) -> Any:
        body, nth = {**bump(at("06:00")), "clean_air": value}, {"detector:D-017": 2, "cylinder:C-112": 9}
        body["id"] = "0195a111-0000-7000-8000-000000000001"
        try:
            return make_leaf(body, recorded_at=at("06:01"), nth=nth, **codec)
        except RecordError as refused:
            return type(refused), refused.what, refused.where

    assert made(codec=QUICK) == made(codec=STANDARD)


def test_a_leaf_read_as_part_of_a_line_is_the_leaf_of_its_own_bytes() -> None:
    made = make_leaf(
        bump(at("06:00")), recorded_at=at("06:01"), nth={"detector:D-017": 2, "cylinder:C-112": 9}
    )
    line = canonical({"index": 3, "leaf": json.loads(made.raw)})
    for codec in (STANDARD, QUICK):
        part = leaf_of(parse_canonical(line, codec)["leaf"], codec)
        assert (part, part.hash, part.nth) == (made, made.hash, made.nth)


def test_a_part_of_a_line_that_is_no_leaf_is_refused() -> None:
    with pytest.raises(BadLeaf, match="recorded_at"):
        leaf_of({"body": bump(at("06:00")), "nth": {"detector:D-017": 1, "cylinder:C-112": 1}}, QUICK)


@given(ODD)
def test_what_was_read_from_canonical_bytes_needs_no_second_look(value: Any) -> None:
    raw = {**bump(at("06:00")), "clean_air": value}
    if fits(raw):
        assert read_body(raw, from_book=True) == read_body(raw)


def test_cycles_are_hunted_again_after_bulk_work_and_after_an_error_in_it() -> None:
    assert gc.isenabled()
    with uncollected():
        assert not gc.isenabled()
        with uncollected():
            pass
        assert not gc.isenabled(), "the outer work goes on"
    assert gc.isenabled()
    with pytest.raises(ZeroDivisionError), uncollected():
        raise ZeroDivisionError
    assert gc.isenabled()
