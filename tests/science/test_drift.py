"""Drift: the filter against another program, choice by rolling origin, coverage of forecasts, refusals."""

from __future__ import annotations

from collections.abc import Callable
from math import inf, nan

import numpy as np
import pytest
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from pitbird.science import drift as of
from pitbird.science.drift import Drift, NoDrift, fit_drift
from pitbird.science.reliability.spans import FloatArray

T = np.arange(0, 900, 30.0)


def test_the_filter_is_that_of_statsmodels() -> None:
    """Level, slope and two cylinders at uneven times, one set of variances: states and log-likelihood."""
    random = np.random.default_rng(2)
    t = np.cumsum(random.uniform(5, 40, 25))
    which = (np.arange(25) >= 12).astype(np.int64)
    y = 100 - 0.02 * t + random.normal(0, 0.6, 25)
    tried = of._Candidates(np.array([0.36]), np.array([0.002]), np.array([1e-7]), trend=True)
    last = list(of._filtered(t, y, np.full(25, 0.8), which, tried))[-1]

    days = np.diff(t, append=t[-1] + 1)
    peer = KalmanFilter(k_endog=1, k_states=4)
    peer.bind(y)
    move, noise = np.repeat(np.eye(4)[:, :, None], 25, axis=2), np.zeros((4, 4, 25))
    move[0, 1] = days
    noise[0, 0] = 0.002 * days + 1e-7 * days**3 / 3
    noise[0, 1] = noise[1, 0] = 1e-7 * days**2 / 2
    noise[1, 1] = 1e-7 * days
    design = np.zeros((1, 4, 25))
    design[0, 0] = 1
    design[0, 2], design[0, 3] = 1 - which, which
    for name, value in (("transition", move), ("state_cov", noise), ("design", design)):
        peer[name] = value
    peer["selection"], peer["obs_cov"] = np.eye(4), np.array([[0.36]])
    scale = float(np.abs(y).max())
    peer.initialize_known(np.array([y[0], 0, 0, 0]), np.diag([scale**2, (scale / 365.25) ** 2, 0.64, 0.64]))
    result = peer.filter()
    assert last.mean[0] == pytest.approx(result.filtered_state[:, -1], rel=1e-8, abs=1e-10)
    assert last.cov[0] == pytest.approx(result.filtered_state_cov[:, :, -1], rel=1e-6, abs=1e-9)
    mean, cov, total = (
        np.array([[y[0], 0, 0, 0.0]]),
        np.diag([scale**2, (scale / 365.25) ** 2, 0.64, 0.64])[None],
        0.0,
    )
    for i in range(25):
        if i:
            mean, cov = of._moved(mean, cov, tried, float(t[i] - t[i - 1]))
        mean, cov, gained = of._seen(mean, cov, tried.noise, float(y[i]), 2 + int(which[i]))
        total += float(gained[0])
    assert total == pytest.approx(float(result.llf_obs.sum()), rel=1e-9)


def record(truth: FloatArray, random: np.random.Generator) -> FloatArray:
    """Readings with noise, against one cylinder whose certificate is off."""
    readings: FloatArray = truth + random.normal(0, 0.7, len(truth)) + random.normal(0, 1)
    return readings


def steady(random: np.random.Generator) -> FloatArray:
    return np.full(len(T), 100.0)


def falling(random: np.random.Generator) -> FloatArray:
    return 100 - 0.03 * T


def wandering(random: np.random.Generator) -> FloatArray:
    return 100 + np.cumsum(random.normal(0, 1, len(T)))


def turning(random: np.random.Generator) -> FloatArray:
    slope = -0.02 + np.cumsum(random.normal(0, 0.003, len(T)))
    return 100 + np.cumsum(slope * 30 + random.normal(0, 0.4, len(T)))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("make", "share"),
    [(steady, 1.0), (falling, 0.35), (wandering, 1.03), (turning, 0.85)],
    ids=["steady", "falling", "wandering", "turning"],
)
def test_forecasts_are_no_worse_than_the_last_reading_and_hold_the_truth_as_often_as_they_say(
    make: Callable[[np.random.Generator], FloatArray], share: float
) -> None:
    """80 sensors, forecast from their 20th reading on for ten more; only what came before is known."""
    random = np.random.default_rng(5)
    miss = last = held = seen = 0.0
    for _ in range(80):
        truth = make(random)
        y = record(truth, random)
        fit = fit_drift(T[:20], y[:20], gas_sd=1.0)
        for j in range(20, 30):
            told = fit.forecast(float(T[j]))
            miss += abs(told.median - truth[j])
            last += abs(y[19] - truth[j])
            held += told.low <= truth[j] <= told.high
            seen += 1
    assert miss <= share * last
    # Ten forecasts of one sensor go together: 80 are independent.
    assert held / seen >= 0.88


