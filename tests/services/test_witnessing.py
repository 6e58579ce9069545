"""Signing another book's checkpoint, following its changes of key, and what comes back from witnesses."""

from __future__ import annotations

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitbird.record.canonical import canonical
from pitbird.record.checkpoint import Checkpoint, verify_checkpoint
from pitbird.record.errors import BadCheckpoint, BadNote, ProofRefused
from pitbird.record.key_chain import change_note
from pitbird.record.merkle import consistency_proof, leaf_hash, root_of
from pitbird.record.note import (
    COSIGNATURE,
    Note,
    NoteSignature,
    VerifierKey,
    cosign_note,
    read_note,
    sign_note,
)
from pitbird.services import checkpoints, clock
from pitbird.services.book_keys import CheckpointRefused, origin, public_key, signing_key
from pitbird.services.key_rotation import rotate
from pitbird.services.witnessing import (
    cosign,
    known_witnesses,
    signed_by,
    take_back,
    witnessed,
)
from pitbird.services.writing import Actor

# Another book, of which this one is the witness.
KEYS = [Ed25519PrivateKey.from_private_bytes(bytes([at]) * 32) for at in range(3)]
OTHER, NEXT, THIRD = (VerifierKey("pitbird-book/other", key.public_key().public_bytes_raw()) for key in KEYS)
CHANGES = [change_note(OTHER.name, at + 1, KEYS[at], KEYS[at + 1]) for at in range(2)]
LEAVES = [leaf_hash(bytes([each])) for each in range(7)]


def other(size: int, leaves: list[bytes] = LEAVES, key: Ed25519PrivateKey = KEYS[0]) -> bytes:
    """A checkpoint of the other book."""
    text = Checkpoint(OTHER.name, size, root_of(leaves[:size])).text()
    return Note(text, (sign_note(text, OTHER.name, key),)).to_bytes()


def proof(old: int, new: int, leaves: list[bytes] = LEAVES) -> bytes:
    """The file of a consistency proof of the other book."""
    hashes = [each.hex() for each in consistency_proof(leaves[:new], old)]
    return canonical({"from": old, "proof": hashes, "to": new})


