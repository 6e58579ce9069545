"""Changing the book's key: what changes, what stays good, and what a change that was broken off leaves."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from pitbird.record.checkpoint import verify_checkpoint
from pitbird.record.errors import BadNote
from pitbird.record.key_chain import follow_keys
from pitbird.record.leaf import read_leaf
from pitbird.record.note import Note, read_note, sign_note, verify_note
from pitbird.services import book_keys, checkpoints, key_rotation
from pitbird.services.book_keys import CheckpointRefused, changes, changes_folder, key_words, origin, settle
from pitbird.services.key_rotation import rotate
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor
from pitbird.store import book


def test_the_new_key_signs_from_then_on_and_the_old_one_is_gone(fleet: Actor, tmp_path: Path) -> None:
    old = book_keys.signing_key(tmp_path)
    done = rotate(tmp_path, fleet)

    assert done.old.public == old.public_key().public_bytes_raw()
    new = book_keys.signing_key(tmp_path)
    assert new.public_key().public_bytes_raw() == done.new.public == book_keys.public_key(tmp_path).public
    assert book_keys.book_keys(tmp_path) == follow_keys([done.path.read_bytes()], origin())
    made = checkpoints.make_checkpoint(tmp_path)
    assert verify_checkpoint(made.path.read_bytes(), done.new).checkpoint == made.checkpoint
    for path in tmp_path.rglob("*"):
        assert not path.is_file() or b"PRIVATE" not in path.read_bytes() or path.name == "book-key.pem"
    assert sorted(each.name for each in changes_folder(tmp_path).iterdir()) == ["0001.note"]


def test_the_change_is_an_entry_about_the_book(fleet: Actor, tmp_path: Path) -> None:
    done = rotate(tmp_path, fleet, because="exposed")

    row = book.at_index(done.entry.index)
    assert row is not None
    body = read_leaf(row.leaf.encode()).body
    assert (body["kind"], body["number"], body["because"]) == ("key-changed", 1, "exposed")
    # C2SP signed-note: the type of an Ed25519 key is 0x01.
    assert body["old_key"] == hashlib.sha256(b"\x01" + done.old.public).hexdigest()
    assert body["new_key"] == hashlib.sha256(b"\x01" + done.new.public).hexdigest()
    state = Now().state(f"book:{origin().rpartition('/')[2]}")
    assert state is not None
    assert state.count == 2
    assert getattr(state, "not_understood") == ()  # noqa: B009


def test_checkpoints_of_earlier_keys_stay_good(fleet: Actor, tmp_path: Path) -> None:
    first = checkpoints.make_checkpoint(tmp_path)
    rotate(tmp_path, fleet)
    rotate(tmp_path, fleet)

    assert checkpoints.kept(tmp_path) is not None
    assert checkpoints.check_kept(tmp_path).complaint == ""
    told = [each for _, each in checkpoints.all_kept(tmp_path)]
    assert first in told
    assert not any(isinstance(each, ValueError) for each in told)
    assert len(book_keys.book_keys(tmp_path)) == 3


def test_the_last_checkpoint_of_the_old_key_is_made_before_the_change(fleet: Actor, tmp_path: Path) -> None:
    size = book.head().size
    done = rotate(tmp_path, fleet)

    found = checkpoints.kept_at(tmp_path, size)
    assert verify_checkpoint(found.path.read_bytes(), done.old).checkpoint.size == done.entry.index


def test_the_new_key_may_have_another_passphrase(fleet: Actor, tmp_path: Path) -> None:
    book_keys.signing_key(tmp_path, b"four brass fittings")
    rotate(tmp_path, fleet, passphrase=b"four brass fittings", new_passphrase=b"five tin lids")

    with pytest.raises(CheckpointRefused, match="does not open"):
        book_keys.signing_key(tmp_path, b"four brass fittings")
    book_keys.signing_key(tmp_path, b"five tin lids")
    rotate(tmp_path, fleet, passphrase=b"five tin lids")
    book_keys.signing_key(tmp_path, b"five tin lids")


def test_nothing_changes_without_the_passphrase_or_for_an_odd_reason(fleet: Actor, tmp_path: Path) -> None:
    book_keys.signing_key(tmp_path, b"four brass fittings")
    checkpoints.make_checkpoint(tmp_path, b"four brass fittings")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    size = book.head().size

    with pytest.raises(CheckpointRefused, match="none was given"):
        rotate(tmp_path, fleet)
    with pytest.raises(CheckpointRefused, match="because: 'whim' is none of planned, exposed, other"):
        rotate(tmp_path, fleet, because="whim")

    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    assert book.head().size == size


class Stopped(Exception):
    """Where a test breaks off what is under way."""


def test_a_change_broken_off_before_its_entry_never_was(
    fleet: Actor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = book_keys.signing_key(tmp_path)
    with monkeypatch.context() as patched:
        patched.setattr(key_rotation, "check", _stop)
        patched.setattr(key_rotation, "settle", lambda home: None)
        with pytest.raises(Stopped):
            rotate(tmp_path, fleet)
    assert len(list(changes_folder(tmp_path).iterdir())) == 2

    again = book_keys.signing_key(tmp_path)

    assert again.private_bytes_raw() == key.private_bytes_raw()
    assert list(changes_folder(tmp_path).iterdir()) == []
    assert rotate(tmp_path, fleet).number == 1


@pytest.mark.parametrize("moves", range(4))
def test_a_change_broken_off_after_its_entry_is_finished(
    moves: int, fleet: Actor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = checkpoints.make_checkpoint(tmp_path)
    done = 0

    def stopping(move: object) -> object:
        def some(*given: object, **named: object) -> None:
            nonlocal done
            if done == moves:
                raise Stopped
            done += 1
            move(*given, **named)  # type: ignore[operator]

        return some

    with monkeypatch.context() as patched:
        for name in ("move", "put"):
            patched.setattr(book_keys, name, stopping(getattr(book_keys, name)))
        if moves < 3:
            with pytest.raises(Stopped):
                rotate(tmp_path, fleet)
        else:
            rotate(tmp_path, fleet)
    assert checkpoints.kept(tmp_path) == old, "what was kept can be read at every moment"

    made = checkpoints.make_checkpoint(tmp_path)

    keys = book_keys.book_keys(tmp_path)
    assert len(keys) == 2
    assert verify_checkpoint(made.path.read_bytes(), keys[1]).checkpoint.size == book.head().size
    assert (tmp_path / "book-key.pub").read_text("utf-8") == f"{keys[1].text()}\n"
    assert not list(tmp_path.rglob("*.new"))
    assert checkpoints.check_kept(tmp_path).complaint == ""


def _stop(*given: object) -> None:
    raise Stopped


def test_a_broken_chain_is_told_and_nothing_is_signed(fleet: Actor, tmp_path: Path) -> None:
    path = rotate(tmp_path, fleet).path
    rotate(tmp_path, fleet)
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"\n1\n", b"\n7\n"))

    with pytest.raises(BadNote, match="key change 1: it is numbered '7'"):
        book_keys.signing_key(tmp_path)
    assert "key change 1" in checkpoints.check_kept(tmp_path).complaint
    path.unlink()
    assert "numbered '2' where 1 belongs" in checkpoints.check_kept(tmp_path).complaint
    path.write_bytes(whole)
    assert checkpoints.check_kept(tmp_path).complaint == ""


def test_a_private_key_that_is_gone_is_not_silently_made_anew(fleet: Actor, tmp_path: Path) -> None:
    book_keys.signing_key(tmp_path)
    (tmp_path / "book-key.pem").unlink()

    with pytest.raises(CheckpointRefused, match="private key is gone; put book-key"):
        book_keys.signing_key(tmp_path)
    assert not (tmp_path / "book-key.pem").exists()


def test_the_newest_checkpoint_gets_a_signature_of_the_present_key(fleet: Actor, tmp_path: Path) -> None:
    """So that what is handed out today holds by today's key, however the files came to lie as they do."""
    old = book_keys.signing_key(tmp_path)
    done = rotate(tmp_path, fleet)
    made = checkpoints.make_checkpoint(tmp_path)
    whole = read_note(made.path.read_bytes())
    by_the_old = Note(whole.text, (sign_note(whole.text, origin(), old),))
    made.path.write_bytes(by_the_old.to_bytes())

    assert checkpoints.make_checkpoint(tmp_path) == made

    assert set(verify_note(read_note(made.path.read_bytes()), [done.old, done.new])) == {done.old, done.new}


