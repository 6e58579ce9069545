"""Failure unnoticed between tests: identities, limits, simulation, refusals."""

from collections.abc import Callable
from itertools import pairwise
from math import exp, inf, log1p

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from pitbird.science.reliability import intervals as of

YEAR_H = 8760
rates = st.floats(1e-7, 1e-1)
times = st.floats(0.5, 800)


@pytest.mark.parametrize(("years", "printed"), [(1, 1.92e-4), (5, 9.6e-4), (10, 1.92e-3)])
def test_44_failures_in_a_billion_hours_give_the_printed_probability_on_demand(
    years: int, printed: float
) -> None:
    # Assessor's report of an interface module (third-party FMEDA): lambda T/2, printed cut to three digits.
    exact = of.undetected_fraction(44e-9, years * YEAR_H)
    assert printed <= 44e-9 * years * YEAR_H / 2 < printed * 1.006
    # Not above lambda T/2, and below it by lambda T/3 of itself at most.
    assert 44e-9 * years * YEAR_H / 2 * (1 - 44e-9 * years * YEAR_H / 3) <= exact
    assert exact <= 44e-9 * years * YEAR_H / 2


def test_half_a_failure_in_a_million_hours_is_the_table_value() -> None:
    # IEC 61508-6 Annex B, one channel, no diagnostics, one year: 2.2e-3 (from memory).
    assert of.undetected_fraction(0.5e-6, YEAR_H) == pytest.approx(2.19e-3, abs=5e-6)


@pytest.mark.parametrize(("hours", "printed"), [(8760, 7.9e-3), (730, 6.6e-4), (168, 1.5e-4), (24, 2.2e-5)])
def test_a_catalytic_point_detector_tested_yearly_to_daily(hours: int, printed: float) -> None:
    # 1.8e-6/h: handbook value for fixed detectors, from memory; the arithmetic is lambda T/2.
    assert of.undetected_fraction(1.8e-6, hours) == pytest.approx(printed, rel=0.02)


@given(rates, times)
def test_the_fraction_is_the_mean_of_the_chance_over_the_interval(rate: float, interval: float) -> None:
    mean = integrate.quad(lambda t: -np.expm1(-rate * t), 0, interval, epsrel=1e-11)[0] / interval
    assert of.undetected_fraction(rate, interval) == pytest.approx(mean, rel=1e-9)
    x = rate * interval
    assert x / 2 - x * x / 6 <= of.undetected_fraction(rate, interval) * (1 + 1e-12)
    assert of.undetected_fraction(rate, interval) <= x / 2
    assert of.undetected_fraction(rate, interval) < of.worst_case(rate, interval) or x < 1e-300


@given(rates, times)
def test_the_series_and_the_formula_meet(rate: float, interval: float) -> None:
    x = 0.05
    below, above = of._mean_of_rise(np.nextafter(x, 0)), of._mean_of_rise(x)
    assert below == pytest.approx(above, rel=1e-13)
    delay = of.mean_delay(rate, interval)
    # Each cycle: a life of 1/rate, then the delay.
    assert delay / (delay + 1 / rate) == pytest.approx(of.undetected_fraction(rate, interval), rel=1e-9)


@given(rates, times, st.integers(1, 20))
def test_a_log_without_absences_is_the_periodic_test(rate: float, interval: float, tests: int) -> None:
    assert of.undetected_fraction_of_log(rate, [interval] * tests) == pytest.approx(
        of.undetected_fraction(rate, interval), rel=1e-12
    )


@given(rates, st.lists(times, min_size=2, max_size=20))
def test_uneven_gaps_are_never_better_than_even_ones(rate: float, gaps: list[float]) -> None:
    even = of.undetected_fraction(rate, float(np.mean(gaps)))
    assert of.undetected_fraction_of_log(rate, gaps) >= even * (1 - 1e-12)