def test_a_clear_trend_is_chosen_and_tells_when_the_limit_is_passed() -> None:
    y = record(100 - 0.05 * T, np.random.default_rng(1))
    fit = fit_drift(T, y, gas_sd=1.0)
    assert (fit.model, fit.told) == ("trend", True)
    assert fit.errors["trend"] < 0.5 * fit.errors["no change"]
    assert "less error than the last reading" in fit.why
    passing = fit.passes(50, upto_days=2000)
    assert passing.early_days is not None
    assert passing.median_days is not None
    assert passing.late_days is not None
    # By hand: 50 % at 1000 days; the gas is off by 1 % or so, some 20 to 40 days.
    assert passing.early_days < passing.median_days < passing.late_days
    assert passing.median_days == pytest.approx(1000, abs=60)
    assert fit.passes(50, upto_days=900).median_days is None
    assert fit.passes(99, upto_days=900).early_days == T[-1]


def test_a_response_time_that_creeps_up_passes_its_limit_upwards() -> None:
    t90 = 15 + 0.01 * T + np.random.default_rng(3).normal(0, 0.3, len(T))
    fit = fit_drift(T, t90)
    passing = fit.passes(30, upto_days=3000, falling=False)
    assert passing.median_days == pytest.approx(1500, abs=80)


def test_a_steady_sensor_is_not_given_a_trend() -> None:
    random = np.random.default_rng(6)
    models = [fit_drift(T, record(steady(random), random), gas_sd=1.0).model for _ in range(40)]
    assert models.count("trend") <= 4


def test_few_readings_cannot_tell_and_nothing_changes() -> None:
    fit = fit_drift(T[:6], 100 - 0.05 * T[:6], gas_sd=1.0)
    assert (fit.model, fit.told) == ("no change", False)
    assert fit.why.startswith("It cannot be told")
    assert fit.forecast(400).median == pytest.approx(100 - 0.05 * T[5], abs=1e-6)
    # What cannot be told is wide: the fall so far lies within the limits if it goes on.
    assert fit.forecast(400).low < 100 - 0.05 * 400


def test_limits_widen_with_time_and_with_the_doubt_about_the_gas() -> None:
    y = record(falling(np.random.default_rng(1)), np.random.default_rng(9))

    def width(fit: Drift, t: float) -> float:
        told = fit.forecast(t)
        return told.high - told.low

    sure, doubtful = fit_drift(T, y, gas_sd=0.0), fit_drift(T, y, gas_sd=3.0)
    assert width(sure, 2000) > width(sure, 1000) > 0
    assert width(doubtful, 900) > width(sure, 900)


def test_a_new_cylinder_that_is_off_is_not_taken_for_drift() -> None:
    """Steady at 100; from the 16th reading on gas whose certificate is 3 off: seen as one, it looks lower."""
    y = 100 + np.random.default_rng(4).normal(0, 0.3, len(T)) - 3 * (np.arange(len(T)) >= 15)
    names = ["first"] * 15 + ["second"] * 15
    told = fit_drift(T, y, gas_sd=2.0, cylinder=names)
    blind = fit_drift(T, y, gas_sd=0.0)
    assert told.forecast(900).high > 99
    assert blind.forecast(900).median < 97.6


def test_the_unit_of_the_reading_makes_no_difference() -> None:
    y = record(falling(np.random.default_rng(1)), np.random.default_rng(2))
    one, other = fit_drift(T, y, gas_sd=1.0), fit_drift(T, y / 100, gas_sd=0.01)
    assert one.model == other.model
    assert one.forecast(1200).low == pytest.approx(100 * other.forecast(1200).low, rel=1e-6)


def test_readings_that_never_change_stay() -> None:
    fit = fit_drift(T, np.full(len(T), 50.0))
    assert fit.forecast(2000).median == pytest.approx(50, abs=1e-6)
    assert fit.passes(40, upto_days=1000).early_days is None


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fit_drift([0, 1], [1, 1]), "2 readings; 3 are the fewest"),
        (lambda: fit_drift([0, 1, 2], [1, 1]), "unequal length: 3 and 2"),
        (lambda: fit_drift([0, 1, 1], [1, 1, 1]), "time 2 does not come after"),
        (lambda: fit_drift([0, 1, 2], [1, nan, 1]), "reading 1 is not a number"),
        (lambda: fit_drift([0, 1, inf], [1, 1, 1]), "time 2 is not a number"),
        (lambda: fit_drift([0, 1, 2], [1, 1, 1], gas_sd=-1), "gas_sd must be numbers from 0"),
        (lambda: fit_drift([0, 1, 2], [1, 1, 1], cylinder=["a"]), "1 cylinders for 3 readings"),
    ],
)
def test_readings_that_cannot_be_are_refused_in_words(call: Callable[[], object], words: str) -> None:
    with pytest.raises(NoDrift, match=words):
        call()


def test_the_past_is_not_forecast() -> None:
    fit = fit_drift(T, 100 - 0.01 * T)
    with pytest.raises(ValueError, match="before the last reading"):
        fit.forecast(100)
    with pytest.raises(ValueError, match="does not lie after"):
        fit.passes(50, upto_days=100)
