"""Slips for bump tests by hand: what must be looked at stands on them; they are entered by number."""

from __future__ import annotations

import pytest

from pitbird.services.papers.bump_test import bump_test
from pitbird.services.papers.making import Order, PaperRefused
from pitbird.services.papers.slips import slips
from tests.bodies import at, bump
from tests.papers import pdf
from tests.services.papers.conftest import Say


def test_a_slip_holds_all_that_is_to_be_seen(say: Say, order: Order) -> None:
    made = slips(["detector:D-017"], order)
    told = pdf.words(made.pdf)
    for words in (
        "Bump test of D-017", "slip 260302-D-017", "CH4, methane", "high alarm, 20 % LFL",
        "H2S, hydrogen sulfide",
        "Gas on, time", "sound", "vibration", "Countersigned by", "do not start the work",
    ):  # fmt: skip
        assert words in told, words
    assert pdf.qr_codes(made.pdf) == ["detector:D-017"]
    assert pdf.pages(made.pdf) == 1
    pdf.assert_archival(made.pdf, title="Slips for bump tests: North works")


def test_two_slips_stand_on_a_page(say: Say, order: Order) -> None:
    made = slips(["detector:D-017"] * 3, order)
    assert pdf.pages(made.pdf) == 2
    assert pdf.pages(slips(["detector:D-017"] * 2, order).pdf) == 1


def test_what_the_book_does_not_know_is_named(say: Say, order: Order) -> None:
    with pytest.raises(PaperRefused, match="does not know D-98, D-99"):
        slips(["detector:D-98", "detector:D-99"], order)
    with pytest.raises(PaperRefused, match="nothing to print"):
        slips([], order)


def test_the_record_of_a_test_says_from_which_slip_it_was_entered(say: Say, order: Order) -> None:
    slip = {"number": "260302-D-017", "countersigned_by": "person:K-1"}
    index = say({**bump(at("07:30")), "slip": slip})
    told = pdf.words(bump_test(index, order).pdf)
    assert "Entered from a paper slip 260302-D-017 countersigned by" in told
