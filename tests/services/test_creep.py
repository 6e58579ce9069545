"""Whether sensors grow slow, from the seconds that bump tests took to the alarm."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import pytest

from pitbird.fleet.folding import fold
from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.services.creep import Creep, creep_of
from tests.bodies import CHANNELS, at, body, detector, ms

D, C = "detector:D-017", "cylinder:C-112"
STATED = 30.0


class Gas:
    """What is known: a cylinder, and whatever else."""

    def __init__(self, *states: Any) -> None:
        self._states = {state.subject: state for state in states}

    def state(self, subject: str) -> None:
        return None

    def all_of(self, sort: Any, site: str | None = None) -> list[Any]:
        return []

    def some(self, subjects: Iterable[str]) -> dict[str, Any]:
        return {name: self._states[name] for name in subjects if name in self._states}


def day(number: int, clock: str = "06:00") -> str:
    return at(clock, str(date(2025, 1, 1) + timedelta(days=number)))


def seconds(t90: float, threshold: float, step: float) -> float:
    """First order: t = t90 / ln 10 x -ln(1 - threshold / step)."""
    return -t90 / math.log(10) * math.log(1 - threshold / step)


def timed(number: int, after_s: float, *, on_s: int = 40, reached: str = "yes") -> dict[str, Any]:
    gas_on = day(number)
    shown = [{"channel": "CO", "reached": reached, "after_s": f"{after_s:.3f}"}]
    applied = {"cylinder": C, "gas_on": gas_on, "gas_off": gas_on.replace(":00.000Z", f":{on_s}.000Z")}
    return body("bump-test", day(number, "06:02"), applications=[{**applied, "channels": shown}])


def crept(
    tests: list[dict[str, Any]], *events: dict[str, Any], now: int = 400, regulator: Any = None
) -> Creep:
    channels = [{**each, "t90_s": "30"} for each in CHANNELS if each["name"] == "CO"]
    bodies = [detector(day(0, "05:00"), channels=channels), *events]
    state = fold(D, [(n, b, b["at"]) for n, b in enumerate(bodies)])
    gas = body(
        "cylinder",
        day(0, "05:00"),
        cylinder=C,
        balance="nitrogen",
        components=[{"gas": "carbon monoxide", "amount": "100", "unit": "ppm"}],
    )
    cylinder = fold(C, [(0, gas, gas["at"])])
    assert isinstance(state, DetectorState)
    assert isinstance(cylinder, CylinderState)
    when = ms("06:00", str(date(2025, 1, 1) + timedelta(days=now)))
    (told,) = creep_of(state, now=when, days=91, known=Gas(*filter(None, (cylinder, regulator))), tests=tests)
    return told


def test_the_seconds_to_an_alarm_are_turned_into_the_t90_that_they_stand_for() -> None:
    """60 ppm in 100 ppm, as first order has it."""
    told = crept([timed(n, seconds(45.0, 60, 100)) for n in (1, 2, 3, 4)])
    (month,) = told.months
    assert month.t90_s == pytest.approx(45.0, rel=1e-3)
    assert month.tests == 4
    assert told.stated_s == STATED


def test_too_late_is_the_t90_with_which_the_alarm_comes_exactly_at_gas_off() -> None:
    told = crept([timed(n, 10, on_s=40) for n in (1, 2, 3)])
    assert told.gas_on_s == 40
    assert told.limit_s is not None
    assert seconds(told.limit_s, 60, 100) == pytest.approx(40.0, rel=1e-9)


def test_a_steady_sensor_is_not_said_to_grow_slow() -> None:
    told = crept([timed(n, 12 + (n % 3) * 0.4) for n in range(1, 380, 2)])
    assert len(told.months) == 13
    assert told.chance is not None
    assert told.chance < 0.01


def test_a_sensor_that_grows_slower_each_month_is_told_before_a_test_fails() -> None:
    told = crept([timed(n, 12 + 0.06 * n + (n % 3) * 0.3, on_s=40) for n in range(1, 380, 2)])
    assert told.drift is not None
    assert told.drift.model == "trend"
    assert told.chance is not None
    assert told.chance > 0.1
    assert told.passing is not None
    assert told.months[-1].t90_s < told.limit_s  # type: ignore[operator]


def test_few_tests_make_no_month_and_few_months_no_forecast() -> None:
    assert crept([timed(1, 12), timed(2, 12)]).months == ()
    told = crept([timed(n, 12) for n in (1, 2, 3, 40, 41, 42)])
    assert (len(told.months), told.chance, told.drift) == (2, None, None)


def test_a_repair_begins_anew_and_tests_that_did_not_reach_it_are_left_out() -> None:
    changed = body("happened", day(100), what="sensor-changed", channels=["CO"])
    tests = [timed(n, 30) for n in range(1, 60)] + [timed(n, 12) for n in range(110, 130)]
    told = crept([*tests, *[timed(n, 39, reached="no") for n in range(130, 150)]], changed)
    (month,) = told.months
    assert month.t90_s == pytest.approx(STATED * 12 / seconds(STATED, 60, 100), rel=1e-3)
    assert month.tests == 20


def test_without_a_stated_t90_nothing_is_told() -> None:
    channels = [each for each in CHANNELS if each["name"] == "CO"]
    state = fold(D, [(0, detector(day(0), channels=channels), day(0))])
    assert isinstance(state, DetectorState)
    (told,) = creep_of(state, now=ms("06:00"), days=91, known=Gas(), tests=[timed(1, 12)])
    assert (told.months, told.limit_s, told.stated_s) == ((), None, None)


def test_the_time_in_the_hose_is_taken_off() -> None:
    """Two metres at 3 s a metre; a test without its regulator is taken to have none."""
    fitted = body(
        "regulator", day(0), regulator="regulator:R-01", flow="fixed", flow_l_min="0.5", hose_m="2",
        hose_s_per_m="3",
    )  # fmt: skip
    regulator = fold("regulator:R-01", [(0, fitted, fitted["at"])])
    tests = [timed(n, 6 + seconds(45.0, 60, 100)) for n in (1, 2, 3)]
    for test in tests:
        test["applications"][0]["regulator"] = "regulator:R-01"
    told = crept(tests, regulator=regulator)
    assert told.months[0].t90_s == pytest.approx(45.0, rel=1e-3)
    assert told.limit_s is not None
    assert 6 + seconds(told.limit_s, 60, 100) == pytest.approx(40.0, rel=1e-9)