def test_daily_with_absences_is_three_times_worse_than_its_mean_gap_says() -> None:
    # 89 days in a row and eleven absences of ten days: mean gap 2.0 days, as E[g^2]/(2 E[g]) would have it
    # three times lambda T/2 (.0020 against .00067); and by following failures one by one.
    gaps = np.array([1.0] * 89 + [10.0] * 10 + [11.0])
    rate = 1 / 1500
    assert gaps.mean() == pytest.approx(2.0)
    said = of.undetected_fraction_of_log(rate, gaps)
    ratio = said / of.undetected_fraction(rate, float(gaps.mean()))
    random = np.random.default_rng(2)
    # Failures come at a constant rate over the time good; each stays until the next test.
    gaps = random.permutation(gaps)
    ends = np.cumsum(np.tile(gaps, 400))
    lives = random.exponential(1 / rate, 400_000)
    lives = lives[lives < ends[-1]]
    delay = (ends[np.searchsorted(ends, lives)] - lives).mean()
    assert delay / (delay + 1 / rate) == pytest.approx(said, rel=0.02)
    assert said == pytest.approx(rate * (gaps**2).mean() / (2 * gaps.mean()), rel=0.005)
    assert ratio == pytest.approx(3.03, abs=0.02)


def test_random_tests_are_twice_as_bad_as_regular_ones() -> None:
    random = np.random.default_rng(4).exponential(10, 200_000)
    rate = 1e-4
    assert of.undetected_fraction_of_log(rate, random) == pytest.approx(
        of.undetected_fraction_at_random(rate, 10), rel=0.02
    )
    assert of.undetected_fraction_at_random(rate, 10) == pytest.approx(
        2 * of.undetected_fraction(rate, 10), rel=1e-3
    )


@given(rates, times)
def test_a_test_that_always_detects_is_the_plain_one(rate: float, interval: float) -> None:
    plain = of.undetected_fraction(rate, interval)
    assert of.undetected_fraction_imperfect(rate, interval, 1) == pytest.approx(plain, rel=1e-9)
    assert of.undetected_fraction_imperfect(rate, interval, 0.5) > plain


@given(st.floats(0.3, 30), st.floats(50, 1e5), times)
def test_the_mean_over_an_uncertain_rate_is_the_integral(shape: float, time: float, interval: float) -> None:
    rate = stats.gamma(shape, scale=1 / time)
    mean = integrate.quad(
        lambda p: of.undetected_fraction(max(rate.ppf(p), 1e-300), interval), 0, 1, epsrel=1e-8, limit=200
    )[0]
    assert of.undetected_fraction_uncertain(shape, time, interval) == pytest.approx(mean, rel=1e-5, abs=1e-9)


def test_an_uncertain_rate_of_shape_one_is_the_limit() -> None:
    assert of.undetected_fraction_uncertain(1, 500, 30) == pytest.approx(
        1 - 500 / 30 * log1p(30 / 500), rel=1e-9
    )


@given(rates, times, st.floats(0, 1), st.floats(1, 20))
def test_a_full_check_lies_between_its_two_ends(
    rate: float, interval: float, coverage: float, times_as_long: float
) -> None:
    full = interval * times_as_long
    u = of.undetected_fraction_with_full_check(rate, interval, coverage, full)
    best = of.undetected_fraction_with_full_check(rate, interval, 1, full)
    worst = of.undetected_fraction_with_full_check(rate, interval, 0, full)
    assert best * (1 - 1e-9) - 1e-15 <= u <= worst * (1 + 1e-9) + 1e-15
    assert worst == pytest.approx(of.undetected_fraction(rate, full), rel=1e-6, abs=1e-13)
    assert of.undetected_fraction_with_full_check(rate, full, coverage, interval) == pytest.approx(
        of.undetected_fraction(rate, interval), rel=1e-12
    )


def test_for_small_rates_the_full_check_is_the_rule_for_imperfect_proof_tests() -> None:
    # lambda [c T/2 + (1 - c) F/2]: IEC 61508-6, from memory.
    u = of.undetected_fraction_with_full_check(1e-7, 30, 0.9, 360)
    assert u == pytest.approx(1e-7 * (0.9 * 15 + 0.1 * 180), rel=1e-4)


