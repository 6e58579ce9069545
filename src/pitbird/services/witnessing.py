"""Witnesses: signing another book's checkpoint, and keeping what witnesses signed of this one's.

``witnessed/HASH.note`` is the newest checkpoint seen of another book and ``HASH.key`` the key that its keeper
gave for it, HASH being SHA-256 of the book's name. ``witnesses/BOOK.keys`` holds the keys of those who
witness this book, one a line.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from django.db import transaction

from pitbird.fleet.times import Ms
from pitbird.record.canonical import parse_canonical
from pitbird.record.checkpoint import Checkpoint, read_checkpoint, verify_checkpoint
from pitbird.record.errors import RecordError
from pitbird.record.key_chain import follow_keys, verify_by_one_of
from pitbird.record.merkle import verify_consistency
from pitbird.record.note import (
    COSIGNATURE,
    ED25519,
    Note,
    NoteSignature,
    VerifierKey,
    cosign_note,
    read_note,
    read_verifier_key,
    verify_note,
)
from pitbird.services import clock
from pitbird.services.book_keys import CheckpointRefused, book_keys, origin, signing_key
from pitbird.services.checkpoints import kept_at
from pitbird.services.placing import put
from pitbird.store import book

_HASH: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True)
class Signed:
    """That a witness signed a checkpoint, and when by the witness's clock."""

    witness: VerifierKey
    at: Ms


# Signing for others.


def cosign(
    data: bytes,
    key: VerifierKey,
    home: Path,
    *,
    proof: bytes | None = None,
    changes: Sequence[bytes] = (),
    passphrase: bytes | None = None,
) -> Note:
    """Sign another book's checkpoint as a witness, once it is shown to go on from the newest one seen of it.

    The first is taken as it comes; compare the key's fingerprint with its keeper. Where that book's key was
    changed since, ``changes`` are the notes of all its changes. What is signed is kept first, so that no
    second history is ever signed. Raises RecordError or CheckpointRefused.
    """
    if key.kind != ED25519:
        raise CheckpointRefused("key: the key of a witness, not that of a book; ask for the other line")
    with transaction.atomic():
        book.head(lock=True)  # one witness at a time: two at once could each sign another history
        return _cosign(data, key, home, proof, changes, passphrase)


def _cosign(
    data: bytes,
    key: VerifierKey,
    home: Path,
    proof: bytes | None,
    changes: Sequence[bytes],
    passphrase: bytes | None,
) -> Note:
    if key.name == origin():
        raise CheckpointRefused("checkpoint: it is of this book itself; a witness is somebody else")
    new = verify_checkpoint(data, key).checkpoint
    path = home / "witnessed" / f"{sha256(key.name.encode()).hexdigest()}.note"
    if path.exists():
        old = _seen(path, key, changes)
        if new.size < old.size:
            raise CheckpointRefused(
                f"checkpoint: it counts {new.size} entries, one seen before {old.size}; the book was rolled "
                "back, or this is an old checkpoint. Not signed; ask its keeper"
            )
        verify_consistency(
            old_size=old.size,
            new_size=new.size,
            old_root=old.root,
            new_root=new.root,
            proof=_read_proof(proof, old.size, new.size),
        )
    note = read_note(data)
    seconds = clock.now() // 1000
    signed = note.with_signature(cosign_note(note.text, origin(), signing_key(home, passphrase), seconds))
    put(path, signed.to_bytes())
    put(path.with_suffix(".key"), f"{key.text()}\n".encode())
    return signed


def _seen(path: Path, key: VerifierKey, changes: Sequence[bytes]) -> Checkpoint:
    """What was seen last, by the key known then; the one given now is that, or changes lead on to it."""
    known = path.with_suffix(".key")
    keys: tuple[VerifierKey, ...] = (key,)
    if not known.exists() or read_verifier_key(known.read_text("utf-8").strip()) != key:
        chain = follow_keys(changes, key.name)
        if key not in chain:
            raise CheckpointRefused(
                f"key: {key.name} was seen under another key. Ask its keeper for the notes of all changes of "
                "its key (keys/…/0001.note and so on) and give them too; without them, do not sign"
            )
        keys = chain[: chain.index(key) + 1]
        if known.exists() and read_verifier_key(known.read_text("utf-8").strip()) not in keys:
            raise CheckpointRefused(
                f"key: the changes do not lead from the key under which {key.name} was seen to this one. "
                "Not signed; ask its keeper"
            )
    return verify_by_one_of(path.read_bytes(), keys).checkpoint


