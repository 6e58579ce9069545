"""The key sheet: what an auditor gets by another way than the bundle."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitbird.services.book_keys import key_words, public_key
from pitbird.services.key_rotation import rotate
from pitbird.services.papers.key_sheet import key_sheet
from pitbird.services.papers.making import Order, PaperRefused
from pitbird.services.writing import Actor
from tests.bodies import ms
from tests.papers import pdf
from tests.services.papers.conftest import Say


def test_it_says_the_fingerprint_in_digits_and_words_and_the_key_as_a_code(say: Say, order: Order) -> None:
    made = key_sheet(order)
    key = public_key(order.home)
    told = pdf.words(made.pdf)
    assert made.name == "key-sheet.pdf"
    assert key.fingerprint() in told
    assert " ".join(key_words(bytes.fromhex(key.fingerprint().replace(" ", "")))) in told
    assert key.text() in pdf.qr_codes(made.pdf)
    assert "It is no secret." in told
    pdf.assert_archival(made.pdf, title="The key of the record book")


def test_earlier_keys_are_named_after_a_change(say: Say, order: Order) -> None:
    key_sheet(order)
    before = public_key(order.home).fingerprint()
    keeper = Actor("person:K-1", "site:north-works", "Europe/Lisbon")
    rotate(order.home, keeper, because="planned", now=ms("09:00"))
    told = pdf.words(key_sheet(order).pdf)
    assert public_key(order.home).fingerprint() != before
    assert "The key was changed. Whoever holds one of these" in told
    assert before in told


def test_without_a_key_that_can_be_read_there_is_no_sheet(say: Say, order: Order, tmp_path: Path) -> None:
    key_sheet(order)
    (order.home / "book-key.pub").write_text("nonsense\n")
    with pytest.raises(PaperRefused, match="key"):
        key_sheet(order)
