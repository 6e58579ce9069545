"""A detector's history: the entries of a period, numbered, with their corrections."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from pitbird.services.appending import append
from pitbird.services.papers.detector_history import detector_history
from pitbird.services.papers.making import NoSuchPaper, Order, PaperRefused
from pitbird.store import book
from tests.bodies import at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say, erase_name

D17 = "detector:D-017"


def test_every_entry_about_it_stands_with_its_number(say: Say, order: Order) -> None:
    passed = say(bump(at("07:30")))
    say({"kind": "handed-out", "detector": D17, "to": "person:P-07", "from_store": True}, now=ms("08:00"))
    made = detector_history(D17, order)
    told = pdf.words(made.pdf)
    count, last = book.count_about(D17)
    assert made.name == "detector-D-017.pdf"
    assert f"{count} of the {count} entries about it in the book: the whole book." in told
    assert f"Running numbers 1 to {count} of {count}" in told
    assert (
        f"{count - 1} {passed} 2 Mar 2026, 07:30 WET Bump test of D-017 passed; gas from C-112. Rui Marrel"
        in told
    )
    assert "D-017 handed out from the store to Rui Marrel." in told
    assert "MAY GO OUT until Tue 3 Mar 2026, 04:00 WET" in told
    assert "1 passed, 0 failed, 0 spoiled" in told
    assert f" {last} " in pdf.qr_codes(made.pdf)[0]
    pdf.assert_archival(made.pdf, title="History of detector D-017")


def test_a_period_holds_what_happened_in_it(say: Say, order: Order) -> None:
    say(bump(at("07:30")))
    say(bump(at("09:30", "2026-03-03"), missed="CO"), now=ms("09:31", "2026-03-03"))
    later = replace(order, now=ms("12:00", "2026-03-04"))
    third = date(2026, 3, 3)
    told = pdf.words(detector_history(D17, later, first=third, last=third).pdf)
    assert "from 3 Mar 2026 to 3 Mar 2026" in told
    assert "Bump test of D-017 failed on CO; gas from C-112." in told
    assert "Bump test of D-017 passed" not in told
    assert "OUT OF SERVICE since Tue 3 Mar 2026, 09:30 WET" in told


def test_its_days_are_those_of_the_sites_clock(say: Say, order: Order) -> None:
    """tz database: Europe/Lisbon keeps WEST, UTC+1, in July: 23:30 UTC is 00:30 of the next day."""
    say({"kind": "happened", "detector": D17, "what": "drop"}, now=ms("23:30", "2026-07-01"))
    later = replace(order, now=ms("12:00", "2026-07-03"))
    first, second = date(2026, 7, 1), date(2026, 7, 2)
    assert "a drop" not in pdf.words(detector_history(D17, later, first=first, last=first).pdf)
    assert "a drop" in pdf.words(detector_history(D17, later, first=second, last=second).pdf)


def test_an_entry_written_late_leaves_a_gap_that_is_said(say: Say, order: Order) -> None:
    say(bump(at("07:30", "2026-03-03")), now=ms("07:31", "2026-03-03"))
    say(bump(at("06:00")), now=ms("08:00", "2026-03-03"))
    say(bump(at("09:00", "2026-03-03")), now=ms("09:01", "2026-03-03"))
    told = pdf.words(detector_history(D17, order, first=date(2026, 3, 3)).pdf)
    assert "but not every one in between" in told


def test_a_corrected_entry_says_what_stands_instead(say: Say, order: Order) -> None:
    draft = bump(at("07:30"))
    say(draft)
    index = say(
        {"kind": "correction", "corrects": draft["id"], "how": "void", "reason": "Wrong detector scanned"},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(detector_history(D17, order).pdf)
    assert f"Does not count: voided by entry {index}." in told
    assert "0 passed, 0 failed, 0 spoiled" in told
    assert f"Voids the entry {draft['id']}: Wrong detector scanned" in told


def test_a_pass_that_its_facts_do_not_bear_out_is_told_and_counted_as_what_it_is(
    say: Say, order: Order
) -> None:
    say(bump(at("07:30"), signals={"sound": "yes", "light": "no"}))
    for minute in range(20):  # more than a state keeps
        say(bump(at(f"09:{minute:02}")), now=ms("10:00"))
    told = pdf.words(detector_history(D17, order).pdf)
    assert "WHAT WAS RECORDED OF IT AMOUNTS TO: failed." in told
    assert "20 passed, 1 failed, 0 spoiled" in told


def test_an_entry_left_out_for_its_clock_is_marked(say: Say, order: Order) -> None:
    # A phone whose clock is two hours fast: evidence is kept, a pass does not count (two minutes of leeway).
    append(bump(at("10:00")), recorded_at=ms("08:00"))
    told = pdf.words(detector_history(D17, order).pdf)
    assert "LEFT OUT: its clock cannot be right" in told
    assert "0 passed, 0 failed, 0 spoiled, 1 left out" in told


def test_an_empty_period_says_so_and_has_no_code(say: Say, order: Order) -> None:
    made = detector_history(D17, order, first=date(2026, 3, 3))
    assert "The book holds no entry about it in this period." in pdf.words(made.pdf)
    assert pdf.qr_codes(made.pdf) == []


def test_names_that_were_erased_are_withheld(say: Say, order: Order) -> None:
    say({"kind": "handed-out", "detector": D17, "to": "person:P-07", "from_store": True}, now=ms("08:00"))
    erase_name("person:P-07")
    told = pdf.words(detector_history(D17, order).pdf)
    assert "handed out from the store to P-07, name withheld (erased)." in told
    assert "Rui" not in told


def test_faults_are_refused(say: Say, order: Order) -> None:
    with pytest.raises(NoSuchPaper, match="detector: the book knows no detector 'D-099'"):
        detector_history("detector:D-099", order)
    with pytest.raises(PaperRefused, match="last: 2026-03-01 lies before the first day, 2026-03-02"):
        detector_history(D17, order, first=date(2026, 3, 2), last=date(2026, 3, 1))
    with pytest.raises(PaperRefused, match="last: 9999-12-31 is no day of this book"):
        detector_history(D17, order, last=date.max)
