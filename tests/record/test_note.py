"""Signed notes against the published form written out longhand, and against hostile input.

Sources: C2SP signed-note and tlog-cosignature (from memory); RFC 8032 section 7.1, whose key is from memory
too: that its halves fit shows that it was remembered rightly.
"""

import base64
import hashlib
import re

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.errors import BadNote
from pitbird.record.note import (
    COSIGNATURE,
    ED25519,
    Note,
    NoteSignature,
    VerifierKey,
    cosign_note,
    read_note,
    read_verifier_key,
    sign_note,
    verify_note,
)

# RFC 8032 section 7.1, TEST 1: secret and public key (from memory).
SECRET = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
PUBLIC = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
KEY = Ed25519PrivateKey.from_private_bytes(SECRET)
NAME = "book.example/depot"
BOOK = VerifierKey(NAME, PUBLIC)
WITNESS = VerifierKey("witness.example", PUBLIC, COSIGNATURE)
TEXT = "the text\n\nof a note\n"
NOTE = Note(TEXT, (sign_note(TEXT, NAME, KEY),))
# C2SP signed-note: the key's id is the start of SHA-256 over name, newline, kind and public key; the text is
# signed as it stands with its newline; a signature line is an em dash, the name, base64 of id and signature.
KIND_AND_KEY = bytes([1]) + PUBLIC
KEY_ID = hashlib.sha256(NAME.encode() + b"\n" + KIND_AND_KEY).digest()[:4]
EXAMPLE_KEY = f"{NAME}+{KEY_ID.hex()}+{base64.b64encode(KIND_AND_KEY).decode()}"
EXAMPLE = f"{TEXT}\n— {NAME} {base64.b64encode(KEY_ID + KEY.sign(TEXT.encode())).decode()}\n".encode()


def test_the_form_written_out_longhand_is_read_verified_and_written_alike() -> None:
    key = read_verifier_key(EXAMPLE_KEY)
    note = read_note(EXAMPLE)

    assert key.key_id == KEY_ID
    assert key.kind == ED25519
    assert verify_note(note, [key]) == {key: None}
    assert note.to_bytes() == EXAMPLE
    assert key.text() == EXAMPLE_KEY


def test_the_secret_key_of_the_rfc_gives_its_public_key() -> None:
    assert KEY.public_key().public_bytes_raw() == PUBLIC


def test_every_changed_byte_of_the_text_is_caught() -> None:
    key = read_verifier_key(EXAMPLE_KEY)
    for at in range(EXAMPLE.rindex(b"\n\n")):
        forged = EXAMPLE[:at] + bytes([EXAMPLE[at] ^ 1]) + EXAMPLE[at + 1 :]
        with pytest.raises(BadNote):
            verify_note(read_note(forged), [key])


def test_a_witness_signs_the_time_before_the_text() -> None:
    signature = cosign_note(TEXT, WITNESS.name, KEY, 1_700_000_000)

    # C2SP tlog-cosignature: 8 bytes of time, then Ed25519 over the header, the time line and the text.
    assert signature.data[:8] == (1_700_000_000).to_bytes(8, "big")
    KEY.public_key().verify(signature.data[8:], b"cosignature/v1\ntime 1700000000\n" + TEXT.encode())
    assert verify_note(Note(TEXT, (signature,)), [WITNESS]) == {WITNESS: 1_700_000_000}


def test_the_time_of_a_witness_cannot_be_changed() -> None:
    made = cosign_note(TEXT, WITNESS.name, KEY, 1_700_000_000)
    later = NoteSignature(made.name, made.key_id, (1_700_000_001).to_bytes(8, "big") + made.data[8:])

    with pytest.raises(BadNote, match="not made by its key"):
        verify_note(Note(TEXT, (later,)), [WITNESS])


def test_a_witness_and_a_book_with_one_key_have_two_ids() -> None:
    assert VerifierKey(NAME, PUBLIC).key_id != VerifierKey(NAME, PUBLIC, COSIGNATURE).key_id


def test_a_signature_by_an_unknown_key_is_passed_over_and_proves_nothing() -> None:
    other = VerifierKey(NAME, Ed25519PrivateKey.from_private_bytes(bytes(32)).public_key().public_bytes_raw())

    assert verify_note(NOTE, [other]) == {}


def test_the_same_key_twice_under_one_note_is_refused() -> None:
    with pytest.raises(BadNote, match="two signatures"):
        verify_note(Note(TEXT, NOTE.signatures * 2), [BOOK])


def test_signing_again_replaces_the_signature_of_the_same_key() -> None:
    assert NOTE.with_signature(NOTE.signatures[0]) == NOTE


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no empty line"),
        (b"text\n", "no empty line"),
        (b"text\n\n", "line feed"),
        (NOTE.to_bytes() + b"more", "line feed"),
        (NOTE.to_bytes() + b"more\n", "em dash"),
        (NOTE.to_bytes() + b"\n", "line feed"),
        (NOTE.to_bytes()[:-1], "line feed"),
        (NOTE.to_bytes().replace(b"\n", b"\r\n"), "carriage return"),
        (NOTE.to_bytes().replace("—".encode(), b"-"), "em dash"),
        (NOTE.to_bytes()[:-2] + b"!\n", "base64"),
        (NOTE.to_bytes().replace(b"book.example", b"book+example"), "plus sign"),
        (b"text\n\n\xe2\x80\x94 name AAAAAA==\n", "behind the key id"),
        (b"text\n\n\xe2\x80\x94 name AAAAAB==\n", "base64"),
        (b"\xff\n\n", "UTF-8"),
        (b"a\x00b\n\n", "control character"),
        (b"a" * 1_000_001, "more than"),
    ],
)
def test_what_is_not_exactly_a_note_is_refused_in_words(data: bytes, words: str) -> None:
    with pytest.raises(BadNote, match=re.escape(words)):
        read_note(data)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "name",
        "name+c74f20a3",
        EXAMPLE_KEY.replace(KEY_ID.hex(), f"{int(KEY_ID.hex(), 16) ^ 1:08x}"),
        EXAMPLE_KEY.replace(KEY_ID.hex(), KEY_ID.hex().upper()),
        EXAMPLE_KEY.replace("book", "boot"),
        EXAMPLE_KEY[:-4],
        EXAMPLE_KEY + "=",
        EXAMPLE_KEY + "\n",
        " " + EXAMPLE_KEY,
        "n+00000000+",
        "n+00000000+" + base64.b64encode(b"\x02" + PUBLIC).decode(),
    ],
)
def test_what_is_not_a_verifier_key_is_refused(text: str) -> None:
    with pytest.raises(BadNote):
        read_verifier_key(text)


TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.just("\n")).map(lambda text: text + "\n")


@given(text=TEXTS)
def test_any_text_comes_back_signed(text: str) -> None:
    note = Note(text, (sign_note(text, NAME, KEY), cosign_note(text, WITNESS.name, KEY, 1)))

    back = read_note(note.to_bytes())

    assert back == note
    assert verify_note(back, [BOOK, WITNESS]) == {BOOK: None, WITNESS: 1}


@given(data=st.binary())
def test_garbage_is_refused_and_never_crashes(data: bytes) -> None:
    try:
        note = read_note(data)
    except BadNote:
        return
    assert note.to_bytes() == data


def test_the_fingerprint_is_read_in_groups_of_four() -> None:
    assert re.fullmatch(r"([0-9a-f]{4} ){15}[0-9a-f]{4}", BOOK.fingerprint())
