"""A copy of the book: whole or not there, held against itself, put back only where nothing is lost by it."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from django.db import connection

from pitbird.record.merkle import Frontier
from pitbird.services import backing_up, clock
from pitbird.services.backing_up import ABOUT, BOOK, CannotCopy, copy_book, put_back
from pitbird.services.checkpoints import make_checkpoint
from pitbird.services.moving import BookEmpty
from pitbird.services.writing import Actor
from pitbird.store import book
from tests.bodies import ms

pytestmark = pytest.mark.own_book  # of a file of SQLite


@pytest.fixture
def home(fleet: Actor, tmp_path: Path) -> Path:
    """A home with a checkpoint, a key, and things that belong in no copy."""
    home = tmp_path / "home"
    home.mkdir()
    connection.ensure_connection()
    (home / BOOK).write_bytes(connection.connection.serialize())
    make_checkpoint(home)
    (home / "secret-key").write_text("of sessions")
    (home / "bundles").mkdir()
    (home / "bundles" / "old.zip").write_bytes(b"PK")
    (home / "checkpoints" / ".new-half").write_bytes(b"half")
    return home


def held(folder: Path) -> set[str]:
    return {str(each.relative_to(folder)) for each in folder.rglob("*") if each.is_file()}


def test_a_copy_holds_the_book_and_what_lies_beside_it_and_no_private_key(home: Path, tmp_path: Path) -> None:
    made = copy_book(home, tmp_path / "kept", now=ms("08:00"))
    assert made.folder.name.startswith("pitbird-2026")
    assert (made.size, made.root) == (book.head().size, book.head().root())
    names = held(made.folder)
    assert {BOOK, ABOUT, "book-key.pub"} < names
    assert any(name.startswith("checkpoints/") for name in names)
    assert not names & {"book-key.pem", "secret-key", "bundles/old.zip", "checkpoints/.new-half"}
    with closing(sqlite3.connect(made.folder / BOOK)) as copy:
        assert copy.execute("SELECT count(*) FROM store_entry").fetchone() == (made.size,)
    if os.name == "posix":
        assert made.folder.stat().st_mode & 0o077 == 0
    with_keys = copy_book(home, tmp_path / "kept", secrets=True, now=ms("08:01"))
    assert {"book-key.pem", "secret-key"} < held(with_keys.folder)


def test_only_the_newest_copies_of_this_book_are_kept_and_nothing_else_is_touched(
    home: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "kept"
    other = kept / "pitbird-20200101T000000000Z"  # bears the name of a copy, and is none
    other.mkdir(parents=True)
    of_another_book = copy_book(home, kept, now=ms("07:00")).folder
    told = (of_another_book / ABOUT).read_text()
    book_id = json.loads(told)["book"]
    assert book_id == getattr(book.at_index(0), "entry_id", None)
    (of_another_book / ABOUT).write_text(told.replace(book_id, "another"))
    made = [copy_book(home, kept, keep=2, now=ms(f"08:0{minute}")) for minute in range(4)]
    stay = {other.name, of_another_book.name, *(each.folder.name for each in made[2:])}
    assert {each.name for each in kept.iterdir()} == stay
    # By a clock that was ahead once, a later copy bears an earlier name: it stays all the same.
    last = copy_book(home, kept, keep=1, now=ms("06:00"))
    assert {each.name for each in kept.iterdir()} == {other.name, of_another_book.name, last.folder.name}
    assert set(last.dropped) == {each.folder.name for each in made[2:]}


@pytest.mark.parametrize("part", ["wal", "shm", "journal"])
def test_what_a_crash_left_of_another_book_is_not_read_into_the_copy(
    home: Path, tmp_path: Path, part: str
) -> None:
    made = copy_book(home, tmp_path / "kept")
    left = tmp_path / "new" / f"{BOOK}-{part}"
    left.parent.mkdir()
    left.write_bytes(b"of another")
    with pytest.raises(CannotCopy, match="would be read into the copy"):
        put_back(made.folder, tmp_path / "new")
    assert held(tmp_path / "new") == {left.name}


def test_what_a_killed_copy_left_goes_hours_later(home: Path, tmp_path: Path) -> None:
    old, young = (tmp_path / "kept" / f".pitbird-20260101T{hour:02}0000000Z.part" for hour in (1, 7))
    for left, hours in ((old, 7), (young, 1)):
        left.mkdir(parents=True)
        os.utime(left, (clock.now() / 1000 - hours * 3600,) * 2)
    made = copy_book(home, tmp_path / "kept")
    assert set((tmp_path / "kept").iterdir()) == {young, made.folder}


def test_a_copy_goes_back_byte_for_byte_and_not_over_another_book(home: Path, tmp_path: Path) -> None:
    made = copy_book(home, tmp_path / "kept", secrets=True)
    back = put_back(made.folder, tmp_path / "new")
    assert (back.size, back.root, back.secrets) == (made.size, made.root, True)
    files = json.loads((made.folder / ABOUT).read_text())["files"]
    assert held(tmp_path / "new") == set(files)
    for name in files:
        assert (tmp_path / "new" / name).read_bytes() == (made.folder / name).read_bytes()
    with pytest.raises(CannotCopy, match="there is a book in"):
        put_back(made.folder, tmp_path / "new")


def test_a_home_with_the_key_of_another_book_is_not_written_over(home: Path, tmp_path: Path) -> None:
    made = copy_book(home, tmp_path / "kept")
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "book-key.pub").write_text("another")
    with pytest.raises(CannotCopy, match="is of another book"):
        put_back(made.folder, tmp_path / "new")
    assert held(tmp_path / "new") == {"book-key.pub"}


def test_breaking_off_on_the_way_back_leaves_no_book_and_can_be_done_again(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = copy_book(home, tmp_path / "kept")

    def full(_path: Path) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(backing_up, "sync", full)
        with pytest.raises(CannotCopy, match="no book is there"):
            put_back(made.folder, tmp_path / "new")
    assert BOOK not in held(tmp_path / "new")
    assert put_back(made.folder, tmp_path / "new").size == made.size


@pytest.mark.parametrize("name", [BOOK, "book-key.pub"])
def test_a_copy_in_which_a_byte_changed_or_a_file_went_is_refused(
    home: Path, tmp_path: Path, name: str
) -> None:
    made = copy_book(home, tmp_path / "kept")
    file = made.folder / name
    file.write_bytes(file.read_bytes()[:-1] + b"?")
    with pytest.raises(CannotCopy, match="missing or was changed"):
        put_back(made.folder, tmp_path / "new")
    file.unlink()
    with pytest.raises(CannotCopy, match="missing or was changed"):
        put_back(made.folder, tmp_path / "new")
    assert not (tmp_path / "new" / BOOK).exists()


@pytest.mark.parametrize(
    ("about", "words"),
    [
        ("", "cannot be read"),
        ("[]", "cannot be read"),
        ('{"size": 1, "root": "00", "secrets": false, "files": {}}', "holds no book"),
        ('{"size": 1, "root": "00", "secrets": false, "files": {"../x": "00"}}', "which no copy holds"),
        (
            '{"size": 1, "root": "00", "secrets": false, "files": {"keys/../../x": "00"}}',
            "which no copy holds",
        ),
    ],
)
def test_what_says_nothing_sensible_of_itself_is_refused(tmp_path: Path, about: str, words: str) -> None:
    (tmp_path / ABOUT).write_text(about)
    with pytest.raises(CannotCopy, match=words):
        put_back(tmp_path, tmp_path / "new")


def test_a_folder_that_is_no_copy_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CannotCopy, match="is no copy of a book"):
        put_back(tmp_path, tmp_path / "new")


def test_a_book_whose_entries_do_not_make_its_root_is_not_copied(home: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(home / BOOK)) as changed, changed:
        changed.execute("UPDATE store_head SET frontier = ?", [Frontier().append(b"\7" * 32).to_bytes()])
    with pytest.raises(CannotCopy, match="do not make the root"):
        copy_book(home, tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir()) == []


def test_a_damaged_file_is_not_copied(home: Path, tmp_path: Path) -> None:
    with (home / BOOK).open("r+b") as file:
        file.seek(20 * 4096)
        file.write(b"\7" * 8192)
    with pytest.raises(CannotCopy):
        copy_book(home, tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir()) == []


def test_without_a_book_there_is_nothing_to_copy(home: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(home / BOOK)) as emptied, emptied:
        emptied.execute("DELETE FROM store_head")
    with pytest.raises(BookEmpty):
        copy_book(home, tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir()) == []


def test_a_place_that_cannot_be_written_is_said(home: Path, tmp_path: Path) -> None:
    (tmp_path / "kept").write_text("a file")
    with pytest.raises(CannotCopy, match="nothing half stays there"):
        copy_book(home, tmp_path / "kept")
