"""Checkpoints of this book: its key, the checkpoints kept beside it, and signing another book's as a witness.

Everything lies in files under the home folder, never in the book: ``book-key.pem`` (owner only) with
``book-key.pub``; ``checkpoints/BOOK/SIZE.note`` with its census; ``witnessed/HASH.note``, the newest that was
seen of another book. Each file is written whole under another name and put in its place at once.
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from django.db import transaction

from pitbird.record.canonical import canonical, parse_canonical
from pitbird.record.checkpoint import Checkpoint, census_bytes, census_line, verify_checkpoint
from pitbird.record.merkle import Frontier, verify_consistency
from pitbird.record.note import (
    COSIGNATURE,
    Note,
    VerifierKey,
    cosign_note,
    read_note,
    read_verifier_key,
    sign_note,
)
from pitbird.services import clock
from pitbird.services.checking import Check
from pitbird.services.moving import BookEmpty
from pitbird.services.proofs import consistency
from pitbird.store import book

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

DAY_SECONDS: Final = 24 * 3600
_NOTE: Final = re.compile(r"(\d{19})\.note", re.ASCII)
_HASH: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)
_CHANGED: Final = (
    "the book was rolled back or rewritten: do not rely on it, compare it with an export or a checkpoint "
    "that somebody else holds. Where it was restored from a copy on purpose, run `pitbird book restored` "
    "first, then move that file to where you keep old papers"
)


class CheckpointRefused(ValueError):
    """A checkpoint or its key cannot be made, read or signed; the sentence says why and what to do."""


@dataclass(frozen=True)
class Kept:
    """A checkpoint of this book that lies beside it, verified with the book's key."""

    checkpoint: Checkpoint
    path: Path

    @property
    def census_path(self) -> Path:
        """The file of the census that it commits to."""
        return self.path.with_suffix(".census.json")


def origin() -> str:
    """The name of this book in its checkpoints and keys. Raises BookEmpty."""
    first = book.at_index(0)
    if first is None:
        raise BookEmpty
    return f"pitbird-book/{first.entry_id}"


def public_key(home: Path, *, witness: bool = False) -> VerifierKey:
    """The public half of the book's key, or of the same key as a witness's. Raises CheckpointRefused."""
    try:
        raw = read_verifier_key((home / "book-key.pub").read_text("utf-8").strip()).public
    except FileNotFoundError:
        raise CheckpointRefused(
            "there is no key yet; `pitbird checkpoint make` makes it with the first checkpoint"
        ) from None
    return VerifierKey(origin(), raw, COSIGNATURE) if witness else VerifierKey(origin(), raw)


