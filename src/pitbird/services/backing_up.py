"""A copy of the book and of what lies beside it, made while pages are served, and its way back.

An export holds the book alone. A copy holds all that the database does: accounts, PINs, phones, what waits
for the keeper; and the checkpoints, keys and periods beside it. It lies in a folder of its own, with
``about.json``, which names each file with its SHA-256 and the book's size and root at that moment.
"""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from hashlib import file_digest
from pathlib import Path
from typing import Any, Final

from django.db import connection

from pitbird.fleet.times import Ms, local, text_of
from pitbird.record.merkle import Frontier
from pitbird.services import clock
from pitbird.services.moving import BookEmpty
from pitbird.services.placing import move, put, sync

BOOK: Final = "book.sqlite3"
ABOUT: Final = "about.json"
#: What lies beside the book; the private halves are copied on request only.
BESIDE: Final = ("book-key.pub", "retention.toml", "checkpoints", "keys", "witnessed", "witnesses")
SECRET: Final = ("book-key.pem", "secret-key")
#: What SQLite keeps beside a database; left alone, it is read into whatever is put there.
_PARTS: Final = tuple(f"{BOOK}-{part}" for part in ("wal", "shm", "journal"))
_PATIENCE: Final = 30
_LEFT_SECONDS: Final = 6 * 3600
_NAME: Final = re.compile(r"pitbird-\d{8}T\d{9}Z")


class CannotCopy(ValueError):
    """A copy cannot be made, relied on or put back; the sentence says why and what to do."""


@dataclass(frozen=True)
class Copy:
    """A whole copy: where it lies, and the size and root of the book in it."""

    folder: Path
    size: int
    root: bytes
    secrets: bool
    dropped: tuple[str, ...] = ()


def copy_book(
    home: Path, into: Path, *, secrets: bool = False, keep: int | None = None, now: Ms | None = None
) -> Copy:
    """Copy the book in ``home``, and what lies beside it, into a new folder in ``into``.

    The folder bears its name only once everything is in it and was held against itself. ``secrets``: with the
    book's private key and the key of sessions and PINs. ``keep``: how many copies stay in ``into``, this one
    among them; older ones go, other files are not touched.

    Raises CannotCopy where the book is not in SQLite, is damaged, or the place cannot be written; BookEmpty.
    """
    if connection.vendor != "sqlite":
        raise CannotCopy(
            f"the book is in PostgreSQL, which copies it with its own tools: pg_dump --format=custom; "
            f"copy the folder {home} beside it, which holds the checkpoints and the keys"
        )
    instant = clock.now() if now is None else now
    name = f"pitbird-{local(instant, 'UTC'):%Y%m%dT%H%M%S}{instant % 1000:03d}Z"
    part = into / f".{name}.part"
    try:
        into.mkdir(parents=True, exist_ok=True)
        _sweep(into)
        part.mkdir(mode=0o700)
        try:
            made = _fill(part, home, secrets=secrets)
            move(part, into / name)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except (OSError, sqlite3.Error) as fault:
        raise CannotCopy(f"{into}: the copy was not made ({fault}); nothing half stays there") from fault
    copy = Copy(into / name, made.size, made.root(), secrets)
    try:
        return replace(copy, dropped=tuple(_drop(copy.folder, keep)) if keep else ())
    except OSError as fault:
        raise CannotCopy(f"{copy.folder} is whole; older copies were not taken away ({fault})") from fault


def _fill(part: Path, home: Path, *, secrets: bool) -> Frontier:
    """Everything into the unfinished folder; the book's head there.

    What lies beside goes first: a checkpoint must not be of more entries than the book copied with it.
    """
    for name in (*BESIDE, *(SECRET if secrets else ())):
        for file in _files(home / name):
            if secrets or file.suffix != ".pem" or file.name.endswith(".tsa.pem"):
                put(part / file.relative_to(home), file.read_bytes())
    with closing(sqlite3.connect(home / BOOK, timeout=_PATIENCE)) as source:
        # As it stands at one moment, while others write; and without what was erased from its pages.
        source.execute("VACUUM INTO ?", [str(part / BOOK)])
    with closing(sqlite3.connect(part / BOOK)) as copy:
        head = _held_against_itself(copy)
        (first,) = copy.execute('SELECT entry_id FROM store_entry WHERE "index" = 0').fetchone()
    (part / BOOK).chmod(0o600)
    sync(part / BOOK)
    about = {
        "book": first,
        "made": text_of(clock.now()),
        "size": head.size,
        "root": head.root().hex(),
        "secrets": secrets,
        "files": {str(file.relative_to(part).as_posix()): _hash(file) for file in _files(part)},
    }
    put(part / ABOUT, f"{json.dumps(about, indent=1, sort_keys=True)}\n".encode())
    return head


