"""The words: every code has a sentence, every remedy its words; facts are shown on the site's clock."""

from __future__ import annotations

import re
import string
from collections.abc import Iterator

import pytest

from pitbird.fleet.times import Ms
from pitbird.rules import words
from pitbird.rules.deciding import EASE, GATE
from pitbird.rules.decision import Finding, Outcome, Verdict
from pitbird.rules.loading import KNOWN, load_shipped, shipped
from pitbird.rules.predicates import PREDICATES
from pitbird.rules.predicates.base import CHECKS, EVENTS, TOPICS
from tests.rules.builders import around, ask, custody, cylinder, detector, reason, t, test_fact


def plain(text: str) -> str:
    return text


CODES = sorted({code for predicate in (*PREDICATES.values(), GATE) for code in predicate.codes})
ALL_WORDS = {
    f"{name} {key}": message(plain)
    for name, table in {
        "sentence": words.SENTENCES,
        "remedy": words.REMEDIES,
        "word": words.WORDS,
        "verdict": words.VERDICTS,
        "known": words.KNOWN,
    }.items()
    for key, message in table.items()  # type: ignore[attr-defined]
}


def test_every_code_has_a_sentence_and_every_sentence_a_code() -> None:
    assert set(words.SENTENCES) == set(CODES)


def test_every_remedy_has_words() -> None:
    assert set(words.REMEDIES) == {remedy for remedy in EASE if remedy}


def test_every_word_of_the_vocabularies_and_every_mark_has_words() -> None:
    assert set(words.WORDS) >= {*EVENTS, *CHECKS, *TOPICS, "sound", "light", "vibration"}
    assert set(words.KNOWN) == set(KNOWN)
    assert set(words.VERDICTS) == set(Verdict)


@pytest.mark.parametrize("name", ALL_WORDS)
def test_no_words_promise_what_no_test_shows(name: str) -> None:
    assert not re.search(
        r"\b(safe|safely|safety|proven|proves|prove|accurate|accuracy|guarantee\w*)\b",
        ALL_WORDS[name],
        re.IGNORECASE,
    )


@pytest.mark.parametrize("code", CODES)
def test_sentences_end_as_sentences_do(code: str) -> None:
    assert re.search(r"[.)]$", words.SENTENCES[code](plain))


def _findings() -> Iterator[Finding]:
    """Findings as they come from decisions, with their facts."""
    yield from ask(detector(open_reasons=(reason("2026-03-01 10:00", "damaged"),))).findings
    yield from ask(detector(tests=())).findings
    yield from ask(detector(), around(cylinders=(cylinder(expires="2026-03-01", gauges=()),))).findings
    held = custody("person:P-12", "2026-03-02 08:00", "2026-03-02 08:00")
    yield from ask(detector(custody=held), wearer="person:P-13").findings
    yield from ask(at="2026-03-04 09:00").findings


def test_no_sentence_asks_for_a_fact_that_its_finding_lacks() -> None:
    for finding in _findings():
        assert "?" not in words.sentence(finding, zone="Europe/Lisbon", gettext=plain), finding


def _finding(code: str, **facts: str) -> Finding:
    return Finding("rule", "predicate", Outcome.NOT_MET, code, "stops", "test", tuple(facts.items()))


def test_times_are_shown_on_the_sites_clock() -> None:
    finding = _finding("no-pass-that-counts", tested_at="2026-07-06T22:30:00.000Z")
    assert "2026-07-06 23:30 WEST" in words.sentence(finding, zone="Europe/Lisbon", gettext=plain)
    assert "2026-07-07 00:30 CEST" in words.sentence(finding, zone="Europe/Berlin", gettext=plain)
    assert "2026-07-06 22:30 UTC" in words.sentence(finding, zone=None, gettext=plain)


def test_the_hour_that_comes_twice_in_autumn_is_told_apart_by_the_zone() -> None:
    """Lisbon goes from WEST to WET at 01:00 UTC on the last Sunday of October (Directive 2000/84/EC)."""
    assert words.when(t("2026-10-25 00:30"), "Europe/Lisbon") == "2026-10-25 01:30 WEST"
    assert words.when(t("2026-10-25 01:30"), "Europe/Lisbon") == "2026-10-25 01:30 WET"


def test_a_zone_without_an_abbreviation_shows_its_offset() -> None:
    """IANA tz database: such zones carry their offset in place of an invented abbreviation."""
    assert words.when(t("2026-03-02 06:41"), "America/Sao_Paulo") == "2026-03-02 03:41 -03"


