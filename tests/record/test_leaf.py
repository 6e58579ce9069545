"""Leaves. Sources: RFC 8785 (form), RFC 9162 section 2.1.1 (hash), RFC 3339 section 5.6 (times),
RFC 9562 appendix A.6 (the UUID of version 7 printed there)."""

import json
from datetime import UTC, datetime, timedelta, timezone
from hashlib import sha256
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.canonical import canonical
from pitbird.record.errors import BadLeaf, BadSignature, BadTime, DuplicateKey, NotCanonical, NotJson
from pitbird.record.leaf import (
    Leaf,
    _faults,
    _is_sound,
    format_time,
    make_leaf,
    parse_time,
    read_leaf,
)
from tests.record.test_signature import b64url, ed25519

# RFC 9562 appendix A.6
UUID_7 = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
BODY: dict[str, Any] = {
    "kind": "bump-test",
    "v": 1,
    "id": UUID_7,
    "at": "2026-03-02T05:41:09.250Z",
    "about": ["detector:d-07", "cylinder:c-112"],
    "result": {"gas_on": "38", "unit": "s"},
}
NTH = {"detector:d-07": 3, "cylinder:c-112": 41}
RECORDED = "2026-03-02T05:41:11.003Z"
VALUE: dict[str, Any] = {"body": BODY, "nth": NTH, "recorded_at": RECORDED}


def without(value: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: item for name, item in value.items() if name != key}


def test_a_leaf_is_the_canonical_form_of_body_numbers_and_time() -> None:
    leaf = make_leaf(BODY, recorded_at=RECORDED, nth=NTH)
    assert leaf.raw == (
        b'{"body":{"about":["detector:d-07","cylinder:c-112"],"at":"2026-03-02T05:41:09.250Z",'
        b'"id":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","kind":"bump-test",'
        b'"result":{"gas_on":"38","unit":"s"},"v":1},'
        b'"nth":{"cylinder:c-112":41,"detector:d-07":3},"recorded_at":"2026-03-02T05:41:11.003Z"}'
    )
    assert leaf.hash == sha256(b"\x00" + leaf.raw).digest()
    assert (leaf.body, leaf.nth, leaf.recorded_at, leaf.signature) == (BODY, NTH, RECORDED, None)


def test_a_leaf_read_from_its_bytes_is_the_leaf_that_was_made() -> None:
    made = make_leaf(BODY, recorded_at=RECORDED, nth=NTH, signature=ed25519(canonical(BODY)))
    read = read_leaf(made.raw)
    assert read == made
    assert (read.body, read.nth, read.recorded_at, read.signature, read.hash) == (
        made.body,
        made.nth,
        made.recorded_at,
        made.signature,
        made.hash,
    )
    assert read.signature == ed25519(canonical(BODY))


def test_changing_what_was_handed_in_does_not_change_the_leaf() -> None:
    body = json.loads(json.dumps(BODY))
    leaf = make_leaf(body, recorded_at=RECORDED, nth=NTH)
    body["result"]["gas_on"] = "99"
    assert leaf.body == BODY


def test_leaves_are_equal_when_their_bytes_are() -> None:
    one = make_leaf(BODY, recorded_at=RECORDED, nth=NTH)
    assert len({one, read_leaf(one.raw), make_leaf({**BODY, "v": 2}, recorded_at=RECORDED, nth=NTH)}) == 2
    assert isinstance(one, Leaf)


def test_a_signature_over_another_body_makes_no_leaf() -> None:
    with pytest.raises(BadSignature, match="not made by this key over this body"):
        make_leaf(BODY, recorded_at=RECORDED, nth=NTH, signature=ed25519(canonical({**BODY, "v": 2})))


