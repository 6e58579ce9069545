"""Shape and scale: published fits, limits, the same in any unit, and what has no finite maximum."""

from math import exp, inf, log

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy import optimize, stats

from pitbird.science.reliability import weibull as module
from pitbird.science.reliability.exponential import fit_exponential
from pitbird.science.reliability.spans import Spans, spans
from pitbird.science.reliability.weibull import WHY, fit_weibull
from tests.science.reliability import published

UNITS = {"days": 1.0, "hours": 24.0, "years": 1 / 365.25}


@pytest.mark.parametrize("unit", UNITS.values(), ids=UNITS)
def test_cracks_give_the_fit_of_r_survreg_and_the_printed_errors_in_any_unit(unit: float) -> None:
    # R survival tests/r_sas.Rout.save: intercept 7.6880 (SE 0.0744), log scale -0.3953 (SE 0.0987),
    # ll -309.6; more digits and profile limits with R survival 3.5-3.
    fit = fit_weibull(published.cracks(unit))
    assert fit.outcome == "estimated"
    assert fit.scale is not None
    assert fit.shape is not None
    assert log(fit.scale / unit) == pytest.approx(7.6880, abs=5e-5)
    assert log(1 / fit.shape) == pytest.approx(-0.3953, abs=5e-5)
    assert fit.se_log_scale == pytest.approx(0.0744, abs=5e-5)
    assert fit.se_log_shape == pytest.approx(0.0987, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-309.631181, abs=1e-6)
    assert [fit.shape, fit.shape_low, fit.shape_high] == pytest.approx(
        [1.484768, 1.215209, 1.789999], rel=1e-6
    )
    scale = [x / unit if x else x for x in (fit.scale, fit.scale_low, fit.scale_high)]
    assert scale == pytest.approx([2182.0041, 1907.537, 2567.326], rel=1e-6)


@pytest.mark.parametrize(
    ("seen", "shape", "scale", "log_likelihood"),
    [
        # survreg, surpyval, lifelines and a complementary log-log model of log age agree on the turbine
        # wheels; the arms with survreg.
        (published.turbine(), 2.175780, 46.77723, -189.287193),
        (published.arm(published.RADIATION), 1.121613, 57.51310, -64.731471),
        (published.arm(published.RADIATION_AND_CHEMOTHERAPY), 2.030238, 28.04247, -75.715068),
    ],
    ids=["turbine", "radiation", "radiation and chemotherapy"],
)
def test_published_data_give_the_published_fit(
    seen: Spans, shape: float, scale: float, log_likelihood: float
) -> None:
    fit = fit_weibull(seen)
    assert fit.shape == pytest.approx(shape, rel=1e-6)
    assert fit.scale == pytest.approx(scale, rel=1e-6)
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)


def value(seen: Spans, shape: float, scale: float) -> float:
    """The log-likelihood by scipy's distribution."""
    life = stats.weibull_min(shape, scale=scale)
    with np.errstate(divide="ignore", over="ignore"):
        p = life.cdf(seen.right) - life.cdf(seen.left)
        return float(seen.count @ np.log(np.where(np.isinf(seen.right), life.sf(seen.left), p)))


