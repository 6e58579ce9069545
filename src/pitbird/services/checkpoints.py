"""The checkpoints of this book that are kept beside it: made, looked through, held against the book.

They lie in ``checkpoints/BOOK/SIZE.note`` with their census under the home folder, never in the book. Each
file is written whole under another name and put in its place at once, the census first.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.db import transaction

from pitbird.fleet.times import Ms
from pitbird.record.canonical import canonical
from pitbird.record.checkpoint import Checkpoint, census_bytes, census_line
from pitbird.record.key_chain import verify_by_one_of
from pitbird.record.merkle import Frontier
from pitbird.record.note import Note, VerifierKey, read_note, sign_note
from pitbird.services import clock
from pitbird.services.book_keys import (
    CheckpointRefused,
    book_keys,
    changes_folder,
    origin,
    public_key,
    signing_key,
)
from pitbird.services.checking import Check
from pitbird.services.placing import put
from pitbird.services.proofs import consistency
from pitbird.store import book

__all__ = (
    "DAY_SECONDS", "CheckpointRefused", "Kept", "all_kept", "check_kept", "daily_checkpoint", "is_due",
    "kept", "kept_at", "make_checkpoint", "origin", "proof_file", "public_key", "signing_key",
)  # fmt: skip

DAY_SECONDS: Final = 24 * 3600
_NOTE: Final = re.compile(r"(\d{19})\.note", re.ASCII)
_LEFT_SECONDS: Final = 3600
_CHANGED: Final = (
    "the book was rolled back or rewritten: do not rely on it, compare it with an export or a checkpoint "
    "that somebody else holds. Where it was restored from a copy on purpose, run `pitbird book restored` "
    "first, then move that file to where you keep old papers"
)


@dataclass(frozen=True)
class Kept:
    """A checkpoint of this book that lies beside it, verified with one of the book's keys."""

    checkpoint: Checkpoint
    path: Path

    @property
    def census_path(self) -> Path:
        """The file of the census that it commits to."""
        return self.path.with_suffix(".census.json")

    @property
    def made_at(self) -> Ms:
        """When it was made, by the time of the file; nobody vouches for that."""
        return Ms(int(self.path.stat().st_mtime * 1000))


def kept(home: Path) -> Kept | None:
    """The newest checkpoint that lies beside the book; None where there is none.

    Raises RecordError or CheckpointRefused where it is not one signed by a key of the book.
    """
    paths = kept_paths(home)
    return read_kept(paths[0], book_keys(home)) if paths else None


def all_kept(home: Path) -> Iterator[tuple[Path, Kept | ValueError]]:
    """All of them, the newest first; for one that cannot be relied on, why."""
    paths = kept_paths(home)
    keys = book_keys(home) if paths else ()
    for path in paths:
        try:
            yield path, read_kept(path, keys)
        except (ValueError, OSError) as fault:
            yield path, ValueError(str(fault))


def kept_at(home: Path, size: int) -> Kept:
    """The kept checkpoint of so many entries. Raises CheckpointRefused for none, or RecordError."""
    path = _folder(home) / _name(size)
    if size < 0 or not path.is_file():
        raise CheckpointRefused(f"no checkpoint of {size} entries is kept beside this book")
    return read_kept(path, book_keys(home))


def kept_paths(home: Path) -> list[Path]:
    """Where they lie, the newest first; nothing is read."""
    folder = _folder(home)
    return sorted((each for each in folder.glob("*.note") if _NOTE.fullmatch(each.name)), reverse=True)


def read_kept(path: Path, keys: tuple[VerifierKey, ...]) -> Kept:
    """A kept checkpoint, verified with the book's keys. Raises RecordError or CheckpointRefused."""
    found = verify_by_one_of(path.read_bytes(), keys).checkpoint
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
        return _signed_by_the_present_key(newest, home, passphrase)
    key = signing_key(home, passphrase)
    made = Checkpoint(name, head.size, head.root(), (census_line(census),))
    result = Kept(made, _folder(home) / _name(head.size))
    put(result.census_path, census_bytes(census))
    put(result.path, Note(made.text(), (sign_note(made.text(), name, key),)).to_bytes(), replace=False)
    sweep(home)
    return result


def daily_checkpoint(home: Path, passphrase: bytes | None = None) -> Kept | None:
    """Make a checkpoint where the book grew and the newest is a day old; None where none is due."""
    return make_checkpoint(home, passphrase) if is_due(home) else None


def is_due(home: Path) -> bool:
    """Whether the book grew and its newest checkpoint is a day old. Raises as ``kept``."""
    size = book.head().size
    newest = kept(home) if size else None
    if newest is None:
        return size > 0
    return newest.checkpoint.size != size and clock.now() - newest.made_at >= DAY_SECONDS * 1000


def sweep(home: Path) -> None:
    """Take away what a process that was killed left of files that it never put in their places."""
    for folder in (home, _folder(home), changes_folder(home), home / "witnessed"):
        for left in folder.glob(".new-*"):
            try:
                if clock.now() / 1000 - left.stat().st_mtime > _LEFT_SECONDS:
                    left.unlink()
            except FileNotFoundError:
                continue


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


def _signed_by_the_present_key(found: Kept, home: Path, passphrase: bytes | None) -> Kept:
    """A checkpoint that an earlier key signed, with a signature by the present one beside it."""
    note, present = read_note(found.path.read_bytes()), public_key(home)
    if all((item.name, item.key_id) != (present.name, present.key_id) for item in note.signatures):
        key = signing_key(home, passphrase)
        added = note.with_signature(sign_note(note.text, present.name, key))
        put(found.path, added.to_bytes(), keep_time=True)
    return found


def proof_file(old_size: int, new_size: int) -> bytes:
    """The consistency proof as a file for a witness: canonical JSON of from, to and the hashes in hex."""
    hashes = [each.hex() for each in consistency(old_size, new_size)]
    return canonical({"from": old_size, "proof": hashes, "to": new_size}) + b"\n"


def _folder(home: Path) -> Path:
    return home / "checkpoints" / origin().rpartition("/")[2]


def _name(size: int) -> str:
    return f"{size:019d}.note"
