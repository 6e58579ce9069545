"""What the record of a fleet says about failures that show only at tests."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.calc.prevalence import Prevalence
from pitbird.fleet.folding import fold
from pitbird.fleet.state import DetectorState
from pitbird.rules.decision import Rule, RuleSet
from pitbird.services import rule_intervals
from pitbird.services.evidence import INTERVALS, YEAR_DAYS, Clock, Record, evidence
from pitbird.services.observing import NOT_KNOWN, by_age, observations
from tests.bodies import CHANNELS, at, body, bump, detector


class Fleet:
    """A fleet as known, of states alone."""

    def __init__(self, states: Iterable[DetectorState]) -> None:
        self.states = list(states)

    def state(self, subject: str) -> None:
        return None

    def all_of(self, sort: Any, site: str | None = None) -> list[Any]:
        listed = [state for state in self.states if isinstance(state, sort)]
        return [state for state in listed if site is None or state.site == site]

    def some(self, subjects: Iterable[str]) -> dict[str, Any]:
        return {}


def state(*bodies: dict[str, Any]) -> DetectorState:
    folded = fold("detector:D-017", [(n, b, b["at"]) for n, b in enumerate(bodies)])
    assert isinstance(folded, DetectorState)
    return folded


def day(number: int, clock: str = "06:00") -> str:
    return at(clock, str(date(2026, 1, 1) + timedelta(days=number)))


def record(fleet: Fleet, group: str, **asked: Any) -> Record:
    (found,) = (each for each in evidence(known=fleet, **asked).records if each.group == group)
    return found


CO = "carbon monoxide, electrochemical"
DAILY = [detector(day(0, "05:00")), *(bump(day(n)) for n in range(10))]


def test_time_known_good_runs_from_the_first_good_test_to_the_last() -> None:
    found = record(Fleet([state(*DAILY)]), CO)
    assert found.fit.exposure == 9
    assert (found.fit.failures, found.sensors) == (0, 1)
    # no failures: the one-sided exact limit -ln(1 - confidence) / exposure (Garwood 1936)
    assert found.fit.rate_high == pytest.approx(2.995732273553991 / 9, rel=1e-12)
    assert (found.gap_days, found.gap_longest_days) == (1, 1)


def test_a_failure_lies_between_the_last_good_test_and_the_first_bad_one() -> None:
    (seen,) = (
        each
        for each in observations(
            [state(*DAILY, bump(day(12), missed="CO"))],
            by="channel",
            clock="calendar",
            calibration_counts=True,
        )
        if each.channel == "CO"
    )
    assert (seen.left_days, seen.right_days) == (9, 12)


@pytest.mark.parametrize(
    ("cause", "failures"), [("sensor-worn", 1), ("not-found", 1), ("gas-at-fault", 0), ("handling", 0)]
)
def test_a_failure_whose_cause_lay_in_gas_or_handling_is_not_the_sensors(cause: str, failures: int) -> None:
    bad = bump(day(12), missed="CO")
    back = body("returned-to-service", day(13), answers=[bad["id"]], cause=cause)
    found = record(Fleet([state(*DAILY, bad, back)]), CO)
    assert (found.fit.failures, found.fit.exposure) == (failures, 9)


@pytest.mark.parametrize(("counts", "failures"), [(True, 1), (False, 0)])
def test_whether_a_sensor_found_outside_counts_is_asked(counts: bool, failures: int) -> None:
    outside = body(
        "calibration", day(12), tolerance_pct="10", result="passed",
        channels=[{"channel": "CO", "applied": "100", "as_found": "70", "result": "within"}],
    )  # fmt: skip
    found = record(Fleet([state(*DAILY, outside)]), CO, calibration_counts=counts)
    assert found.fit.failures == failures


def test_on_the_clock_of_time_handed_out_only_that_time_counts() -> None:
    days = [
        entry
        for n in range(10)
        for entry in (
            bump(day(n)),
            body("handed-out", day(n, "07:00"), due_back=None),
            body("handed-back", day(n, "13:00")),
        )
    ]
    fleet = Fleet([state(detector(day(0, "05:00")), *days)])
    assert record(fleet, CO, clock="handed-out").fit.exposure == pytest.approx(9 * 0.25)
    assert record(fleet, CO, clock="calendar").fit.exposure == 9


def test_a_failure_without_any_time_handed_out_is_counted_apart_on_that_clock() -> None:
    told = evidence(known=Fleet([state(*DAILY, bump(day(12), missed="CO"))]), clock="handed-out")
    assert told.in_store == 1
    assert all(record.fit.failures == 0 for record in told.records)


@pytest.mark.parametrize("clock", ["calendar", "handed-out"])
def test_what_an_interval_leaves_undetected_rises_with_it_and_carries_its_limits(clock: Clock) -> None:
    out = body("handed-out", day(0, "07:00"), due_back=None)
    fleet = Fleet([state(DAILY[0], DAILY[1], out, *DAILY[2:], bump(day(12), missed="CO"))])
    found = record(fleet, CO, clock=clock)
    ends = [(band.low or 0, band.value or 0, band.high or 0) for band in found.undetected]
    assert len(ends) == len(INTERVALS)
    assert ends == sorted(ends)
    assert all(0 < low < value < high for low, value, high in ends)


def test_absences_weigh_more_than_the_mean_gap_says() -> None:
    # 1 - sum(1 - exp(-rate gap)) / (rate sum(gap)): the mean over the log of the average probability of
    # failure on demand (IEC 61508-6:2010, annex B, with unequal intervals), written out longhand
    gapped = [*DAILY, bump(day(30)), bump(day(31), missed="CO")]
    found = record(Fleet([state(*gapped)]), CO)
    assert found.fit.rate is not None
    assert found.undetected_now is not None
    assert found.undetected_now.value is not None
    rate, gaps = found.fit.rate, [1] * 10 + [21]
    longhand = 1 - sum(1 - math.exp(-rate * gap) for gap in gaps) / (rate * sum(gaps))
    assert found.undetected_now.value == pytest.approx(longhand, rel=1e-9)
    assert found.undetected_now.value > 3 * (rate * sum(gaps) / len(gaps) / 2)


def test_too_little_record_says_how_much_more_is_wanting() -> None:
    found = record(Fleet([state(*DAILY)]), CO)
    # three per thirty sensor-years: -ln(0.05) / 0.1 per year
    assert found.wanting_days == pytest.approx(29.957 * YEAR_DAYS - 9, rel=1e-3)
    failing = record(Fleet([state(*DAILY, bump(day(12), missed="CO"))]), CO)
    assert failing.wanting_days is None


def test_groups_are_by_channel_by_type_and_by_site() -> None:
    fleet = Fleet([state(*DAILY)])
    assert {each.group for each in evidence(known=fleet, by="type").records} == {"Heron Works Quartet P"}
    assert {each.group for each in evidence(known=fleet, by="site").records} == {fleet.states[0].site}
    assert len(evidence(known=fleet).records) == 4


def test_a_fleet_without_any_test_has_no_record() -> None:
    told = evidence(known=Fleet([state(detector(day(0)))]))
    assert (told.records, told.detectors) == ((), 1)


def test_groups_are_held_against_each_other_and_small_ones_drawn_to_the_mean() -> None:
    good = [state(*DAILY) for _ in range(3)]
    bad = state(*DAILY, bump(day(10), missed="CO"))
    told = evidence(known=Fleet([*good, bad]))
    assert told.differ is not None
    assert 0 < told.differ.p_value <= 1
    rates = {each.group: each for each in told.records}
    failing = rates[CO]
    assert failing.together is not None
    assert failing.fit.rate is not None
    others = [each.together.rate for each in told.records if each.group != CO and each.together]
    assert len(others) == 3
    assert max(others) < failing.together.rate < failing.fit.rate


def test_the_same_record_gives_the_same_answer_each_time() -> None:
    fleet = Fleet([state(*DAILY, bump(day(10), missed="CO"))])
    assert evidence(known=fleet).differ == evidence(known=fleet).differ


def test_groups_without_any_failure_cannot_be_compared_and_say_so() -> None:
    told = evidence(known=Fleet([state(*DAILY)]))
    assert (told.differ, told.mean_rate) == (None, None)
    assert "no group has a failure" in told.why_not


def test_the_longest_interval_keeps_the_target_exactly_at_the_upper_limit() -> None:
    """Mean share failed and not known: 1 - (1 - exp(-rT)) / rT (IEC 61508-6:2010, B.3.2.2)."""
    found = record(Fleet([state(*DAILY)]), CO, target=0.01)
    assert found.longest is not None
    assert found.longest.days is None  # no failure: there is no estimate
    days, rate = found.longest.cautious_days, found.fit.rate_high
    assert days is not None
    assert rate is not None
    assert 1 - (1 - math.exp(-rate * days)) / (rate * days) == pytest.approx(0.01, rel=1e-9)
    assert record(Fleet([state(*DAILY)]), CO).longest is None


RULES: dict[str, tuple[str, str, dict[str, object]]] = {
    "working-day": ("gas-test-current", "stops", {"lasts": "working-day"}),
    "shift": ("gas-test-current", "stops", {"lasts": "shift"}),
    "hours": ("gas-test-current", "stops", {"lasts": "hours", "hours": 12}),
    "days": ("gas-test-within-days", "stops", {"days": 28}),
    "warns": ("gas-test-within-days", "warns", {"days": 2}),
}


@pytest.mark.parametrize(
    ("names", "change_overs", "days"),
    [
        (("working-day",), 3, 1.0), (("shift",), 3, 1 / 3), (("hours",), 1, 0.5), (("days",), 1, 28.0),
        (("days", "working-day"), 1, 1.0), (("warns",), 1, None), ((), 1, None),
    ],
)  # fmt: skip
def test_what_rules_ask_for_is_the_longest_that_a_pass_may_last(
    names: tuple[str, ...], change_overs: int, days: float | None
) -> None:
    rules = tuple(Rule(name, *RULES[name], "", "", "common-practice") for name in names)
    told = rule_intervals._of(RuleSet("own", 1, "Own", rules, ""), change_overs)
    assert told == (None if days is None else pytest.approx(days))
    assert rule_intervals._of(None, change_overs) is None


@pytest.mark.parametrize(
    ("left", "right", "parts"),
    [
        (100, None, [("first-year", 100, None)]),
        (100, 130, [("first-year", 100, 130)]),
        (0, 30, [("first-year", 0, 30)]),
        (0, None, []),
        (YEAR_DAYS + 10, None, [("first-year", YEAR_DAYS, None), ("second-year", 10, None)]),
        (YEAR_DAYS, YEAR_DAYS + 5, [("first-year", YEAR_DAYS, None), ("second-year", 0, 5)]),
        (YEAR_DAYS - 5, YEAR_DAYS + 5, [("first-year", YEAR_DAYS - 5, YEAR_DAYS + 5)]),
        (
            4 * YEAR_DAYS,
            None,
            [(age, YEAR_DAYS, None) for age in ("first-year", "second-year", "third-year", "later")],
        ),
    ],
)
def test_a_life_is_cut_where_the_sensor_passes_from_one_age_to_the_next(
    left: float, right: float | None, parts: list[tuple[str, float, float | None]]
) -> None:
    assert list(by_age(0.0, left, right)) == parts


@given(st.none() | st.floats(0, 3000), st.floats(0, 5000), st.floats(0.1, 100) | st.none())
def test_ages_together_hold_the_whole_life_and_its_one_failure(
    age: float | None, left: float, later: float | None
) -> None:
    parts = list(by_age(age, left, None if later is None else left + later))
    assert sum(begun for _age, begun, _end in parts) == pytest.approx(left)
    assert sum(ended is not None for _age, _begun, ended in parts) == (later is not None)


@pytest.mark.parametrize(
    ("age", "left", "right", "parts"),
    [
        (10, 100, None, [("first-year", 100, None)]),
        (YEAR_DAYS - 10, 100, 130, [("first-year", 10, None), ("second-year", 90, 120)]),
        (YEAR_DAYS - 10, 5, 30, [("first-year", 5, 30)]),
        (YEAR_DAYS + 10, 100, None, [("second-year", 100, None)]),
        (5 * YEAR_DAYS, 0, 7, [("later", 0, 7)]),
        (None, 100, 130, [(NOT_KNOWN, 100, 130)]),
        (None, 0, None, []),
    ],
)
def test_a_life_that_was_first_seen_at_an_age_is_cut_from_there(
    age: float | None, left: float, right: float | None, parts: list[tuple[str, float, float | None]]
) -> None:
    assert list(by_age(age, left, right)) == parts


def groups(fleet: Fleet, **asked: Any) -> dict[str, float]:
    """Each group with its time known good [days]."""
    return {each.group: each.fit.exposure for each in evidence(known=fleet, **asked).records}


def test_evidence_since_the_last_adjustment_tells_of_the_years_that_were_lived() -> None:
    assert groups(Fleet([state(*DAILY)]), by="adjusted") == {"first-year": 4 * 9}


def test_the_age_of_a_sensor_is_not_known_from_how_long_its_detector_stands_in_the_book() -> None:
    assert groups(Fleet([state(*DAILY)]), by="age") == {NOT_KNOWN: 4 * 9}


def test_an_adjustment_does_not_make_a_sensor_younger() -> None:
    channels = [{**channel, "sensor_fitted": "2024-01-01"} for channel in CHANNELS]
    adjusted = body(
        "calibration", day(4, "08:00"), tolerance_pct="10", result="passed",
        channels=[
            {"channel": c["name"], "applied": "1", "as_found": "1", "result": "within"} for c in CHANNELS
        ],
    )  # fmt: skip
    fleet = Fleet([state(detector(day(0, "05:00"), channels=channels), *DAILY[1:6], adjusted, *DAILY[6:])])
    # Shown good at the calibration too: no time is lost.
    assert groups(fleet, by="age") == {"third-year": pytest.approx(4 * 9)}
    assert groups(fleet, by="adjusted") == {"first-year": pytest.approx(4 * 9)}


def test_on_the_clock_of_time_handed_out_an_age_is_known_from_when_an_entry_tells_of_the_change() -> None:
    changed = body("happened", day(3, "08:00"), what="sensor-changed", channels=["CO"])
    out = body("handed-out", day(0, "07:00"), due_back=None)
    found = groups(Fleet([state(DAILY[0], DAILY[1], out, *DAILY[2:5], changed, *DAILY[5:])]), by="age",
                   clock="handed-out")  # fmt: skip
    assert found["first-year"] == pytest.approx(5)
    assert found[NOT_KNOWN] == pytest.approx(3 * (9 - 1 / 24) + 3 - 1 / 24)


def test_ages_stand_as_they_rise_and_what_is_not_known_last() -> None:
    new = [{**channel, "sensor_fitted": "2025-06-01"} for channel in CHANNELS[:2]]
    old = [{**channel, "sensor_fitted": "2020-06-01"} for channel in CHANNELS[2:3]]
    made = detector(day(0, "05:00"), channels=[*new, *old, CHANNELS[3]])
    told = evidence(known=Fleet([state(made, *DAILY[1:], bump(day(12), missed="CO"))]), by="age")
    assert [each.group for each in told.records] == ["first-year", "later", NOT_KNOWN]


def test_a_prevalence_changes_nothing_but_what_is_told_with_it() -> None:
    fleet = Fleet([state(*DAILY, bump(day(12), missed="CO"))])
    assumed = Prevalence(one_in=2500, mean_untested_days=30, worth_failures=0.5)
    told, plain = evidence(known=fleet, prevalence=assumed, target=0.01), evidence(known=fleet, target=0.01)
    assert [replace(each, with_prevalence=None) for each in told.records] == list(plain.records)
    assert all(each.with_prevalence is None for each in plain.records)
    (failing,) = (each.with_prevalence for each in told.records if each.group == CO)
    assert failing is not None
    assert failing.undetected_now is not None
    # Share failed and not known on the actual log (IEC 61508-6:2010, annex B), at the posterior's median.
    rate, gaps = failing.posterior.median, [1] * 9 + [3]
    longhand = 1 - sum(1 - math.exp(-rate * gap) for gap in gaps) / (rate * sum(gaps))
    assert failing.undetected_now.value == pytest.approx(longhand, rel=1e-6)