def _read_proof(proof: bytes | None, old_size: int, new_size: int) -> Sequence[bytes]:
    if old_size == new_size:
        return ()
    again = f"ask its keeper for `pitbird checkpoint export --since {old_size}`"
    if proof is None:
        raise CheckpointRefused(f"proof: missing; one of {old_size} entries was seen before: {again}")
    value: Any = parse_canonical(proof.removesuffix(b"\n"))
    if type(value) is not dict or value.keys() != {"from", "proof", "to"} or type(value["proof"]) is not list:
        raise CheckpointRefused(f"proof: not a file of from, proof and to; {again}")
    if (value["from"], value["to"]) != (old_size, new_size):
        raise CheckpointRefused(f"proof: not one from {old_size} to {new_size} entries; {again}")
    if not all(type(item) is str and _HASH.fullmatch(item) for item in value["proof"]):
        raise CheckpointRefused(f"proof: holds something else than hashes; {again}")
    return [bytes.fromhex(item) for item in value["proof"]]


@dataclass(frozen=True)
class Witnessed:
    """The newest checkpoint seen of another book."""

    origin: str
    size: int
    at: Ms
    digest: str


def witnessed(home: Path) -> tuple[Witnessed, ...]:
    """Of which other books what was seen last; a file that is none of ours is passed over."""
    found = []
    for path in sorted((home / "witnessed").glob("*.note")):
        try:
            seen = read_checkpoint(read_note(path.read_bytes()).text)
        except RecordError:
            continue
        found.append(Witnessed(seen.origin, seen.size, Ms(int(path.stat().st_mtime * 1000)), path.stem))
    return tuple(found)


# What others signed of this book.


def known_witnesses(home: Path) -> tuple[VerifierKey, ...]:
    """The keys of those who witness this book, as they were given. Raises RecordError for a damaged file."""
    try:
        text = _keys_path(home).read_text("utf-8")
    except FileNotFoundError:
        return ()
    return tuple(read_verifier_key(line) for line in text.splitlines())


def take_back(data: bytes, home: Path, *, witness: VerifierKey | None = None) -> tuple[Signed, ...]:
    """Put the signatures of witnesses from a checkpoint that came back under the one that is kept.

    ``witness`` is the key of one not known yet; compare its fingerprint with its keeper. Of a witness who
    signed twice the earlier signature stays. Gives those that were added; raises RecordError or
    CheckpointRefused where the note is not a kept checkpoint of this book, or no known witness signed it.
    """
    if witness is not None and witness.kind != COSIGNATURE:
        raise CheckpointRefused("witness: the key of a book; ask for the line `as a witness`")
    with transaction.atomic():
        book.head(lock=True)  # one at a time: two at once could lose a signature
        given, known = read_note(data), known_witnesses(home)
        others = known if witness is None or witness in known else (*known, witness)
        ours = verify_by_one_of(data, book_keys(home)).checkpoint
        found = kept_at(home, ours.size)
        note = read_note(found.path.read_bytes())
        if note.text != given.text:
            raise CheckpointRefused(
                f"checkpoint: it is signed by this book's key but is not the one of {ours.size} entries that "
                "is kept here; compare both, and look who else has the key"
            )
        signed = {key: at for key, at in verify_note(given, others).items() if at is not None}
        if witness is not None and witness not in signed:
            raise CheckpointRefused(f"witness: {witness.name} did not sign this checkpoint with this key")
        if not signed:
            raise CheckpointRefused(
                "checkpoint: no witness known here has signed it; give the witness's key, as its keeper "
                "shows it"
            )
        before = verify_note(note, others)
        added = {key: at for key, at in signed.items() if key not in before or at < (before[key] or 0)}
        for key in added:
            note = note.with_signature(_signature_of(given, key))
        if witness is not None and witness not in known:
            put(_keys_path(home), "".join(f"{key.text()}\n" for key in others).encode())
        if added:
            put(found.path, note.to_bytes(), keep_time=True)
        return tuple(Signed(key, Ms(at * 1000)) for key, at in added.items())


def signed_by(path: Path, home: Path) -> tuple[Signed, ...]:
    """Which known witnesses signed a kept checkpoint, the first to sign first. Raises RecordError."""
    found = verify_note(read_note(path.read_bytes()), known_witnesses(home))
    signed = (Signed(key, Ms(at * 1000)) for key, at in found.items() if at is not None)
    return tuple(sorted(signed, key=lambda each: each.at))


def _signature_of(note: Note, key: VerifierKey) -> NoteSignature:
    return next(item for item in note.signatures if (item.name, item.key_id) == (key.name, key.key_id))


def _keys_path(home: Path) -> Path:
    return home / "witnesses" / f"{origin().rpartition('/')[2]}.keys"
