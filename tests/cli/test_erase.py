"""``pitbird erase``: a person goes for good, from every file of the book, and only when it was meant."""

import json
from pathlib import Path

import pytest

from pitbird.services.erasing import sealed_about
from pitbird.store import blobs, book, seals
from tests.cli.conftest import BEGIN, THINGS, Pitbird

P = "person:P-07"


@pytest.fixture
def rewritten(monkeypatch: pytest.MonkeyPatch) -> None:
    """As though the files had been rewritten, which cannot be done inside a test's transaction."""
    monkeypatch.setattr(seals, "rewrite", lambda: True)


def notes(pitbird: Pitbird) -> None:
    lines = [
        {"kind": "note", "subject": "detector:D-017", "text": "Nuria Sandelo heard a rattle"},
        {"kind": "note", "subject": "detector:D-017", "text": "ask Sandelo again"},
    ]
    assert pitbird("write -", "\n".join(map(json.dumps, lines))).status == 0


def texts() -> set[str]:
    return {blob.text for blob in blobs.every_text()}


def test_a_person_is_erased_when_the_code_is_typed(begun: Pitbird, rewritten: None) -> None:
    notes(begun)
    done = begun("erase P-07 --because request", "P-07\n")
    assert done.status == 0, done.err
    assert "person, name: Nuria Sandelo" in done.out
    assert "These stay, though the name or a part of it stands in them:" in done.out
    assert "Exports, backups and printed pages made before still hold it." in done.out
    assert sealed_about(P) == ()
    assert texts() == {"Ilda Morvane", "Nuria Sandelo heard a rattle", "ask Sandelo again"}
    assert book.newest(1)[0].kind == "erasure"


def test_texts_with_the_whole_name_go_where_that_is_said(begun: Pitbird, rewritten: None) -> None:
    notes(begun)
    assert begun("erase P-07 --because request --texts-naming --yes").status == 0
    assert texts() == {"Ilda Morvane", "ask Sandelo again"}


@pytest.mark.parametrize("typed", ["", "\n", "P-7\n", "yes\n"])
def test_without_the_code_typed_nothing_goes(begun: Pitbird, typed: str) -> None:
    size = book.head().size
    assert begun("erase P-07 --because request", typed).status != 0
    assert book.head().size == size
    assert sealed_about(P)


def test_every_fault_is_told_at_once(begun: Pitbird) -> None:
    refused = begun("erase P-70 --because requests --account shut --by K-9")
    assert (refused.status, refused.out) == (2, "")
    assert [line.split(":")[0] for line in refused.faults] == ["person", "because", "account", "by"]
    assert "did you mean request?" in refused.err
    assert "because: not said" in begun("erase P-07").err
    assert "person: not given" in begun("erase").err


def test_only_a_keeper_erases(begun: Pitbird) -> None:
    refused = begun("erase K-1 --because request --yes --by P-07")
    assert (refused.status, refused.out) == (2, "")
    assert "only a keeper may erase" in refused.err


def test_an_account_is_asked_for_and_closed(begun: Pitbird, rewritten: None) -> None:
    from pitbird.store.models import Login

    password = "gannet-over-the-weir\ngannet-over-the-weir\n"
    begun("account ilda --person K-1", password)
    begun("account nuria --person P-07", password)
    refused = begun("erase P-07 --because request --yes")
    assert (refused.status, refused.out) == (2, "")
    assert "--account close or --account keep" in refused.err
    done = begun("erase P-07 --because request", "y\nP-07\n")
    assert done.status == 0, done.err
    assert "Close the account 'nuria' too?" in done.out
    assert {login.person for login in Login.objects.all()} == {"person:K-1"}
    own = begun("erase K-1 --because request --yes --account close")
    assert own.status == 2
    assert "let another keeper do it" in own.err
    assert begun("erase K-1 --because request --yes --account keep").status == 0
    assert Login.objects.count() == 1


def test_files_that_could_not_be_rewritten_are_told(begun: Pitbird, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(seals, "rewrite", lambda: False)
    done = begun("erase P-07 --because request --yes")
    assert done.status == 1
    assert "pitbird erase --rewrite" in done.err
    assert sealed_about(P) == ()
    assert begun("erase --rewrite").status == 1
    monkeypatch.setattr(seals, "rewrite", lambda: True)
    assert begun("erase --rewrite").out == "The database's files are rewritten.\n"
    assert begun("erase P-07 --rewrite").status == 2


@pytest.mark.slow
def test_the_name_is_in_no_file_of_the_book_and_in_no_answer_of_a_command(
    program: Pitbird, tmp_path: Path
) -> None:
    """Bytes of the database, its log and whatever else lies in the folder; export and its check."""
    assert program(BEGIN).status == 0
    named = {"kind": "note", "subject": "detector:D-017", "text": "Nuria Sandelo heard a rattle"}
    out = {"kind": "handed-out", "detector": "detector:D-017", "to": P, "from_store": True}
    assert program("write -", "\n".join(map(json.dumps, [*THINGS, named, out]))).status == 0
    password = "gannet-over-the-weir\ngannet-over-the-weir\n"
    assert program("account sandelo --person P-07", password).status == 0
    assert program("account ilda --person K-1", password).status == 0
    home = tmp_path / "home"

    def holding() -> list[str]:
        return sorted(path.name for path in home.iterdir() if b"sandelo" in path.read_bytes().lower())

    assert "book.sqlite3" in "".join(holding())
    erased = program("erase P-07 --because request --texts-naming --yes --account close")
    assert erased.status == 0, erased.err
    assert holding() == []
    file = tmp_path / "book.jsonl"
    assert program(f"book export {file}").status == 0
    assert b"sandelo" not in file.read_bytes().lower()
    checked = program(f"book check {file}")
    assert checked.status == 0
    assert "2 withheld" in checked.out
    lines = ["gate", "gate D-017 --all", "gate --wearer P-07 --json", "book page person:P-07", "attempts"]
    lines += ["seen", "retention", *(f"book show {number}" for number in range(13))]
    for line in lines:
        said = program(line)
        assert "sandelo" not in (said.out + said.err).lower(), line
    assert "withheld (erased)" in program("book show 4").out
    assert program("doctor").status == 0
    assert holding() == []
