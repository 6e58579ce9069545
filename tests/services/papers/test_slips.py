"""Slips for bump tests by hand: what must be looked at stands on them; they are entered by number."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from pitbird.papers.slips import Channel, Slip, print_slips
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
        "Bump test of D-017", "slip 260302-1200-D-017", "CH4, methane", "high alarm, 20 % LFL",
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
    letter = slips(["detector:D-017"] * 2, replace(order, paper="us-letter"))
    assert pdf.pages(letter.pdf) == 1
    assert pdf.qr_codes(letter.pdf) == ["detector:D-017"] * 2


def test_no_two_slips_of_a_paper_have_the_same_number_and_the_book_takes_each(say: Say, order: Order) -> None:
    told = pdf.words(slips(["detector:D-017"] * 3, order).pdf)
    numbers = re.findall(r"slip (260302-\S+)", told)
    assert numbers == ["260302-1200-D-017", "260302-1200-D-017-2", "260302-1200-D-017-3"]
    for minute, number in enumerate(numbers):
        say({**bump(at(f"07:3{minute}")), "slip": {"number": number}})


def test_a_slip_of_many_channels_has_a_page_of_its_own_and_all_its_words() -> None:
    channels = tuple(Channel(f"G{n}, carbon monoxide", "0 ppm", "high alarm, 60 ppm") for n in range(12))
    many = Slip("1-D", "detector:D-017", "D-017", "Heron Works", channels, ("sound", "light"))
    made = print_slips([many, many], site="North", made_at=datetime(2026, 3, 2, tzinfo=UTC))
    assert pdf.pages(made) == 2
    assert pdf.words(made).count("Countersigned by") == 2
    assert "G11, carbon monoxide" in pdf.words(made)


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
