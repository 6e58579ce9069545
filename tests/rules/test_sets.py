"""The rule sets that come with the package: what they ask for, and that they say where it comes from."""

from __future__ import annotations

import pytest

from pitbird.fleet.state import Custody
from pitbird.rules.decision import Verdict
from pitbird.rules.loading import KNOWN, load_shipped, shipped
from tests.rules.builders import (
    FOUR,
    around,
    ask,
    calibration,
    custody,
    detector,
    event,
    failure,
    t,
    test_fact,
)

YES, NO = Verdict.MAY_GO_OUT, Verdict.NOT_YET


def test_these_sets_come_with_the_package() -> None:
    assert shipped() == ("emergency-services", "german-shift", "mining", "strict", "us")


@pytest.mark.parametrize("name", shipped())
def test_every_rule_names_its_source_and_how_well_it_is_known(name: str) -> None:
    for rule in load_shipped(name).rules:
        assert rule.source.strip()
        assert rule.known in KNOWN
        assert (rule.known == "common-practice") == rule.source.startswith("common practice, no source"), (
            rule.id
        )


@pytest.mark.parametrize("name", shipped())
def test_no_rule_that_stops_rests_on_a_poorly_remembered_number(name: str) -> None:
    """What is remembered with less than high confidence may stop only where it holds no number."""
    for rule in load_shipped(name).rules:
        if rule.strength == "stops" and rule.known in ("memory-medium", "memory-low"):
            assert not any(isinstance(value, int) for value in rule.parameters.values()), rule.id


@pytest.mark.parametrize("name", shipped())
def test_every_set_says_that_local_codes_and_the_manual_come_first(name: str) -> None:
    about = load_shipped(name).about
    for words in ("codes", "manual", "licensed practice"):
        assert words in about


@pytest.mark.parametrize("name", shipped())
def test_every_set_asks_for_gas_every_alarm_and_an_answer_to_failures(name: str) -> None:
    stops = {rule.predicate for rule in load_shipped(name).rules if rule.strength == "stops"}
    assert stops >= {
        "described", "understood", "in-service", "returned-properly", "every-alarm-shown", "signals-seen",
        "cylinder-not-in-question", "footing-accepted", "no-event-since-test", "cylinder-in-date",
        "cylinder-above-minimum-pressure", "cylinder-not-withdrawn", "clean-air-right",
    }  # fmt: skip
    assert "gas-test-current" in stops or {"gas-test-within-days", "tested-since-use"} <= stops


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("german-shift", ("qualified person", "every 12 months", "three years", "before every use")),
        ("emergency-services", ("visual check", "entered as handed out and handed back", "storage rules")),
    ],
)
def test_a_set_says_what_it_cannot_check(name: str, words: tuple[str, ...]) -> None:
    """T 021 / T 023, DGUV Vorschrift 21 §36 and FBFHB-020 ask for more than the book holds."""
    about = load_shipped(name).about
    assert [part for part in words if part not in about] == []


def test_german_shift_gas_each_shift_and_function_control_every_four_months() -> None:
    """Merkblatt T 021 §11.1.1 (each shift) and T 021 / T 023 (at most every 4 months), as quoted."""
    two_shifts = around(load_shipped("german-shift"), change_overs=("06:00", "18:00"))
    fresh = tuple(calibration(c.name, "2026-02-20 10:00") for c in FOUR)
    assert ask(detector(calibrations=fresh), two_shifts, at="2026-03-02 17:59").verdict is YES
    assert ask(detector(calibrations=fresh), two_shifts, at="2026-03-02 18:00").verdict is NO
    old = tuple(calibration(c.name, "2025-10-20 10:00") for c in FOUR)
    assert ask(detector(calibrations=old), two_shifts).verdict is NO
    free = detector(calibrations=(), maker_calibrates=True)
    assert ask(free, two_shifts).verdict is NO, "what is called maintenance-free falls under the same rule"


