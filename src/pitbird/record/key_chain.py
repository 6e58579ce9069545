"""Changes of a book's key: signed notes that lead from its first key to the present one.

The text of the N-th change is five lines: ``pitbird-key/1``, the origin, N in decimal, the old and the new
verifier key; signed (C2SP signed-note, Ed25519) by both, so that neither half can be put there by one who
holds only the other. Whoever trusts one key of the chain is led to all that come after it.
"""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from pitbird.record.checkpoint import VerifiedCheckpoint, verify_checkpoint
from pitbird.record.errors import BadNote, RecordError
from pitbird.record.note import (
    ED25519,
    Note,
    VerifierKey,
    read_note,
    read_verifier_key,
    sign_note,
    verify_note,
)

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KEY_CHANGE: Final = "pitbird-key/1"


def change_note(origin: str, number: int, old: "Ed25519PrivateKey", new: "Ed25519PrivateKey") -> bytes:
    """The signed note of the ``number``-th change of a key (1 for the first). Raises BadNote."""
    keys = [VerifierKey(origin, key.public_key().public_bytes_raw()) for key in (old, new)]
    if type(number) is not int or number < 1:
        raise BadNote("not the number of a change: 1, 2, 3", where="number", remedy="Count from 1.")
    if keys[0] == keys[1]:
        raise BadNote("the new key is the old one", where="key", remedy="Make another key.")
    text = "".join(f"{line}\n" for line in (KEY_CHANGE, origin, number, *(key.text() for key in keys)))
    return Note(text, (sign_note(text, origin, old), sign_note(text, origin, new))).to_bytes()


def follow_keys(notes: Sequence[bytes], origin: str) -> tuple[VerifierKey, ...]:
    """All keys of a book in their order, the first one first, from the notes of all their changes in order.

    Empty without a note: then the chain knows no key at all. Raises RecordError, with the number of the note
    in ``where``, for one that is not exactly a change of this book's key, is not the next (a gap, a fork, one
    twice), or was not signed by both keys.
    """
    keys: list[VerifierKey] = []
    for number, data in enumerate(notes, start=1):
        where = f"key change {number}"
        try:
            old, new = _change(data, origin, number)
        except RecordError as error:
            raise BadNote(error.what, where=where, remedy=_ASK) from error
        if keys and keys[-1] != old:
            raise BadNote("it does not begin with the key that the last one led to", where=where, remedy=_ASK)
        keys.extend([new] if keys else [old, new])
    return tuple(keys)


def verify_by_one_of(
    data: bytes, keys: Sequence[VerifierKey], witnesses: Iterable[VerifierKey] = ()
) -> VerifiedCheckpoint:
    """Verify a checkpoint with the newest of a book's keys (the last in ``keys``) whose signature it bears.

    Raises BadNote or BadCheckpoint as ``verify_checkpoint``; also where none of them signed it.
    """
    signed = {(item.name, item.key_id) for item in read_note(data).signatures}
    found = [key for key in keys if (key.name, key.key_id) in signed]
    return verify_checkpoint(data, (found or list(keys))[-1], witnesses)


def _change(data: bytes, origin: str, number: int) -> tuple[VerifierKey, VerifierKey]:
    note = read_note(data)
    lines = note.text.split("\n")
    if len(lines) != 6 or lines[0] != KEY_CHANGE:
        raise BadNote(f"not the five lines of a change of key, {KEY_CHANGE} first")
    if lines[1] != origin:
        raise BadNote(f"it is of {lines[1]!a}, not of {origin!a}")
    if lines[2] != str(number):
        raise BadNote(f"it is numbered {lines[2]!a} where {number} belongs")
    old, new = read_verifier_key(lines[3]), read_verifier_key(lines[4])
    for key in (old, new):
        if key.name != origin or key.kind != ED25519:
            raise BadNote(f"the key of {key.name!a} is not one by which {origin!a} signs")
    signed = verify_note(note, (old, new))
    for key, which in ((old, "old"), (new, "new")):
        if key not in signed:
            raise BadNote(f"not signed by the {which} key")
    return old, new


_ASK: Final = (
    "Do not rely on it; compare the fingerprints with the keeper of the book, and get all of them again."
)
