"""A training record: what was trained, what holds, what lapsed; an erased name stays erased."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitbird.services.papers.making import NoSuchPaper, Order
from pitbird.services.papers.training_record import training_record
from tests.bodies import ms
from tests.papers import pdf
from tests.services.papers.conftest import Say, erase_name

P07 = "person:P-07"


def test_it_says_what_holds_and_until_when(say: Say, order: Order) -> None:
    made = training_record(P07, order)
    told = pdf.words(made.pdf)
    assert made.name == "training-P-07.pdf"
    for words in (
        "Training record of Rui Marrel",
        "Holds now: bump tests.",
        "Bump tests holds until 2 Mar 2028",
        "Wearing no training on record",
        "Bump tests passed 2 Mar 2028 not stated counts",
    ):
        assert words in told, words
    pdf.assert_archival(made.pdf, title="Training record of Rui Marrel")


def test_its_last_day_holds_and_the_day_after_is_loud(say: Say, order: Order) -> None:
    last = replace(order, now=ms("12:00", "2028-03-02"))
    assert "Bump tests holds until 2 Mar 2028" in pdf.words(training_record(P07, last).pdf)
    after = replace(order, now=ms("00:30", "2028-03-03"))
    told = pdf.words(training_record(P07, after).pdf)
    assert "Nothing holds now." in told
    assert "LAPSED: held until 2 Mar 2028" in told
    assert "Look here first May act as tester, but no training in bump tests holds." in told


def test_a_training_that_was_not_passed_ends_the_one_before(say: Say, order: Order) -> None:
    say({"kind": "training", "person": P07, "topic": "bump-test", "result": "failed"}, by="person:K-1")
    told = pdf.words(training_record(P07, order).pdf)
    assert "NOT PASSED, Mon 2 Mar 2026, 08:00 WET" in told
    assert "no training in bump tests holds" in told


def test_a_voided_training_is_marked_and_does_not_hold(say: Say, order: Order) -> None:
    draft = {
        "kind": "training", "person": P07, "topic": "wearing", "valid_until": "2028-03-02",
        "id": "0195a444-0000-7000-8000-000000000001",
    }  # fmt: skip
    say(draft, by="person:K-1")
    assert "Wearing holds until 2 Mar 2028" in pdf.words(training_record(P07, order).pdf)
    index = say(
        {"kind": "correction", "corrects": draft["id"], "how": "void", "reason": "Somebody else was trained"},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(training_record(P07, order).pdf)
    assert f"VOID by entry {index}" in told
    assert "Wearing no training on record" in told


def test_an_erased_name_is_withheld_in_the_title_too(say: Say, order: Order) -> None:
    erase_name(P07)
    made = training_record(P07, order)
    assert "Rui" not in pdf.words(made.pdf)
    pdf.assert_archival(made.pdf, title="Training record of P-07, name withheld (erased)")


def test_an_unknown_person_is_refused(say: Say, order: Order) -> None:
    with pytest.raises(NoSuchPaper, match="person: the book knows no person 'P-99'"):
        training_record("person:P-99", order)
