"""Step responses: known curves with noise, rounding, gaps and slow tails; real records; refusals."""

import csv
import os
from collections import defaultdict
from math import exp, log, nan
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, curve_fit

from pitbird.science.curves import FloatArray, NoResponse, crossing_s, fit_response

RECORDS = Path(
    os.environ.get("PITBIRD_CO2_STEPS", Path(__file__).resolve().parents[3] / "shared" / "data" / "co2_steps")
)
LN10 = log(10)


def response(t: FloatArray, start: float, final: float, delay: float, tau: float) -> FloatArray:
    """First order with delay."""
    return final + (start - final) * np.exp(-np.maximum(t - delay, 0) / tau)


@given(st.floats(-5, 30), st.floats(-40, 40).filter(lambda d: abs(d) > 1), st.floats(0, 15), st.floats(3, 25))
@settings(max_examples=10)
def test_a_clean_first_order_curve_gives_back_its_constants(
    start: float, step: float, delay: float, tau: float
) -> None:
    t = np.arange(0, 200, 1.5)
    fit = fit_response(t, response(t, start, start + step, delay, tau), gas_on_s=0)
    assert fit.slow_tau_s is None
    assert fit.final_reading == pytest.approx(start + step, abs=2e-3 * abs(step))
    assert fit.delay_s == pytest.approx(delay, abs=0.1)
    assert fit.tau_s == pytest.approx(tau, rel=0.01)
    assert fit.t90_s == pytest.approx(delay + LN10 * tau, rel=0.01)
    assert fit.t50_s == pytest.approx(delay + log(2) * tau, rel=0.01, abs=0.1)


def test_the_time_is_counted_from_gas_on_whatever_the_clock() -> None:
    t = np.arange(0, 120, 1.0)
    y = response(t, 0, 25, 4, 12)
    one, other = fit_response(t, y, gas_on_s=0), fit_response(t + 5000, y, gas_on_s=5000)
    assert (one.t90_s, one.delay_s) == pytest.approx((other.t90_s, other.delay_s), abs=1e-3)


def test_a_known_clean_air_reading_is_held() -> None:
    t = np.arange(0, 120, 2.0)
    noise = np.random.default_rng(1).normal(0, 0.2, len(t))
    fit = fit_response(t, response(t, 20.9, 18, 5, 9) + 0.1 * noise, gas_on_s=0, clean_air_reading=20.9)
    assert fit.clean_air_reading == pytest.approx(20.9, abs=1e-6)
    assert fit.final_reading == pytest.approx(18, abs=0.02)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda y, r: y + r.normal(0, 0.5, len(y)),
        lambda y, r: np.round(y),
        lambda y, r: np.where(r.random(len(y)) < 0.3, nan, y + r.normal(0, 0.2, len(y))),
        lambda y, r: np.where(r.random(len(y)) < 0.05, 90.0, y + r.normal(0, 0.2, len(y))),
    ],
    ids=["noise", "rounded to whole numbers", "a third of the samples missing", "spikes"],
)
def test_noise_rounding_gaps_and_spikes_hardly_move_the_fit(spoil: object) -> None:
    t = np.arange(0, 120, 1.0)
    y = spoil(response(t, 0, 25, 6, 12), np.random.default_rng(3))  # type: ignore[operator]
    fit = fit_response(t, y, gas_on_s=0)
    true_t90 = 6 + LN10 * 12
    assert fit.t90_s == pytest.approx(true_t90, rel=0.05)
    assert fit.final_reading == pytest.approx(25, rel=0.02)
    assert fit.settled


@pytest.mark.slow
def test_standard_errors_cover_what_they_say() -> None:
    t = np.arange(0, 90, 1.0)
    random = np.random.default_rng(11)
    off = []
    for _ in range(60):
        fit = fit_response(t, response(t, 0, 25, 5, 10) + random.normal(0, 0.5, len(t)), gas_on_s=0)
        off.append(
            [(fit.t90_s - 5 - LN10 * 10) / fit.se_t90_s, (fit.final_reading - 25) / fit.se_final_reading]
        )
    # Within two standard errors nearly always, and not by being far too wide.
    within = (np.abs(off) < 2).mean(axis=0)
    assert (within > 0.85).all()
    assert (np.std(off, axis=0) > 0.5).all()


def test_a_slow_tail_is_found_and_a_plain_curve_keeps_one_constant() -> None:
    t = np.arange(0, 400, 2.0)
    random = np.random.default_rng(5)
    late = np.maximum(t - 4, 0)
    left = 0.75 * np.exp(-late / 10) + 0.25 * np.exp(-late / 90)
    fit = fit_response(t, 50 * (1 - left) + random.normal(0, 0.2, len(t)), gas_on_s=0)
    true = 4 + brentq(lambda x: 0.75 * exp(-x / 10) + 0.25 * exp(-x / 90) - 0.1, 0, 400)
    assert fit.slow_tau_s == pytest.approx(90, rel=0.1)
    assert fit.slow_share == pytest.approx(0.25, abs=0.03)
    assert fit.t90_s == pytest.approx(true, rel=0.03)
    assert fit.bic_gain > 6
    plain = [
        fit_response(t, response(t, 0, 50, 4, 20) + random.normal(0, 0.2, len(t)), gas_on_s=0).slow_tau_s
        for _ in range(20)
    ]
    assert plain.count(None) >= 19


@pytest.mark.parametrize(("constants", "settled"), [(1.0, False), (2.0, False), (4.0, True), (8.0, True)])
def test_a_record_cut_short_does_not_claim_its_final_reading(constants: float, settled: bool) -> None:
    t = np.linspace(0, 5 + 10 * constants, 80)
    y = response(t, 0, 25, 5, 10) + np.random.default_rng(2).normal(0, 0.1, len(t))
    assert fit_response(t, y, gas_on_s=0).settled is settled


