"""The book on the command line: export, import and check agree on one root; entries can be read."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import BEGIN, PASSES, Pitbird


def test_the_kinds_need_no_book_and_each_has_an_example(pitbird: Pitbird) -> None:
    from pitbird.fleet.kinds import KINDS

    assert [line.split()[0] for line in pitbird("book kinds").out.splitlines()] == list(KINDS)
    schema = json.loads(pitbird("book kinds bump-test").out)
    assert schema["examples"][0]["kind"] == "bump-test"


def test_an_unknown_kind_names_those_near_it(pitbird: Pitbird) -> None:
    refused = pitbird("book kinds bumptest")
    assert (refused.status, refused.out) == (2, "")
    assert "did you mean bump-test?" in refused.err


def test_an_export_holds_when_checked_and_a_change_is_found(begun: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "book.jsonl"
    assert begun(f"book export {file}").status == 0
    held = begun(f"book check {file}")
    assert held.status == 0
    assert "10 entries about" in held.out
    file.write_bytes(file.read_bytes().replace(b"Quartet P", b"Quartet Q"))
    broken = begun(f"book check {file}")
    assert broken.status == 1
    assert broken.out == ""
    assert f"{file}: line " in broken.err


def test_the_hashes_alone_are_checked_where_that_is_asked_for(begun: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "book.jsonl"
    begun(f"book export {file}")
    root = json.loads(file.read_text().splitlines()[-1])["root"]
    held = begun(f"book check {file} --hashes-only --root 10:{root}")
    assert held.status == 0
    assert "The 10 entries make the root" in held.out
    assert f"root {root}" in held.out
    assert begun(f"book check {file} --hashes-only --root 10:{'0' * 64}").status == 1
    file.write_bytes(file.read_bytes().replace(b"Quartet P", b"Quartet Q"))
    broken = begun(f"book check {file} --hashes-only")
    assert (broken.status, broken.out) == (1, "")
    assert f"{file}: line 12: the hashes of the 10 lines" in broken.err


def test_a_root_that_somebody_else_holds_is_held_against_the_export(begun: Pitbird, tmp_path: Path) -> None:
    file = tmp_path / "book.jsonl"
    begun(f"book export {file}")
    root = json.loads(file.read_text().splitlines()[-1])["root"]
    assert begun(f"book check {file} --root 10:{root}").status == 0
    assert begun(f"book check {file} --root 10:{'0' * 64}").status == 1
    assert begun(f"book check {file} --root ten").status == 2


def test_an_export_leaves_no_half_file_behind(
    begun: Pitbird, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from collections.abc import Iterator

    from pitbird.services import moving

    def breaks_off() -> Iterator[bytes]:
        yield b"{}\n"
        raise moving.BookEmpty

    monkeypatch.setattr(moving, "export_book", breaks_off)
    refused = begun(f"book export {tmp_path / 'book.jsonl'}")
    assert refused.status == 2
    assert list(tmp_path.iterdir()) == []


def test_a_book_that_is_begun_takes_no_import(
    begun: Pitbird, size: Callable[[], int], tmp_path: Path
) -> None:
    file = tmp_path / "book.jsonl"
    begun(f"book export {file}")
    before = size()
    refused = begun(f"book import {file}")
    assert refused.status == 2
    assert "only be read into an empty book" in refused.err
    assert size() == before


def test_an_entry_is_shown_with_its_texts_by_place_and_by_id(begun: Pitbird) -> None:
    shown = begun("book show 4")
    assert '"kind": "person"' in shown.out
    assert shown.out.splitlines()[-1].endswith("Nuria Sandelo")
    body = json.loads(shown.out[shown.out.index("{\n") : shown.out.rindex("}") + 1])
    assert begun(f"book show {body['id']}").out == shown.out


@pytest.mark.parametrize("entry", ["10", "0195a000-0000-7000-8000-0000000000ff", "-"])
def test_an_entry_that_is_not_there_is_refused_with_what_there_is(begun: Pitbird, entry: str) -> None:
    refused = begun(f"book show {entry}")
    assert refused.status == 2
    assert "0 to 9" in refused.err


def test_a_page_lists_everything_about_a_thing(begun: Pitbird) -> None:
    begun(PASSES)
    page = begun("book page D-017")
    assert page.out.splitlines()[0] == "detector:D-017: 3 entries"
    assert page.out.splitlines()[-1].endswith("passed")
    assert begun("book page cylinder:C-112").status == 0
    assert "did you mean D-017?" in begun("book page D-071").err


def test_folding_anew_finds_nothing_that_differs(begun: Pitbird) -> None:
    done = begun("book rebuild")
    assert done.status == 0
    assert "from 10 entries; 0 had differed" in done.out


def test_export_and_import_give_the_same_root_in_another_home(program: Pitbird, tmp_path: Path) -> None:
    assert program(BEGIN).status == 0
    file, again = tmp_path / "book.jsonl", tmp_path / "again.jsonl"
    assert program(f"book export {file}").status == 0
    other = str(tmp_path / "other")
    read = program(f"book import {file}", PITBIRD_HOME=other)
    assert read.status == 0, read.err
    assert f"root {json.loads(file.read_text().splitlines()[-1])['root']}" in read.out
    assert program(f"book export {again}", PITBIRD_HOME=other).status == 0
    assert again.read_bytes() == file.read_bytes()
    assert program("book export", PITBIRD_HOME=other).out.encode() == file.read_bytes()
    assert program("gate", PITBIRD_HOME=other).status == 0


def test_a_restored_copy_is_held_against_a_root_that_others_know(begun: Pitbird) -> None:
    from pitbird.store import book

    head = book.head()
    same = begun(f"book restored {head.size}:{head.root().hex()}")
    assert same.status == 0
    assert "Nothing is lacking" in same.out
    other = begun(f"book restored {head.size}:{'ab' * 32}")
    assert other.status == 1
    assert "another book" in other.err
    assert book.head() == head
    behind = begun(f"book restored {head.size + 5}:{'ab' * 32}")
    assert behind.status == 0
    assert "5 entries behind" in behind.out
    assert book.head().size == head.size + 1
