"""When the next calibration is due, by the three methods that ILAC-G24 / OIML D 10 name."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.calc.calibration_interval import CALCULATION
from pitbird.calc.definition import Refused
from pitbird.science.calibration_intervals import TooFew, control_chart, staircase

PAST = [{"since_days": 180, "error_pct": error} for error in (-2.0, -3.0, -4.0)]


def answer(method: str = "control-chart", **other: Any) -> Any:
    return CALCULATION.answer({"method": method, "tolerance_pct": 10, "calibrations": PAST, **other})


def faults(**asked: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        answer(**asked)
    return [str(fault) for fault in refused.value.faults]


@pytest.mark.parametrize(
    ("error", "step", "days"), [(8, "lengthen", 225), (8.1, "keep", 180), (10.1, "shorten", 90)]
)
def test_the_staircase_goes_by_the_last_error_alone(error: float, step: str, days: float) -> None:
    found = answer("staircase", calibrations=[*PAST, {"since_days": 180, "error_pct": -error}])
    assert (found.step, found.interval_days) == (step, days)


def test_the_control_chart_is_student_prediction_written_out_longhand() -> None:
    # drifts of -2, -3 and -4 per 180 days: mean -3, standard deviation 1; with 2 degrees of freedom the
    # 97.5 % point of t is 0.95 sqrt(2 / (4 x 0.975 x 0.025)) = 4.303 (NIST/SEMATECH handbook, 1.3.6.7.2)
    found = answer()
    quantile = 0.95 * math.sqrt(2 / (4 * 0.975 * 0.025))
    assert round(quantile, 3) == 4.303
    pace = (3 + quantile * math.sqrt(1 + 1 / 3)) / 180
    assert found.interval_days == pytest.approx(10 / pace, rel=1e-12)
    assert found.drift_pct_per_year == pytest.approx(-3 / 180 * 365.25)
    assert found.spread_pct == pytest.approx(1 / 180 * 365.25)


def test_the_time_in_use_takes_the_place_of_the_calendar() -> None:
    past = [{**each, "in_use_h": 720} for each in PAST]
    found = answer("in-use-time", calibrations=past, in_use_h_per_day=4)
    same = answer()
    assert found.interval_h == pytest.approx(same.interval_days * 4)
    assert found.interval_days == pytest.approx(same.interval_days)


def test_no_answer_outruns_what_is_allowed() -> None:
    found = answer(longest_days=60)
    assert (found.interval_days, found.limited, found.step) == (60, True, "shorten")
    assert "never lengthens it beyond" in found.cautions[0]


def test_what_neither_drifts_nor_spreads_has_no_interval_of_its_own() -> None:
    still = [{"since_days": 180, "error_pct": 0.0}] * 3
    assert answer(calibrations=still).interval_days is None
    assert answer(calibrations=still, longest_days=180).interval_days == 180


def test_one_found_outside_asks_to_look_back() -> None:
    assert any("look back" in each for each in answer("staircase", tolerance_pct=3).cautions)


def test_every_fault_is_told_at_once() -> None:
    missing = "missing; the method of in-use time turns hours into days by it"
    assert faults(method="in-use-time", calibrations=PAST[:2]) == [
        "calibration-interval.calibrations = 2: too few to tell a spread; write 3 at least",
        "calibration-interval.calibrations[0].in_use_h: must be more than 0 for this method",
        "calibration-interval.calibrations[1].in_use_h: must be more than 0 for this method",
        f"calibration-interval.in_use_h_per_day: {missing}",
    ]
    assert "a day has 24 hours" in " ".join(faults(method="in-use-time", in_use_h_per_day=25))


def test_numbers_that_cannot_be_are_refused_by_the_functions_too() -> None:
    with pytest.raises(ValueError, match="more than 0"):
        staircase(1, 0, 180)
    with pytest.raises(TooFew):
        control_chart([1, 2], [1, 1], 10)
    with pytest.raises(ValueError, match="must be more than 0"):
        control_chart([1, 2, 3], [1, 0, 1], 10)


@given(st.lists(st.floats(-5, 5), min_size=3, max_size=12), st.floats(0.5, 0.99), st.floats(1, 50))
def test_more_confidence_and_less_tolerance_never_lengthen(
    errors: list[float], sure: float, tolerance: float
) -> None:
    gaps = [180.0] * len(errors)
    usual = control_chart(errors, gaps, tolerance, confidence=sure).until
    assert control_chart(errors, gaps, tolerance, confidence=sure + 0.009).until <= usual
    assert control_chart(errors, gaps, tolerance * 0.9, confidence=sure).until <= usual
