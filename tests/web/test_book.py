"""The book's pages: newest entries, one entry, the export."""

from __future__ import annotations

import hashlib
import re

from django.test import Client

from pitbird.record.book import read_book
from pitbird.services.beginning import book_begun
from pitbird.store import book
from tests.web.conftest import Cast, ago, passed


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def test_the_newest_entries_come_first(keeper: Client) -> None:
    page = text(keeper, "/book")
    assert page.index("Bump test of D-018 failed") < page.index("Bump test of D-017 passed")
    assert "17 entries" in page


def test_a_long_book_is_paged(cast: Cast, keeper: Client) -> None:
    for number in range(60):
        cast.write({"kind": "note", "subject": "site:north-works", "text": f"Note {number}."})
    first = text(keeper, "/book")
    assert "Note 59." in first
    assert "Note 3." not in first
    earlier = re.search(r'href="(\?before=\d+)"', first)
    assert earlier is not None
    assert "Note 3." in text(keeper, f"/book{earlier[1]}")


def test_an_entry_stands_there_in_words_and_as_it_is(keeper: Client) -> None:
    row = book.at_index(16)
    assert row is not None
    page = text(keeper, "/book/16")
    assert "Bump test of D-018 failed on H2S; gas from C-112." in page
    assert "Rui Marrel" in page
    assert "H2S; alarm came: no" in page
    assert row.leaf_hash.hex() in page
    assert row.entry_id in page
    # The leaf hash of RFC 9162, section 2.1.1: SHA-256 over 0x00 and the leaf.
    assert hashlib.sha256(b"\x00" + row.leaf.encode()).hexdigest() in page


def test_a_field_with_nothing_in_it_says_so(cast: Cast, keeper: Client) -> None:
    written = cast.write({"kind": "happened", "detector": "detector:D-017", "what": "drop", "channels": []})
    page = keeper.get(f"/book/id/{written}", follow=True).content.decode()
    assert re.search(r"<dt>Channels</dt><dd[^>]*><span class=.quiet.>none</span></dd>", page)


def test_when_it_happened_and_when_it_was_recorded_are_told_apart(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "happened", "detector": "detector:D-017", "what": "water", "at": "2026-03-02T08:00:00.000Z"}
    )
    page = text(keeper, "/book/17")
    assert "Mon 2 Mar 2026, 08:00 WET" in page
    assert "Mon 2 Mar 2026, 12:00 WET <strong>(written afterwards)" in page


def test_a_corrected_entry_and_its_correction_lead_to_each_other(cast: Cast, keeper: Client) -> None:
    row = book.at_index(16)
    assert row is not None
    cast.write(
        {
            "kind": "correction", "corrects": row.entry_id, "how": "void",
            "reason": "Wrong detector scanned.",
            "of_about": ["detector:D-018", "cylinder:C-112"],
        },
        minutes_ago=1,
    )  # fmt: skip
    voided, correction = text(keeper, "/book/16"), text(keeper, "/book/17")
    assert "This entry counts for nothing any more." in voided
    assert 'href="/book/17"' in voided
    assert "Voids entry 16: Wrong detector scanned." in correction
    assert 'href="/book/16"' in correction
    assert "entry--struck" in text(keeper, "/book")
    assert "stamp--out-of-service" not in text(keeper, "/detectors/D-018")


def test_an_entry_is_found_by_its_id(keeper: Client) -> None:
    row = book.at_index(3)
    assert row is not None
    assert keeper.get(f"/book/id/{row.entry_id}")["Location"] == "/book/3"
    assert keeper.get("/book/id/0195a000-0000-7000-8000-0000000000ff").status_code == 404


def test_an_index_beyond_the_book_is_not_found(keeper: Client) -> None:
    for index in ("17", "99999999999999999999999"):
        assert keeper.get(f"/book/{index}").status_code == 404


def test_the_export_is_the_whole_book_and_checks_itself(keeper: Client) -> None:
    answer = keeper.get("/book/export")
    assert answer["Content-Type"] == "application/jsonl"
    assert answer["Content-Disposition"] == 'attachment; filename="book-2026-03-02.jsonl"'
    lines = answer.getvalue().splitlines()
    entries = list(read_book(lines))  # checks every hash, and the root at the end
    assert len(entries) == 17
    assert book_begun()


def test_the_book_may_be_read_by_a_tester_but_not_corrected(tester: Client) -> None:
    assert "Correct this entry" not in text(tester, "/book/16")
    assert tester.get("/write/correction?entry=16").status_code == 403


def test_a_test_stated_as_better_than_its_facts_is_said_to_be(cast: Cast, keeper: Client) -> None:
    draft = passed("D-019", ago(5))
    draft["signals"] = {"sound": "yes", "light": "yes"}  # it vibrates too, and nobody looked
    cast.write(draft, minutes_ago=4, by=cast.tester)
    said = "Bump test of D-019 passed; gas from C-112. What was recorded of it amounts to: spoiled."
    assert said in text(keeper, "/book")
    assert said in text(keeper, "/book/17")
