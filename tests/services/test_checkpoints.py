"""Checkpoints kept beside the book: made, held against the book, and signed by witnesses."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from pitbird.record.checkpoint import Checkpoint, read_census, verify_checkpoint
from pitbird.record.note import Note, read_note, sign_note
from pitbird.services import checkpoints, clock
from pitbird.services.checkpoints import CheckpointRefused
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import at, bump, ms
from tests.services.test_checking import behind_its_back


def grow(actor: Actor) -> None:
    """One more entry."""
    write(bump(at("07:00"), by="person:P-07"), actor, now=ms("07:01"))


def test_a_checkpoint_is_the_head_and_the_census_of_the_book(fleet: Actor, tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)

    found = verify_checkpoint(made.path.read_bytes(), checkpoints.public_key(tmp_path)).checkpoint
    assert (found.size, found.root) == (book.head().size, book.head().root())
    assert read_census(made.census_path.read_bytes(), found) == book.census()


def test_openssl_confirms_the_signature(fleet: Actor, tmp_path: Path) -> None:
    note = read_note(checkpoints.make_checkpoint(tmp_path).path.read_bytes())
    (tmp_path / "text").write_bytes(note.text.encode())
    (tmp_path / "sig").write_bytes(note.signatures[0].data)

    done = subprocess.run(
        [
            "openssl",
            "pkeyutl",
            "-verify",
            "-inkey",
            "book-key.pem",
            "-rawin",
            "-in",
            "text",
            "-sigfile",
            "sig",
        ],
        cwd=tmp_path,
        capture_output=True,
        check=False,
    )

    assert b"Signature Verified Successfully" in done.stdout, done


@pytest.mark.skipif(os.name != "posix", reason="rights of files are those of POSIX")
def test_the_key_is_the_owners_alone_and_refused_where_it_is_not(fleet: Actor, tmp_path: Path) -> None:
    checkpoints.signing_key(tmp_path)
    path = tmp_path / "book-key.pem"
    assert path.stat().st_mode & 0o777 == 0o600

    path.chmod(0o640)

    with pytest.raises(CheckpointRefused, match="may be read by others"):
        checkpoints.signing_key(tmp_path)


def test_a_passphrase_locks_the_key(fleet: Actor, tmp_path: Path) -> None:
    key = checkpoints.signing_key(tmp_path, b"four brass fittings")

    assert b"ENCRYPTED" in (tmp_path / "book-key.pem").read_bytes()
    again = checkpoints.signing_key(tmp_path, b"four brass fittings")
    assert again.private_bytes_raw() == key.private_bytes_raw()
    with pytest.raises(CheckpointRefused, match="none was given"):
        checkpoints.signing_key(tmp_path)
    with pytest.raises(CheckpointRefused, match="does not open"):
        checkpoints.signing_key(tmp_path, b"another")


def test_nothing_new_is_signed_where_nothing_was_added(fleet: Actor, tmp_path: Path) -> None:
    first = checkpoints.make_checkpoint(tmp_path)
    before = first.path.read_bytes()

    assert checkpoints.make_checkpoint(tmp_path) == first
    assert first.path.read_bytes() == before
    assert not list(tmp_path.rglob(".new-*"))


def test_one_is_due_a_day_after_the_last_if_the_book_grew(
    fleet: Actor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = checkpoints.daily_checkpoint(tmp_path)
    assert first is not None
    later = clock.now() + 25 * 3600 * 1000

    grow(fleet)
    assert checkpoints.daily_checkpoint(tmp_path) is None
    monkeypatch.setattr(clock, "now", lambda: later)
    second = checkpoints.daily_checkpoint(tmp_path)

    assert second is not None
    assert second.checkpoint.size == first.checkpoint.size + 1
    assert checkpoints.daily_checkpoint(tmp_path) is None


def test_a_book_that_grew_goes_on_from_its_checkpoint(fleet: Actor, tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    grow(fleet)

    assert checkpoints.check_kept(tmp_path).complaint == ""


def test_a_book_rolled_back_is_told(fleet: Actor, tmp_path: Path) -> None:
    _keep(tmp_path, book.head().size + 1, bytes(32))

    assert "the book holds" in checkpoints.check_kept(tmp_path).complaint
    with pytest.raises(CheckpointRefused, match="rolled back or rewritten"):
        checkpoints.make_checkpoint(tmp_path)


def test_a_book_rewritten_is_told(fleet: Actor, tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    behind_its_back(
        """UPDATE store_entry SET leaf_hash = (SELECT leaf_hash FROM store_entry WHERE "index" = 1)
        WHERE "index" = 4"""
    )

    assert "have another root" in checkpoints.check_kept(tmp_path).complaint


def test_a_kept_checkpoint_that_was_edited_is_told(fleet: Actor, tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    size = str(made.checkpoint.size).encode()
    made.path.write_bytes(made.path.read_bytes().replace(b"\n" + size + b"\n", b"\n1\n"))

    assert "cannot be relied on" in checkpoints.check_kept(tmp_path).complaint


@pytest.mark.parametrize("garbage", [b"", b"\xff\xfe", b"no key\n"])
def test_a_public_key_that_is_garbage_is_told_and_breaks_nothing(
    garbage: bytes, fleet: Actor, tmp_path: Path
) -> None:
    checkpoints.make_checkpoint(tmp_path)
    (tmp_path / "book-key.pub").write_bytes(garbage)

    assert "cannot be relied on" in checkpoints.check_kept(tmp_path).complaint


def test_a_public_key_that_is_gone_is_told(fleet: Actor, tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    (tmp_path / "book-key.pub").unlink()

    assert "cannot be relied on" in checkpoints.check_kept(tmp_path).complaint


def _keep(home: Path, size: int, root: bytes) -> None:
    key, name = checkpoints.signing_key(home), checkpoints.origin()
    text = Checkpoint(name, size, root).text()
    folder = home / "checkpoints" / name.rpartition("/")[2]
    folder.mkdir(parents=True)
    (folder / f"{size:019d}.note").write_bytes(Note(text, (sign_note(text, name, key),)).to_bytes())
