"""Limits carried through to what is worked out: identities, cases with one limit or none, coverage."""

from math import inf

import numpy as np
import pytest

from pitbird.science.reliability.bands import rate_band, weibull_band
from pitbird.science.reliability.exponential import fit_exponential
from pitbird.science.reliability.intervals import (
    longest_interval,
    undetected_fraction,
    undetected_fraction_of_log,
    weibull_undetected_fraction,
)
from pitbird.science.reliability.spans import Spans, spans
from pitbird.science.reliability.weibull import fit_weibull
from tests.science.reliability import published

CRACKS = published.cracks()


def test_a_rising_number_has_the_limits_of_the_rate() -> None:
    fit = fit_exponential(CRACKS)
    assert fit.rate is not None
    band = rate_band(lambda r: undetected_fraction_of_log(r, [1, 1, 9]), fit, at_none=0, at_all=1)
    assert fit.rate_low is not None
    assert band.low == undetected_fraction_of_log(fit.rate_low, [1, 1, 9])
    assert band.value == undetected_fraction_of_log(fit.rate, [1, 1, 9])
    assert band.high is not None
    assert band.value is not None
    assert band.low < band.value < band.high
    assert (band.confidence, band.method) == (0.95, fit.interval_method)


def test_a_falling_number_has_its_limits_in_order() -> None:
    def interval(rate: float) -> float:
        found = longest_interval(0.005, lambda t: undetected_fraction(rate, t), 3650)
        assert found is not None
        return found

    band = rate_band(interval, fit_exponential(CRACKS), at_none=3650, at_all=0)
    assert band.low is not None
    assert band.value is not None
    assert band.high is not None
    assert band.low < band.value < band.high


@pytest.mark.parametrize(
    ("interval", "high"), [(1, 0.0002), (30, 0.0061), (90, 0.018), (180, 0.036), (365, 0.071)]
)
def test_twenty_detectors_without_failure_for_a_year_leave_an_upper_limit_only(
    interval: int, high: float
) -> None:
    # Rate at most -ln(.05)/20 a year; the mean share by 1 - (1 - exp(-x))/x.
    fit = fit_exponential(spans([365.25], [inf], [20]))
    band = rate_band(lambda r: undetected_fraction(r, interval), fit, at_none=0, at_all=1)
    assert band.value is None
    assert band.low == 0
    assert band.high == pytest.approx(high, rel=0.04)
    assert "one-sided" in band.method


def test_all_failed_leaves_a_lower_limit_and_nothing_observed_none() -> None:
    band = rate_band(
        lambda r: undetected_fraction(r, 7), fit_exponential(spans([0], [7], [4])), at_none=0, at_all=1
    )
    assert band.value is None
    assert band.low is not None
    assert 0 < band.low < 1
    assert band.high == 1
    none = rate_band(
        lambda r: undetected_fraction(r, 7), fit_exponential(spans([0], [inf])), at_none=0, at_all=1
    )
    assert (none.value, none.low, none.high) == (None, 0, 1)


def test_the_profile_band_of_shape_or_scale_is_their_profile_limits() -> None:
    # Nelson 1982 p. 415; limits by profile likelihood, as in test_weibull.
    fit = fit_weibull(CRACKS)
    shape = weibull_band(lambda k, eta: k, CRACKS, fit)
    scale = weibull_band(lambda k, eta: eta, CRACKS, fit)
    assert (shape.value, shape.low, shape.high) == pytest.approx((1.484768, 1.215209, 1.789999), rel=1e-5)
    assert (scale.value, scale.low, scale.high) == pytest.approx((2182.0041, 1907.537, 2567.326), rel=1e-5)


def test_the_band_turns_over_with_the_number() -> None:
    fit = fit_weibull(CRACKS)
    up = weibull_band(lambda k, eta: weibull_undetected_fraction(k, eta, 30), CRACKS, fit)
    down = weibull_band(lambda k, eta: -weibull_undetected_fraction(k, eta, 30), CRACKS, fit)
    assert up.low is not None
    assert up.high is not None
    assert (down.low, down.high) == pytest.approx((-up.high, -up.low), rel=1e-6)
    assert up.value is not None
    assert up.low < up.value < up.high


@pytest.mark.parametrize(
    "seen",
    [spans([10], [inf], [5]), spans([0], [10], [5]), spans([0, 0, 40, 20], [30, 40, inf, inf], [1, 1, 2, 9])],
)
def test_without_an_estimate_or_bounds_there_is_no_band_and_it_says_so(seen: Spans) -> None:
    band = weibull_band(lambda k, eta: k, seen, fit_weibull(seen))
    assert (band.low, band.high) == (None, None)
    assert band.method.startswith("none")


@pytest.mark.slow
def test_the_band_of_a_share_holds_the_truth_as_often_as_it_says() -> None:
    random = np.random.default_rng(11)
    shape, scale, every = 1.5, 700.0, 30.0
    truth = weibull_undetected_fraction(shape, scale, every)
    held = used = 0
    for _ in range(300):
        life, gap = scale * random.weibull(shape, 80), random.uniform(5, 60, 80)
        left = np.floor(np.minimum(life, 900) / gap) * gap
        seen = spans(left, np.where(left + gap > 900, np.inf, left + gap))
        band = weibull_band(
            lambda k, eta: weibull_undetected_fraction(k, eta, every), seen, fit_weibull(seen)
        )
        if band.low is None or band.high is None:
            continue
        used += 1
        held += band.low <= truth <= band.high
    # 300 fleets: 95 % within three standard errors.
    assert used == 300
    assert 0.91 <= held / used <= 0.99
