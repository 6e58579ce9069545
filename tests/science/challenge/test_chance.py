"""The product of two normal numbers: closed cases, quadrature of another kind, drawn numbers."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from pitbird.science.challenge.chance import nodes, product_reaches


def by_quadrature(need: float, mean: float, sd: float, span_sd: float) -> float:
    """The same by Gauss-Legendre over the span, in panels far narrower than either spread."""
    node, weight = np.polynomial.legendre.leggauss(20)
    low, high = 1 - 12 * span_sd, 1 + 12 * span_sd
    width = min(span_sd / 2, sd / mean, 0.05)
    turns = [turn for turn in (0.0, need / mean) if low < turn < high]
    edges = np.unique([*np.linspace(low, high, int((high - low) / width) + 2), *turns])
    a, b = edges[:-1, None], edges[1:, None]
    y = (a + b) / 2 + (b - a) / 2 * node
    inner = np.where(y > 0, mean - need / y, need / y - mean) / sd
    return float(((b - a) / 2 * weight * norm.pdf(y, 1, span_sd) * norm.cdf(inner)).sum())


@pytest.mark.parametrize("span_sd", [0.002, 0.03, 0.08, 0.2, 0.4])
@pytest.mark.parametrize("sd", [0.002, 0.03, 0.08, 0.2, 0.4])
@pytest.mark.parametrize("need", [0.4, 0.85, 0.97, 1.0, 1.1, 1.6])
def test_it_is_the_integral_over_the_span(need: float, sd: float, span_sd: float) -> None:
    assert product_reaches(100 * need, 100, 100 * sd, span_sd) == pytest.approx(
        by_quadrature(100 * need, 100, 100 * sd, span_sd), abs=1e-9
    )


def test_with_one_of_the_two_certain_it_is_the_distribution_of_the_other() -> None:
    assert product_reaches(95, 100, 0, 0.05) == pytest.approx(norm.sf(0.95, 1, 0.05), rel=1e-13)
    assert product_reaches(95, 100, 4, 0) == pytest.approx(norm.sf(95, 100, 4), rel=1e-13)
    assert product_reaches(95, -100, 0, 0.5) == pytest.approx(norm.cdf(-0.95, 1, 0.5), rel=1e-10)


def test_with_both_certain_it_is_yes_or_no() -> None:
    assert product_reaches(100, 100, 0, 0) == 1
    assert product_reaches(100.000001, 100, 0, 0) == 0
    assert product_reaches(1, 0, 0, 0.3) == 0


def test_two_numbers_without_a_mean_of_their_own_have_a_known_product() -> None:
    # X with mean 0: P(X Y >= k) = E[Phi(-k / (sd |Y|))], here with Y nearly certain: Phi(-k / sd).
    assert product_reaches(1, 0, 2, 1e-9) == pytest.approx(norm.cdf(-0.5), rel=1e-9)


def test_a_normal_approximation_of_the_product_would_be_wrong_to_the_unsafe_side() -> None:
    """Mean m, variance m^2 (a^2 + b^2 + a^2 b^2), as a product's moments are; the product is skewed."""
    a = b = 0.1
    approximate = norm.sf(0.70, 1, math.sqrt(a * a + b * b + a * a * b * b))
    exact = product_reaches(0.70, 1, a, b)
    assert exact == pytest.approx(by_quadrature(0.70, 1, a, b), abs=1e-9)
    assert abs(exact - approximate) > 1e-3


@pytest.mark.parametrize(
    ("need", "mean", "sd", "span_sd"), [(30, 35, 2, 0.1), (1.4, 1.6, 0.2, 0.05), (20, 21, 6, 0.3)]
)
def test_drawn_numbers_agree(need: float, mean: float, sd: float, span_sd: float) -> None:
    drawn, random = 2_000_000, np.random.default_rng(11)
    share = float((random.normal(mean, sd, drawn) * random.normal(1, span_sd, drawn) >= need).mean())
    p = product_reaches(need, mean, sd, span_sd)
    assert share == pytest.approx(p, abs=4.5 * math.sqrt(p * (1 - p) / drawn))


@given(
    mean=st.floats(0.1, 100), sd=st.floats(0, 0.3), span_sd=st.floats(0, 0.3), need=st.floats(0.1, 2),
    more=st.floats(0, 1),
)  # fmt: skip
def test_it_is_a_probability_and_falls_as_more_is_needed(
    mean: float, sd: float, span_sd: float, need: float, more: float
) -> None:
    here = product_reaches(need * mean, mean, sd * mean, span_sd)
    there = product_reaches((need + more) * mean, mean, sd * mean, span_sd)
    assert -1e-12 <= there <= here + 1e-9 <= 1 + 1e-9


def test_weights_sum_to_one_and_have_the_moments_of_a_normal_number() -> None:
    for step in (0.5, 0.0625, 0.01):
        moments = [math.fsum(weight * z**n for z, weight in nodes(step)) for n in (0, 1, 2, 4)]
        assert moments == pytest.approx([1, 0, 1, 3], abs=1e-12)