def test_emergency_services_gas_every_four_weeks_and_after_use_not_before() -> None:
    """DGUV FBFHB-020 (24 Jul 2020): four weeks; after each use or drill."""
    rules = around(load_shipped("emergency-services"))
    fresh = tuple(calibration(c.name, "2026-03-01 10:00") for c in FOUR)
    assert ask(detector(calibrations=fresh), rules, at="2026-03-20 03:00").verdict is YES
    assert ask(detector(calibrations=fresh), rules, at="2026-03-30 06:42").verdict is NO
    used = Custody(holder=None, since=t("2026-03-05 10:00"), entry="back-1")
    assert ask(detector(calibrations=fresh, custody=used), rules, at="2026-03-05 11:00").verdict is NO
    again = (test_fact("2026-03-05 12:00"),)
    only_gas = detector(calibrations=fresh, custody=used, tests=again)
    assert ask(only_gas, rules, at="2026-03-05 13:00").verdict is NO, "a function control is more than gas"
    controlled = tuple(calibration(c.name, "2026-03-05 11:30") for c in FOUR)
    whole = detector(calibrations=controlled, custody=used, tests=again)
    assert ask(whole, rules, at="2026-03-05 13:00").verdict is YES


US = around(load_shipped("us"))
FRESH = tuple(calibration(c.name, "2026-03-01 10:00") for c in FOUR)


def test_us_a_bump_test_before_each_days_use() -> None:
    """OSHA SHIB (ISEA statement of 2010 as carried there): bump test or check before each day's use."""
    assert ask(detector(calibrations=FRESH), US).verdict is YES
    assert ask(detector(calibrations=FRESH), US, at="2026-03-03 06:00").verdict is NO


def test_us_what_failed_is_fully_calibrated_before_use() -> None:
    """OSHA SHIB 2013 as quoted: fails bump test or check, then full calibration before use."""
    failed = failure(
        "2026-03-01 10:00", "H2S", answered_by="ret-1", answered_at="2026-03-01 16:00", cause="sensor-worn"
    )
    repaired = detector(last_failure=failed, repairs=(event("repaired", "2026-03-01 12:00"),))
    assert ask(repaired, US).verdict is NO
    calibrated = detector(last_failure=failed, calibrations=(calibration("H2S", "2026-03-01 12:00"),))
    assert ask(calibrated, US).verdict is YES


def test_us_a_calibration_older_than_a_month_only_warns() -> None:
    """NIOSH's advice to fire services (2022, as reported): at least monthly. Advice, so it warns."""
    old = detector(calibrations=tuple(calibration(c.name, "2025-11-01 10:00") for c in FOUR))
    decision = ask(old, US)
    assert decision.verdict is YES
    assert "calibration-overdue" in [f.code for f in decision.findings if f.strength == "warns"]


def test_a_hand_over_stops_under_the_strict_rules_and_warns_under_those_of_the_us() -> None:
    held = custody("person:P-12", "2026-03-02 08:00", "2026-03-02 08:00")
    state = detector(calibrations=FRESH, custody=held)
    assert ask(state).verdict is NO
    assert ask(state, US).verdict is YES


@pytest.mark.parametrize(
    "what", ["drop", "over-range", "suspected-poison", "sensor-changed", "set-point-changed"]
)
@pytest.mark.parametrize("name", shipped())
def test_what_could_harm_or_alter_ends_a_pass_under_every_set(name: str, what: str) -> None:
    """OSHA SHIB (from memory): test again after drops, over-range and suspected poison."""
    today = tuple(calibration(c.name, "2026-03-02 06:10") for c in FOUR)
    good = detector(calibrations=today, tests=(test_fact(),))
    hurt = detector(calibrations=today, tests=(test_fact(),), events=(event(what, "2026-03-02 07:00"),))
    surroundings = around(load_shipped(name))
    assert ask(good, surroundings).verdict is YES
    assert ask(hurt, surroundings).verdict is NO
