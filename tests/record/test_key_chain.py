"""Changes of a key: the form written out longhand, the chain followed, every break of it told.

Sources: C2SP signed-note for the signatures (from memory), RFC 8032 section 7.1 TEST 1 for one of the keys.
"""

import base64
import hashlib

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.errors import BadNote, RecordError
from pitbird.record.key_chain import change_note, follow_keys
from pitbird.record.note import COSIGNATURE, Note, VerifierKey, read_note, sign_note

ORIGIN = "pitbird-book/0191"
RFC_8032_TEST_1 = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
SECRETS = [Ed25519PrivateKey.from_private_bytes(RFC_8032_TEST_1)] + [
    Ed25519PrivateKey.from_private_bytes(bytes([at]) * 32) for at in range(1, 4)
]
KEYS = tuple(VerifierKey(ORIGIN, each.public_key().public_bytes_raw()) for each in SECRETS)
CHAIN = [change_note(ORIGIN, at + 1, SECRETS[at], SECRETS[at + 1]) for at in range(3)]


def note(lines: list[str], *signers: Ed25519PrivateKey, name: str = ORIGIN) -> bytes:
    """A note of these lines, signed by these under the name of the book."""
    text = "".join(f"{line}\n" for line in lines)
    return Note(text, tuple(sign_note(text, name, each) for each in signers)).to_bytes()


LINES = ["pitbird-key/1", ORIGIN, "1", KEYS[0].text(), KEYS[1].text()]


def test_the_form_is_the_one_written_out_longhand() -> None:
    public = [each.public_key().public_bytes_raw() for each in SECRETS[:2]]
    ids = [hashlib.sha256(ORIGIN.encode() + b"\n\x01" + each).digest()[:4] for each in public]
    coded = [base64.b64encode(b"\x01" + each).decode() for each in public]
    text = (
        f"pitbird-key/1\n{ORIGIN}\n1\n"
        f"{ORIGIN}+{ids[0].hex()}+{coded[0]}\n{ORIGIN}+{ids[1].hex()}+{coded[1]}\n"
    )
    lines = [
        f"— {ORIGIN} {base64.b64encode(made + key.sign(text.encode())).decode()}\n"
        for made, key in zip(ids, SECRETS[:2], strict=True)
    ]

    assert CHAIN[0] == (text + "\n" + "".join(lines)).encode()


def test_the_chain_gives_all_keys_in_their_order() -> None:
    assert follow_keys([], ORIGIN) == ()
    assert follow_keys(CHAIN[:1], ORIGIN) == KEYS[:2]
    assert follow_keys(CHAIN, ORIGIN) == KEYS


def test_further_signatures_do_no_harm() -> None:
    with_third = read_note(CHAIN[0]).with_signature(sign_note(read_note(CHAIN[0]).text, "else", SECRETS[3]))

    assert follow_keys([with_third.to_bytes()], ORIGIN) == KEYS[:2]


@pytest.mark.parametrize(
    ("notes", "told"),
    [
        ([CHAIN[1], CHAIN[2]], r"^key change 1: it is numbered '2' where 1 belongs"),
        ([CHAIN[0], CHAIN[2]], r"^key change 2: it is numbered '3' where 2 belongs"),
        ([CHAIN[0], CHAIN[0]], r"^key change 2: it is numbered '1' where 2 belongs"),
        ([CHAIN[1], CHAIN[0]], r"^key change 1: it is numbered '2'"),
        (
            [CHAIN[0], change_note(ORIGIN, 2, SECRETS[0], SECRETS[2])],
            "^key change 2: it does not begin with the key that the last one led to",
        ),
        (
            [CHAIN[0], change_note(ORIGIN, 2, SECRETS[3], SECRETS[2])],
            "^key change 2: it does not begin with the key that the last one led to",
        ),
        ([change_note("pitbird-book/else", 1, SECRETS[0], SECRETS[1])], "it is of 'pitbird-book/else'"),
        ([note(LINES, SECRETS[1])], "not signed by the old key"),
        ([note(LINES, SECRETS[0])], "not signed by the new key"),
        ([note(LINES, SECRETS[0], SECRETS[2])], "not signed by the new key"),
        ([note(LINES, *SECRETS[:2], SECRETS[0])], "two signatures by"),
        ([note(["pitbird-key/2", *LINES[1:]], *SECRETS[:2])], "not the five lines"),
        ([note([*LINES, "more"], *SECRETS[:2])], "not the five lines"),
        ([note(LINES[:4], *SECRETS[:2])], "not the five lines"),
        ([note([*LINES[:2], "01", *LINES[3:]], *SECRETS[:2])], "numbered '01' where 1 belongs"),
        (
            [note([*LINES[:4], VerifierKey("else", KEYS[1].public).text()], *SECRETS[:2])],
            "the key of 'else' is not one by which",
        ),
        (
            [note([*LINES[:4], VerifierKey(ORIGIN, KEYS[1].public, COSIGNATURE).text()], *SECRETS[:2])],
            "is not one by which",
        ),
        ([b""], "no empty line"),
        ([b"\xff"], "not UTF-8"),
    ],
)
def test_a_chain_that_does_not_hold_is_refused_with_the_note_that_breaks_it(
    notes: list[bytes], told: str
) -> None:
    with pytest.raises(BadNote, match=told):
        follow_keys(notes, ORIGIN)


@given(st.integers(0, len(CHAIN[1]) - 1), st.integers(0, 7))
def test_every_changed_bit_of_a_change_is_caught(at: int, bit: int) -> None:
    forged = CHAIN[1][:at] + bytes([CHAIN[1][at] ^ 1 << bit]) + CHAIN[1][at + 1 :]

    with pytest.raises(RecordError):
        follow_keys([CHAIN[0], forged, CHAIN[2]], ORIGIN)


@given(st.lists(st.binary(max_size=60), min_size=1, max_size=3))
def test_garbage_raises_nothing_but_an_error_of_the_record(notes: list[bytes]) -> None:
    with pytest.raises(RecordError):
        follow_keys(notes, ORIGIN)


def test_no_change_is_made_that_could_not_be_followed() -> None:
    with pytest.raises(BadNote, match="the new key is the old one"):
        change_note(ORIGIN, 1, SECRETS[0], SECRETS[0])
    with pytest.raises(BadNote, match="number"):
        change_note(ORIGIN, 0, SECRETS[0], SECRETS[1])