def simulated(
    life: object, interval: float, coverage: float, full: float, cycles: int, seed: int
) -> tuple[float, float]:
    """Share of time failed and not known of one position over many replacements, and its standard error."""
    random = np.random.default_rng(seed)
    tests = round(full / interval)
    lives = life.rvs(size=cycles, random_state=random)  # type: ignore[attr-defined]
    shown = random.random(cycles) < coverage
    due = np.floor(lives / interval).astype(int) + 1
    place, waits = 0, np.zeros(cycles, dtype=int)
    for i in range(cycles):
        place = (place + due[i]) % tests
        if not shown[i]:
            waits[i] = (-place) % tests
            place = 0
    whole = (due + waits) * interval
    share = 1 - lives.sum() / whole.sum()
    spread = np.std((whole - lives) - share * whole) * cycles**0.5 / whole.sum()
    return float(share), float(spread)


@pytest.mark.parametrize(
    ("shape", "scale", "interval", "coverage", "full"),
    [(1.0, 1500, 30, 0.9, 180), (1.8, 900, 30, 0.7, 360), (0.8, 600, 90, 0.5, 360), (1.0, 300, 30, 0.0, 90)],
)
def test_simulated_positions_agree_with_the_full_check_formulas(
    shape: float, scale: float, interval: float, coverage: float, full: float
) -> None:
    share, spread = simulated(stats.weibull_min(shape, scale=scale), interval, coverage, full, 60_000, 8)
    u = of.weibull_undetected_fraction_with_full_check(shape, scale, interval, coverage, full)
    assert abs(u - share) < 4 * spread
    if shape == 1:
        closed = of.undetected_fraction_with_full_check(1 / scale, interval, coverage, full)
        assert u == pytest.approx(closed, rel=1e-9)


@given(st.floats(100, 5000), st.floats(0.5, 400))
def test_a_weibull_life_of_shape_one_is_the_constant_rate(scale: float, interval: float) -> None:
    rate = 1 / scale
    plain = of.undetected_fraction(rate, interval)
    assert of.weibull_undetected_fraction(1, scale, interval) == pytest.approx(plain, rel=1e-6)
    assert of.weibull_undetected_fraction_at_age(1, scale, 77, interval) == pytest.approx(plain, rel=1e-9)
    assert of.weibull_worst_case(1, scale, 77, interval) == pytest.approx(of.worst_case(rate, interval))


@pytest.mark.parametrize(("shape", "interval"), [(0.7, 30), (1.8, 90), (3.0, 900)])
def test_simulated_renewals_agree_with_the_weibull_formula(shape: float, interval: float) -> None:
    share, spread = simulated(stats.weibull_min(shape, scale=1500), interval, 1, interval, 200_000, 3)
    assert abs(of.weibull_undetected_fraction(shape, 1500, interval) - share) < 4 * spread


def test_a_long_tail_of_life_is_summed_as_if_followed() -> None:
    # Shape 0.5, tested daily: the tail beyond 200,000 tests is taken by formula, here followed in full.
    followed = float(np.exp(-((np.arange(40_000_000) / 3000) ** 0.5)).sum())
    assert of._tests_lived(0.5, 3000, 1) == pytest.approx(followed, rel=1e-10)


@given(st.floats(0.5, 4), st.floats(200, 3000), st.floats(0, 2000), st.floats(1, 400))
def test_at_an_age_the_fraction_is_the_mean_of_the_conditional_chance(
    shape: float, scale: float, age: float, interval: float
) -> None:
    mean = integrate.quad(
        lambda u: of.weibull_worst_case(shape, scale, age, u) if u else 0.0,
        0,
        interval,
        epsrel=1e-9,
        limit=200,
    )[0]
    assert of.weibull_undetected_fraction_at_age(shape, scale, age, interval) == pytest.approx(
        mean / interval, rel=1e-5, abs=1e-12
    )


