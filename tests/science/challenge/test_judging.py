"""One detector against one cylinder: the worked case, drawn numbers, and laws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.challenge.judging import AlarmFound, judge
from pitbird.science.challenge.readings import NotJudged
from pitbird.science.challenge.response import gain
from pitbird.science.challenge.values import Alarm, Mixture, Sensor
from pitbird.science.gases import NFPA
from tests.science.challenge.making import CO, FOUR, H2S, METHANE, OXYGEN, QUAD, alarm, mixture, sensor


def one(channel: Sensor, gas: Mixture, gas_on_s: float) -> AlarmFound:
    return judge(gas, (channel,), basis=NFPA, gas_on_s=gas_on_s).sensors[0].alarms[0]


def test_four_gases_suit_a_four_gas_detector() -> None:
    found = judge(QUAD, FOUR, basis=NFPA, gas_on_s=30)
    assert found.suits
    assert [one.reading.own for one in found.sensors] == pytest.approx([50, 100, 25, 18])
    assert [one.sensor.name for one in found.sensors] == ["LEL", "CO", "H2S", "O2"]
    assert [a.name for one in found.sensors for a in one.alarms] == ["A1", "A2"] * 3 + ["A1", "high"]


# Worked by hand: t = d - t90 / ln 10 x ln(1 - alarm / step), g = 1 - 10^(-(on - d) / t90).
def test_every_number_of_an_alarm_worked_by_hand() -> None:
    found = judge(QUAD, (METHANE,), basis=NFPA, gas_on_s=20).sensors[0].alarms[1]
    assert found.time_s == pytest.approx(2 - 30 / math.log(10) * math.log(1 - 20 / 50))
    assert found.time_lean_s == pytest.approx(2 - 30 / math.log(10) * math.log(1 - 20 / 49))
    assert found.undetected_loss == pytest.approx(1 - 20 / (51 * (1 - 10 ** (-18 / 15))))
    assert found.slowest_t90_s == pytest.approx(18 * math.log(10) / -math.log(1 - 20 / 50))
    assert found.trips


def test_an_oxygen_alarm_falls_and_its_lean_end_is_the_upper_one() -> None:
    found = one(OXYGEN, QUAD, 30)
    assert found.falling
    assert found.time_s == pytest.approx(-15 / math.log(10) * math.log(1 - 1.4 / 2.9))
    assert found.time_lean_s == pytest.approx(-15 / math.log(10) * math.log(1 - 1.4 / (20.9 - 18.18)))
    assert found.undetected_loss == pytest.approx(1 - 1.4 / ((20.9 - 17.82) * (1 - 10 ** (-30 / 8))))


@pytest.mark.parametrize(
    ("channel", "gas", "on"),
    [
        (sensor(METHANE, span_sd_pct=12, alarms=alarm(38)), QUAD, 30),
        (sensor(CO, span_sd_pct=8, alarms=alarm(80)), mixture(("carbon monoxide", 100, "ppm", 15)), 25),
        (sensor(OXYGEN, span_sd_pct=10), mixture(("oxygen", 19, "vol_pct", 4)), 20),
    ],
)
def test_the_probability_is_the_share_of_drawn_tests_that_alarm(
    channel: Sensor, gas: Mixture, on: float
) -> None:
    """Certified value and span drawn, each drawn test run through the first-order response."""
    found = judge(gas, (channel,), basis=NFPA, gas_on_s=on).sensors[0]
    drawn, random = 1_000_000, np.random.default_rng(5)
    start = channel.clean_air_reading
    final = start + (random.normal(found.reading.own, found.reading.own_sd, drawn) - start) * random.normal(
        1, channel.span_sd_pct / 100, drawn
    )
    at_end = start + (final - start) * (1 - 10 ** (-(on - channel.delay_s) / channel.t90_s))
    (at,) = [a.at for a in channel.alarms if a.shown_by == "gas"]
    share = float((at_end <= at).mean() if at < start else (at_end >= at).mean())
    p = found.alarms[0].probability
    assert 0.05 < p < 0.95
    assert share == pytest.approx(p, abs=4.5 * math.sqrt(p * (1 - p) / drawn))


def test_a_channel_set_off_by_another_gas_proves_nothing() -> None:
    helped = sensor(CO, cross_sensitivity=(("hydrogen", 0.15),))
    found = judge(mixture(("hydrogen", 1000, "ppm")), (helped,), basis=NFPA, gas_on_s=60)
    assert found.sensors[0].reading.final == pytest.approx(150)
    assert not found.suits
    assert [a.probability for a in found.sensors[0].alarms] == [0, 0]
    assert [a.time_s for a in found.sensors[0].alarms] == [None, None]


def test_alarms_that_gas_need_not_show_do_not_decide() -> None:
    extra = replace(CO, alarms=(*CO.alarms, Alarm("STEL", 200, "self-check"), Alarm("TWA", 300, "none")))
    assert judge(QUAD, (extra,), basis=NFPA, gas_on_s=30).suits
    asked = replace(CO, alarms=(*CO.alarms, Alarm("over", 200)))
    assert not judge(QUAD, (asked,), basis=NFPA, gas_on_s=30).suits


def test_nothing_shown_by_gas_never_suits() -> None:
    assert not judge(
        QUAD, (sensor(CO, alarms=(Alarm("A1", 30, "self-check"),)),), basis=NFPA, gas_on_s=30
    ).suits


def test_an_alarm_that_trips_with_too_little_probability_does_not_suit() -> None:
    shaky = sensor(H2S, span_sd_pct=20, alarms=alarm(18))
    found = judge(QUAD, (shaky,), basis=NFPA, gas_on_s=60)
    assert found.sensors[0].alarms[0].trips
    assert found.sensors[0].alarms[0].probability == pytest.approx(0.90, abs=0.03)
    assert not found.suits
    assert judge(QUAD, (shaky,), basis=NFPA, gas_on_s=60, required_probability=0.8).suits


def test_gas_off_before_the_delay_is_over_shows_nothing() -> None:
    found = one(sensor(CO, delay_s=30), QUAD, 30)
    assert (found.trips, found.probability, found.slowest_t90_s, found.undetected_loss) == (
        False,
        0,
        None,
        None,
    )
    assert found.time_s is not None


def test_refusals_of_several_sensors_come_together_under_their_places() -> None:
    gas = mixture(("methane", 2.5, "vol_pct"), ("toluene", 50, "ppm"))
    lamp = sensor(CO, name="VOC", gas="isobutylene", principle="photoionisation")
    with pytest.raises(NotJudged) as refused:
        judge(gas, (METHANE, lamp), basis=NFPA, gas_on_s=20)
    assert [p.where for p in refused.value.problems] == [
        "sensors[0].principle",
        "sensors[1].relative_response",
    ]


AMOUNT = st.floats(5, 2000)


@given(
    amount=AMOUNT, at=st.floats(1, 300), on=st.floats(1, 120), t90=st.floats(5, 120), delay=st.floats(0, 10),
    spread=st.floats(0, 20), span=st.floats(0, 15), more=st.floats(0, 500), longer=st.floats(0, 60),
)  # fmt: skip
def test_more_gas_for_longer_never_makes_an_alarm_less_certain(
    amount: float, at: float, on: float, t90: float, delay: float, spread: float, span: float, more: float,
    longer: float,
) -> None:  # fmt: skip
    channel = sensor(CO, t90_s=t90, t90_fast_s=None, delay_s=delay, span_sd_pct=span, alarms=alarm(at))
    here = one(channel, mixture(("CO", amount, "ppm", spread)), on)
    # The same uncertainty in ppm, so that only the amount grows.
    stronger = one(channel, mixture(("CO", amount + more, "ppm", spread * amount / (amount + more))), on)
    slower_end = one(channel, mixture(("CO", amount, "ppm", spread)), on + longer)
    for better in (stronger, slower_end):
        assert better.probability >= here.probability - 1e-9
        assert better.trips >= here.trips
        assert (better.undetected_loss or 0) >= (here.undetected_loss or 0) - 1e-12
        assert (better.slowest_t90_s or 0) >= (here.slowest_t90_s or 0) * (1 - 1e-12)
    assert (stronger.time_s or math.inf) <= (here.time_s or math.inf)


@given(
    amount=AMOUNT, at=st.floats(1, 300), on=st.floats(1, 120), t90=st.floats(5, 120), fast=st.floats(0.2, 1),
    spread=st.floats(0, 20), loss=st.floats(0, 0.99),
)  # fmt: skip
def test_a_loss_within_the_undetected_one_passes_and_one_beyond_it_fails(
    amount: float, at: float, on: float, t90: float, fast: float, spread: float, loss: float
) -> None:
    channel = sensor(CO, t90_s=t90, t90_fast_s=fast * t90, alarms=alarm(at))
    found = one(channel, mixture(("CO", amount, "ppm", spread)), on)
    assert (found.undetected_loss is not None) == found.trips
    if found.undetected_loss is None:
        return
    assert 0 <= found.undetected_loss < 1
    reached = amount * (1 + spread / 100) * (1 - loss) * gain(on, fast * t90)
    if abs(loss - found.undetected_loss) > 1e-9:
        assert (reached >= at) == (loss < found.undetected_loss)


@given(
    amount=AMOUNT, at=st.floats(1, 300), on=st.floats(1, 120), t90=st.floats(5, 120), spread=st.floats(0, 20)
)
def test_a_sensor_as_slow_as_the_slowest_passes_at_the_end_of_the_gas_and_a_slower_one_does_not(
    amount: float, at: float, on: float, t90: float, spread: float
) -> None:
    gas = mixture(("CO", amount, "ppm", spread))
    found = one(sensor(CO, t90_s=t90, t90_fast_s=None, alarms=alarm(at)), gas, on)
    if found.slowest_t90_s is None:
        assert amount <= at
        return
    just = one(sensor(CO, t90_s=found.slowest_t90_s, t90_fast_s=None, alarms=alarm(at)), gas, on)
    assert just.time_s == pytest.approx(on, rel=1e-9)
    assert (found.slowest_t90_s >= t90) == (found.time_s is not None and found.time_s <= on) or (
        found.slowest_t90_s == pytest.approx(t90)
    )


@given(
    step=st.floats(0.5, 19).filter(lambda step: abs(step - 1.4) > 1e-6),
    span=st.floats(0, 10),
    on=st.floats(1, 60),
)
def test_a_falling_alarm_is_a_rising_one_upside_down(step: float, span: float, on: float) -> None:
    """20.9 minus oxygen behaves as a gas that rises from 0."""
    falling = one(
        sensor(OXYGEN, span_sd_pct=span, alarms=alarm(19.5)), mixture(("oxygen", 20.9 - step, "vol_pct")), on
    )
    rising = one(
        sensor(
            OXYGEN, gas="carbon dioxide", principle="infrared", span_sd_pct=span, clean_air_reading=0,
            alarms=alarm(20.9 - 19.5),
        ),
        mixture(("carbon dioxide", step, "vol_pct")),
        on,
    )  # fmt: skip
    assert falling.probability == pytest.approx(rising.probability, abs=1e-6)
    assert (falling.slowest_t90_s or 0) == pytest.approx(rising.slowest_t90_s or 0, rel=1e-6)