@pytest.mark.parametrize("seen", [published.cracks(), published.turbine()], ids=["cracks", "turbine"])
def test_limits_lie_where_the_profile_has_fallen_by_half_the_chi_squared_quantile(seen: Spans) -> None:
    fit = fit_weibull(seen, 0.9)
    assert fit.scale is not None
    assert fit.shape is not None
    assert fit.log_likelihood is not None
    wanted = fit.log_likelihood - 0.5 * stats.chi2.ppf(0.9, 1)
    around = log(fit.scale) - 1, log(fit.scale) + 1
    for limit in (fit.shape_low, fit.shape_high):
        assert limit is not None
        best = optimize.minimize_scalar(
            lambda s, k=limit: -value(seen, k, exp(s)), bounds=around, options={"xatol": 1e-9}
        )
        assert -best.fun == pytest.approx(wanted, abs=1e-6)
    for limit in (fit.scale_low, fit.scale_high):
        assert limit is not None
        best = optimize.minimize_scalar(
            lambda s, x=limit: -value(seen, exp(s), x),
            bounds=(log(fit.shape) - 1, log(fit.shape) + 1),
            options={"xatol": 1e-9},
        )
        assert -best.fun == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize(
    ("left", "right", "count", "outcome"),
    [
        ([10], [inf], [5], "no failures"),
        ([0], [inf], [5], "nothing observed"),
        ([0, 0], [10, 20], [5, 1], "all failed by the first test"),
        ([10], [20], [1], "shape without bound"),
        ([10, 5], [20, 15], [1, 1], "shape without bound"),
        # One inspection age only: shape and scale cannot be told apart.
        ([0, 10], [10, inf], [3, 7], "shape without bound"),
        # Inspected at 10 and 20: half failed at 10, a quarter at 20.
        ([0, 10, 0, 20], [10, inf, 20, inf], [2, 2, 1, 3], "shape towards zero"),
        # The same share at both ages: the maximum lies at shape 0 itself.
        ([0, 10, 0, 20], [10, inf, 20, inf], [2, 2, 2, 2], "shape towards zero"),
    ],
)
def test_a_likelihood_without_a_finite_maximum_gives_no_number_and_says_why(
    left: list[float], right: list[float], count: list[int], outcome: str
) -> None:
    fit = fit_weibull(spans(left, right, count))
    assert fit.outcome == outcome
    assert not fit.converged
    assert fit.why == WHY[fit.outcome]
    assert fit.why
    numbers = (fit.shape, fit.shape_low, fit.shape_high, fit.scale, fit.scale_low, fit.scale_high)
    assert numbers == (None,) * 6


def test_a_likelihood_said_to_grow_without_end_does_grow() -> None:
    towards_zero = spans([0, 10, 0, 20], [10, inf, 20, inf], [2, 2, 1, 3])
    best = [
        optimize.minimize_scalar(
            lambda c, k=k: -value(towards_zero, k, exp(c / k)), bounds=(-3, 3), options={"xatol": 1e-10}
        ).fun
        for k in (1, 0.3, 0.1, 0.03)
    ]
    assert sorted(best, reverse=True) == best
    without_bound = spans([10, 5], [20, 15])
    grown = [value(without_bound, k, 12.5) for k in (1, 2, 5, 10, 20)]
    assert sorted(grown) == grown


def test_limits_that_the_data_do_not_bound_are_left_open_and_said() -> None:
    # Slightly more failed at the greater age; an age-independent chance fits almost as well.
    fit = fit_weibull(spans([0, 10, 0, 20], [10, inf, 20, inf], [2, 8, 4, 6]))
    assert fit.outcome == "estimated"
    assert (fit.shape_low, fit.scale_high) == (None, None)
    assert fit.shape_high is not None
    assert fit.scale_low is not None
    assert "do not bound the shape from below" in fit.why
    assert "do not bound the scale from above" in fit.why


pairs = st.lists(
    st.tuples(
        st.one_of(st.just(0.0), st.floats(1, 900)), st.floats(1, 300), st.booleans(), st.integers(1, 4)
    ),
    min_size=2,
    max_size=15,
)


def made(rows: list[tuple[float, float, bool, int]], unit: float = 1.0) -> Spans:
    left = np.array([a for a, *_ in rows]) * unit
    right = np.array([inf if good else a + d for a, d, good, _ in rows]) * unit
    return spans(left, right, [n for *_, n in rows])


NEARLY_FLAT = [
    (0.0, 2.0, False, 1), (1.0, 1.0, True, 1), (113.0, 1.0, True, 4), (272.0, 1.0, True, 3),
    (799.0, 1.0, False, 2),
]  # fmt: skip


OUT_OF_NUMBERS = [
    (0.0, 50.0, False, 3), (0.0, 53.0, False, 1), (53.0, 1.0, True, 3), (50.0, 59.0, False, 2),
    (231.0, 1.0, True, 1), (233.0, 1.0, True, 2), (243.0, 1.0, True, 1), (216.0, 1.0, True, 2),
    (705.0, 1.0, True, 3),
]  # fmt: skip


