"""A prior from a share found failed: the rate that it stands for, and its weight against a record."""

from __future__ import annotations

from math import exp, inf, log

import pytest

from pitbird.science.reliability import prevalence as of
from pitbird.science.reliability.exponential import gamma_posterior
from pitbird.science.reliability.spans import spans


def test_a_share_found_failed_is_a_prior_only_with_the_time_it_stands_for() -> None:
    """1 in 2,500 untested for 30 days: by hand 2500 x 30 days to a failure, less half a part in 2,500."""
    prior = of.prevalence_prior(1 / 2500, 30, 2)
    assert 1 / prior.mean_rate == pytest.approx(74_985, abs=1)
    assert prior.shape / prior.rate_time == pytest.approx(prior.mean_rate)
    seen = spans([300.0], [inf], [100])
    assert prior.weight(seen) == pytest.approx(149_970 / 179_970, rel=1e-6)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((0, 1, 1), "prevalence is 0"),
        ((0.1, 0, 1), "mean_time_untested is 0"),
        ((0.1, 1, inf), "worth_failures"),
    ],
)
def test_a_prior_that_stands_for_nothing_is_refused(given: tuple[float, float, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        of.prevalence_prior(*given)


@pytest.mark.parametrize(("one_in", "days"), [(2500, 30), (10, 1), (2, 365.25)])
def test_its_rate_gives_back_the_share_after_the_time_untested(one_in: float, days: float) -> None:
    """The chance of having failed within the time: 1 - exp(-rate t), IEC 61508-6:2010, B.3.2."""
    prior = of.prevalence_prior(1 / one_in, days, 1)
    assert 1 - exp(-prior.mean_rate * days) == pytest.approx(1 / one_in, rel=1e-12)


def test_its_weight_is_its_share_in_the_posterior_mean() -> None:
    """Gamma prior and Poisson count: the posterior mean is the weighted mean of both rates (Gelman et al.,
    Bayesian Data Analysis, 3rd ed., section 2.6, from memory)."""
    prior = of.prevalence_prior(1 / 100, 20, 3)
    # Gaps short against the life: the failures lie as good as in their middle.
    seen = spans([99.9, 200], [100.1, inf], [4, 50])
    w, rate = prior.weight(seen), 4 / (4 * 100 + 50 * 200)
    told = gamma_posterior(seen, shape=prior.shape, rate=prior.rate_time)
    assert told.mean == pytest.approx(w * prior.mean_rate + (1 - w) * rate, rel=1e-8)


def test_where_all_failed_by_their_first_test_the_record_still_weighs() -> None:
    prior = of.prevalence_prior(0.5, log(2), 1)  # a rate of 1
    assert prior.weight(spans([0], [2.0], [3])) == pytest.approx(1 / (1 + 3))