@pytest.mark.parametrize(
    ("value", "faults"),
    [
        ([], ["$ is not an object"]),
        ({}, ["$.body is missing", "$.nth is missing", "$.recorded_at is missing"]),
        (
            {**VALUE, "index": 4, "book": 1},
            ["$.book does not belong in a leaf", "$.index does not belong in a leaf"],
        ),
        ({**VALUE, "k" * 99: 1}, [f"$.{'k' * 60}... does not belong in a leaf"]),
        (without(VALUE, "recorded_at"), ["$.recorded_at is missing"]),
        ({**VALUE, "recorded_at": 0}, ["$.recorded_at is 0, not a UTC time YYYY-MM-DDTHH:MM:SS.mmmZ"]),
        ({**VALUE, "signature": None}, ["$.signature: not an object of alg, key and sig"]),
        ({**VALUE, "body": "x"}, ["$.body is not an object"]),
        ({**VALUE, "nth": [1]}, ["$.nth is not an object"]),
        (
            {**VALUE, "nth": {}},
            ["$.nth has no number for detector:d-07", "$.nth has no number for cylinder:c-112"],
        ),
        (
            {**VALUE, "nth": {**NTH, "detector:d-08": 1}},
            ["$.nth numbers 'detector:d-08', which $.body.about does not name"],
        ),
        (
            {**VALUE, "nth": {"detector:d-07": 0, "cylinder:c-112": True}},
            [
                "$.nth.detector:d-07 is 0, not a running number from 1",
                "$.nth.cylinder:c-112 is True, not a running number from 1",
            ],
        ),
        (
            {**VALUE, "nth": {"detector:d-07": "3", "cylinder:c-112": -1}},
            [
                "$.nth.detector:d-07 is '3', not a running number from 1",
                "$.nth.cylinder:c-112 is -1, not a running number from 1",
            ],
        ),
        (
            {"body": {}, "nth": {}, "recorded_at": "yesterday"},
            [
                "$.recorded_at is 'yesterday', not a UTC time YYYY-MM-DDTHH:MM:SS.mmmZ",
                "$.body.kind is missing",
                "$.body.v is missing",
                "$.body.id is missing",
                "$.body.at is missing",
                "$.body.about is missing",
            ],
        ),
    ],
    ids=lambda value: None if isinstance(value, dict) else str(value)[:50],
)
def test_a_leaf_of_another_shape_is_refused_with_every_fault(value: Any, faults: list[str]) -> None:
    with pytest.raises(BadLeaf) as caught:
        read_leaf(canonical(value))
    assert sorted(caught.value.faults) == sorted(faults)
    assert "; ".join(caught.value.faults) in str(caught.value)


@pytest.mark.parametrize(
    ("key", "bad"),
    [
        ("kind", bad)
        for bad in ["", "Bump", "bump_test", "-bump", "bump-", "bump--test", "1bump", "b\xfcmp", "bump\n", 1]
    ]
    + [("v", bad) for bad in [0, -1, "one", None, False]]
    + [
        ("id", bad)
        for bad in [
            UUID_7.upper(),
            "{017f22e2-79b0-7cc3-98c4-dc0c0c07398f}",
            "017f22e279b07cc398c4dc0c0c07398f",
            "919108f7-52d1-4320-9bac-f847db4148a8",  # of version 4: RFC 9562 appendix A.3
            "017f22e2-79b0-7cc3-78c4-dc0c0c07398f",
            "017f22e2-79b0-7cc3-98c4-dc0c0c07398f\n",
            7,
        ]
    ]
    + [("at", bad) for bad in ["2026-03-02", "2026-03-02T05:41:09Z", "2026-02-30T05:41:09.250Z", 1]]
    + [
        ("about", bad)
        for bad in [
            [],
            "detector:d-07",
            ["detector:d-07", "detector:d-07"],
            ["detector"],
            ["detector:"],
            [":d-07"],
            ["Detector:d-07"],
            ["detector:d 07"],
            ["detector:d\xfc"],
            ["detector:d-07\n"],
            ["detector:d:07"],
            [7],
            [["detector:d-07"]],
            None,
        ]
    ],
    ids=lambda value: ascii(value),
)
def test_a_body_field_of_another_form_is_refused_and_shown(key: str, bad: Any) -> None:
    body = {**BODY, key: bad}
    with pytest.raises(BadLeaf) as caught:
        make_leaf(body, recorded_at=RECORDED, nth=NTH)
    shown = ascii(bad) if len(ascii(bad)) <= 60 else f"{ascii(bad)[:60]}..."
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].startswith(f"$.body.{key} is {shown}, not ")


@pytest.mark.parametrize("key", ["kind", "v", "id", "at", "about"])
def test_a_body_without_one_of_its_five_fields_is_refused(key: str) -> None:
    with pytest.raises(BadLeaf) as caught:
        make_leaf(without(BODY, key), recorded_at=RECORDED, nth=NTH)
    assert caught.value.faults == (f"$.body.{key} is missing",)


@pytest.mark.parametrize(
    ("raw", "error", "message"),
    [
        (json.dumps(VALUE).encode(), NotCanonical, "^byte 8: the text is not in canonical form"),
        (canonical(VALUE) + b"\n", NotCanonical, "not in canonical form"),
        (
            canonical(VALUE).replace(b'"v":1', b'"v":1,"v":1'),
            DuplicateKey,
            r"^\$\.body: the key 'v' stands twice",
        ),
        (canonical(VALUE).replace(b'"v":1', b'"v":1.0'), NotCanonical, r"^\$\.body\.v: the number 1\.0"),
        (canonical(VALUE)[:-1], NotJson, "not JSON"),
        (b"\xff", NotJson, "not valid UTF-8"),
    ],
    ids=["spaces", "line end", "key twice", "float", "cut short", "no text"],
)
def test_bytes_that_are_no_canonical_leaf_are_refused(
    raw: bytes, error: type[ValueError], message: str
) -> None:
    with pytest.raises(error, match=message):
        read_leaf(raw)


def test_a_float_in_the_body_is_refused_with_its_place() -> None:
    with pytest.raises(NotCanonical, match=r"^\$\.body\.reading: the number 20\.9 .* decimal strings"):
        make_leaf({**BODY, "reading": 20.9}, recorded_at=RECORDED, nth=NTH)