@example(NEARLY_FLAT, 24.0)
@example(OUT_OF_NUMBERS, 24.0)
@given(pairs, st.sampled_from([24.0, 1 / 365.25, 86400.0]))
def test_the_fit_is_the_same_in_any_unit(rows: list[tuple[float, float, bool, int]], unit: float) -> None:
    one, other = fit_weibull(made(rows)), fit_weibull(made(rows, unit))
    assume(one.outcome == "estimated")
    assert other.outcome == "estimated"
    assert other.shape == pytest.approx(one.shape, rel=1e-6)
    assert one.scale is not None
    assert other.scale == pytest.approx(one.scale * unit, rel=1e-6)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-9)


@example([(0.0, 1.0, False, 1), (1.0000000000000002, 1.0, False, 1)])
@given(pairs)
def test_it_is_never_less_likely_than_the_exponential_nor_than_its_neighbours(
    rows: list[tuple[float, float, bool, int]],
) -> None:
    seen = made(rows)
    fit = fit_weibull(seen)
    assert fit.outcome != "not converged"
    assume(fit.outcome == "estimated" and fit.shape is not None and 1e-2 < fit.shape < 60)
    assert fit.shape is not None
    assert fit.scale is not None
    assert fit.log_likelihood is not None
    assert fit.log_likelihood >= fit_exponential(seen).log_likelihood - 1e-9
    for k, s in ((1.01, 1), (0.99, 1), (1, 1.01), (1, 0.99)):
        assert value(seen, fit.shape * k, fit.scale * s) <= fit.log_likelihood + 1e-7
    for low, best, high in (
        (fit.shape_low, fit.shape, fit.shape_high),
        (fit.scale_low, fit.scale, fit.scale_high),
    ):
        assert (low or 0) < best < (high or inf)


@given(pairs, st.floats(0.4, 3))
def test_gradient_and_hessian_are_those_of_the_likelihood(
    rows: list[tuple[float, float, bool, int]], k: float
) -> None:
    like = module.Likelihood.of(made(rows), 400.0)
    h = 1e-4
    at = like.sums(0.1, k)
    up_a, down_a = like.sums(0.1 + h, k), like.sums(0.1 - h, k)
    up_k, down_k = like.sums(0.1, k + h), like.sums(0.1, k - h)
    numeric = [
        (up_a.value - down_a.value, at.a), (up_k.value - down_k.value, at.k), (up_a.a - down_a.a, at.aa),
        (up_a.k - down_a.k, at.ak), (up_k.a - down_k.a, at.ak), (up_k.k - down_k.k, at.kk),
    ]  # fmt: skip
    for difference, exact in numeric:
        assert difference / (2 * h) == pytest.approx(exact, rel=1e-4, abs=1e-4)


@given(pairs)
def test_the_careful_search_finds_the_limits_of_the_quick_one(
    rows: list[tuple[float, float, bool, int]],
) -> None:
    seen = made(rows)
    fit = fit_weibull(seen)
    assume(fit.outcome == "estimated" and fit.shape_high is not None and 0.05 < (fit.shape or 0) < 20)
    assert fit.shape is not None
    assert fit.scale is not None
    assert fit.log_likelihood is not None
    assert fit.se_log_shape is not None
    like = module.Likelihood.of(seen, 1.0)
    cut = fit.log_likelihood - 0.5 * float(stats.chi2.ppf(0.95, 1))
    top = np.array([log(fit.shape), log(fit.scale)])
    reach = 1.96 * fit.se_log_shape
    searched = module._searched_limit(like, top, 0, reach, cut)
    assert searched is not None
    assert exp(searched) == pytest.approx(fit.shape_high, rel=1e-5)


def test_limits_can_be_left_out() -> None:
    fit = fit_weibull(published.cracks(), limits=False)
    assert fit.shape is not None
    assert (fit.shape_low, fit.interval_method) == (None, "none asked for")


@pytest.mark.slow
def test_a_large_fleet_gives_back_the_truth_and_starts_from_a_part() -> None:
    random = np.random.default_rng(7)
    life = 900 * random.weibull(1.4, 40_000)
    gap = random.uniform(10, 60, 40_000)
    left = np.floor(np.minimum(life, 1500) / gap) * gap
    right = np.where(left + gap > 1500, inf, left + gap)
    fit = fit_weibull(spans(left, right))
    assert fit.shape == pytest.approx(1.4, rel=5 / 40_000**0.5)
    assert fit.scale == pytest.approx(900, rel=5 / 40_000**0.5)
