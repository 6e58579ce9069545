"""Seals. SHA-256 itself is the standard library's; the form is checked against hashlib read literally."""

from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.errors import BadSeal
from pitbird.record.seal import COMMITMENT, SALT_SIZE, commit, commitments_in, opens

SALT = bytes(range(16))


def test_a_commitment_is_the_sha_256_of_salt_and_blob() -> None:
    assert commit(SALT, b"Mira Tolvanen") == "sha256:" + sha256(SALT + b"Mira Tolvanen").hexdigest()
    assert COMMITMENT.fullmatch(commit(SALT, b""))


@given(st.binary(min_size=16, max_size=16), st.binary(max_size=50), st.binary(max_size=50))
def test_only_the_same_salt_and_blob_open_a_commitment(salt: bytes, blob: bytes, other: bytes) -> None:
    commitment = commit(salt, blob)
    assert opens(commitment, salt, blob)
    assert opens(commitment, salt, other) == (other == blob)
    assert not opens(commitment, bytes([salt[0] ^ 1]) + salt[1:], blob)


def test_the_front_of_a_blob_cannot_be_moved_into_the_salt() -> None:
    """Forgery: with salts of any length, "not cleared" would also open as "cleared"."""
    commitment = commit(SALT, b"not cleared")
    assert sha256(SALT + b"not " + b"cleared").hexdigest() == commitment[7:]
    assert not opens(commitment, SALT + b"not ", b"cleared")
    assert not opens(commitment, SALT[:-1], SALT[-1:] + b"not cleared")


@pytest.mark.parametrize(
    ("salt", "blob", "message"),
    [
        (b"", b"x", "^salt: a salt of 0 bytes where 16 belong. Draw 16 random bytes"),
        (bytes(15), b"x", "^salt: a salt of 15 bytes"),
        (bytes(17), b"x", "^salt: a salt of 17 bytes"),
        ("s" * 16, b"x", "^salt: not bytes but str"),
        (SALT, "x", "^blob: not bytes but str. Encode text as UTF-8"),
        (bytearray(16), b"x", "^salt: not bytes but bytearray"),
    ],
)
def test_a_salt_or_blob_of_another_kind_is_refused_and_opens_nothing(
    salt: Any, blob: Any, message: str
) -> None:
    with pytest.raises(BadSeal, match=message):
        commit(salt, blob)
    assert not opens(commit(SALT, b"x"), salt, blob)


@pytest.mark.parametrize(
    "change",
    [str.upper, lambda c: c + "\n", lambda c: c[:-1], lambda c: c[7:], lambda c: None],
    ids=["upper case", "line end", "cut short", "bare digest", "nothing"],
)
def test_a_malformed_commitment_is_never_opened(change: Any) -> None:
    commitment = commit(SALT, b"x")
    assert opens(commitment, SALT, b"x")
    assert not opens(change(commitment), SALT, b"x")


def test_commitments_are_found_anywhere_in_a_body_in_order_and_once() -> None:
    one, two, three = (commit(SALT, text) for text in (b"1", b"2", b"3"))
    body = {
        "by": one,
        "notes": [{"text": two}, [three, one]],
        one: "keys do not count",
        "n": 3,
        "x": None,
        "y": f"{two}0",
    }
    assert commitments_in(body) == [one, two, three]
    assert commitments_in({"text": "sha256: is how a commitment starts"}) == []


def test_the_salt_has_sixteen_bytes() -> None:
    assert len(SALT) == SALT_SIZE
