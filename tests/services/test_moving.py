"""The book goes out as lines a person can read, and comes back to the same root; or not at all."""

from __future__ import annotations

import json

import pytest
from django.db import transaction

from pitbird.intake.faults import EntryRefused
from pitbird.record.book import export_line, header_line, trailer_line, verify_book
from pitbird.record.errors import BookBroken
from pitbird.record.leaf import make_leaf
from pitbird.record.merkle import Frontier
from pitbird.services.knowing import Now
from pitbird.services.moving import BookEmpty, BookNotEmpty, export_book, import_book, rebuild
from pitbird.services.people import names
from pitbird.services.writing import Actor, write
from pitbird.store import book
from pitbird.store.models import Blob, Head, Standing
from tests.bodies import at, body, bump, ms


def empty_the_database() -> None:
    """Take everything out, as if the book were elsewhere; the guards are let down for that."""
    from django.db import connection

    from pitbird.store import guards

    with connection.cursor() as cursor:
        for name in guards.names(connection.vendor):
            on = f" ON {name.rsplit('_no_', 1)[0]}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")
        cursor.execute("DELETE FROM store_entry")
        cursor.execute("DELETE FROM store_mention")
    for model in (Head, Standing, Blob):
        model.objects.all().delete()
    guards.put_back()


def test_export_and_import_give_the_same_root_states_and_names(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    lines, head = list(export_book()), book.head()
    states, people = book.standings(book.subjects("detector")), names()
    empty_the_database()
    assert import_book(lines) == head
    assert book.standings(book.subjects("detector")) == states
    assert names() == people == {"person:K-1": "Ilda Fontanova", "person:P-07": "Rui Marrel"}


def test_the_export_is_verified_by_the_record_room_alone(fleet: Actor) -> None:
    report = verify_book(export_book())
    assert (report.size, report.root) == (book.head().size, book.head().root())
    assert report.subjects == book.census()


def test_a_line_can_be_read_with_a_text_editor(fleet: Actor) -> None:
    lines = [json.loads(line) for line in export_book()]
    person = next(line for line in lines[1:-1] if line["leaf"]["body"].get("person") == "person:P-07")
    sealed = person["sealed"][person["leaf"]["body"]["name"]]
    assert sealed["text"] == "Rui Marrel"


def test_an_import_into_a_book_is_refused(fleet: Actor) -> None:
    with pytest.raises(BookNotEmpty, match="empty book"):
        import_book(list(export_book()))


def test_a_broken_export_leaves_nothing_behind(fleet: Actor) -> None:
    lines = list(export_book())
    empty_the_database()
    changed = [*lines[:-2], lines[-2].replace(b"within", b"outside"), lines[-1]]
    for damaged, message in ((changed, "root|canonical"), (lines[:-1], "last line|ends")):
        with pytest.raises(BookBroken, match=message), transaction.atomic():
            import_book(damaged)
        assert book.head().size == 0
        assert book.census() == {}


def foreign_book(*bodies: dict[str, object]) -> list[bytes]:
    """An export made elsewhere from bodies, whole and verifiable."""
    tree, lines, counts = Frontier(0, ()), [header_line(str(bodies[0]["id"]))], dict[str, int]()
    for index, entry in enumerate(bodies):
        about = [str(subject) for subject in entry["about"]]  # type: ignore[attr-defined]
        for subject in about:
            counts[subject] = counts.get(subject, 0) + 1
        leaf = make_leaf(entry, recorded_at=str(entry["at"]), nth={s: counts[s] for s in about})
        tree = tree.append(leaf.hash)
        lines.append(export_line(index, leaf.raw))
    return [*lines, trailer_line(tree.size, tree.root())]


def test_an_unknown_kind_is_kept_as_it_is_and_makes_its_subject_unclear(db: None) -> None:
    odd = {**body("note", at("06:00")), "kind": "levitated", "height": "3"}
    import_book(foreign_book(body("genesis", at("05:00")), body("detector", at("05:30")), odd))
    state = Now().state("detector:D-017")
    assert state is not None
    assert state.not_understood == (odd["id"],)
    assert b'"height":"3"' in b"".join(export_book())


def test_a_known_kind_with_an_unknown_field_is_refused_with_its_line(db: None) -> None:
    bad = {**body("happened", at("06:00")), "speed": "3"}
    with pytest.raises(EntryRefused) as refused, transaction.atomic():
        import_book(foreign_book(body("genesis", at("05:00")), bad))
    assert [(fault.line, "speed" in fault.where) for fault in refused.value.faults] == [(3, True)]
    assert book.head().size == 0


def test_a_book_not_begun_exports_nothing(db: None) -> None:
    with pytest.raises(BookEmpty, match="no book"):
        list(export_book())


def test_folding_anew_gives_the_same_and_mends_what_differed(fleet: Actor) -> None:
    write(bump(at("07:00"), missed="CO", by="person:P-07"), fleet, now=ms("07:01"))
    before = {
        sort: book.standings(book.subjects(sort)) for sort in ("detector", "cylinder", "person", "site")
    }
    assert rebuild().differed == ()
    Standing.objects.filter(subject="detector:D-017").update(state='{"subject":"detector:D-017"}')
    found = rebuild()
    assert found.differed == ("detector:D-017",)
    assert found.root_agrees
    after = {sort: book.standings(book.subjects(sort)) for sort in before}
    assert after == before


def test_a_head_that_does_not_agree_is_told(fleet: Actor) -> None:
    Head.objects.update(frontier=Frontier(0, ()).to_bytes())
    assert not rebuild().root_agrees


def test_a_correction_that_keeps_quiet_about_where_an_entry_was_moved_is_refused(db: None) -> None:
    """Moved to another detector and back: if that detector were not told, it would keep the test for good."""
    test = bump(at("06:00"))
    there = {**test, "detector": "detector:D-018", "about": ["detector:D-018", "cylinder:C-112"]}
    moved = body(
        "correction",
        at("07:00"),
        corrects=test["id"],
        of_about=test["about"],
        how="replace",
        replacement=there,
    )
    back = body("correction", at("08:00"), corrects=test["id"], of_about=test["about"])
    with pytest.raises(EntryRefused, match="detector:D-018"), transaction.atomic():
        import_book(foreign_book(body("genesis", at("05:00")), test, moved, back))
    assert book.head().size == 0
