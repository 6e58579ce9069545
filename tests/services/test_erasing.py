"""A person is erased: entries stand, the name is gone everywhere, and the book says that it was withheld."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client

from pitbird.record.book import verify_book
from pitbird.record.leaf import read_leaf
from pitbird.services.accounts import CannotClose
from pitbird.services.beginning import make_account
from pitbird.services.erasing import consider, erase, erase_person, sealed_about, texts_naming
from pitbird.services.moving import export_book, rebuild
from pitbird.services.people import names
from pitbird.services.writing import Actor, EntryRefused, write, write_all
from pitbird.store import blobs, book
from pitbird.store.models import Login
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


def note(actor: Actor, subject: str, text: str) -> str:
    """A note, and the commitment to its text."""
    written = write({"kind": "note", "subject": subject, "text": text}, actor, now=ms("07:00"))
    row = book.at_index(written.index)
    assert row is not None
    return str(read_leaf(row.leaf.encode()).body["text"])


def handed_out(actor: Actor) -> None:
    write(
        {
            "kind": "handed-out",
            "detector": "detector:D-017",
            "to": P,
            "from_store": True,
            "note": "clip loose",
        },
        actor,
        now=ms("07:00"),
    )


def test_what_would_go_and_what_may_be_chosen_is_told_apart(fleet: Actor) -> None:
    own = note(fleet, P, "asked for larger gloves")
    whole = note(fleet, "detector:D-017", "RUI MARREL dropped it")
    part = note(fleet, "detector:D-017", "Marrel says the clip is loose")
    note(fleet, "detector:D-017", "marrelite on the filter")
    handed_out(fleet)
    found = consider(P)
    assert found.names == ("Rui Marrel",)
    assert {one.text for one in found.own} == {"Rui Marrel", "asked for larger gloves"}
    assert own in {one.commitment for one in found.own}
    assert [one.text for one in found.shared] == ["clip loose"]
    assert [(each.sealed.commitment, each.whole) for each in found.naming] == [(whole, True), (part, False)]
    assert found.in_the_clear == ()


def test_a_name_in_an_open_field_is_told_since_it_stays(fleet: Actor) -> None:
    written = write(
        {"kind": "regulator", "regulator": "regulator:R-9", "flow": "fixed", "flow_l_min": "0.5",
         "serial": "rui marrel 2"},
        fleet,
        now=ms("07:00"),
    )  # fmt: skip
    assert consider(P).in_the_clear == (written.index,)


def test_a_code_that_gives_the_name_away_is_told(fleet: Actor) -> None:
    write({"kind": "person", "person": "person:r.marrel", "name": "Rui Marrel"}, fleet, now=ms("07:00"))
    assert consider("person:r.marrel").code_tells
    assert not consider(P).code_tells


def test_only_what_was_chosen_goes_beside_the_persons_own(fleet: Actor) -> None:
    whole = note(fleet, "detector:D-017", "Rui Marrel dropped it")
    part = note(fleet, "detector:D-017", "Marrel says the clip is loose")
    handed_out(fleet)
    done = erase_person(P, [whole], "request", fleet, now=ms("08:00"))
    assert (done.count, len(done.entries), done.account_closed) == (2, 1, None)
    left = {blob.text for blob in blobs.every_text()}
    assert left == {"Ilda Fontanova", "Marrel says the clip is loose", "clip loose"}
    assert part not in verify_book(export_book()).withheld


def test_a_choice_that_bears_no_name_erases_nothing(fleet: Actor) -> None:
    other = note(fleet, "detector:D-017", "filter changed")
    with pytest.raises(EntryRefused, match="no text that bears the name"):
        erase_person(P, [other], "request", fleet, now=ms("08:00"))
    assert len(sealed_about(P)) == 1


def test_only_a_keeper_erases(fleet: Actor) -> None:
    tester = Actor(P, fleet.site, fleet.zone)
    with pytest.raises(EntryRefused, match="only a keeper"):
        erase_person("person:K-1", [], "request", tester, now=ms("08:00"))
    assert sealed_about("person:K-1")


def test_a_keeper_who_left_erases_no_more(fleet: Actor) -> None:
    write(
        {"kind": "person", "person": "person:K-1", "name": "Ilda", "roles": ["keeper"], "left": "2026-03-01"},
        fleet,
        now=ms("07:00"),
    )
    with pytest.raises(EntryRefused, match="only a keeper"):
        erase_person(P, [], "request", fleet, now=ms("08:00"))


def test_there_is_nothing_to_erase_twice(fleet: Actor) -> None:
    erase_person(P, [], "request", fleet, now=ms("08:00"))
    size = book.head().size
    with pytest.raises(EntryRefused, match="left to erase"):
        erase_person(P, [], "request", fleet, now=ms("08:01"))
    assert book.head().size == size


def test_more_than_a_thousand_texts_take_several_entries(fleet: Actor) -> None:
    drafts = [{"kind": "note", "subject": P, "text": f"remark {number}"} for number in range(1000)]
    write_all(drafts, fleet, now=ms("07:00"))
    done = erase_person(P, [], "request", fleet, now=ms("08:00"))
    assert (done.count, len(done.entries)) == (1001, 2)
    assert sealed_about(P) == ()


def test_an_account_is_closed_with_its_sessions(fleet: Actor) -> None:
    make_account("rui.marrel", "over-the-weir-7", person=P, site=None)
    client = Client()
    assert client.login(username="rui.marrel", password="over-the-weir-7")
    assert consider(P).account == "rui.marrel"
    assert consider(P).account_tells
    done = erase_person(P, [], "request", fleet, close=True, now=ms("08:00"))
    assert done.account_closed == "rui.marrel"
    assert not Login.objects.filter(person=P).exists()
    assert not User.objects.exists()
    assert not Session.objects.exists()


def test_nobody_closes_the_account_they_write_with_and_then_nothing_is_erased(fleet: Actor) -> None:
    make_account("ilda", "over-the-weir-7", person="person:K-1", site=None)
    with pytest.raises(CannotClose, match="another keeper"):
        erase_person("person:K-1", [], "request", fleet, close=True, now=ms("08:00"))
    assert sealed_about("person:K-1")


def test_the_last_account_of_a_keeper_stays_open(fleet: Actor) -> None:
    keeper = {"kind": "person", "person": "person:K-2", "name": "Noor", "roles": ["keeper"]}
    write(keeper, fleet, now=ms("07:00"))
    make_account("noor", "over-the-weir-7", person="person:K-2", site=None)
    with pytest.raises(CannotClose, match="only account of a keeper"):
        erase_person("person:K-2", [], "request", fleet, close=True, now=ms("08:00"))
    make_account("ilda", "over-the-weir-7", person="person:K-1", site=None)
    assert erase_person("person:K-2", [], "request", fleet, close=True, now=ms("08:00")).count == 1


@pytest.mark.parametrize("several", [False, True])
def test_an_erasure_is_not_written_by_hand(fleet: Actor, several: bool) -> None:
    (sealed,) = sealed_about(P)
    draft = {"kind": "erasure", "subject": P, "commitments": [sealed.commitment], "because": "request"}
    with pytest.raises(EntryRefused, match="never by hand"):
        write_all([draft], fleet, now=ms("08:00")) if several else write(draft, fleet, now=ms("08:00"))
    assert sealed_about(P) == (sealed,)


STALE = """
import os, random, django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from pitbird.services.writing import seal
from pitbird.store import blobs, seals
random.seed(1)
rest = random.Random(1)
sealed = [seal(f"MARK{n:06d}X" + "x" * rest.choice([5, 50, 200, 3000])) for n in range(2000)]
blobs.put(sealed)
random.shuffle(sealed)
blobs.erase([each.commitment for each in sealed[:1500]])
assert seals.rewrite()
print("\\n".join(each.text[:11] for each in sealed[:1500]))
"""


@pytest.mark.slow
def test_no_stale_copy_is_left_in_the_files_after_many_erasures(tmp_path: Path) -> None:
    """Overwriting what is deleted is not enough: where rows moved between pages, copies stay in the gaps."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PITBIRD_")}
    done = subprocess.run(
        [sys.executable, "-c", STALE],
        env={**kept, "PITBIRD_HOME": str(tmp_path), "DJANGO_SETTINGS_MODULE": "pitbird.app.settings"},
        capture_output=True,
        text=True,
        check=True,
    )
    gone = done.stdout.split()
    assert len(gone) == 1500
    found = {mark for path in tmp_path.iterdir() for mark in re.findall(rb"MARK[0-9]{6}X", path.read_bytes())}
    assert len(found) == 500
    assert not found & {mark.encode() for mark in gone}