def test_on_its_actual_log_a_weibull_sensor_is_the_sum_of_integrals() -> None:
    gaps, life = [3, 40, 5, 90, 1], stats.weibull_min(1.7, scale=300)
    ends = np.cumsum([0, *gaps])
    whole = sum(
        integrate.quad(lambda t, a=a: life.cdf(t) - life.cdf(a), a, b, epsrel=1e-12)[0]
        for a, b in pairwise(ends.tolist())
    )
    assert of.weibull_undetected_fraction_of_log(1.7, 300, gaps) == pytest.approx(whole / 139, rel=1e-9)


@given(st.floats(0, 1), st.integers(1, 8))
def test_a_detector_is_up_when_all_its_channels_are(fraction: float, channels: int) -> None:
    assert of.of_detector(fraction, channels) == pytest.approx(1 - (1 - fraction) ** channels, abs=1e-14)


@given(rates, st.floats(1e-5, 0.5))
def test_the_longest_interval_keeps_the_target_and_hardly_a_longer_one_does(
    rate: float, target: float
) -> None:
    found = of.longest_interval(target, lambda t: of.undetected_fraction(rate, t), 3650)
    if found is None:
        assert of.undetected_fraction(rate, 3650e-6) > target
        return
    assert of.undetected_fraction(rate, found) <= target
    assert found == 3650 or of.undetected_fraction(rate, found * 1.000001) > target


def test_the_cheapest_interval_is_cheaper_than_its_neighbours() -> None:
    rate, test, hidden = 1e-4, 3.0, 50.0

    def cost(t: float) -> float:
        return test / t + hidden * rate * t / 2

    best = of.cheapest_interval(rate, test, hidden)
    assert cost(best) < min(cost(best * 0.99), cost(best * 1.01))


@pytest.mark.parametrize(("x", "kept"), [(0.25, 0.995), (1.0, 0.92)])
def test_coarse_tests_keep_most_of_what_is_known_about_a_rate(x: float, kept: float) -> None:
    # Fisher information of one test per interval over that of continuous watching, by its definition.
    q = exp(-x)
    by_definition = x * x * q / (1 - q) ** 2
    assert of.information_kept(x, 1) == pytest.approx(by_definition, rel=1e-12)
    assert of.information_kept(x, 1) == pytest.approx(kept, abs=2e-3)


@pytest.mark.parametrize("wrong", [0, -1, inf, float("nan")])
def test_rates_and_intervals_that_cannot_be_are_refused(wrong: float) -> None:
    calls: list[Callable[[], float]] = [
        lambda: of.undetected_fraction(wrong, 1),
        lambda: of.undetected_fraction(1, wrong),
        lambda: of.worst_case(wrong, 1),
        lambda: of.weibull_undetected_fraction(wrong, 1, 1),
        lambda: of.undetected_fraction_with_full_check(1, 1, 0.5, wrong),
    ]
    for call in calls:
        with pytest.raises(ValueError, match="must be a positive number"):
            call()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: of.undetected_fraction_of_log(1, []), "at least one gap"),
        (lambda: of.undetected_fraction_of_log(1, [1, 0]), "gap 1 is 0"),
        (lambda: of.undetected_fraction_of_log(1, [float("nan")]), "gap 0 is nan"),
        (lambda: of.undetected_fraction_with_full_check(1, 1, 1.1, 2), "coverage is 1.1"),
        (lambda: of.undetected_fraction_imperfect(1, 1, 0), "detects is 0"),
        (lambda: of.of_detector(0.1, 0), "at least one"),
        (lambda: of.of_detector(1.5, 1), "fraction is 1.5"),
        (lambda: of.weibull_worst_case(1, 1, -1, 1), "age is -1"),
        (lambda: of.weibull_undetected_fraction_at_age(1, 1, -2, 1), "age is -2"),
        (lambda: of.weibull_undetected_fraction_with_full_check(0.4, 1e6, 1, 0.5, 9), "too short"),
    ],
)
def test_what_cannot_be_is_refused_in_words(call: Callable[[], float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
