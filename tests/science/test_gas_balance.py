"""Tests written down against the gas that left: more, less, or as it should be."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.cylinders import GaugeBar, held_l
from pitbird.science.gas_balance import GasBalance, gas_balance


def balance(start: float = 60, end: float = 40, **other: Any) -> GasBalance:
    asked: dict[str, Any] = {
        "tests": 68,
        "gas_on_s": 68 * 30,
        "flow_l_min": 0.5,
        "water_capacity_l": 0.85,
        **other,
    }
    return gas_balance(GaugeBar(start), GaugeBar(end), **asked)


def test_what_left_is_the_difference_of_what_was_held() -> None:
    # 0.85 L of water capacity, 20 bar less: ideal gas gives 0.85 x 20 / 1.01325 = 16.78 L at 1 atm and 20 °C
    found = balance()
    assert found.used_l == pytest.approx(0.85 * 20 / 1.01325, rel=0.02)
    held = [held_l(GaugeBar(p), water_capacity_l=0.85) for p in (60, 40)]
    assert found.used_l == pytest.approx(held[0] - held[1])


def test_what_was_written_is_flow_by_time() -> None:
    # 68 tests of 30 s at 0.5 L/min: 17 L, what 20 bar of this cylinder give
    found = balance()
    assert found.written_l == pytest.approx(17)
    assert found.outcome == "agrees"
    assert found.written_low_l < found.written_l < found.written_high_l
    assert found.used_low_l < found.used_l < found.used_high_l


def test_three_times_the_tests_that_the_gas_could_serve_are_more_than_can_be() -> None:
    assert balance(tests=204, gas_on_s=204 * 30).outcome == "more written"


def test_gas_that_left_without_tests_is_less_than_can_be() -> None:
    assert balance(tests=4, gas_on_s=4 * 30).outcome == "less written"
    assert balance(tests=0, gas_on_s=0).outcome == "less written"


def test_two_readings_too_near_each_other_tell_nothing() -> None:
    assert balance(end=59, tests=3, gas_on_s=90).outcome == "cannot tell"
    assert balance(end=60, tests=0, gas_on_s=0).outcome == "cannot tell"


def test_but_many_tests_without_any_gas_gone_are_told_all_the_same() -> None:
    assert balance(end=60, tests=300, gas_on_s=300 * 30).outcome == "more written"


@pytest.mark.parametrize(
    "other",
    [
        {"tests": -1},
        {"gas_on_s": -1.0},
        {"flow_l_min": 0.0},
        {"water_capacity_l": 0.0},
        {"unwritten_s": -1.0},
    ],
)
def test_numbers_that_cannot_be_are_refused(other: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"must be more than 0|cannot be negative"):
        balance(**other)


@given(st.integers(1, 400), st.floats(5, 60), st.floats(0, 55))
def test_the_outcome_is_the_only_one_that_the_bands_leave(tests: int, seconds: float, end: float) -> None:
    found = balance(end=end, tests=tests, gas_on_s=tests * seconds)
    apart = found.written_low_l > found.used_high_l, found.written_high_l < found.used_low_l
    assert (found.outcome == "more written", found.outcome == "less written") == apart


@given(st.integers(1, 400), st.floats(0, 30))
def test_wider_doubt_never_makes_a_finding(tests: int, more: float) -> None:
    sure = balance(tests=tests, gas_on_s=tests * 30)
    unsure = balance(
        tests=tests, gas_on_s=tests * 30, temperature_spread_k=10 + more, gauge_resolution_bar=1 + more
    )
    if sure.outcome in ("agrees", "cannot tell"):
        assert unsure.outcome in ("agrees", "cannot tell")
