"""Checkpoints: the C2SP tlog-checkpoint form, the census, and what is refused."""

import re
from hashlib import sha256

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.checkpoint import (
    Checkpoint,
    census_line,
    read_census,
    read_checkpoint,
    verify_checkpoint,
)
from pitbird.record.errors import BadCheckpoint, BadNote
from pitbird.record.note import COSIGNATURE, Note, VerifierKey, cosign_note, read_note, sign_note

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(32))
ORIGIN = "book.example/depot"
BOOK = VerifierKey(ORIGIN, KEY.public_key().public_bytes_raw())
WITNESS = VerifierKey("witness.example", OTHER.public_key().public_bytes_raw(), COSIGNATURE)
CENSUS = {"detector:D-2": 3, "detector:D-1": 1}
HEAD = Checkpoint(ORIGIN, 4, sha256(b"head").digest(), (census_line(CENSUS),))
SIGNED = Note(HEAD.text(), (sign_note(HEAD.text(), ORIGIN, KEY),))


def test_a_checkpoint_is_origin_size_and_root_each_on_a_line() -> None:
    # The layout of the C2SP tlog-checkpoint example, from memory.
    text = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n"

    made = read_checkpoint(text)

    assert (made.origin, made.size) == ("example.com/behind-the-sofa", 20852163)
    assert made.root.hex().startswith("0ac5186a9186")
    assert made.text() == text


def test_the_census_is_hashed_in_canonical_form_whatever_its_order() -> None:
    wanted = sha256(b'{"detector:D-1":1,"detector:D-2":3}').hexdigest()

    assert census_line(CENSUS) == "pitbird-census/1 sha256:" + wanted
    assert read_census(b'{"detector:D-1":1,"detector:D-2":3}', HEAD) == CENSUS


@pytest.mark.parametrize("data", [b"", b"{}", b'{"detector:D-1":1,"detector:D-2":2}'])
def test_another_census_is_refused(data: bytes) -> None:
    with pytest.raises(BadCheckpoint, match="not the census"):
        read_census(data, HEAD)


def test_a_census_that_was_signed_but_is_not_one_is_refused() -> None:
    for data in (b"[]", b"{", b'{"a":0}', b'{"a":"1"}', b'{"a":1,"a":1}'):
        line = "pitbird-census/1 sha256:" + sha256(data).hexdigest()
        with pytest.raises(BadCheckpoint):
            read_census(data, Checkpoint(ORIGIN, 1, bytes(32), (line,)))


def test_a_signed_checkpoint_is_verified_with_its_witness() -> None:
    note = SIGNED.with_signature(cosign_note(HEAD.text(), WITNESS.name, OTHER, 1_700_000_000))

    done = verify_checkpoint(note.to_bytes(), BOOK, [WITNESS])

    assert done.checkpoint == HEAD
    assert done.witnesses == (("witness.example", 1_700_000_000),)


def test_a_checkpoint_without_the_books_own_signature_is_refused() -> None:
    only = Note(HEAD.text(), (cosign_note(HEAD.text(), WITNESS.name, OTHER, 1),))

    with pytest.raises(BadCheckpoint, match="not signed by"):
        verify_checkpoint(only.to_bytes(), BOOK, [WITNESS])


def test_another_key_of_the_same_name_is_refused() -> None:
    with pytest.raises(BadCheckpoint, match="not signed by"):
        verify_checkpoint(SIGNED.to_bytes(), VerifierKey(ORIGIN, WITNESS.public))


def test_a_checkpoint_of_another_book_is_refused() -> None:
    with pytest.raises(BadCheckpoint, match="not of"):
        verify_checkpoint(SIGNED.to_bytes(), BOOK, origin="book.example/other")


def test_a_key_of_the_wrong_kind_is_refused() -> None:
    with pytest.raises(BadCheckpoint, match="one of a witness"):
        verify_checkpoint(SIGNED.to_bytes(), WITNESS)
    with pytest.raises(BadCheckpoint, match="key of a book"):
        verify_checkpoint(SIGNED.to_bytes(), BOOK, [BOOK])


def test_every_changed_bit_of_a_signed_checkpoint_is_caught() -> None:
    data = SIGNED.to_bytes()
    for at in range(len(data)):
        for bit in range(8):
            forged = data[:at] + bytes([data[at] ^ (1 << bit)]) + data[at + 1 :]
            with pytest.raises((BadNote, BadCheckpoint)):
                verify_checkpoint(forged, BOOK)


ROOT = "CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", "checkpoint"),
        ("o\n1\n", "checkpoint"),
        (f"o\n1\n{ROOT}", "checkpoint"),
        (f"\n1\n{ROOT}\n", "origin"),
        (f"o\n01\n{ROOT}\n", "size"),
        (f"o\n-1\n{ROOT}\n", "size"),
        (f"o\n+1\n{ROOT}\n", "size"),
        (f"o\n1 \n{ROOT}\n", "size"),
        (f"o\n\u0661\n{ROOT}\n", "size"),
        (f"o\n9223372036854775808\n{ROOT}\n", "size"),
        (f"o\n0\n{ROOT}\n", "root"),
        (f"o\n1\n{ROOT[:-1]}\n", "root"),
        (f"o\n1\n{ROOT[:-2]}J=\n", "root"),
        ("o\n1\nAAAA\n", "root"),
        (f"o\n1\n{ROOT}\n\n", "extension 1"),
        (f"o\r\n1\n{ROOT}\n", "origin"),
        (f"o\n1\n{ROOT}\r\n", "root"),
        (f"o\n1\n{ROOT}\n{census_line(CENSUS)}\n{census_line({'a': 1})}\n", "extensions"),
    ],
)
def test_what_is_not_exactly_a_checkpoint_is_refused(text: str, where: str) -> None:
    with pytest.raises(BadCheckpoint, match=f"^{re.escape(where)}:"):
        read_checkpoint(text)


@given(
    size=st.integers(1, 2**63 - 1),
    root=st.binary(min_size=32, max_size=32),
    census=st.dictionaries(
        st.from_regex(r"[a-z]{1,8}:[A-Z0-9-]{1,8}", fullmatch=True), st.integers(1, 10**6)
    ),
)
def test_a_checkpoint_comes_back_as_it_was_signed(size: int, root: bytes, census: dict[str, int]) -> None:
    head = Checkpoint(ORIGIN, size, root, (census_line(census), "another extension"))
    note = Note(head.text(), (sign_note(head.text(), ORIGIN, KEY),))

    assert verify_checkpoint(read_note(note.to_bytes()).to_bytes(), BOOK).checkpoint == head
    assert head.census_hash() == bytes.fromhex(census_line(census)[-64:])