def test_a_witness_signs_what_goes_on_from_what_it_saw(fleet: Actor, tmp_path: Path) -> None:
    cosign(other(3), OTHER, tmp_path)
    note = cosign(other(7), OTHER, tmp_path, proof=proof(3, 7))

    done = verify_checkpoint(note.to_bytes(), OTHER, [public_key(tmp_path, witness=True)])
    assert [name for name, _ in done.witnesses] == [origin()]
    assert abs(done.witnesses[0][1] - clock.now() // 1000) < 60
    assert [(each.origin, each.size) for each in witnessed(tmp_path)] == [(OTHER.name, 7)]


FORKED = [*LEAVES[:2], leaf_hash(b"forged"), *LEAVES[3:]]


def test_a_witness_signs_no_second_history(fleet: Actor, tmp_path: Path) -> None:
    cosign(other(3), OTHER, tmp_path)

    for data, given in ((other(3, FORKED), None), (other(7, FORKED), proof(3, 7, FORKED))):
        with pytest.raises(ProofRefused):
            cosign(data, OTHER, tmp_path, proof=given)
    with pytest.raises(CheckpointRefused, match="rolled back"):
        cosign(other(2), OTHER, tmp_path)
    with pytest.raises(CheckpointRefused, match="proof: missing"):
        cosign(other(7), OTHER, tmp_path)
    with pytest.raises(CheckpointRefused, match="not one from 3 to 7"):
        cosign(other(7), OTHER, tmp_path, proof=proof(2, 7))
    for garbage in (b"{}", b'{"from":3,"proof":["zz"],"to":7}', b'{"from":3,"proof":1,"to":7}'):
        with pytest.raises(CheckpointRefused, match="proof:"):
            cosign(other(7), OTHER, tmp_path, proof=garbage)


def test_a_witness_follows_a_change_of_the_other_books_key(fleet: Actor, tmp_path: Path) -> None:
    cosign(other(3), OTHER, tmp_path)

    with pytest.raises(CheckpointRefused, match="was seen under another key"):
        cosign(other(7, key=KEYS[1]), NEXT, tmp_path, proof=proof(3, 7))
    note = cosign(other(7, key=KEYS[1]), NEXT, tmp_path, proof=proof(3, 7), changes=CHANGES[:1])

    assert len(note.signatures) == 2
    assert cosign(other(7, key=KEYS[2]), THIRD, tmp_path, changes=CHANGES).text == note.text


def test_a_witness_does_not_go_back_to_a_key_that_was_changed(fleet: Actor, tmp_path: Path) -> None:
    """Forgery: whoever stole the old key shows a history of their own to the witness."""
    cosign(other(3), OTHER, tmp_path)
    cosign(other(3, key=KEYS[1]), NEXT, tmp_path, changes=CHANGES[:1])

    for changes in ([], CHANGES[:1], CHANGES):
        with pytest.raises(CheckpointRefused, match=r"under another key|do not lead from the key"):
            cosign(other(7), OTHER, tmp_path, proof=proof(3, 7), changes=changes)


def test_a_witness_takes_no_other_book_of_the_same_name(fleet: Actor, tmp_path: Path) -> None:
    cosign(other(3), OTHER, tmp_path)
    mine = [KEYS[2], KEYS[1]]

    with pytest.raises(CheckpointRefused, match="do not lead from the key"):
        cosign(
            other(7, key=KEYS[1]),
            NEXT,
            tmp_path,
            proof=proof(3, 7),
            changes=[change_note(OTHER.name, 1, mine[0], mine[1])],
        )


def test_a_book_is_not_its_own_witness(fleet: Actor, tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)

    with pytest.raises(CheckpointRefused, match="of this book itself"):
        cosign(made.path.read_bytes(), public_key(tmp_path), tmp_path)
    with pytest.raises(CheckpointRefused, match="key of a witness"):
        cosign(other(3), VerifierKey(OTHER.name, OTHER.public, COSIGNATURE), tmp_path)


# What comes back from witnesses of this book.
WITNESS = VerifierKey("depot.example", OTHER.public, COSIGNATURE)
SECOND = VerifierKey("river.example", NEXT.public, COSIGNATURE)


def back(home: Path, *signed: tuple[VerifierKey, Ed25519PrivateKey, int]) -> bytes:
    """The newest kept checkpoint as it comes back with these signatures under it."""
    note = read_note(checkpoints.make_checkpoint(home).path.read_bytes())
    for key, private, seconds in signed:
        note = note.with_signature(cosign_note(note.text, key.name, private, seconds))
    return note.to_bytes()


def test_what_a_witness_signed_is_put_under_the_kept_checkpoint(fleet: Actor, tmp_path: Path) -> None:
    data = back(tmp_path, (WITNESS, KEYS[0], 1_772_000_000))
    made = checkpoints.kept(tmp_path)
    assert made is not None
    before = made.made_at

    (added,) = take_back(data, tmp_path, witness=WITNESS)

    assert (added.witness, added.at) == (WITNESS, 1_772_000_000_000)
    assert made.path.read_bytes() == data
    assert signed_by(made.path, tmp_path) == (added,)
    assert known_witnesses(tmp_path) == (WITNESS,)
    assert made.made_at == before, "when it was made is not when it was signed"
    assert take_back(data, tmp_path) == ()
    assert verify_checkpoint(made.path.read_bytes(), public_key(tmp_path), [WITNESS]).witnesses == (
        ("depot.example", 1_772_000_000),
    )


def test_two_witnesses_may_come_back_one_after_the_other(fleet: Actor, tmp_path: Path) -> None:
    first, second = (
        back(tmp_path, (WITNESS, KEYS[0], 1_772_000_000)),
        back(tmp_path, (SECOND, KEYS[1], 1_772_000_100)),
    )
    take_back(second, tmp_path, witness=SECOND)
    take_back(first, tmp_path, witness=WITNESS)

    made = checkpoints.kept(tmp_path)
    assert made is not None
    assert [each.witness for each in signed_by(made.path, tmp_path)] == [WITNESS, SECOND]


def test_of_a_witness_who_signed_twice_the_earlier_signature_stays(fleet: Actor, tmp_path: Path) -> None:
    take_back(back(tmp_path, (WITNESS, KEYS[0], 1_772_000_000)), tmp_path, witness=WITNESS)
    assert take_back(back(tmp_path, (WITNESS, KEYS[0], 1_772_999_999)), tmp_path) == ()
    (earlier,) = take_back(back(tmp_path, (WITNESS, KEYS[0], 1_771_000_000)), tmp_path)

    assert earlier.at == 1_771_000_000_000


def test_what_is_not_a_kept_checkpoint_signed_by_a_known_witness_is_refused(
    fleet: Actor, tmp_path: Path
) -> None:
    data = back(tmp_path, (WITNESS, KEYS[0], 1_772_000_000))
    path = checkpoints.make_checkpoint(tmp_path).path
    before = path.read_bytes()
    longer = Checkpoint(origin(), 999, bytes(32)).text()
    other_root = Checkpoint(origin(), int(path.name[:19]), bytes(32)).text()
    ours = signing_key(tmp_path)
    broken = NoteSignature(WITNESS.name, WITNESS.key_id, bytes(7) + b"\1" + bytes(64))

    with pytest.raises(CheckpointRefused, match="no witness known here has signed it"):
        take_back(data, tmp_path)
    with pytest.raises(CheckpointRefused, match=r"river.example did not sign"):
        take_back(data, tmp_path, witness=SECOND)
    with pytest.raises(BadNote, match="was not made by its key"):
        take_back(read_note(data).with_signature(broken).to_bytes(), tmp_path, witness=WITNESS)
    with pytest.raises(BadCheckpoint, match="not signed by"):
        take_back(other(3), tmp_path, witness=WITNESS)
    with pytest.raises(CheckpointRefused, match="no checkpoint of 999 entries is kept"):
        take_back(Note(longer, (sign_note(longer, origin(), ours),)).to_bytes(), tmp_path)
    with pytest.raises(CheckpointRefused, match="not the one of"):
        take_back(Note(other_root, (sign_note(other_root, origin(), ours),)).to_bytes(), tmp_path)
    with pytest.raises(CheckpointRefused, match="the key of a book"):
        take_back(data, tmp_path, witness=OTHER)

    assert path.read_bytes() == before
    assert known_witnesses(tmp_path) == ()


def test_what_was_signed_before_the_key_changed_comes_back_after_it(fleet: Actor, tmp_path: Path) -> None:
    data = back(tmp_path, (WITNESS, KEYS[0], 1_772_000_000))
    size = checkpoints.make_checkpoint(tmp_path).checkpoint.size
    rotate(tmp_path, fleet)

    take_back(data, tmp_path, witness=WITNESS)

    assert len(signed_by(checkpoints.kept_at(tmp_path, size).path, tmp_path)) == 1
