"""A fleet on arrays: equal to one detector at a time, for suits and for every number of every alarm."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitbird.science.challenge.chance import product_reaches
from pitbird.science.challenge.fleet import alarm_numbers, judge_fleet, load_fleet, product_reaches_all
from pitbird.science.challenge.judging import Found, judge
from pitbird.science.challenge.readings import NotJudged
from pitbird.science.challenge.values import Alarm, Mixture, Sensor
from pitbird.science.gases import NFPA
from tests.science.challenge.making import CO, FOUR, H2S, METHANE, OXYGEN, QUAD, alarm, mixture, sensor


def seldom(calibrated_on: str, exposed_to: str, basis: str) -> float | None:
    """A model that knows one pair."""
    return 0.45 if (calibrated_on, exposed_to) == ("methane", "n-pentane") else None


def one_by_one(detector: tuple[Sensor, ...], gas: Mixture, on: float, required: float) -> Found | None:
    try:
        return judge(gas, detector, basis=NFPA, gas_on_s=on, required_probability=required, model=seldom)
    except NotJudged:
        return None


def same_as_one_by_one(
    detectors: list[tuple[Sensor, ...]], cylinders: list[Mixture], on: float, required: float
) -> None:
    fleet = load_fleet(detectors, NFPA)
    found = judge_fleet(fleet, cylinders, gas_on_s=on, required_probability=required, model=seldom)
    numbers = alarm_numbers(fleet, cylinders, gas_on_s=on, model=seldom)
    for d, detector in enumerate(detectors):
        for c, gas in enumerate(cylinders):
            alone = one_by_one(detector, gas, on, required)
            assert bool(found.refused[d, c]) == (alone is None)
            assert bool(found.suits[d, c]) == (alone is not None and alone.suits)
            if alone is None:
                continue
            asked = [a for one in alone.sensors for a in one.alarms if a.shown_by == "gas"]
            assert bool(found.trips[d, c]) == (bool(asked) and all(a.trips for a in asked))
            for row, (t, s, a) in enumerate(fleet.places):
                if t == fleet.type_of[d]:
                    expected = alone.sensors[s].alarms[a]
                    assert bool(numbers.trips[row, c]) == expected.trips
                    for name in ("time_s", "time_lean_s", "probability", "undetected_loss", "slowest_t90_s"):
                        value, wanted = float(getattr(numbers, name)[row, c]), getattr(expected, name)
                        wanted = math.nan if wanted is None else wanted
                        assert value == pytest.approx(wanted, rel=1e-9, abs=1e-9, nan_ok=True), name


CYLINDERS = [
    QUAD,
    mixture(("methane", 2.5, "vol_pct", 2)),  # no oxygen: refused for a bead
    mixture(("methane", 1.1, "vol_pct", 5), balance="air"),
    mixture(("n-pentane", 0.75, "vol_pct", 3), balance="air"),
    mixture(("propane", 1.0, "vol_pct"), balance="air"),  # no factor: refused
    mixture(("H2S", 12, "ppm", 10), ("oxygen", 15, "vol_pct", 2)),
    mixture(("CO", 62, "ppm", 3), ("hydrogen", 300, "ppm")),
    mixture(("oxygen", 19.4, "vol_pct", 1)),
]
DETECTORS: list[tuple[Sensor, ...]] = [
    FOUR,
    (METHANE,),
    (sensor(METHANE, unit="vol_pct", alarms=alarm(0.5)),),
    (H2S, OXYGEN),
    FOUR,
    (sensor(CO, cross_sensitivity=(("hydrogen", 0.2),), span_sd_pct=10),),
    (sensor(OXYGEN, alarms=(Alarm("low", 19.5), Alarm("lower", 18), Alarm("high", 23.5, "none"))),),
    (sensor(CO, alarms=(Alarm("TWA", 30, "none"),)),),
    (METHANE, sensor(CO, alarms=(Alarm("A1", 30, "self-check"),))),
    (sensor(METHANE, delay_s=60),),
    (sensor(OXYGEN, alarms=(Alarm("low", 19.5), Alarm("high", 23.5))),),
]


@pytest.mark.parametrize("on", [5.0, 20.0, 45.0])
@pytest.mark.parametrize("required", [0.5, 0.95, 0.999])
def test_every_pair_and_every_number_is_what_it_is_alone(on: float, required: float) -> None:
    same_as_one_by_one(DETECTORS, CYLINDERS, on, required)


AMOUNTS = st.floats(5, 300)
CELL: Any = st.builds(
    lambda at, more, t90, fast, delay, span, start: sensor(
        CO, clean_air_reading=start, t90_s=t90, t90_fast_s=t90 * fast, delay_s=delay, span_sd_pct=span,
        alarms=(Alarm("A1", start + at), Alarm("A2", start + at + more)),
    ),
    st.floats(1, 200), st.floats(0.1, 100), st.floats(1, 90), st.floats(0.1, 1), st.floats(0, 30),
    st.floats(0, 40), st.sampled_from([0.0, 0.0, 3.0]),
)  # fmt: skip


@settings(max_examples=60)
@given(
    cells=st.lists(CELL, min_size=1, max_size=3),
    amounts=st.lists(st.tuples(AMOUNTS, st.floats(0, 60)), min_size=1, max_size=3),
    on=st.floats(1, 90), required=st.floats(0.01, 0.999),
)  # fmt: skip
def test_random_fleets_are_what_they_are_alone(
    cells: list[Sensor], amounts: list[tuple[float, float]], on: float, required: float
) -> None:
    cylinders = [mixture(("carbon monoxide", amount, "ppm", spread)) for amount, spread in amounts]
    same_as_one_by_one([(cell,) for cell in cells], cylinders, on, required)


def test_gas_that_ends_when_the_alarm_comes_still_trips() -> None:
    """The edge of ``trips``, where only the time itself decides."""
    plain = sensor(CO, t90_fast_s=None, alarms=alarm(60))
    gas = mixture(("CO", 100, "ppm"))
    time = judge(gas, (plain,), basis=NFPA, gas_on_s=99).sensors[0].alarms[0].time_lean_s
    assert time is not None
    fleet = load_fleet([(plain,)], NFPA)
    for on in (time, math.nextafter(time, 0), math.nextafter(time, 99)):
        alone = judge(gas, (plain,), basis=NFPA, gas_on_s=on).sensors[0].alarms[0].trips
        assert bool(judge_fleet(fleet, [gas], gas_on_s=on).trips[0, 0]) is alone


def test_the_product_on_arrays_is_that_of_one_pair() -> None:
    random = np.random.default_rng(8)
    mean, need = random.uniform(-50, 150, 400), random.uniform(1, 150, 400)
    sd, span = random.choice([0, 0.5, 4, 20, 60], 400), random.choice([0, 0.01, 0.09, 0.2, 0.5], 400)
    together = product_reaches_all(need, mean, sd, span)
    alone = [product_reaches(*map(float, four)) for four in zip(need, mean, sd, span, strict=True)]
    assert together == pytest.approx(alone, abs=1e-12)
    shape = (2, 3)
    endless = product_reaches_all(np.full(shape, np.inf), np.ones(shape), np.ones(shape), np.ones(shape))
    assert endless.tolist() == [[0, 0, 0], [0, 0, 0]]


def test_equal_detectors_are_one_type_and_equal_sensors_are_read_once() -> None:
    slower = tuple(sensor(one, t90_s=one.t90_s + 1) for one in FOUR)
    fleet = load_fleet([FOUR, tuple(FOUR), slower, list(FOUR)], NFPA)
    assert fleet.type_of.tolist() == [0, 0, 1, 0]
    assert (len(fleet), len(fleet.types), len(fleet.kinds)) == (4, 2, 4)
    assert len(fleet.rows) == 2 * 7  # the high oxygen alarm is not shown by gas
    assert len(fleet.hardest) == 2 * 4


def test_nothing_to_judge_gives_empty_answers() -> None:
    found = judge_fleet(load_fleet([], NFPA), [QUAD], gas_on_s=20)
    assert found.suits.shape == (0, 1)
    assert judge_fleet(load_fleet([FOUR], NFPA), [], gas_on_s=20).suits.shape == (1, 0)
    only = (sensor(CO, alarms=(Alarm("TWA", 30, "none"),)),)
    assert judge_fleet(load_fleet([only], NFPA), [QUAD], gas_on_s=20).suits.tolist() == [[False]]


def test_faults_name_the_detector_and_the_cylinder() -> None:
    with pytest.raises(NotJudged) as refused:
        load_fleet(
            [FOUR, (CO, sensor(H2S, t90_s=0, t90_fast_s=None)), (sensor(CO, principle="oxygen"),)], NFPA
        )
    assert [p.where for p in refused.value.problems] == [
        "detectors[1].sensors[1].t90_s", "detectors[2].sensors[0].principle",
    ]  # fmt: skip
    with pytest.raises(NotJudged) as refused:
        judge_fleet(load_fleet([FOUR], NFPA), [QUAD, mixture(("CO", -1, "ppm"))], gas_on_s=20)
    assert [p.where for p in refused.value.problems] == ["cylinders[1].components[0].amount"]
    with pytest.raises(NotJudged) as refused:
        judge_fleet(load_fleet([FOUR], NFPA), [QUAD], gas_on_s=0, required_probability=1)
    assert [p.where for p in refused.value.problems] == ["gas_on_s", "required_probability"]
