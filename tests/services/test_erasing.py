"""A person is erased: entries stand, the name is gone everywhere, and the book says that it was withheld."""

from __future__ import annotations

import pytest
from django.db import connection

from pitbird.record.book import verify_book
from pitbird.services.erasing import erase, sealed_about, texts_naming
from pitbird.services.moving import export_book, rebuild
from pitbird.services.people import names
from pitbird.services.writing import Actor, EntryRefused, write
from pitbird.store import book
from tests.bodies import ms

P = "person:P-07"


def test_an_erased_name_is_gone_everywhere_and_the_book_still_verifies(fleet: Actor) -> None:
    root = book.head().root()
    sealed = sealed_about(P)
    assert [(one.kind, one.field, one.text) for one in sealed] == [("person", "name", "Rui Marrel")]
    erase(P, tuple(one.commitment for one in sealed), "request", fleet, now=ms("08:00"))
    assert P not in names()
    assert sealed_about(P) == ()
    lines = b"".join(export_book())
    assert b"Marrel" not in lines
    report = verify_book(export_book())
    assert report.withheld == (sealed[0].commitment,)
    assert report.root != root, "the erasure is an entry of its own"
    assert rebuild().differed == ()


def test_every_description_of_a_person_is_found(fleet: Actor) -> None:
    write({"kind": "person", "person": P, "name": "Rui Marrel-Soto"}, fleet, now=ms("07:00"))
    assert {one.text for one in sealed_about(P)} == {"Rui Marrel", "Rui Marrel-Soto"}


def test_texts_about_other_things_that_name_the_person_are_found(fleet: Actor) -> None:
    write(
        {"kind": "note", "subject": "detector:D-017", "text": "rui marrel dropped it"},
        fleet,
        now=ms("07:00"),
    )
    found = texts_naming("Rui Marrel")
    assert len(found) == 2
    erase(P, found, "request", fleet, now=ms("08:00"))
    assert texts_naming("Marrel") == ()


def test_erasing_on_behalf_of_an_unknown_person_erases_nothing(fleet: Actor) -> None:
    sealed = sealed_about(P)
    with pytest.raises(EntryRefused, match="P-99"):
        erase("person:P-99", tuple(one.commitment for one in sealed), "request", fleet, now=ms("08:00"))
    assert sealed_about(P) == sealed


def test_the_database_overwrites_what_it_deletes(db: None) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("secure_delete is SQLite's own")
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA secure_delete")
        assert cursor.fetchone()[0] == 1
