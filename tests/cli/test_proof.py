"""Proofs on the command line, held against the verifiers of the record; and one checked without its book."""

import json
from pathlib import Path

import pytest

from pitbird.record.merkle import root_of, verify_consistency, verify_inclusion
from tests.cli.conftest import Pitbird


@pytest.fixture
def sealed(begun: Pitbird, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Pitbird:
    """A book with a checkpoint, in a home of its own."""
    monkeypatch.setattr("pitbird.cli.ready.home", lambda: tmp_path)
    assert begun("checkpoint make").status == 0
    return begun


def key_of(sealed: Pitbird) -> str:
    return sealed("key show").out.splitlines()[0].split()[1]


def test_an_entry_is_shown_to_stand_in_the_book(sealed: Pitbird) -> None:
    plain, value = sealed("proof inclusion 3"), json.loads(sealed("proof inclusion 3 --json").out)
    assert plain.status == 0
    assert "Entry 3 lies under the newest checkpoint, of 10 entries." in plain.out
    assert all(each in plain.out for each in (*value["proof"], value["root"], value["leaf_hash"]))
    at_six = json.loads(sealed("proof inclusion 3 --size 6 --json").out)
    assert "stands in the book of 6 entries" in sealed("proof inclusion 3 --size 6").out
    for each in (value, at_six):
        verify_inclusion(
            index=3,
            size=each["size"],
            leaf=bytes.fromhex(each["leaf_hash"]),
            proof=[bytes.fromhex(hash_) for hash_ in each["proof"]],
            root=bytes.fromhex(each["root"]),
        )


def test_the_book_is_shown_to_have_grown_only(sealed: Pitbird) -> None:
    from pitbird.store import book

    hashes = list(book.leaf_hashes(0, 10))
    value = json.loads(sealed("proof consistency --from 4 --to 10 --json").out)
    assert (value["from_root"], value["to_root"]) == (root_of(hashes[:4]).hex(), root_of(hashes).hex())
    verify_consistency(
        old_size=4,
        new_size=10,
        old_root=bytes.fromhex(value["from_root"]),
        new_root=bytes.fromhex(value["to_root"]),
        proof=[bytes.fromhex(each) for each in value["proof"]],
    )
    assert "The book of 10 entries begins with that of 4." in sealed("proof consistency --from 4 --to 10").out
    assert "no hashes are needed" in sealed("proof consistency --from 10 --to 10").out


def test_a_subject_is_shown_to_be_complete_and_checked_without_the_book(
    sealed: Pitbird, tmp_path: Path
) -> None:
    file = tmp_path / "d-017.json"
    told = sealed(f"proof subject D-017 --out {file}")
    assert told.status == 0
    assert (
        "Complete up to the checkpoint of 10 entries: detector:D-017, entries 1 to 2 are there." in told.out
    )
    held = sealed(f"proof check {file} --key {key_of(sealed)}")
    assert (held.status, held.out) == (0, told.out)

    value = json.loads(file.read_text("utf-8"))
    file.write_text(json.dumps({**value, "entries": value["entries"][:1]}), "utf-8")
    broken = sealed(f"proof check {file} --key {key_of(sealed)}")
    assert broken.status == 1
    assert "It does not hold: entries: 1 entries are here, the census counts 2" in broken.out


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("proof inclusion 10", "entry 10 was written after the newest checkpoint"),
        ("proof inclusion 3 --size 11", "size: 11 entries; the book holds 10"),
        ("proof inclusion 3 --size 3", "there is no leaf 3 in a tree of 3"),
        ("proof consistency --from 5 --to 4", "no tree of 5 leaves lies inside one of 4"),
        ("proof consistency --from 5 --to 11", "to: 11 entries; the book holds 10"),
        ("proof subject D-999", "the book has no entry about detector:D-999"),
    ],
)
def test_what_cannot_be_shown_is_refused_in_words(sealed: Pitbird, line: str, said: str) -> None:
    refused = sealed(line)
    assert (refused.status, refused.out) == (2, "")
    assert said in refused.err
