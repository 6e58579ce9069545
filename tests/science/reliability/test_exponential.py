"""A constant rate: published fits, exact limits of small fleets, posteriors, what has no estimate."""

from math import exp, inf, log, log1p

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from pitbird.science.reliability import exponential as module
from pitbird.science.reliability.exponential import clopper_pearson, fit_exponential, gamma_posterior
from pitbird.science.reliability.spans import Spans, spans
from tests.science.reliability import published

DAY = {"days": 1.0, "hours": 24.0, "years": 1 / 365.25}


@pytest.mark.parametrize("unit", DAY.values(), ids=DAY)
def test_cracks_give_the_rate_and_likelihood_of_r_survreg_in_any_unit(unit: float) -> None:
    # R survival 3.5-3, survreg(dist = "exponential") on Surv(type = "interval2").
    fit = fit_exponential(published.cracks(unit))
    assert fit.rate == pytest.approx(3.974996e-4 / unit, rel=2e-7)
    assert fit.log_likelihood == pytest.approx(-316.619676, abs=1e-6)
    assert fit.interval_method == "profile likelihood"


@pytest.mark.parametrize(
    ("seen", "rate", "log_likelihood"),
    [
        # The same program; turbine also by surpyval and lifelines.
        (published.turbine(), 0.0125106, -201.123726),
        (published.arm(published.RADIATION), 0.01626793, None),
        (published.arm(published.RADIATION_AND_CHEMOTHERAPY), 0.03415048, None),
    ],
    ids=["turbine", "radiation", "radiation and chemotherapy"],
)
def test_published_data_give_the_published_rate(
    seen: Spans, rate: float, log_likelihood: float | None
) -> None:
    fit = fit_exponential(seen)
    assert fit.rate == pytest.approx(rate, rel=3e-6)
    if log_likelihood is not None:
        assert fit.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)


def test_profile_limits_lie_where_the_likelihood_has_fallen_by_half_the_chi_squared_quantile() -> None:
    seen = published.cracks()
    fit = fit_exponential(seen, 0.9)
    assert fit.rate_low is not None
    assert fit.rate_high is not None
    fall = 0.5 * stats.chi2.ppf(0.9, 1)
    for rate in (fit.rate_low, fit.rate_high):
        p = np.exp(-rate * seen.left) - np.where(np.isinf(seen.right), 0, np.exp(-rate * seen.right))
        assert fit.log_likelihood - float(seen.count @ np.log(p)) == pytest.approx(fall, rel=1e-8)


def test_no_failure_in_twenty_instrument_years_leaves_an_upper_limit_only() -> None:
    # -ln(0.05)/20 = 0.1498; the rule of three gives 0.15.
    fit = fit_exponential(spans([1.0], [inf], [20]))
    assert (fit.outcome, fit.rate, fit.rate_low) == ("no failures", None, 0.0)
    assert fit.rate_high == pytest.approx(0.1498, abs=5e-5)
    assert not fit.converged
    assert "one-sided" in fit.interval_method


def test_when_all_failed_by_their_first_test_there_is_a_lower_limit_only() -> None:
    # Three sensors, all failed by day 10: (1 - exp(-10 rate))^3 = 0.05.
    fit = fit_exponential(spans([0], [10], [3]))
    assert (fit.outcome, fit.rate, fit.rate_high) == ("all failed by the first test", None, None)
    assert fit.rate_low == pytest.approx(-log1p(-(0.05 ** (1 / 3))) / 10, rel=1e-10)


def test_the_lower_limit_when_all_failed_solves_the_product_of_their_chances() -> None:
    fit = fit_exponential(spans([0, 0, 0], [5, 10, 400]))
    assert fit.rate_low is not None
    chance = np.prod([1 - exp(-fit.rate_low * t) for t in (5, 10, 400)])
    assert chance == pytest.approx(0.05, rel=1e-9)


def test_when_nothing_was_observed_it_says_so() -> None:
    fit = fit_exponential(spans([0], [inf]))
    assert (fit.outcome, fit.rate_low, fit.rate_high) == ("nothing observed", None, None)
    assert "nothing was observed" in fit.why