def test_the_doctor_says_what_is_wrong_with_the_key(
    fleet: Actor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def told() -> str:
        found = book_keys.check_key(tmp_path)
        return f"{found.complaint}; {found.remedy}" if found.complaint else ""

    assert told() == ""
    checkpoints.make_checkpoint(tmp_path)
    path = rotate(tmp_path, fleet).path
    assert told() == ""

    path.with_name("0002.note.new").write_bytes(b"")
    assert "was broken off; nothing is lost: `pitbird checkpoint make`" in told()
    path.with_name("0002.note.new").unlink()

    (tmp_path / "book-key.pem").rename(tmp_path / "away")
    assert told().startswith("the private key is gone")
    (tmp_path / "away").rename(tmp_path / "book-key.pem")

    note = path.read_bytes()
    path.write_bytes(note[:-9])
    assert told().startswith("they cannot be relied on")
    path.unlink()
    assert told().startswith("the note of change 1 is missing")
    path.write_bytes(note)

    with monkeypatch.context() as patched:
        patched.setattr(book, "of_kind", lambda kind: [])
        assert "tells of 0 changes, beside it lie 1" in told()
        patched.setattr(book, "of_kind", lambda kind: ["one"] if kind == "epoch" else [])
        assert told() == "", "a restored copy may lie behind a change"


def test_settling_does_nothing_where_nothing_is_under_way(fleet: Actor, tmp_path: Path) -> None:
    settle(tmp_path)
    assert list(tmp_path.iterdir()) == []
    assert changes(tmp_path) == ()


# BIP-39: entropy and words as in the test vectors that the standard links to (from memory).
@pytest.mark.parametrize(
    ("entropy", "words"),
    [
        ("00" * 32, "abandon " * 23 + "art"),
        ("7f" * 32, "legal winner thank year wave sausage worth useful " * 2
         + "legal winner thank year wave sausage worth title"),
        ("80" * 32, "letter advice cage absurd amount doctor acoustic avoid " * 2
         + "letter advice cage absurd amount doctor acoustic bless"),
        ("ff" * 32, "zoo " * 23 + "vote"),
    ],
)  # fmt: skip
def test_a_fingerprint_in_words_is_that_of_the_standard(entropy: str, words: str) -> None:
    assert key_words(bytes.fromhex(entropy)) == tuple(words.split())


def test_only_a_whole_fingerprint_has_words() -> None:
    with pytest.raises(ValueError, match="32 bytes"):
        key_words(bytes(31))
