"""Undetected failure against interval, from plain values to plain values; every refusal in words."""

from __future__ import annotations

import math
from typing import Any

import pytest

from pitbird.calc.definition import Refused, as_values
from pitbird.calc.registry import load

CALCULATION = load("test-interval")


def found(**raw: Any) -> dict[str, Any]:
    return as_values(CALCULATION.answer(raw))


def faults(**raw: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(raw)
    return [str(fault) for fault in refused.value.faults]


@pytest.mark.parametrize(("years", "printed"), [(1, 1.92e-4), (5, 9.6e-4), (10, 1.92e-3)])
def test_44_failures_in_a_billion_hours_give_the_printed_probability_on_demand(
    years: int, printed: float
) -> None:
    """Assessor's report of an interface module: lambda T/2, cut to three digits (with a year of 8760 h)."""
    told = found(rate_per_day=44e-9 * 24, intervals_days=[365 * years], detectors=1)
    assert told["intervals"][0]["undetected_fraction"] == pytest.approx(printed, rel=6e-3)


def test_three_failures_in_a_thousand_days_weekly() -> None:
    """Mean unavailability at p = .003 a day (lambda = -ln .997): T = 7, 1.04 %; T = 30, 4.37 %. Computed."""
    told = found(rate_per_day=0.003, intervals_days=[7, 30], detectors=1)
    assert [each["undetected_fraction"] for each in told["intervals"]] == pytest.approx(
        [0.0104, 0.0437], abs=6e-5
    )


def test_every_number_of_an_interval_follows_from_the_fraction() -> None:
    told = found(rate_per_day=0.001, channels=4, intervals_days=[30, 1], detectors=20, cost_per_test=1.5)
    monthly, daily = told["intervals"]
    x = 0.03
    assert monthly["interval_days"] == 30
    assert monthly["undetected_fraction"] == pytest.approx(1 - (1 - math.exp(-x)) / x)
    assert monthly["worst_case_probability"] == pytest.approx(1 - math.exp(-x))
    of_detector = 1 - (1 - monthly["undetected_fraction"]) ** 4
    assert monthly["detector_undetected_fraction"] == pytest.approx(of_detector)
    assert monthly["undetected_detector_days_per_year"] == pytest.approx(20 * 365.25 * of_detector)
    assert monthly["tests_per_year"] == pytest.approx(20 * 365.25 / 30)
    assert monthly["cost_per_year"] == pytest.approx(1.5 * 20 * 365.25 / 30)
    assert (daily["interval_days"], daily["tests_per_year"]) == (1, 7305)


def test_what_the_test_cannot_reveal_waits_for_the_full_check() -> None:
    """lambda [c T/2 + (1 - c) F/2]: IEC 61508-6, from memory; holds for small lambda F."""
    told = found(rate_per_day=1e-7, intervals_days=[30], detectors=1, coverage=0.9, full_check_days=360)
    assert told["intervals"][0]["undetected_fraction"] == pytest.approx(
        1e-7 * (0.9 * 15 + 0.1 * 180), rel=1e-4
    )
    assert told["intervals"][0]["cost_per_year"] is None
    assert "adds up until the full check" in told["cautions"][-1]


def test_a_weibull_life_of_shape_one_is_the_constant_rate_and_age_makes_no_difference() -> None:
    weibull = found(shape=1, scale_days=1000, age_days=700, intervals_days=[1, 30], detectors=3)
    constant = found(rate_per_day=0.001, intervals_days=[1, 30], detectors=3)
    for one, other in zip(weibull["intervals"], constant["intervals"], strict=True):
        assert one.pop("cost_per_year") is other.pop("cost_per_year") is None
        assert one == pytest.approx(other, rel=1e-6)


def test_wear_makes_the_worst_case_worse_with_age() -> None:
    young, old = (
        found(shape=3, scale_days=1000, age_days=age, intervals_days=[30], detectors=1)["intervals"][0]
        for age in (0, 900)
    )
    assert old["worst_case_probability"] == pytest.approx(1 - math.exp(0.9**3 - 0.93**3))
    assert old["worst_case_probability"] > 1000 * young["worst_case_probability"]
    assert old["undetected_fraction"] == young["undetected_fraction"]


def test_evidence_never_lengthens_an_interval_by_itself() -> None:
    told = found(rate_per_day=0.001, intervals_days=[1], detectors=1)
    assert told["cautions"][0].startswith("Evidence may shorten an interval; by itself it never lengthens")
    assert any("gaps count by their square" in caution for caution in told["cautions"])


def test_every_fault_is_told_at_once() -> None:
    beside = "stands beside rate_per_day; write a constant rate, or shape and scale_days"
    rest = "with a coverage below 1 say when the rest of the failures comes to light"
    assert faults(rate_per_day=0.1, shape=2, age_days=5, intervals_days=[1], detectors=1, coverage=0.5) == [
        f"test-interval.shape = 2.0: {beside}",
        f"test-interval.age_days = 5.0: {beside}",
        f"test-interval.full_check_days: missing; {rest}",
    ]
    assert [
        line.partition(": ")[0]
        for line in faults(rate_per_day=-1, intervals_days=[0, "7"], detectors=2.5, channels=0, covrage=1)
    ] == [
        "test-interval.rate_per_day = -1",
        "test-interval.channels = 0",
        "test-interval.intervals_days[0] = 0",
        "test-interval.intervals_days[1] = '7'",
        "test-interval.detectors = 2.5",
        "test-interval.covrage",
    ]


@pytest.mark.parametrize(
    ("raw", "field"), [({}, "rate_per_day"), ({"shape": 2}, "scale_days"), ({"scale_days": 9}, "shape")]
)
def test_a_life_must_be_said_whole(raw: dict[str, Any], field: str) -> None:
    (fault,) = faults(**raw, intervals_days=[1], detectors=1)
    assert fault.startswith(f"test-interval.{field}: missing")


def test_there_must_be_an_interval() -> None:
    assert faults(rate_per_day=0.1, intervals_days=[], detectors=1) == [
        "test-interval.intervals_days = []: empty; write at least one interval"
    ]


def test_an_interval_too_short_to_follow_is_named() -> None:
    (fault,) = faults(
        shape=0.9, scale_days=1e6, intervals_days=[400, 1], detectors=1, coverage=0.5, full_check_days=900
    )
    assert fault.startswith(
        "test-interval.intervals_days[1] = 1.0: the interval is too short against the life"
    )


@pytest.mark.parametrize("shape", [0.1, 0.5, 5, 50])
@pytest.mark.parametrize("age", [0, 1e6])
def test_lives_at_the_ends_of_what_is_allowed_are_answered(shape: float, age: float) -> None:
    for scale in (0.01, 1e7):
        raw = {"shape": shape, "scale_days": scale, "age_days": age, "intervals_days": [0.001, 36525]}
        told = found(**raw, detectors=1)
        for each in told["intervals"]:
            assert 0 <= each["undetected_fraction"] <= 1
            assert 0 <= each["worst_case_probability"] <= 1


def test_whole_numbers_may_be_written_with_a_point() -> None:
    assert found(rate_per_day=0.1, channels=4.0, intervals_days=[1], detectors=2.0)["intervals"]


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda example: example.title)
def test_the_examples_are_answered(example: Any) -> None:
    told = as_values(CALCULATION.answer(example.request))
    fractions = [each["undetected_fraction"] for each in told["intervals"]]
    assert fractions == sorted(fractions)
    assert fractions[0] > 0
    assert fractions[-1] < 0.02