def _held_against_itself(copy: sqlite3.Connection) -> Frontier:
    """The head of a copied book, whose pages are sound and whose entries make its root."""
    (sound,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
    if sound != "ok":
        raise CannotCopy(f"the database is damaged ({sound}); keep earlier copies, and run `pitbird doctor`")
    found = copy.execute("SELECT frontier FROM store_head WHERE id = 1").fetchone()
    if found is None:
        raise BookEmpty
    head, tree = Frontier.from_bytes(bytes(found[0])), Frontier(0, ())
    hashes = copy.execute('SELECT leaf_hash FROM store_entry ORDER BY "index"')
    while some := hashes.fetchmany(10_000):
        tree = tree.extend([bytes(one) for (one,) in some])
    if tree != head:
        raise CannotCopy(
            "the entries do not make the root that the head holds: keep earlier copies, and run"
            " `pitbird doctor`"
        )
    return head


def put_back(folder: Path, home: Path) -> Copy:
    """Put a copy into a home that holds no book: all of it, or no book.

    The book itself comes last, so that one that is there was put back whole. Raises CannotCopy where a book
    or other files of one are there, or the copy is not what its ``about.json`` says.
    """
    left = next((home / name for name in (BOOK, *_PARTS) if (home / name).exists()), None)
    if left is not None and left.name != BOOK:
        raise CannotCopy(
            f"{left} is a part of a book that stood in {home}, and would be read into the copy; move the"
            " whole folder away, or set PITBIRD_HOME to another one"
        )
    if left is not None:
        raise CannotCopy(
            f"there is a book in {home}; a copy is put back into an empty place only. Stop the pages and"
            " move that folder away, or set PITBIRD_HOME to another one"
        )
    about = _about(folder)
    files = sorted(about["files"], key=lambda name: (name == BOOK, name))
    for name in files:
        there = home / name
        if name not in SECRET and there.exists() and _hash(there) != about["files"][name]:
            raise CannotCopy(
                f"{there} is of another book; move it away, or set PITBIRD_HOME to another folder"
            )
    try:
        for name in files:
            _put_one(folder / name, home / name)
    except OSError as fault:
        raise CannotCopy(f"{home}: the copy was not put back ({fault}); no book is there") from fault
    return Copy(folder, about["size"], bytes.fromhex(about["root"]), about["secrets"])


def take_away(home: Path) -> None:
    """Take a book that was just put back away again: it does not hold, or does not say what may be lost."""
    connection.close()
    for name in (BOOK, *_PARTS):
        (home / name).unlink(missing_ok=True)


def _put_one(file: Path, there: Path) -> None:
    there.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    fresh = there.with_name(f".new-{there.name}")
    try:
        shutil.copyfile(file, fresh)
        fresh.chmod(0o600)
        sync(fresh)
        move(fresh, there)
    finally:
        fresh.unlink(missing_ok=True)


def _about(folder: Path) -> dict[str, Any]:
    """What a copy says of itself, once every file in it was found to be what it says."""
    try:
        about: dict[str, Any] = json.loads((folder / ABOUT).read_text("utf-8"))
        names = dict(about["files"])
        told = int(about["size"]), bytes.fromhex(about["root"]), bool(about["secrets"])
    except FileNotFoundError:
        raise CannotCopy(f"{folder} is no copy of a book: it has no {ABOUT}") from None
    except (OSError, ValueError, TypeError, KeyError) as fault:
        raise CannotCopy(f"{folder / ABOUT} cannot be read ({fault}); take another copy") from None
    for name, wanted in names.items():
        file = folder / name
        if not file.resolve().is_relative_to(folder.resolve()) or not _ours(name):
            raise CannotCopy(f"{folder / ABOUT} names {name!r}, which no copy holds; take another copy")
        if not file.is_file() or _hash(file) != wanted:
            raise CannotCopy(f"{file} is missing or was changed since the copy was made; take another copy")
    if BOOK not in names:
        raise CannotCopy(f"{folder} holds no book; take another copy")
    return {**about, "size": told[0], "secrets": told[2]}


def _ours(name: str) -> bool:
    return name == BOOK or name.partition("/")[0] in (*BESIDE, *SECRET)


def _sweep(into: Path) -> None:
    """Take away what a copy that was killed left."""
    for left in into.glob(".pitbird-*.part"):
        if clock.now() / 1000 - left.stat().st_mtime > _LEFT_SECONDS:
            shutil.rmtree(left, ignore_errors=True)


def _drop(made: Path, keep: int) -> Iterator[str]:
    """Take away the oldest copies of the same book over so many, never the one just made."""
    mine = _book_of(made)
    others = (each for each in made.parent.iterdir() if _NAME.fullmatch(each.name) and each != made)
    copies = sorted(each for each in others if _book_of(each) == mine)
    for old in copies[: max(0, len(copies) - keep + 1)]:
        shutil.rmtree(old)
        yield old.name


def _book_of(copy: Path) -> str | None:
    """The id of the first entry of the book in a copy; None for what is no copy."""
    try:
        told = json.loads((copy / ABOUT).read_text("utf-8"))["book"]
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return told if isinstance(told, str) else None


def _files(path: Path) -> list[Path]:
    """The files at or under a path, in order; none where nothing is there."""
    if path.is_file():
        return [path]
    return sorted(each for each in path.rglob("*") if each.is_file() and not each.name.startswith(".new-"))


def _hash(file: Path) -> str:
    with file.open("rb") as opened:
        return file_digest(opened, "sha256").hexdigest()