def test_the_end_of_what_was_found_is_shown_too() -> None:
    decision = ask()
    finding = next(finding for finding in decision.findings if finding.code == "pass-in-force")
    assert words.sentence(finding, zone="Europe/Lisbon", gettext=plain).endswith(
        "until 2026-03-03 04:00 WET."
    )
    assert (
        words.until_words(Ms(t("2026-03-03 04:00")), zone="Europe/Lisbon", gettext=plain)
        == "until 2026-03-03 04:00 WET"
    )


def test_subjects_are_shown_by_name_or_by_their_code() -> None:
    finding = _finding("held-by-another", holder="person:P-12", wearer="person:P-13")
    named = words.sentence(finding, zone=None, gettext=plain, names={"person:P-12": "Ana Prado"})
    assert named == "Ana Prado holds the detector, not P-13."


def test_words_in_facts_are_put_into_words() -> None:
    finding = _finding("check-not-made", checks="whole_and_clean, battery")
    assert (
        words.sentence(finding, zone=None, gettext=plain)
        == "Not looked at before gas: whole and clean, battery."
    )


def test_everything_goes_through_gettext() -> None:
    def upper(text: str) -> str:
        parts = string.Formatter().parse(text)
        return "".join(
            literal.upper() + (f"{{{field}}}" if field is not None else "") for literal, field, _, _ in parts
        )

    finding = _finding(
        "event-since-test",
        what="drop",
        happened_at="2026-03-02T07:00:00.000Z",
        tested_at="2026-03-02T06:41:00.000Z",
    )
    shown = words.sentence(finding, zone="Europe/Lisbon", gettext=upper)
    assert (
        shown == "SINCE THE TEST OF 2026-03-02 06:41 WET: IT WAS DROPPED (2026-03-02 07:00 WET). "
        "THAT ENDS THE PASS."
    )
    assert words.remedy(finding, gettext=upper) == "DO A BUMP TEST."
    assert words.verdict_words(Verdict.CANNOT_TELL, gettext=upper) == "CANNOT TELL"


def test_a_code_without_words_is_named_and_a_remedy_without_words_is_empty() -> None:
    assert "no-such-code" in words.sentence(_finding("no-such-code"), zone=None, gettext=plain)
    assert words.remedy(Finding("r", "p", Outcome.MET, "c", "stops"), gettext=plain) == ""


def test_braces_in_facts_are_left_as_they_are() -> None:
    assert "{cylinder}" in words.sentence(
        _finding("cylinder-not-known", cylinder="{cylinder}"), zone=None, gettext=plain
    )


def test_the_source_says_how_well_it_is_known() -> None:
    finding = next(finding for finding in ask().findings if finding.rule == "every-alarm")
    assert words.source(finding, gettext=plain).endswith("(2013; now SHIB 11-26-2024) [seen in the source]")
    assert words.source(_finding("no-test"), gettext=plain) == ""
    common = next(finding for finding in ask().findings if finding.rule == "hand-over")
    assert words.source(common, gettext=plain).endswith("a test at hand-over to another person")


def test_every_finding_of_every_shipped_set_has_its_sentence_source_and_what_to_do() -> None:
    """A detector with nothing right, under every set and under none: nothing is left without words."""
    bare = detector(described_by=None, channels=(), tests=(), calibrations=(), signals=())
    worn = detector(calibrations=(), life_ends="2026-01-01", tests=(test_fact(checks=(), cleared=()),))
    states = (bare, worn, detector(open_reasons=(reason("2026-03-01 10:00", "damaged"),)), detector())
    seen = set()
    for rules in (*(around(load_shipped(name)) for name in shipped()), around(rules_over_time=())):
        for finding in (finding for state in states for finding in ask(state, rules).findings):
            seen.add(finding.code)
            assert "no words" not in words.sentence(finding, zone=None, gettext=plain)
            assert words.source(finding, gettext=plain), finding
            if finding.outcome in (Outcome.NOT_MET, Outcome.UNKNOWN):
                assert words.remedy(finding, gettext=plain), finding
    assert len(seen) > 25


@pytest.mark.parametrize("name", [*PREDICATES, "gate"])
def test_every_answer_against_a_detector_says_what_to_do_about_it(name: str) -> None:
    for code, meant in PREDICATES.get(name, GATE).codes.items():
        if meant.outcome in (Outcome.NOT_MET, Outcome.UNKNOWN):
            assert meant.remedy in words.REMEDIES, code


@pytest.mark.parametrize(
    ("verdict", "shown"),
    [
        (Verdict.MAY_GO_OUT, "may go out"),
        (Verdict.NOT_YET, "not yet"),
        (Verdict.OUT_OF_SERVICE, "out of service"),
        (Verdict.CANNOT_TELL, "cannot tell"),
    ],
)
def test_the_verdicts_words(verdict: Verdict, shown: str) -> None:
    assert words.verdict_words(verdict, gettext=plain) == shown
