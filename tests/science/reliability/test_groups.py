"""Rates of groups: quadrature by another way, laws, coverage, a test whether they differ, refusals."""

from math import exp, inf, log

import numpy as np
import pytest
from scipy import integrate, stats

from pitbird.science.reliability import groups as of
from pitbird.science.reliability.exponential import Gaps
from pitbird.science.reliability.spans import Spans, spans


def fleet(random: np.random.Generator, rates: list[float], sensors: int = 20) -> list[Spans]:
    """Groups of sensors tested monthly for a year, rates per year."""
    made = []
    for rate in rates:
        last = np.minimum(np.floor(random.exponential(1 / rate, sensors) * 12), 12)
        made.append(spans(last / 12, np.where(last < 12, (last + 1) / 12, inf)))
    return made


FEW = spans([0.5, 1.0], [0.75, inf], [1, 19])
MORE = spans([0.25, 0.5, 1.0], [0.5, 0.75, inf], [3, 4, 13])
NONE = spans([1.0], [inf], [20])


@pytest.mark.parametrize("place", [-6, 0, 6])
def test_the_sums_are_the_integrals_of_the_prior_and_the_exact_likelihood(place: int) -> None:
    """One spread, mean flat in its logarithm: the marginal likelihood of each group by scipy's quadrature."""
    gaps = [Gaps.of(each) for each in (FEW, MORE)]
    grid = of._grid(gaps)
    likelihood = np.stack([of._likelihood(each, grid) for each in gaps], axis=1)
    nodes = list(of._nodes(grid, likelihood, 8))
    node = nodes[12]
    a = 1 / node.spread**2
    for g, each in enumerate(gaps):
        at = int(np.argmax(node.marginal[:, g])) + place
        mean = exp(grid[node.places[at]])
        most = max(each.log_likelihood(exp(x)) for x in grid)

        def weighted(rate: float, each: Gaps = each, mean: float = mean, most: float = most) -> float:
            return float(stats.gamma.pdf(rate, a, scale=mean / a) * exp(each.log_likelihood(rate) - most))

        direct = integrate.quad(weighted, 1e-9, 40, limit=500, points=[mean, 0.1, 1])[0]
        assert node.marginal[at, g] == pytest.approx(direct, rel=2e-3)
        begin = len(grid) - node.places[at]
        within = node.masses[begin : begin + len(grid)].sum()
        assert within + node.below[at] + node.above[at] == pytest.approx(1, abs=1e-9)


def test_each_group_is_drawn_towards_the_others() -> None:
    told = of.shrunk_rates([FEW, MORE, NONE])
    few, more, none = told.groups
    assert few.alone.rate is not None
    assert more.alone.rate is not None
    assert more.rate < more.alone.rate
    assert none.rate > 0
    assert none.rate_high < (none.alone.rate_high or 0) * 1.3
    assert none.rate < few.rate < more.rate
    assert none.above_mean < few.above_mean < more.above_mean
    assert told.mean_low < told.mean < told.mean_high
    for each in told.groups:
        assert each.rate_low < each.rate < each.rate_high


def test_the_unit_of_time_makes_no_difference() -> None:
    years = of.shrunk_rates([FEW, MORE])
    days = of.shrunk_rates(
        [Spans(each.left * 365.25, each.right * 365.25, each.count) for each in (FEW, MORE)]
    )
    for one, other in zip(years.groups, days.groups, strict=True):
        assert one.rate == pytest.approx(365.25 * other.rate, rel=2e-3)
        assert (one.rate_low, one.rate_high) == pytest.approx(
            (365.25 * other.rate_low, 365.25 * other.rate_high), rel=5e-3
        )


def test_many_groups_alike_are_known_nearly_as_well_as_their_whole() -> None:
    told = of.shrunk_rates([MORE] * 12)
    alone = told.groups[0].alone
    assert alone.rate is not None
    assert told.groups[0].rate == pytest.approx(alone.rate, rel=0.03)
    width = log(told.groups[0].rate_high / told.groups[0].rate_low)
    assert width < 0.75 * log((alone.rate_high or inf) / (alone.rate_low or 0.1))
    assert told.spread < 0.3


def test_a_group_all_of_which_failed_by_its_first_test_takes_part() -> None:
    told = of.shrunk_rates([spans([0], [0.1], [4]), MORE])
    assert told.groups[0].alone.rate is None
    assert told.groups[0].rate > told.groups[1].rate


@pytest.mark.slow
@pytest.mark.parametrize(("variance", "groups"), [(0.125, 12), (0.5, 8)])
def test_limits_hold_the_truth_as_often_as_they_say(variance: float, groups: int) -> None:
    """On the average over groups; 90 fleets, so three standard errors are some 3 %."""
    random = np.random.default_rng(8)
    held = seen = 0
    for _ in range(90):
        rates = np.maximum(random.gamma(1 / variance, 0.3 * variance, groups), 1e-4).tolist()
        for told, rate in zip(of.shrunk_rates(fleet(random, rates)).groups, rates, strict=True):
            held += told.rate_low <= rate <= told.rate_high
            seen += 1
    assert held / seen >= 0.92


def test_two_groups_compared_by_chance_are_the_exact_binomial_test() -> None:
    """Of 9 failures all in one of two groups watched alike: 2 x 0.5^9 = 0.0039, by hand."""
    one, other = spans([1 - 1e-6, 1], [1, inf], [9, 91]), spans([1 - 4.5e-8], [inf], [100])
    found = of.groups_differ([one, other], np.random.default_rng(1), rounds=40_000)
    assert found.p_value == pytest.approx(2 * 0.5**9, abs=0.001)
    # G by hand: 2 x 9 ln 2, with the Poisson likelihood that these short gaps leave.
    assert found.statistic == pytest.approx(18 * log(2), rel=1e-3)


def test_groups_alike_differ_by_chance_as_often_as_the_p_value_says() -> None:
    random = np.random.default_rng(3)
    p = [of.groups_differ(fleet(random, [0.3] * 4), random, rounds=199).p_value for _ in range(400)]
    # 400 draws of 5 % and 20 %: three standard errors.
    assert np.mean(np.array(p) <= 0.05) <= 0.083
    assert np.mean(np.array(p) <= 0.2) == pytest.approx(0.2, abs=0.065)


def test_groups_that_differ_are_found_and_the_seed_decides_the_draws() -> None:
    made = fleet(np.random.default_rng(4), [0.05, 0.05, 1.0])
    one, two = (of.groups_differ(made, np.random.default_rng(7)) for _ in range(2))
    assert one == two
    assert one.p_value < 0.001
    assert (one.groups, one.rounds) == (3, 9_999)


@pytest.mark.parametrize(
    ("groups", "words"),
    [
        ([MORE], "fewer than two groups"),
        ([NONE, NONE], "no group has a failure"),
        ([spans([0], [1]), spans([0], [2])], "only lower limits are known"),
    ],
)
def test_groups_of_which_nothing_can_be_said_are_refused_in_words(groups: list[Spans], words: str) -> None:
    with pytest.raises(of.NoGroups, match=words):
        of.shrunk_rates(groups)
    with pytest.raises(of.NoGroups, match=words):
        of.groups_differ(groups, np.random.default_rng(1))
