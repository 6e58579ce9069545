"""Failure rates of several groups at once: channel kinds, detector types, sites.

`shrunk_rates` draws the rate of each group towards the others as far as the data ask for; `groups_differ`
tests whether their rates differ by more than chance.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.signal import fftconvolve
from scipy.special import gammainc, gammaincc

from pitbird.science.reliability.exponential import (
    ExponentialFit,
    Gaps,
    check_confidence,
    fit_exponential,
)
from pitbird.science.reliability.spans import FloatArray, IntArray, Spans

#: Coefficients of variation of the rates over which is integrated: equal chances of tan(u), a half-Cauchy
#: distribution of scale 1.
_SPREADS: Final = np.tan((np.arange(24) + 0.5) * (1.4 / 24))
#: Step of log rate, coarse and fine, and the share of weight below which a point is left out.
_STEP: Final = 0.02
_FINEST: Final = 0.005
_NOTHING: Final = 1e-10
#: Limits are taken at this share of their tails: at the whole of them limits of 95 % held 93 to 95 % of
#: simulated groups.
_TAIL: Final = 0.75


@dataclass(frozen=True, slots=True)
class GroupRate:
    """The rate of one group [1/unit of time], in the light of all groups."""

    failures: int
    exposure: float
    #: The group by itself, with its own limits.
    alone: ExponentialFit
    #: Median and equal-tailed limits of the posterior.
    rate: float
    rate_low: float
    rate_high: float
    #: Chance that its rate lies above the mean of the groups.
    above_mean: float


@dataclass(frozen=True, slots=True)
class GroupRates:
    """Rates of groups, their mean and how far they lie apart."""

    groups: tuple[GroupRate, ...]
    mean: float
    mean_low: float
    mean_high: float
    #: Coefficient of variation of the rates between groups: median of its posterior.
    spread: float
    confidence: float


class NoGroups(ValueError):
    """Groups of which nothing can be said together; the message says why."""


def shrunk_rates(groups: Sequence[Spans], confidence: float = 0.95) -> GroupRates:
    r"""Rates of groups whose true rates scatter about a mean: full Bayes under the exact likelihood.

    .. math:: \lambda_g \sim \Gamma(a, a/\mu), \quad L_g(\lambda) = e^{-\lambda \sum L_i}
        \prod_{failed} (1 - e^{-\lambda (R_i - L_i)})

    Parameters
    ----------
    groups : sequence of Spans
        Observations ``(left, right]`` of each group, in one unit; two groups or more.
    confidence : float
        Of each pair of limits, [-].

    Returns
    -------
    GroupRates
        In the order of the groups.

    Notes
    -----
    Mean mu and coefficient of variation s = 1/sqrt(a) of the rates are not put at one best value, which
    makes limits too narrow where groups are nearly equal, but integrated over. For medians s is half-Cauchy
    of scale 1, for limits of groups flat (up to 5.8); mu is flat in log mu for lower limits and in mu for
    upper ones, so that limits of groups that are surely alike would be the exact Poisson limits of the whole,
    and halfway for medians. Limits are taken at three quarters of their tails, which makes up for what is
    left. Sums over a grid in log rate of step 0.02 or finer; prior masses per step are exact.

    The limits hold the confidence on the average over groups; one that lies far from all others is drawn
    towards them, and `alone` has its own limits.

    Raises
    ------
    NoGroups
        Fewer than two groups; no failure at all (then only the exact upper limits of each and of the whole
        are known); nobody good at any test.

    References
    ----------
    .. [1] A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, chapter 5 (hierarchical models), and A.
       Gelman, Bayesian Analysis 1 (2006) 515 (half-Cauchy prior of a spread).

    Examples
    --------
    >>> from pitbird.science.reliability.spans import spans
    >>> ends = [90, 100], [95, float("inf")]
    >>> told = shrunk_rates([spans(*ends, [2, 40]), spans(*ends, [9, 40])]).groups
    >>> told[0].alone.rate < told[0].rate < told[1].rate < told[1].alone.rate
    True
    """
    check_confidence(confidence)
    gaps = _checked(groups)
    grid = _grid(gaps)
    likelihood = np.stack([_likelihood(each, grid) for each in gaps], axis=1)
    nodes = list(_nodes(grid, likelihood, sum(each.failures for each in gaps)))
    top = max(float(node.log_weight.max()) for node in nodes)
    tail = _TAIL * 0.5 * (1 - confidence)
    sums = [
        _Sums(nodes, likelihood, grid, top, power=power, flat=flat)
        for power, flat in ((0.0, True), (0.5, False), (1.0, True))
    ]
    low, middle, high = sums[0].quantiles(tail), sums[1].quantiles(0.5), sums[2].quantiles(1 - tail)
    rates = tuple(
        GroupRate(
            seen.failures, seen.exposure, fit_exponential(seen, confidence), float(middle[g]), float(low[g]),
            float(high[g]), float(sums[1].above[g]),
        )
        for g, seen in enumerate(groups)
    )  # fmt: skip
    mean, mean_low, mean_high = (sums[1].mean(p) for p in (0.5, tail, 1 - tail))
    return GroupRates(rates, mean, mean_low, mean_high, sums[1].spread(), confidence)


def _checked(groups: Sequence[Spans]) -> list[Gaps]:
    if len(groups) < 2:
        raise NoGroups("there are fewer than two groups: nothing to compare")
    gaps = [Gaps.of(seen) for seen in groups]
    if not any(each.failures for each in gaps):
        raise NoGroups("no group has a failure: only upper limits are known, of each group and of the whole")
    if not any(each.good for each in gaps):
        raise NoGroups("in every group all failed by their first test: only lower limits are known")
    return gaps


def _grid(gaps: Sequence[Gaps]) -> FloatArray:
    """Log rates wide enough that beyond them no likelihood changes any more, or all have gone to nothing."""
    failures = sum(each.failures for each in gaps)
    middle = sum(0.5 * (each.good + each.longest) for each in gaps)
    low = math.log(1e-3 / max(each.longest for each in gaps))
    high = max(
        (each.failures + 8 * math.sqrt(each.failures + 1) + 30) / (0.5 * (each.good + each.longest))
        for each in gaps
        if each.longest
    )
    low = min(low, math.log(failures / middle) - 9)
    step = max(_FINEST, min(_STEP, 0.25 / math.sqrt(failures)))
    return np.arange(low, math.log(high) + 2 + step, step)


def _likelihood(gaps: Gaps, grid: FloatArray) -> FloatArray:
    """Likelihood of one group at each rate of the grid, its largest 1."""
    rate = np.exp(grid)
    value = -rate * gaps.good
    for gap, count in zip(gaps.gap.tolist(), gaps.count.tolist(), strict=True):
        value = value + count * np.log(-np.expm1(-rate * gap))
    likelihood: FloatArray = np.exp(value - value.max())
    return likelihood


@dataclass(frozen=True, slots=True, eq=False)
class _Node:
    """One coefficient of variation: prior masses about a mean, and what the groups say of each mean."""

    spread: float
    masses: FloatArray  # of each step of log rate off the mean, from -size to size - 1
    below: FloatArray  # mass below the grid, for each mean
    above: FloatArray
    places: IntArray  # of the means on the grid
    marginal: FloatArray  # means x groups
    log_weight: FloatArray  # of each mean


def _nodes(grid: FloatArray, likelihood: FloatArray, failures: float) -> Iterator[_Node]:
    step = float(grid[1] - grid[0])
    # Means need no finer steps than a part of how well all failures together can tell them.
    every = max(1, int(0.35 / math.sqrt(failures) / step))
    size = len(grid)
    offsets: FloatArray = step * (np.arange(2 * size, dtype=np.float64) - size + 0.5)
    places = np.arange(size)[::every]
    for spread in _SPREADS.tolist():
        a = 1 / spread**2
        masses = _masses(a, offsets)
        below, above = _beyond(a, grid, grid[places], step)
        marginal = _over_rates(masses, likelihood)[places]
        marginal += below[:, None] * likelihood[0] + above[:, None] * likelihood[-1]
        with np.errstate(divide="ignore"):
            weight = np.log(marginal).sum(axis=1)
        kept = weight > weight.max() + math.log(_NOTHING)
        yield _Node(spread, masses, below[kept], above[kept], places[kept], marginal[kept], weight[kept])


def _over_rates(masses: FloatArray, of: FloatArray) -> FloatArray:
    """Sum over the rates of prior times likelihood, about each mean: a prior that only changes its place."""
    size = len(of)
    whole: FloatArray = fftconvolve(masses[::-1, None], of, axes=0)[size - 1 : 2 * size - 1]
    # What lies within rounding of the largest sum is nothing.
    return np.maximum(whole, 1e-300)


def _over_means(masses: FloatArray, weight: FloatArray) -> FloatArray:
    """Sum over the means of weight times prior, at each rate."""
    size = len(weight)
    whole: FloatArray = fftconvolve(masses[:, None], weight, axes=0)[size : 2 * size]
    return np.maximum(whole, 0.0)


def _masses(a: float, upper: FloatArray) -> FloatArray:
    """Mass of gamma(a) about a mean of 1 in each step of log rate that ends at `upper`."""
    at = a * np.exp(upper)
    below, above = gammainc(a, at), gammaincc(a, at)
    rise = np.where(below[1:] < 0.5, np.diff(below), -np.diff(above))
    return np.concatenate(([0.0], rise))


def _beyond(a: float, grid: FloatArray, means: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    low = gammainc(a, a * np.exp(grid[0] - 0.5 * step - means))
    return low, gammaincc(a, a * np.exp(grid[-1] + 0.5 * step - means))


class _Sums:
    """Posterior sums, the prior of the mean weighted by its power, of the spread half-Cauchy or flat."""

    def __init__(
        self,
        nodes: Sequence[_Node],
        likelihood: FloatArray,
        grid: FloatArray,
        top: float,
        *,
        power: float,
        flat: bool,
    ) -> None:
        self.grid = grid
        density = np.zeros_like(likelihood)
        self.above = np.zeros(likelihood.shape[1])
        self.by_place = np.zeros(len(grid))
        self.by_spread = []
        middle = float(grid[nodes[0].places].mean())
        for node in nodes:
            weight = np.exp(node.log_weight - top + power * (grid[node.places] - middle))
            if flat:
                weight = weight * (1 + node.spread**2)
            share = weight[:, None] / node.marginal
            spread_out = np.zeros_like(likelihood)
            spread_out[node.places] = share
            density += _over_means(node.masses, spread_out)
            density[0] += node.below @ share
            density[-1] += node.above @ share
            higher = node.masses.copy()
            higher[: len(grid) + 1] = 0.0
            over = _over_rates(higher, likelihood)[node.places] + node.above[:, None] * likelihood[-1]
            self.above += (share * over).sum(axis=0)
            self.by_spread.append((node.spread, float(weight.sum())))
            self.by_place[node.places] += weight
        density *= likelihood
        total = density.sum(axis=0)
        self.above = self.above / total
        self.cumulative = np.cumsum(density, axis=0) / total

    def quantiles(self, p: float) -> FloatArray:
        """Rate of each group below which a share lies; 0 below the grid."""
        return np.array([_quantile(self.grid, column, p) for column in self.cumulative.T])

    def mean(self, p: float) -> float:
        """Mean rate below which a share lies."""
        there = np.flatnonzero(self.by_place)
        first, last = int(there[0]), int(there[-1]) + 1
        every = int(np.diff(there).min(initial=last))
        mass = np.cumsum(self.by_place[first:last:every])
        return _quantile(self.grid[first:last:every], mass / mass[-1], p)

    def spread(self) -> float:
        """Median coefficient of variation."""
        mass = np.cumsum([weight for _, weight in self.by_spread])
        return self.by_spread[int(np.searchsorted(mass, 0.5 * mass[-1]))][0]


def _quantile(grid: FloatArray, cumulative: FloatArray, p: float) -> float:
    """On the line between the ends of steps; 0 where it lies below the first."""
    at = int(np.searchsorted(cumulative, p))
    if at == 0:
        return 0.0
    at = min(at, len(grid) - 1)
    step = float(grid[1] - grid[0])
    before, after = float(cumulative[at - 1]), float(cumulative[at])
    share = (p - before) / (after - before) if after > before else 0.5
    return math.exp(float(grid[at]) + (share - 0.5) * step)


@dataclass(frozen=True, slots=True)
class Difference:
    """Whether groups differ: likelihood-ratio statistic, and how often chance alone gives as much."""

    statistic: float
    p_value: float
    groups: int
    rounds: int


def groups_differ(groups: Sequence[Spans], random: np.random.Generator, rounds: int = 9_999) -> Difference:
    r"""Test of one common rate against a rate for each group.

    .. math:: G = 2 \left[\sum_g \ln L_g(\hat\lambda_g) - \ln L(\hat\lambda)\right]

    Parameters
    ----------
    groups : sequence of Spans
        Observations of each group, in one unit; two groups or more.
    random : numpy.random.Generator
        Where the draws come from; the same seed gives the same p value.
    rounds : int
        Draws; the p value is no finer than 1/(rounds + 1).

    Returns
    -------
    Difference

    Notes
    -----
    p is the share of draws (the data counted among them) that lie at least as far apart: the failures there
    were, given to groups by chance in proportion to their time observed (known good, and half of each gap in
    which a failure lies), and compared by the Poisson deviance of the counts. Given the total this is the
    exact test of equal Poisson rates; it needs no large numbers. A small p says that they differ, not which
    one, and looking at many splittings finds small ones by chance.

    Raises
    ------
    NoGroups
        As for `shrunk_rates`.
    """
    gaps = _checked(groups)
    if rounds < 1:
        raise ValueError(f"rounds is {rounds}; there must be at least one")
    time = np.array([0.5 * (each.good + each.longest) for each in gaps])
    failures = np.array([each.failures for each in gaps])
    watched = time > 0
    share = time[watched] / time.sum()
    total = int(failures.sum())
    drawn = random.multinomial(total, share, size=rounds)
    seen = _deviance(failures[watched][None, :], total * share)[0]
    as_far = int((_deviance(drawn.astype(np.float64), total * share) >= seen * (1 - 1e-9)).sum())
    return Difference(_statistic(groups), (1 + as_far) / (rounds + 1), len(groups), rounds)


def _deviance(counts: FloatArray, expected: FloatArray) -> FloatArray:
    ratio = np.where(counts > 0, counts, expected) / expected
    deviance: FloatArray = 2 * (counts * np.log(ratio)).sum(axis=1)
    return deviance


def _statistic(groups: Sequence[Spans]) -> float:
    whole = Spans(*(np.concatenate([getattr(g, n) for g in groups]) for n in ("left", "right", "count")))
    apart = math.fsum(fit_exponential(seen).log_likelihood for seen in groups)
    return max(0.0, 2 * (apart - fit_exponential(whole).log_likelihood))
