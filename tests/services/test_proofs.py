"""Proofs from the book, held against the verifiers of RFC 9162; what is kept for them, and what if wrong."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from django.db import connection

from pitbird.record.errors import BadTree
from pitbird.record.merkle import root_of, verify_consistency, verify_inclusion
from pitbird.services import proofs
from pitbird.services.appending import append, writing
from pitbird.services.checking import full_check
from pitbird.services.moving import rebuild
from pitbird.services.proofs import NoProof, Tree
from pitbird.store import book, subtrees
from tests.bodies import at, body, bump, detector, ms

pytestmark = pytest.mark.django_db
FAULTY = "the hashes kept to make proofs quickly are those of the entries"


@pytest.fixture(autouse=True)
def a_book(monkeypatch: pytest.MonkeyPatch) -> None:
    """A book of 43 entries; roots of four and of sixteen are kept."""
    monkeypatch.setattr(subtrees, "LEVELS", (2, 4))
    append(body("genesis"), recorded_at=ms("05:00"))
    append(detector(), recorded_at=ms("05:01"))
    append(body("cylinder", at("05:00")), recorded_at=ms("05:02"))
    for minute in range(10):
        append(bump(at(f"06:0{minute}")), recorded_at=ms(f"06:0{minute}"))
    with writing() as ledger:
        for minute in range(10, 40):
            ledger.add(bump(at(f"06:{minute}")), recorded_at=ms(f"06:{minute}"))


def leaves() -> list[bytes]:
    return list(book.leaf_hashes(0, book.head().size))


def complaints() -> Iterator[str]:
    return (f"{each.what} -> {each.remedy}" for each in full_check() if each.complaint)


def test_every_proof_of_the_book_holds_at_every_size() -> None:
    hashes = leaves()
    assert len(hashes) == 43
    for size in (1, 4, 15, 16, 33, 43):
        for index in range(0, size, 3):
            proof = proofs.inclusion(index, size)
            verify_inclusion(
                index=index, size=size, leaf=hashes[index], proof=proof, root=root_of(hashes[:size])
            )
        for old in range(0, size + 1, 3):
            verify_consistency(
                old_size=old,
                new_size=size,
                old_root=root_of(hashes[:old]),
                new_root=root_of(hashes[:size]),
                proof=proofs.consistency(old, size),
            )


def test_the_tree_gives_root_leaves_and_nodes() -> None:
    tree, hashes = Tree(43), leaves()
    assert tree.root == book.head().root()
    assert tree.leaf(42) == hashes[42]
    assert tree.node(32, 43) == root_of(hashes[32:43])
    assert Tree(0).root == root_of([])


def test_roots_are_kept_as_the_book_grows_and_are_those_of_the_entries() -> None:
    hashes = leaves()
    assert subtrees.all_kept() == {
        (level, place, root_of(hashes[place << level : (place + 1) << level]))
        for level in (2, 4)
        for place in range(43 >> level)
    }
    assert list(complaints()) == []


def test_a_proof_reads_one_branch_and_not_the_book(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[int] = []
    plain = book.leaf_hashes

    def counted(start: int, end: int) -> Iterator[bytes]:
        read.extend(range(start, end))
        return plain(start, end)

    monkeypatch.setattr(book, "leaf_hashes", counted)
    proofs.inclusion(5, 43)
    assert sorted(read) == [4, 5, 6, 7, 40, 41, 42]


@pytest.mark.parametrize(
    ("act", "message"),
    [
        (lambda: proofs.inclusion(0, 44), r"^size: 44 entries; the book holds 43$"),
        (lambda: proofs.inclusion(0, -1), r"^size: -1 entries; the book holds 43$"),
        (lambda: proofs.consistency(3, 44), r"^to: 44 entries; the book holds 43$"),
    ],
)
def test_a_size_that_the_book_has_not_is_refused(act: object, message: str) -> None:
    assert callable(act)
    with pytest.raises(NoProof, match=message):
        act()


@pytest.mark.parametrize("index", [43, -1, 7])
def test_an_entry_that_a_book_has_not_is_refused(index: int) -> None:
    with pytest.raises(BadTree, match=rf"^index: there is no leaf {index}"):
        proofs.inclusion(index, 43 if index != 7 else 7)


def test_an_older_book_that_is_larger_is_refused() -> None:
    with pytest.raises(BadTree, match=r"^old_size: "):
        proofs.consistency(8, 7)


@pytest.mark.parametrize("level", [2, 4])
def test_a_wrong_kept_root_gives_no_proof_is_found_by_doctor_and_mended_by_rebuild(level: int) -> None:
    subtrees.put([(level, 1, b"\x07" * 32)])
    with pytest.raises(NoProof, match="run `pitbird doctor`"):
        proofs.inclusion(3 if level == 2 else 40, 43)
    assert [told for told in complaints() if FAULTY in told] == [f"{FAULTY} -> run `pitbird book rebuild`"]
    rebuild()
    assert list(complaints()) == []
    assert proofs.inclusion(3, 43)


def test_lost_roots_are_not_missed_but_told() -> None:
    before = subtrees.all_kept()
    with connection.cursor() as cursor:
        cursor.execute('DELETE FROM store_subtree WHERE "place" <> 0')
    hashes = leaves()
    verify_inclusion(index=20, size=43, leaf=hashes[20], proof=proofs.inclusion(20, 43), root=root_of(hashes))
    assert any(FAULTY in told for told in complaints())
    rebuild()
    assert subtrees.all_kept() == before


def test_the_migration_keeps_the_roots_of_a_book_that_had_none(monkeypatch: pytest.MonkeyPatch) -> None:
    migration = importlib.import_module("pitbird.store.migrations.0005_subtrees")
    monkeypatch.setattr(migration, "LEVELS", (2, 4))
    monkeypatch.setattr(migration, "PIECE", 5)
    before = subtrees.all_kept()
    subtrees.rebuild([])
    assert subtrees.all_kept() == set()

    migration.fill(None, SimpleNamespace(connection=connection))

    assert subtrees.all_kept() == before


def test_what_is_not_committed_keeps_no_root() -> None:
    before = subtrees.all_kept()

    def cut_off() -> None:
        with writing() as ledger:
            for minute in range(40, 50):
                ledger.add(bump(at(f"06:{minute}")), recorded_at=ms(f"06:{minute}"))
            raise RuntimeError("cut off")

    with pytest.raises(RuntimeError, match="cut off"):
        cut_off()
    assert subtrees.all_kept() == before
