"""What the README of a bundle says."""

import dataclasses

from pitbird.papers.bundle.readme import WIDTH, Told, readme

TOLD = Told(
    title="Marsh and Mere water works",
    origin="pitbird-book/0195a000-0000-7000-8000-000000000001",
    size=5120,
    entries=412,
    subjects=9,
    asked=[("Detectors", "D-017, D-018"), ("From", "2026-01-01")],
    since="2026-01-01T00:00:00.000Z",
    until="2026-06-30",
    pages=[("tests.csv", "bump tests")],
)


def plain(told: Told) -> str:
    return " ".join(readme(told).decode().split())


def test_it_says_what_is_shown_and_that_truth_is_not() -> None:
    text = plain(TOLD)
    assert "Unaltered: each entry here stood, exactly so" in text
    assert "not one entry is missing" in text
    assert "That what was written down is true." in text
    assert text.index("What it shows") < text.index("What it does not show") < text.index("How to check")


def test_it_says_where_the_fingerprint_comes_from_and_holds_none() -> None:
    text = plain(TOLD)
    assert "by another way than this file" in text
    assert "shows nothing: who could change the one could change the other" in text


def test_it_names_each_verifier_that_is_inside_and_no_other() -> None:
    assert "verify.html in a browser" in plain(TOLD)
    bare = plain(dataclasses.replace(TOLD, verifiers=()))
    assert "verify.html" not in bare
    assert "verify.py" not in bare
    assert "pitbird verify BUNDLE.zip --key FINGERPRINT" in bare


def test_a_bundle_of_all_history_says_nothing_of_a_fence() -> None:
    assert "as a fence" in plain(TOLD)
    assert "as a fence" not in plain(dataclasses.replace(TOLD, since=None))


def test_papers_that_were_left_out_are_named_with_the_reason() -> None:
    assert "Papers that are not here" not in plain(TOLD)
    text = plain(dataclasses.replace(TOLD, left_out=["History: 500 are more than the 60 that are printed"]))
    assert "Papers that are not here: - History: 500 are more than the 60 that are printed" in text


def test_the_usual_cautions_stand_in_it_and_no_line_is_too_long() -> None:
    text = readme(TOLD).decode()
    assert "Local codes, the instrument's manual and licensed practice come first." in plain(TOLD)
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "\r" not in text