@given(
    st.recursive(
        st.none() | st.integers(-5, 5) | st.text(max_size=5),
        lambda x: (
            st.lists(x)
            | st.dictionaries(
                st.sampled_from(
                    ["body", "nth", "recorded_at", "signature", "kind", "v", "id", "at", "about", "x"]
                ),
                x,
            )
        ),
    )
)
def test_whatever_json_is_no_leaf_is_refused_as_bad_leaf(value: Any) -> None:
    with pytest.raises(BadLeaf):
        read_leaf(canonical(value))


# ---- times


GARBAGE = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-2, 3),
    st.just(2**53),
    st.sampled_from(["", "x:", "detector:d-07", "Kind", "2026-02-30T05:41:09.250Z", UUID_7.upper()]),
    st.lists(st.sampled_from(["detector:d-07", "detector:d-08", "D:1", 7]), max_size=3),
    st.dictionaries(st.sampled_from(["detector:d-07", "cylinder:c-112"]), st.integers(0, 2)),
)


@given(
    st.lists(
        st.tuples(
            st.sampled_from([("body",), ("nth",), ("recorded_at",), ("more",), ("nth", "detector:d-07"),
                             *(("body", key) for key in ("kind", "v", "id", "at", "about"))]),
            GARBAGE,
            st.booleans(),
        ),
        max_size=3,
    )
)  # fmt: skip
def test_the_quick_look_finds_a_leaf_sound_exactly_when_no_fault_is_found(
    changes: list[tuple[tuple[str, ...], Any, bool]],
) -> None:
    value = json.loads(json.dumps(VALUE))
    for path, item, leave_out in changes:
        place = value if len(path) == 1 else value.get(path[0])
        if not isinstance(place, dict):
            continue
        if leave_out:
            place.pop(path[-1], None)
        else:
            place[path[-1]] = item
    assert _is_sound(value) is not bool(list(_faults(value)))


def test_a_time_is_written_in_utc_and_cut_to_the_millisecond() -> None:
    summer = timezone(timedelta(hours=2))
    assert format_time(datetime(2026, 7, 1, 0, 30, 5, 999_999, tzinfo=summer)) == "2026-06-30T22:30:05.999Z"
    assert format_time(datetime(987, 1, 2, tzinfo=UTC)) == "0987-01-02T00:00:00.000Z"


@given(st.datetimes(timezones=st.just(UTC)))
def test_a_written_time_is_read_back_to_the_millisecond(moment: datetime) -> None:
    assert parse_time(format_time(moment)) == moment.replace(microsecond=moment.microsecond // 1000 * 1000)


def test_a_time_without_zone_or_beyond_the_calendar_is_refused() -> None:
    with pytest.raises(BadTime, match=r"^time: the time 2026-03-02T05:41:09 has no zone\. Say which"):
        format_time(datetime(2026, 3, 2, 5, 41, 9))  # noqa: DTZ001 - a time without a zone is the point
    with pytest.raises(BadTime, match=r"has no UTC form"):
        format_time(datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=2))))


@pytest.mark.parametrize(
    "text",
    [
        "2026-02-29T00:00:00.000Z",
        "2026-13-01T00:00:00.000Z",
        "2026-01-01T24:00:00.000Z",
        "2016-12-31T23:59:60.000Z",
        "0000-01-01T00:00:00.000Z",
    ],
)
def test_a_time_that_does_not_exist_is_refused(text: str) -> None:
    with pytest.raises(BadTime, match=rf"^time: '{text}' does not exist: .* Write UTC as"):
        parse_time(text)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-02T05:41:09Z",
        "2026-03-02T05:41:09.25Z",
        "2026-03-02T05:41:09.250000Z",
        "2026-03-02T05:41:09.250+00:00",
        "2026-03-02 05:41:09.250Z",
        "2026-03-02t05:41:09.250z",
        "2026-03-02T05:41:09.250Z\n",
        "\u0662026-03-02T05:41:09.250Z",
        "",
        None,
        20260302,
    ],
    ids=ascii,
)
def test_a_time_of_another_form_is_refused(text: Any) -> None:
    with pytest.raises(BadTime, match="is not a time"):
        parse_time(text)


def test_a_leap_day_is_a_time() -> None:
    assert parse_time("2024-02-29T12:00:00.001Z") == datetime(2024, 2, 29, 12, 0, 0, 1000, tzinfo=UTC)


def test_the_signature_of_a_leaf_is_made_over_the_body_alone() -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes(32))
    over_leaf = {
        "alg": "Ed25519",
        "key": b64url(key.public_key().public_bytes_raw()),
        "sig": b64url(key.sign(canonical(VALUE))),
    }
    with pytest.raises(BadSignature):
        make_leaf(BODY, recorded_at=RECORDED, nth=NTH, signature=over_leaf)