def test_few_failures_on_equal_intervals_have_the_limits_of_clopper_and_pearson() -> None:
    # 20 sensors tested every 30 d for a year of 12 tests; one failed at the first test, one at the fourth.
    seen = spans([0, 90, 360], [30, 120, inf], [1, 1, 18])
    fit = fit_exponential(seen)
    trials = 1 + 4 + 12 * 18
    assert fit.rate == pytest.approx(-log(1 - 2 / trials) / 30, rel=1e-12)
    # scipy.stats.binomtest is the other program.
    exact = stats.binomtest(2, trials).proportion_ci(method="exact")
    assert fit.rate_low == pytest.approx(-log1p(-exact.low) / 30, rel=1e-9)
    assert fit.rate_high == pytest.approx(-log1p(-exact.high) / 30, rel=1e-9)
    assert "Clopper-Pearson" in fit.interval_method


def test_few_failures_on_unequal_intervals_have_bracketed_poisson_limits() -> None:
    seen = spans([10, 45, 300], [17, 80, inf], [1, 1, 9])
    fit = fit_exponential(seen)
    assert fit.rate_low == pytest.approx(stats.chi2.ppf(0.025, 4) / 2 / (seen.exposure + 7 + 35), rel=1e-9)
    assert fit.rate_high == pytest.approx(stats.chi2.ppf(0.975, 6) / 2 / seen.exposure, rel=1e-9)
    assert "bracketed" in fit.interval_method


@given(st.integers(1, 4), st.integers(0, 200), st.floats(0.5, 400))
def test_bracketed_limits_are_never_narrower_than_the_exact_ones(
    failed: int, passed: int, step: float
) -> None:
    trials = failed + passed
    low, high = (-log1p(-p) / step if p < 1 else inf for p in clopper_pearson(failed, trials))
    longest, shortest = trials * step, passed * step
    assert stats.gamma.ppf(0.025, failed) / longest <= low * (1 + 1e-9)
    if shortest:
        assert stats.gamma.ppf(0.975, failed + 1) / shortest >= high * (1 - 1e-9)


@pytest.mark.parametrize(
    ("failed", "trials", "low", "high"),
    # Exact limits in per cent; common practice, no source: binomial tables.
    [(0, 300, 0, 1.22), (3, 1000, 0.062, 0.874), (1, 2500, 0.0010, 0.223), (12, 4000, 0.155, 0.523)],
)
def test_clopper_pearson_limits_of_the_trade(failed: int, trials: int, low: float, high: float) -> None:
    limits = clopper_pearson(failed, trials)
    assert [round(100 * limits[0], 4), round(100 * limits[1], 3)] == [
        pytest.approx(low, abs=6e-4),
        pytest.approx(high, abs=6e-3),
    ]


def test_the_one_sided_limit_of_none_in_three_hundred_is_near_one_per_cent() -> None:
    # 1 - 0.05^(1/300) = 0.99 %; the rule of three gives 1.0 %.
    assert 100 * clopper_pearson(0, 300, 0.90)[1] == pytest.approx(0.99, abs=0.005)


@given(
    st.lists(st.tuples(st.floats(0, 400), st.floats(0.1, 200)), min_size=1, max_size=8),
    st.floats(1, 900),
    st.floats(1e-3, 1e3),
)
def test_the_fit_is_the_same_in_any_unit(failed: list[tuple[float, float]], good: float, unit: float) -> None:
    left = np.array([a for a, _ in failed] + [good])
    right = np.array([a + d for a, d in failed] + [inf])
    one, other = fit_exponential(spans(left, right)), fit_exponential(spans(left * unit, right * unit))
    assert one.rate is not None
    assert other.rate == pytest.approx(one.rate / unit, rel=1e-9)
    assert other.rate_low == pytest.approx((one.rate_low or 0) / unit, rel=1e-7)
    assert other.rate_high == pytest.approx((one.rate_high or 0) / unit, rel=1e-7)
    assert (one.rate_low or 0) < one.rate < (one.rate_high or 0)


@given(st.integers(5, 60), st.integers(1, 400), st.floats(0.01, 1000))
def test_equal_intervals_have_the_closed_estimate(failed: int, passed: int, step: float) -> None:
    fit = fit_exponential(spans([0, step], [step, inf], [failed, passed]))
    assert fit.rate == pytest.approx(-log1p(-failed / (failed + passed)) / step, rel=1e-10)


