"""First-order response: the identities of the exponential, and what comes exactly at the end of the gas."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.challenge.response import (
    gain,
    reading_at,
    slowest_t90_s,
    tau_s,
    time_to_alarm_s,
    undetected_loss,
)

T90 = st.floats(1, 300)
SHARE = st.floats(0.02, 0.97)


def test_t90_is_3_3219_times_t50() -> None:
    # ln 10 / ln 2 = 3.3219; t20 = 0.2231 tau; 10 to 90 % takes 2.1972 tau (properties of the exponential).
    t50, t20, t10, t90 = (time_to_alarm_s(share, 1, 60) or 0 for share in (0.5, 0.2, 0.1, 0.9))
    assert t90 == pytest.approx(60, rel=1e-12)
    assert t90 / t50 == pytest.approx(3.321928, rel=1e-6)
    assert tau_s(60) == pytest.approx(26.06, abs=0.005)
    assert (t20 / tau_s(60), (t90 - t10) / tau_s(60)) == pytest.approx((0.223144, 2.197225), rel=1e-5)


def test_a_t90_of_60_s_shows_53_6_percent_of_the_step_after_20_s() -> None:
    assert reading_at(20, 0, 100, 60) == pytest.approx(100 * (1 - 10 ** (-1 / 3)), rel=1e-12)
    assert reading_at(20, 0, 100, 60) == pytest.approx(53.6, abs=0.05)


@pytest.mark.parametrize(
    ("threshold", "step", "t90", "expected"),
    [
        (30, 100, 30, 4.647),  # carbon monoxide: 100 ppm, alarm 30
        (20, 50, 30, 6.655),  # 50 %LFL, alarm 20
        (20.9 - 19.5, 20.9 - 15.0, 15, 1.7646),  # oxygen: 15 % vol, alarm 19.5
    ],
)
def test_time_to_alarm_is_minus_tau_times_the_logarithm_of_what_is_left(
    threshold: float, step: float, t90: float, expected: float
) -> None:
    assert time_to_alarm_s(threshold, step, t90) == pytest.approx(expected, abs=6e-4)
    assert time_to_alarm_s(threshold, step, t90) == pytest.approx(
        -t90 / math.log(10) * math.log(1 - threshold / step), rel=1e-12
    )


def test_an_alarm_at_or_beyond_the_final_reading_never_comes() -> None:
    assert time_to_alarm_s(30, 30, 20) is None
    assert time_to_alarm_s(30, 29, 20) is None
    assert time_to_alarm_s(30, -5, 20) is None
    assert undetected_loss(30, 29, 600, 20) is None
    assert slowest_t90_s(30, 30, 600) is None
    assert slowest_t90_s(10, 30, 5, delay_s=5) is None


@given(step=st.floats(1, 1000), share=SHARE, t90=T90, delay=st.floats(0, 20), on=st.floats(21, 600))
def test_with_the_loss_it_can_just_miss_the_alarm_comes_at_the_very_end_of_the_gas(
    step: float, share: float, t90: float, delay: float, on: float
) -> None:
    threshold = share * step * gain(on, t90, delay)
    loss = undetected_loss(threshold, step, on, t90, delay)
    assert loss is not None
    assert loss == pytest.approx(1 - share, rel=1e-9)
    at = time_to_alarm_s(threshold, step * (1 - loss), t90, delay)
    # Where the curve has flattened out no time can be told from a reading; it must still be reached.
    left = 1 - gain(on, t90, delay)
    if left > 1e-6:
        assert at == pytest.approx(on, rel=1e-6)
    worse = time_to_alarm_s(threshold, step * (1 - loss) * (1 - 1e-6), t90, delay)
    assert worse is None or worse > on - 1e-6 * t90


@given(step=st.floats(1, 1000), share=SHARE, delay=st.floats(0, 20), on=st.floats(21, 600))
def test_with_the_slowest_t90_the_alarm_comes_at_the_very_end_of_the_gas(
    step: float, share: float, delay: float, on: float
) -> None:
    slowest = slowest_t90_s(share * step, step, on, delay)
    assert slowest is not None
    assert time_to_alarm_s(share * step, step, slowest, delay) == pytest.approx(on, rel=1e-9)
    assert (time_to_alarm_s(share * step, step, slowest * 1.01, delay) or 0) > on


@given(t90=T90, delay=st.floats(0, 20), on=st.floats(0, 600), more=st.floats(0, 100))
def test_the_reading_only_rises_and_is_nothing_before_the_delay_is_over(
    t90: float, delay: float, on: float, more: float
) -> None:
    assert 0 <= gain(on, t90, delay) <= gain(on + more, t90, delay) <= 1
    assert gain(delay, t90, delay) == 0
