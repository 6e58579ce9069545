"""A page of the book: the entries of a day of the site's calendar."""

from __future__ import annotations

from datetime import date

import pytest

from pitbird.services.papers.book_page import book_page
from pitbird.services.papers.making import NoSuchPaper, Order
from tests.bodies import at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say

SITE, DAY = "site:north-works", date(2026, 3, 2)


def test_a_days_entries_stand_in_the_books_order(say: Say, order: Order) -> None:
    first = say(bump(at("07:30")))
    second = say({"kind": "happened", "detector": "detector:D-017", "what": "drop"}, now=ms("09:00"))
    made = book_page(DAY, order, site=SITE)
    told = pdf.words(made.pdf)
    assert made.name == "book-2026-03-02-north-works.pdf"
    assert f"{first} 2 Mar 2026, 07:30 WET Bump test of D-017 passed; gas from C-112. Rui Marrel" in told
    assert f"{second} 2 Mar 2026, 09:00 WET D-017: a drop. Rui Marrel" in told
    assert (
        f"{second + 1} entries about Mon 2 Mar 2026, North works; the day as clocks show it in Europe/Lisbon."
        in told
    )
    assert "The book was begun" in told
    pdf.assert_archival(made.pdf, title="The book, Mon 2 Mar 2026")


def test_a_day_begins_at_midnight_of_the_sites_clock(say: Say, order: Order) -> None:
    """tz database: Europe/Athens keeps EET, UTC+2, in March: 22:30 UTC is 00:30 of the next day."""
    say(
        {"kind": "site", "site": "site:east", "name": "East store", "site_zone": "Europe/Athens"},
        by="person:K-1", now=ms("06:00"),
    )  # fmt: skip
    say(
        {
            "kind": "note",
            "subject": "detector:D-017",
            "text": "Late",
            "where": "site:east",
            "zone": "Europe/Athens",
        },
        now=ms("22:30"),
    )
    on_second = pdf.words(book_page(DAY, order, site="site:east").pdf)
    on_third = pdf.words(book_page(date(2026, 3, 3), order, site="site:east").pdf)
    assert "Nothing is written about this day." in on_second
    assert "3 Mar 2026, 00:30 EET Note about D-017: Late" in on_third


def test_issued_untested_and_held_stand_on_top_unless_voided(say: Say, order: Order) -> None:
    draft = {
        "kind": "out-of-service", "detector": "detector:D-017", "because": "incident",
        "id": "0195a333-0000-7000-8000-000000000001",
    }  # fmt: skip
    index = say(draft)
    told = pdf.words(book_page(DAY, order, site=SITE).pdf)
    assert f"Look here first Entry {index}: D-017 taken out of service: an incident." in told
    say(
        {"kind": "correction", "corrects": draft["id"], "how": "void", "reason": "Wrong detector"},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(book_page(DAY, order, site=SITE).pdf)
    assert "Look here first" not in told
    assert f"Entry {index} was corrected by entry {index + 1}" in told


def test_what_was_written_late_is_counted(say: Say, order: Order) -> None:
    say(bump(at("07:30")), now=ms("09:00"))
    told = pdf.words(book_page(DAY, order, site=SITE).pdf)
    assert "Written more than a quarter of an hour late: 1" in told


def test_a_kind_without_words_of_its_own_is_told_by_its_fields(say: Say, order: Order) -> None:
    say(
        {"kind": "regulator", "regulator": "regulator:R-03", "flow": "fixed", "flow_l_min": "0.5"},
        by="person:K-1",
    )
    assert "Regulator described: flow fixed; flow l min 0.5; regulator R-03." in pdf.words(
        book_page(DAY, order, site=SITE).pdf
    )


def test_all_sites_are_told_in_utc(say: Say, order: Order) -> None:
    told = pdf.words(book_page(DAY, order).pdf)
    assert "all sites; the day as clocks show it in UTC." in told


def test_an_unknown_site_is_refused(say: Say, order: Order) -> None:
    with pytest.raises(NoSuchPaper, match="site: the book knows no site 'nowhere'"):
        book_page(DAY, order, site="site:nowhere")