@given(
    st.lists(st.tuples(st.floats(0, 1e4), st.floats(1e-3, 3e3)), min_size=5, max_size=20),
    st.floats(0.1, 1e5),
)
def test_slopes_are_those_of_the_likelihood(failed: list[tuple[float, float]], good: float) -> None:
    seen = spans([a for a, _ in failed] + [good], [a + d for a, d in failed] + [inf])
    gaps = module.Gaps.of(seen)
    rate = len(failed) / (good + sum(a + d for a, d in failed))
    h = 1e-4
    up, mid, down = (gaps.slopes(rate * exp(s))[0] for s in (h, 0, -h))
    _, first, second = gaps.slopes(rate)
    assert first == pytest.approx((up - down) / (2 * h), rel=1e-5, abs=1e-5)
    assert second == pytest.approx((up - 2 * mid + down) / h**2, rel=1e-2, abs=1e-3)


def test_without_failures_the_posterior_is_the_gamma_of_prior_and_exposure() -> None:
    post = gamma_posterior(spans([1.0], [inf], [20]), shape=0.5, rate=2.0, confidence=0.9)
    exact = stats.gamma(0.5, scale=1 / 22)
    assert [post.mean, post.median, post.low, post.high] == pytest.approx(
        [exact.mean(), exact.median(), exact.ppf(0.05), exact.ppf(0.95)], rel=1e-9
    )


def test_with_failures_the_posterior_is_the_quotient_of_integrals() -> None:
    seen = spans([0, 30, 100, 365], [20, 95, 110, inf], [1, 2, 1, 25])
    shape, prior_rate = 1.5, 400.0

    def density(rate: float) -> float:
        p = [
            1 - exp(-20 * rate),
            (exp(-30 * rate) - exp(-95 * rate)) ** 2,
            exp(-100 * rate) - exp(-110 * rate),
        ]
        scaled = [p[0] * 1e2, p[1] * 1e4, p[2] * 1e3]
        return (
            float(rate ** (shape - 1)) * exp(-(prior_rate + 365 * 25) * rate) * float(np.prod(scaled)) * 1e5
        )

    post = gamma_posterior(seen, shape=shape, rate=prior_rate)
    # scipy.integrate (QUADPACK) is the other program.
    whole = integrate.quad(density, 0, 0.02, epsabs=0, epsrel=1e-11, limit=500)[0]
    mean = integrate.quad(lambda r: r * density(r), 0, 0.02, epsabs=0, epsrel=1e-11, limit=500)[0] / whole
    assert post.mean == pytest.approx(mean, rel=1e-8)
    for limit, share in ((post.low, 0.025), (post.median, 0.5), (post.high, 0.975)):
        below = integrate.quad(density, 0, limit, epsabs=0, epsrel=1e-11, limit=500)[0]
        assert below / whole == pytest.approx(share, rel=1e-7)


def test_a_posterior_that_nothing_bounds_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing bounds the rate above"):
        gamma_posterior(spans([0], [10], [3]), shape=1, rate=0)


@pytest.mark.parametrize(("shape", "rate"), [(0, 1), (-1, 1), (inf, 1), (1, -1), (1, inf), (float("nan"), 1)])
def test_a_prior_that_cannot_be_is_refused(shape: float, rate: float) -> None:
    with pytest.raises(ValueError, match="the prior's"):
        gamma_posterior(spans([1], [2]), shape=shape, rate=rate)


@pytest.mark.parametrize("confidence", [0, 1, -0.5, 95, float("nan")])
def test_a_confidence_outside_0_to_1_is_refused(confidence: float) -> None:
    with pytest.raises(ValueError, match="must lie between 0 and 1"):
        fit_exponential(spans([1], [2]), confidence)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sensors", "rate", "at_least", "at_most"),
    # 400 fleets: three standard errors of 95 % are 3.3 %. Few failures: exact limits, never below.
    [(20, 0.1, 0.95, 1.0), (20, 0.5, 0.917, 0.99), (200, 0.1, 0.917, 0.983)],
)
def test_limits_of_simulated_fleets_cover_the_truth(
    sensors: int, rate: float, at_least: float, at_most: float
) -> None:
    random = np.random.default_rng(20_26)
    month = 1 / 12
    covered = []
    for _ in range(400):
        life = random.exponential(1 / rate, sensors)
        last = np.minimum(np.floor(life / month), 12)
        fit = fit_exponential(spans(last * month, np.where(last < 12, (last + 1) * month, inf)))
        covered.append((fit.rate_low or 0) <= rate <= (inf if fit.rate_high is None else fit.rate_high))
    assert at_least <= np.mean(covered) <= at_most
