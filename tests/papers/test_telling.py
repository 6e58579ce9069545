"""One sentence for each kind of entry: in words, without what only a program reads."""

from __future__ import annotations

import re

import pytest

from pitbird.fleet.kinds import KINDS
from pitbird.papers.locales import locale_of
from pitbird.papers.reading import Reader, Written
from pitbird.papers.telling import kind_words, listed, sentence
from tests.bodies import body, bump, ms

READER = Reader(
    made_at=ms("12:00"),
    zone="Europe/Lisbon",
    locale=locale_of("en-GB"),
    book="0195a000-0000-7000-8000-00000000001d",
    title="Portable gas detectors",
    names={"person:P-12": "Ada Holm", "site:north-works": "North works"},
)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_is_told_in_words(kind: str) -> None:
    told = sentence(body(kind), READER)
    assert len(told) > 10
    assert "sha256:" not in told
    assert not re.search(r"\d{4}-\d\d-\d\dT", told)
    assert not re.search(r"\b(detector|person|site|cylinder|rules):", told)
    assert "_" not in told


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_has_a_name(kind: str) -> None:
    assert kind_words(kind)[0].isupper()
    assert "-" not in kind_words(kind).replace("Fresh-air", "").replace("Look-back", "")


def test_a_kind_that_is_not_known_is_told_by_its_fields() -> None:
    strange = {"kind": "polished", "cloth": "cotton", "ok": True, "id": "x", "about": ["detector:D-1"]}
    assert sentence(strange, READER) == "Polished: cloth cotton; ok yes."


def test_a_text_that_was_erased_is_withheld() -> None:
    note = body("note")
    assert sentence(note, READER) == "Note about D-017: withheld (erased)"


def test_an_issue_without_a_test_is_told_in_capitals() -> None:
    told = sentence(body("issued-untested"), READER)
    assert told.startswith(
        "D-017 ISSUED UNTESTED to Ada Holm on the authority of P-01 until Mon 2 Mar 2026, 12:00 WET"
    )


def test_a_test_that_its_facts_do_not_bear_out_is_told_as_what_it_is() -> None:
    test = bump("2026-03-02T07:30:00.000Z")
    entry = Written(7, test["id"], b"", ms("07:31"), test, amounts_to="spoiled", left_out=True)
    assert listed(entry, READER) == (
        "Bump test of D-017 passed; gas from C-112.",
        "WHAT WAS RECORDED OF IT AMOUNTS TO: spoiled.",
        "LEFT OUT: its clock cannot be right, so that it counts for nothing that permits.",
    )
