"""The record of a bump test: all that was seen, what counts, and where it stands in the book."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitbird.services.appending import append
from pitbird.services.checkpoints import kept
from pitbird.services.papers.bump_test import bump_test
from pitbird.services.papers.making import NoSuchPaper, Order, PaperRefused
from pitbird.store import book
from tests.bodies import CHANNELS, at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say, erase_name


def test_it_says_what_was_seen_with_which_gas_and_by_whom(say: Say, order: Order, tmp_path: Path) -> None:
    index = say(bump(at("07:30")))
    made = bump_test(index, order)
    told = pdf.words(made.pdf)
    assert made.name == f"bump-test-{index}.pdf"
    for words in (
        "Bump test of detector D-017",
        # Europe/Lisbon keeps WET (UTC+0) in March (tz database).
        "Passed, Mon 2 Mar 2026, 07:30 WET, by Rui Marrel (P-07).",
        "training in bump tests held (until 2 Mar 2028)",
        "Serial number Q-88213",
        "Inlets clear yes",
        "methane 2.2 % vol, oxygen 15 % vol, carbon monoxide 100 ppm, hydrogen sulfide 20 ppm, rest nitrogen",
        "CO carbon monoxide high, 60 ppm yes 12",
        "O2 oxygen very-low, 18 % vol, falling yes 12",
        "Vibration yes",
        "Nobody has corrected this entry.",
        "gas from the cylinders named reached the sensors of CH4, O2, CO and H2S on this day",
        "How accurate the detector is.",
        "come before anything printed here",
    ):
        assert words in told, words
    pdf.assert_archival(made.pdf, title="Bump test of detector D-017")
    pdf.check_with_qpdf(made.pdf, tmp_path)


def test_the_code_on_it_is_the_leaf_as_the_book_holds_it(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    row, first = book.at_index(index), book.at_index(0)
    assert row is not None
    assert first is not None
    (code,) = pdf.qr_codes(bump_test(index, order).pdf)
    assert code == f"pitbird-leaf/1 {first.entry_id} {index} {row.leaf_hash.hex()}"


def test_printing_makes_a_checkpoint_that_holds_the_entry(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    assert kept(order.home) is None
    told = pdf.words(bump_test(index, order).pdf)
    checkpoint = kept(order.home)
    assert checkpoint is not None
    assert checkpoint.checkpoint.size == index + 1
    assert f"Entries in it {index + 1}" in told
    assert f"Root hash, short {checkpoint.checkpoint.root.hex()[:16]}" in told


def test_the_same_order_gives_the_same_bytes(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    assert bump_test(index, order).pdf == bump_test(index, order).pdf


def test_without_the_passphrase_it_stands_under_the_older_checkpoint_or_none(say: Say, order: Order) -> None:
    first = say(bump(at("07:30")))
    locked = Order(order.home, b"correct horse", now=order.now)
    assert "Signed when this was printed" in pdf.words(bump_test(first, locked).pdf)
    second = say(bump(at("07:40")))
    told = pdf.words(bump_test(first, order).pdf)
    assert "No checkpoint could be made for it" in told
    assert f"It stands under an older one, of {first + 1} entries, which holds this entry." in told
    told = pdf.words(bump_test(second, order).pdf)
    assert f"The newest one, of {first + 1} entries, is older than this entry and does not cover it." in told


def test_a_book_that_left_its_checkpoint_says_so_first(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    bump_test(index, order)
    checkpoint = kept(order.home)
    assert checkpoint is not None
    # A checkpoint of more entries than the book has: as after a silent roll-back.
    later = checkpoint.path.with_name(f"{index + 9:019d}.note")
    checkpoint.path.rename(later)
    told = pdf.words(bump_test(index, order).pdf)
    assert "Do not rely on this paper" in told
    assert "It stands under no checkpoint." in told


def test_a_test_that_failed_says_what_did_not_come(say: Say, order: Order) -> None:
    told = pdf.words(bump_test(say(bump(at("07:30"), missed="CO", outcome="failed")), order).pdf)
    assert "Failed, Mon 2 Mar 2026" in told
    assert "The alarm did not come: CO." in told
    assert "CO carbon monoxide high, 60 ppm NO 12" in told
    assert "reached the sensors" not in told


def test_a_pass_that_its_facts_do_not_bear_out_is_loud(say: Say, order: Order) -> None:
    told = pdf.words(bump_test(say(bump(at("07:30"), signals={"sound": "yes", "light": "no"})), order).pdf)
    assert "Stated as passed; what was recorded amounts to: failed" in told
    assert "Did not come: light." in told
    assert told.startswith("pitbird Detector D-017")
    assert "Failed, Mon 2 Mar 2026" in told


def test_a_spoiled_attempt_proves_nothing(say: Say, order: Order) -> None:
    draft = bump(at("07:30"), outcome="spoiled", spoiled_because="hood-slipped")
    told = pdf.words(bump_test(say(draft), order).pdf)
    assert "Spoiled, Mon 2 Mar 2026" in told
    assert "a spoiled attempt proves nothing and withdraws nothing" in told


def test_a_voided_test_is_loud_and_shows_nothing(say: Say, order: Order) -> None:
    draft = bump(at("07:30"))
    index = say(draft)
    void = {"kind": "correction", "corrects": draft["id"], "how": "void", "reason": "Wrong detector scanned"}
    corrected = say(void, by="person:K-1", now=ms("09:00"))
    told = pdf.words(bump_test(index, order).pdf)
    assert f"This entry does not count: entry {corrected} corrects it" in told
    assert "It was voided: it counts for nothing." in told
    assert "Corrected, nothing of it counts; written as passed, Mon 2 Mar 2026" in told
    assert f"entry {index} · DOES NOT COUNT" in told
    assert "Passed," not in told
    assert "by Ilda Fontanova (K-1): Wrong detector scanned" in told
    assert "Nothing of the detector: the entry counts no more." in told


def test_what_stands_instead_is_printed_beside_it(say: Say, order: Order) -> None:
    draft = bump(at("07:30"))
    index = say(draft)
    instead = {**draft, "outcome": "failed", "signals": {"sound": "no", "light": "yes", "vibration": "yes"}}
    say(
        {"kind": "correction", "corrects": draft["id"], "how": "replace", "replacement": instead,
         "reason": "It did not sound"},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(bump_test(index, order).pdf)
    assert "Something else stands in its place, which is printed below: failed." in told
    assert "Corrected, what counts is: failed; written as passed" in told
    assert "What stands instead" in told
    assert "That something which had to come did not come" in told
    assert "reached the sensors" not in told


def test_a_test_moved_to_another_detector_shows_nothing_of_this_one(say: Say, order: Order) -> None:
    other = {
        "kind": "detector", "detector": "detector:D-018", "make": "Heron Works", "model": "Quartet P",
        "serial": "Q-2", "signals": ["sound", "light", "vibration"], "home": "site:north-works",
        "channels": CHANNELS,
    }  # fmt: skip
    say(other, by="person:K-1", now=ms("06:00"))
    draft = bump(at("07:30"))
    index = say(draft)
    moved = {**draft, "detector": "detector:D-018", "about": ["detector:D-018", "cylinder:C-112"]}
    say(
        {"kind": "correction", "corrects": draft["id"], "how": "replace", "replacement": moved,
         "reason": "The other one was tested"},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(bump_test(index, order).pdf)
    assert "which is no bump test of this detector" in told
    assert "Nothing of the detector" in told
    assert "reached the sensors" not in told


def test_gas_that_was_out_of_date_is_loud(say: Say, order: Order) -> None:
    gone = {
        "kind": "cylinder", "cylinder": "cylinder:C-112", "balance": "nitrogen", "expires": "2026-03-01",
        "minimum_pressure_bar": "2", "home": "site:north-works",
        "components": [{"gas": "methane", "amount": "2.2", "unit": "vol_pct"}],
    }  # fmt: skip
    say(gone, by="person:K-1", now=ms("06:00"))
    told = pdf.words(bump_test(say(bump(at("07:30"))), order).pdf)
    assert "Cylinder C-112 was out of date" in told
    assert "Its last day of use was 1 Mar 2026, before the test." in told


def test_a_detector_held_for_an_incident_is_loud(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    say({"kind": "out-of-service", "detector": "detector:D-017", "because": "incident"}, now=ms("09:00"))
    assert "HELD FOR AN INVESTIGATION since Mon 2 Mar 2026, 09:00 WET" in pdf.words(
        bump_test(index, order).pdf
    )


def test_a_pass_whose_clock_cannot_be_right_is_never_told_as_passed(say: Say, order: Order) -> None:
    append(bump(at("10:00")), recorded_at=ms("08:00"))
    told = pdf.words(bump_test(book.head().size - 1, order).pdf)
    assert "Left out for its clock; written as passed" in told
    assert "Its clock cannot be right It counts for nothing until somebody says when it was." in told
    assert "Passed," not in told


def test_an_erased_name_is_printed_as_withheld(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    assert "Rui Marrel" in pdf.words(bump_test(index, order).pdf)
    erase_name("person:P-07")
    told = pdf.words(bump_test(index, order).pdf)
    assert "Rui Marrel" not in told
    assert "P-07, name withheld (erased)" in told


def test_an_entry_that_is_none_or_of_another_kind_is_refused(say: Say, order: Order) -> None:
    with pytest.raises(NoSuchPaper, match=r"entry: entry 0 is a genesis, not a bump-test"):
        bump_test(0, order)
    with pytest.raises(NoSuchPaper, match=r"entry: the book has no entry 999; it has"):
        bump_test(999, order)


def test_size_and_locale_are_refused_together(order: Order) -> None:
    with pytest.raises(PaperRefused) as refused:
        bump_test(0, Order(order.home, paper="a5", locale="xx"))
    assert [line.partition(":")[0] for line in str(refused.value).splitlines()] == ["paper", "locale"]


def test_numbers_and_days_follow_the_locale(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    german = Order(order.home, now=order.now, locale="de")
    told = pdf.words(bump_test(index, german).pdf)
    assert "methane 2,2 % vol" in told
    assert "02.03.2026" in told