def test_samples_before_gas_on_show_clean_air() -> None:
    t = np.arange(-30, 100, 1.0)
    fit = fit_response(t, response(t, 2, 30, 3, 8), gas_on_s=0)
    assert fit.clean_air_reading == pytest.approx(2, abs=0.02)
    assert fit.delay_s == pytest.approx(3, abs=0.1)
    assert fit.reading([-10, 300]).tolist() == pytest.approx([2, 30], abs=0.02)


@pytest.mark.parametrize("unit", [1e-4, 1.0, 1e6])
def test_the_fit_is_the_same_in_any_unit_of_reading_and_time(unit: float) -> None:
    t = np.arange(0, 120, 1.0)
    y = response(t, 0, 25, 6, 12) + np.random.default_rng(9).normal(0, 0.3, len(t))
    one, other = fit_response(t, y, gas_on_s=0), fit_response(t * 1e-3, y * unit, gas_on_s=0)
    assert other.final_reading == pytest.approx(one.final_reading * unit, rel=1e-6)
    assert other.t90_s == pytest.approx(one.t90_s * 1e-3, rel=1e-6)


@pytest.mark.parametrize(
    ("t", "y", "words"),
    [
        ([0, 1, 2], [1, 2], "unequal length: 3 and 2"),
        ([0, 2, 1, 3, 4, 5, 6, 7, 8, 9], [1] * 10, r"time 2 \(1 s\) does not come after"),
        ([0, nan, 2, 3, 4, 5, 6, 7, 8, 9], [1] * 10, "time 1 is not a number"),
        ([0, 1, 2, 3, 4], [0, 1, 2, 3, 4], "there are 5 samples from gas on; 8 are the fewest"),
        (list(range(-10, 3)), [1] * 13, "there are 3 samples from gas on"),
        (list(range(20)), [5] * 20, "no response to fit"),
    ],
)
def test_a_record_without_a_response_is_refused_in_words(t: list[float], y: list[float], words: str) -> None:
    with pytest.raises(NoResponse, match=words):
        fit_response(t, y, gas_on_s=0)


def test_a_flat_noisy_record_is_no_response() -> None:
    y = np.random.default_rng(6).normal(10, 1, 100)
    with pytest.raises(NoResponse, match="no more than its noise"):
        fit_response(np.arange(100.0), y, gas_on_s=0)


def test_an_alarm_is_reached_on_the_line_between_samples() -> None:
    t, y = [0, 10, 20, 30], [0, 0, 10, 20]
    assert crossing_s(t, y, 5, gas_on_s=0) == 15
    assert crossing_s(t, y, 5, gas_on_s=10) == 5
    assert crossing_s(t, y, 25, gas_on_s=0) is None


def test_an_alarm_below_clean_air_is_reached_falling() -> None:
    assert crossing_s([0, 10, 20], [20.9, 20.9, 18.9], 19.9, gas_on_s=0) == 15


def test_an_alarm_that_stands_at_the_first_sample_is_reached_there() -> None:
    assert crossing_s([2, 4], [50, 60], 50, gas_on_s=0) == 2
    assert crossing_s([], [], 5, gas_on_s=0) is None


def raw_t90(t: FloatArray, y: FloatArray, start: float, end: float) -> float:
    """When a running median of three first reaches 90 % of the step."""
    smooth = np.array([np.median(y[max(0, i - 1) : i + 2]) for i in range(len(y))])
    return float(t[np.flatnonzero((smooth - start) / (end - start) >= 0.9)[0]])


@pytest.mark.slow
@pytest.mark.skipif(not RECORDS.is_dir(), reason="the real records of carbon dioxide steps are not there")
def test_on_real_records_it_beats_the_plain_fit() -> None:
    # Barrios del Valle, 2021: 36 step responses of five sensors in a nearly closed box. What a plain fit does
    # on them, as written beside them: median RMSE 2.7 % of the step, t90 off by 14 % (median).
    with (RECORDS / "steps.csv").open() as file:
        records = defaultdict(list)
        for row in csv.DictReader(file):
            records[row["sensor"]].append((float(row["t_s"]), float(row["ppm"])))
    with (RECORDS / "segments.csv").open() as file:
        windows = [(float(row["from"]), float(row["to"])) for row in csv.DictReader(file)]
    ours, plain = [], []
    for on, until in windows:
        # The sixth sensor reports an estimate from other gases and is not counted there.
        for sensor in sorted(set(records) - {"cjmcu811"}):
            part = np.array([(t - on, y) for t, y in records[sensor] if on <= t <= until])
            if len(part) < 15:
                continue
            t, y = part[:, 0], part[:, 1]
            start, end = float(np.median(y[:2])), float(np.median(y[-max(3, len(y) // 10) :]))
            raw = raw_t90(t, y, start, end)
            fit = fit_response(t, y, gas_on_s=0)
            ours.append((fit.rmse / abs(end - start), abs(fit.t90_s / raw - 1)))
            best, _ = curve_fit(response, t, y, p0=[start, end, 5, raw / LN10], maxfev=20_000)
            rmse = float(np.sqrt(np.mean((response(t, *best) - y) ** 2)))
            plain.append((rmse / abs(end - start), abs((best[2] + LN10 * best[3]) / raw - 1)))
    assert len(ours) == 36
    rmse, off = np.median(ours, axis=0)
    assert rmse < 0.027
    assert off < 0.14
    assert (np.median(ours, axis=0) < np.median(plain, axis=0)).all()
