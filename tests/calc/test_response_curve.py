"""Response curves, from plain values to plain values: known curves, recovery, every refusal in words."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from pitbird.calc.definition import Refused, as_values
from pitbird.calc.response_curve import CALCULATION, ResponseCurveRequest, fitted

TAU, DELAY = 8.0, 3.0
T = [float(t) for t in range(-5, 61)]


def step(t: float) -> float:
    return 50 * (1 - math.exp(-max(t - DELAY, 0) / TAU))


RISE: dict[str, Any] = {"t_s": T, "reading": [step(t) for t in T], "gas_on_s": 0}


def found(**changed: Any) -> dict[str, Any]:
    return as_values(CALCULATION.answer(RISE | changed))


def faults(**changed: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(RISE | changed)
    return [str(fault) for fault in refused.value.faults]


def test_a_known_curve_gives_back_its_times_counted_from_gas_on() -> None:
    """By hand: t50 = 3 + 8 ln 2, t90 = 3 + 8 ln 10."""
    told = found(alarms=[{"name": "high", "at": 40}, {"name": "never", "at": 60}])
    assert told["final_reading"] == pytest.approx(50, abs=0.05)
    assert told["t50_s"] == pytest.approx(DELAY + TAU * math.log(2), abs=0.05)
    assert told["t90_s"] == pytest.approx(DELAY + TAU * math.log(10), abs=0.1)
    assert (told["delay_s"], told["tau_s"]) == pytest.approx((DELAY, TAU), abs=0.05)
    assert told["settled"] is True
    assert told["rmse"] < 0.05
    high, never = told["alarms"]
    assert high == {"name": "high", "time_s": pytest.approx(DELAY + TAU * math.log(5), abs=0.1)}
    assert never == {"name": "never", "time_s": None}
    assert "Not reached on this record: never." in told["cautions"]
    assert told["t10_s"] is None


def test_the_recovery_counts_from_gas_off_to_a_tenth_of_the_step() -> None:
    """By hand: the fall from 50 with a delay of 2 s and a constant of 6 s is at 5 after 2 + 6 ln 10."""
    late = [60 + float(t) for t in range(1, 61)]
    fall = [step(60) * math.exp(-max(t - 60 - 2, 0) / 6) for t in late]
    told = found(t_s=T + late, reading=RISE["reading"] + fall, gas_off_s=60)
    assert told["t10_s"] == pytest.approx(2 + 6 * math.log(10), abs=0.1)
    assert 0 <= told["se_t10_s"] < 0.5
    assert told["t90_s"] == pytest.approx(DELAY + TAU * math.log(10), abs=0.1)
    short = found(t_s=T + late[:9], reading=RISE["reading"] + fall[:9], gas_off_s=60)
    assert short["t10_s"] is None
    assert any("no t10" in caution for caution in short["cautions"])


def test_an_oxygen_sensor_falls_to_its_reading() -> None:
    readings = [20.9 - 3 * (1 - math.exp(-max(t - DELAY, 0) / TAU)) for t in T]
    told = found(reading=readings, clean_air_reading=20.9, alarms=[{"name": "low", "at": 19.5}])
    assert told["final_reading"] == pytest.approx(17.9, abs=0.01)
    assert told["alarms"][0]["time_s"] == pytest.approx(DELAY - TAU * math.log(1 - 1.4 / 3), abs=0.1)


def test_a_record_that_ends_early_is_not_believed() -> None:
    told = found(t_s=T[:17], reading=RISE["reading"][:17])
    assert told["settled"] is False
    assert any("before the reading has settled" in caution for caution in told["cautions"])


def test_missing_readings_do_no_harm() -> None:
    readings: list[float | None] = list(RISE["reading"])
    readings[20] = readings[21] = readings[40] = None
    assert found(reading=readings)["t90_s"] == pytest.approx(found()["t90_s"], abs=0.05)


def test_the_fitted_curve_can_be_drawn_on_the_clock_of_the_request() -> None:
    request = CALCULATION.read(RISE | {"t_s": [t + 100 for t in T], "gas_on_s": 100})
    assert isinstance(request, ResponseCurveRequest)
    drawn = list(fitted(request, CALCULATION.solve(request), 65))
    assert [t for t, _ in drawn] == pytest.approx([t + 100 for t in T])
    assert [r for _, r in drawn] == pytest.approx(RISE["reading"], abs=0.05)


def test_every_fault_is_told_at_once() -> None:
    times = list(T)
    times[3] = times[2]
    times[30] = 0
    assert faults(t_s=times, gas_off_s=-1) == [
        "response-curve.t_s[3] = -3.0: not after the time before it (-3)",
        "response-curve.t_s[30] = 0.0: not after the time before it (24)",
        "response-curve.gas_off_s = -1.0: not after gas on (0)",
    ]
    assert faults(t_s=T[1:]) == [
        "response-curve.reading: there are 66 readings for 65 times; write one for each"
    ]
    assert faults(gas_on_s=55) == [
        "response-curve.reading: 6 readings from gas on; 8 are the fewest that can be fitted"
    ]
    assert [
        line.partition(": ")[0] for line in faults(reading=["7"], alarms=[{"name": ""}], gas_on_s=math.inf)
    ] == [
        "response-curve.reading[0] = '7'",
        "response-curve.gas_on_s = Infinity",
        "response-curve.alarms[0].name = ''",
        "response-curve.alarms[0].at",
    ]


def test_a_record_without_a_step_is_refused_in_words() -> None:
    noise = np.random.default_rng(3).normal(0, 1, len(T)).tolist()
    (fault,) = faults(reading=noise)
    assert fault.startswith("response-curve.reading: the reading changes no more than its noise")


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda example: example.title)
def test_the_examples_are_answered(example: Any) -> None:
    """Made with a delay of 3 s and a constant of 9 s, read in whole numbers."""
    told = as_values(CALCULATION.answer(example.request))
    assert told["t90_s"] == pytest.approx(3 + 9 * math.log(10), abs=1.5)
    assert told["settled"] is True
    if "gas_off_s" in example.request:
        assert told["t10_s"] == pytest.approx(3 + 9 * math.log(10), abs=1.5)
