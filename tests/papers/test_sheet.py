"""The parts of a sheet, and how it says where it stands in the book."""

from __future__ import annotations

from datetime import UTC, datetime

from pitbird.papers.sheet import (
    Empty,
    Facts,
    Figure,
    Finding,
    Findings,
    Keyed,
    Leaf,
    Lines,
    Listed,
    Loud,
    Sealed,
    Section,
    Sheet,
    Stamp,
    Standing,
    Strong,
    Table,
    Text,
    lines,
    print_sheet,
)
from tests.papers import pdf

MADE = datetime(2026, 11, 24, 6, 12, tzinfo=UTC)
BOOK, ENTRY = "0193a5b0-1111-7222-8333-444455556666", "0193a5b0-9999-7222-8333-444455556666"


def sheet(standing: Standing, *parts: Section, locale: str = "en-GB") -> Sheet:
    return Sheet("A sheet", "running", "foot", (), parts, ("This.",), ("Not that.",), standing, locale=locale)


NOWHERE = Standing(None, None, ("It stands under no checkpoint.",))


def test_every_part_is_printed_in_its_order() -> None:
    square = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><path d="M0 0h9v9z"/></svg>'
    parts = (
        Facts((("Term", ("first", Keyed("0O1lI"))),)),
        Facts((("a", "1"), ("b", "2"), ("c", "3")), across=2),
        Text(("Words", Strong("and strong ones"))),
        Listed(("one", "two")),
        Empty("Nothing here."),
        Table(("Head",), ((Stamp("out-of-service", "Out of service", "since then"),),)),
        Loud("Loud", ("line",)),
        Findings((Finding("not-met", "stops", "stops", "A sentence.", "A remedy.", "A source."),)),
        Figure(square, "A square"),
        Lines(("Signed by",)),
        Stamp("cannot-tell", "Cannot tell"),
    )
    told = pdf.words(print_sheet(sheet(NOWHERE, Section("Parts", parts)), made_at=MADE))
    found = [
        told.index(words)
        for words in (
            "Parts", "Term", "first", "0O1lI", "a 1", "c 3", "Words", "and strong ones", "one", "two",
            "Nothing here.", "Head", "OUT OF SERVICE", "Loud", "A sentence.", "A remedy.", "A source.",
            "Signed by", "CANNOT TELL", "What it shows", "What it does not show",
            "Where it stands in the book",
        )
    ]  # fmt: skip
    assert found == sorted(found)


def test_a_sheet_without_an_entry_has_no_code_and_says_how_it_stands() -> None:
    made = print_sheet(sheet(NOWHERE), made_at=MADE)
    assert pdf.qr_codes(made) == []
    assert "It stands under no checkpoint." in pdf.words(made)
    assert "Leaf hash" not in pdf.words(made)


def test_the_root_is_printed_short_and_the_leaf_whole() -> None:
    standing = Standing(Leaf(BOOK, ENTRY, 7, b"\xab" * 32), Sealed(f"pitbird-book/{BOOK}", 9, b"\xcd" * 32))
    told = pdf.words(print_sheet(sheet(standing), made_at=MADE))
    assert f"{'ab' * 16} {'ab' * 16}" in told
    assert f"Root hash, short {'cd' * 8} " in told
    assert "cd" * 9 not in told


def test_an_alarm_about_the_book_stands_first() -> None:
    told = pdf.words(print_sheet(sheet(Standing(None, None, alarm="Rolled back.")), made_at=MADE))
    assert told.index("Do not rely on this paper Rolled back.") < told.index("What it shows")


def test_the_language_is_that_of_the_words_whatever_the_dates() -> None:
    pdf.assert_archival(print_sheet(sheet(NOWHERE, locale="de"), made_at=MADE), title="A sheet", lang="en")
    pdf.assert_archival(
        print_sheet(sheet(NOWHERE, locale="en-US"), made_at=MADE), title="A sheet", lang="en-US"
    )


def test_a_table_of_many_rows_goes_over_pages_and_none_is_lost() -> None:
    rows = tuple((f"row-{number:03}", "x") for number in range(120))
    told = pdf.words(print_sheet(sheet(NOWHERE, Section("T", (Table(("A", "B"), rows),))), made_at=MADE))
    assert all(f"row-{number:03}" in told for number in range(120))


def test_lines_leave_out_what_is_empty() -> None:
    assert lines("a", None, "", Strong("b")) == ("a", Strong("b"))
    assert lines("a", None) == "a"
    assert lines(None) == ()


def test_however_long_a_text_is_all_of_it_is_printed() -> None:
    long = " ".join(f"word-{number:04}" for number in range(3000))
    parts = (Facts((("Note", long),)), Loud("Loud", (long,)), Table(("A", "B"), (("x", long),)))
    found = Findings((Finding("unknown", "warns", "not known", long),))
    told = pdf.words(print_sheet(sheet(NOWHERE, Section("Long", (*parts, found))), made_at=MADE))
    assert all(told.count(f"word-{number:04}") == 4 for number in range(3000))


def test_long_names_stay_within_their_columns() -> None:
    name, serial = "Wolkenstein-Trautmannsdorff" * 4, "SERIAL" * 20
    rows = (("x", name, Keyed(serial), "y"),) * 3
    made = print_sheet(sheet(NOWHERE, Section("T", (Table(("A", "B", "C", "D"), rows),))), made_at=MADE)
    assert pdf.rightmost(made) < 210 / 25.4 * 72 - 40
    for parts in (Facts(((name, Keyed(serial)),)), Loud(name, (serial,)), Stamp("not-yet", "Not yet", name)):
        made = print_sheet(sheet(NOWHERE, Section(name, (parts,))), made_at=MADE)
        assert pdf.rightmost(made) < 210 / 25.4 * 72 - 40