def signing_key(home: Path, passphrase: bytes | None = None) -> Ed25519PrivateKey:
    """The book's key, made at first use (PKCS #8, encrypted where a passphrase is given; mode 0600).

    Raises CheckpointRefused where others may read it, or the passphrase does not fit.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    path = home / "book-key.pem"
    if not path.exists():
        _make_key(path, passphrase)
    if os.name == "posix" and path.stat().st_mode & 0o077:
        raise CheckpointRefused(f"{path} may be read by others; take their rights away (chmod 600)")
    try:
        key = load_pem_private_key(path.read_bytes(), passphrase)
    except TypeError:
        raise CheckpointRefused(
            "passphrase: none was given for a key that has one; set PITBIRD_KEY_PASSPHRASE"
            if passphrase is None
            else "passphrase: the key has none; take PITBIRD_KEY_PASSPHRASE out of the environment"
        ) from None
    except ValueError:
        raise CheckpointRefused(f"passphrase: it does not open {path}, or the file is damaged") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise CheckpointRefused(f"{path} is not an Ed25519 key; put the book's own key back")
    made = VerifierKey(origin(), key.public_key().public_bytes_raw())
    if not (home / "book-key.pub").exists():
        _put(home / "book-key.pub", f"{made.text()}\n".encode())
    if public_key(home) != made:
        raise CheckpointRefused("book-key.pub does not belong to book-key.pem; put the right one back")
    return key


def _make_key(path: Path, passphrase: bytes | None) -> None:
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    lock = form.BestAvailableEncryption(passphrase) if passphrase else form.NoEncryption()
    pem = Ed25519PrivateKey.generate().private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, lock)
    _put(path, pem, replace=False)


def kept(home: Path) -> Kept | None:
    """The newest checkpoint that lies beside the book; None where there is none.

    Raises RecordError or CheckpointRefused where it is not one signed by the book's key.
    """
    folder = _folder(home)
    names = sorted(each.name for each in folder.glob("*.note") if _NOTE.fullmatch(each.name))
    if not names:
        return None
    path = folder / names[-1]
    found = verify_checkpoint(path.read_bytes(), public_key(home)).checkpoint
    if path.name != _name(found.size):
        raise CheckpointRefused(f"{path} is a checkpoint of {found.size} entries under another name")
    return Kept(found, path)


def make_checkpoint(home: Path, passphrase: bytes | None = None) -> Kept:
    """Sign the head of the book with its census and keep it; the one that is there where nothing was added.

    Raises CheckpointRefused where the entries do not make the head, or not the newest checkpoint's.
    """
    with transaction.atomic():
        head = book.head(lock=True)
        name, census = origin(), book.census()
        newest = kept(home)
        if told := _not_grown_from(newest, head):
            raise CheckpointRefused(f"{told}; {_CHANGED}")
    if newest is not None and newest.checkpoint.size == head.size:
        return newest
    key = signing_key(home, passphrase)
    made = Checkpoint(name, head.size, head.root(), (census_line(census),))
    result = Kept(made, _folder(home) / _name(head.size))
    _put(result.census_path, census_bytes(census))
    _put(result.path, Note(made.text(), (sign_note(made.text(), name, key),)).to_bytes())
    return result


def daily_checkpoint(home: Path, passphrase: bytes | None = None) -> Kept | None:
    """Make a checkpoint where the book grew and the newest is a day old; None where none is due."""
    head = book.head()
    newest = kept(home) if head.size else None
    if head.size == 0 or (newest is not None and newest.checkpoint.size == head.size):
        return None
    if newest is not None and clock.now() / 1000 - newest.path.stat().st_mtime < DAY_SECONDS:
        return None
    return make_checkpoint(home, passphrase)


def check_kept(home: Path) -> Check:
    """Whether the book still is the one of its newest checkpoint; reads every leaf hash, changes nothing."""
    what = "the book goes on from its newest checkpoint"
    if book.head().size == 0:
        return Check(what)
    try:
        newest = kept(home)
        with transaction.atomic():
            told = _not_grown_from(newest, book.head()) if newest else ""
    except (ValueError, OSError) as fault:  # the files beside the book may hold anything
        told = f"the newest checkpoint cannot be relied on ({fault})"
    return Check(what, told, _CHANGED)


def _not_grown_from(newest: Kept | None, head: Frontier) -> str:
    """Why the entries are not those of the checkpoint with more behind them; empty where they are."""
    size = newest.checkpoint.size if newest else 0
    if newest and size > head.size:
        return f"{newest.path} counts {size} entries, the book holds {head.size}"
    tree = Frontier().extend(list(book.leaf_hashes(0, size)))
    if newest and (tree.size != size or tree.root() != newest.checkpoint.root):
        return f"the first {size} entries have another root than {newest.path}"
    if tree.extend(list(book.leaf_hashes(size, head.size))) != head:
        return f"the {head.size} entries do not make the root that the head holds"
    return ""


def proof_file(old_size: int, new_size: int) -> bytes:
    """The consistency proof as a file for a witness: canonical JSON of from, to and the hashes in hex."""
    hashes = [each.hex() for each in consistency(old_size, new_size)]
    return canonical({"from": old_size, "proof": hashes, "to": new_size}) + b"\n"


def cosign(
    data: bytes, key: VerifierKey, home: Path, *, proof: bytes | None = None, passphrase: bytes | None = None
) -> Note:
    """Sign another book's checkpoint as a witness, once it is shown to go on from the newest one seen of it.

    The first is taken as it comes; compare the key's fingerprint with its keeper. What is signed is kept
    first, so that no second history is ever signed. Raises RecordError or CheckpointRefused.
    """
    with transaction.atomic():
        book.head(lock=True)  # one witness at a time: two at once could each sign another history
        return _cosign(data, key, home, proof, passphrase)


def _cosign(data: bytes, key: VerifierKey, home: Path, proof: bytes | None, passphrase: bytes | None) -> Note:
    new = verify_checkpoint(data, key).checkpoint
    path = home / "witnessed" / f"{sha256(key.text().encode()).hexdigest()}.note"
    if path.exists():
        old = verify_checkpoint(path.read_bytes(), key).checkpoint
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
    _put(path, signed.to_bytes())
    return signed


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


def _folder(home: Path) -> Path:
    return home / "checkpoints" / origin().rpartition("/")[2]


def _name(size: int) -> str:
    return f"{size:019d}.note"


def _put(path: Path, data: bytes, *, replace: bool = True) -> None:
    """Write a file whole or not at all; readable by the owner only."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".new-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if replace:
            Path(name).replace(path)
        else:
            # A hard link, since it fails where another process was first.
            os.link(name, path)
    except FileExistsError:
        pass
    finally:
        Path(name).unlink(missing_ok=True)
