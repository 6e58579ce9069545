"""A constant failure rate from failures that show only at tests: estimate, limits, posterior.

`fit_exponential` gives the estimate with its limits, `gamma_posterior` the posterior with a gamma prior.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import betaincinv, chdtri, gammaincinv

from pitbird.science.reliability.spans import FloatArray, Spans, grouped

#: Below this many failures, exact limits; from it on, profile likelihood.
ENOUGH_FAILURES: Final = 5

#: Observations looked at in one go: working arrays stay in the processor's cache, and in one thread.
CHUNK: Final = 8_192

PROFILE: Final = "profile likelihood"
CLOPPER_PEARSON: Final = "exact (Clopper-Pearson on equal intervals)"
BRACKETED: Final = "exact (Poisson limits, bracketed over where in its interval each failure lies)"
ZERO_FAILURES: Final = "exact, one-sided upper limit: no failures"
ALL_FAILED: Final = "exact, one-sided lower limit: every one failed by its first test"
NO_LIMITS: Final = "none: nothing was observed"

Outcome = Literal["estimated", "no failures", "all failed by the first test", "nothing observed"]


@dataclass(frozen=True, slots=True)
class ExponentialFit:
    """A constant rate [1/unit of time] and its limits; None where there is no such number, `why` says why."""

    outcome: Outcome
    rate: float | None
    rate_low: float | None
    rate_high: float | None
    log_likelihood: float
    converged: bool
    failures: int
    censored: int
    exposure: float
    confidence: float
    interval_method: str
    why: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Gaps:
    """All that the likelihood of a constant rate needs: time known good, gaps in which failures lie."""

    good: float
    gap: FloatArray
    count: FloatArray

    @classmethod
    def of(cls, seen: Spans) -> Gaps:
        failed = np.isfinite(seen.right)
        left = seen.left[failed]
        # Gaps repeat far more often than intervals do; grouped as intervals from 0.
        together = Spans(np.zeros(len(left)), seen.right[failed] - left, seen.count[failed])
        if len(left) > 1:
            together = grouped(together)
        return cls(seen.exposure, together.right, together.count)

    @property
    def failures(self) -> float:
        return float(self.count.sum())

    @property
    def longest(self) -> float:
        """Exposure if every failure came at the end of its gap."""
        return self.good + float(np.dot(self.count, self.gap))

    def log_likelihood(self, rate: float) -> float:
        """Logarithm of the likelihood at a positive rate."""
        return self.slopes(rate)[0]

    def slopes(self, rate: float) -> tuple[float, float, float]:
        """Log-likelihood, and its first and second derivative to log rate."""
        value = first = second = -rate * self.good
        for at in range(0, len(self.gap), CHUNK):
            count = self.count[at : at + CHUNK]
            d = rate * self.gap[at : at + CHUNK]
            e = np.expm1(-d)
            pull = (1 + e) / e  # -1/(exp(d) - 1)
            pulled = d * pull
            value += float(np.dot(count, np.log(-e)))
            first -= float(np.dot(count, pulled))
            second -= float(np.dot(count, pulled * (1 - d * (1 - pull))))
        return value, first, second


def fit_exponential(seen: Spans, confidence: float = 0.95) -> ExponentialFit:
    r"""Constant failure rate by maximum likelihood, with two-sided limits.

    .. math:: \ln L = -\lambda \sum_i L_i + \sum_{failed} \ln(1 - e^{-\lambda (R_i - L_i)})

    Parameters
    ----------
    seen : Spans
        Observations ``(left, right]``.
    confidence : float
        Of the two limits together (of the one limit where there is only one), [-], between 0 and 1.

    Returns
    -------
    ExponentialFit
        Rate and limits, [1/unit of the observations].

    Notes
    -----
    Five failures or more: limits by profile likelihood (twice the fall of ln L is chi-squared with one degree
    of freedom). Fewer: exact limits.

    - Where every failure lies in a gap of one length T and every time known good is a multiple of it, tests
      are N Bernoulli trials, ln L is binomial and the rate is -ln(1 - d/N)/T; limits by Clopper and Pearson.
    - Otherwise Poisson (Garwood) limits, bracketed: the lower with failures at the ends of their gaps, the
      upper with failures at the beginnings. For tests on any schedule they are never narrower than the exact
      ones. Lower: what one test finds, a failure or none, is the smaller of 1 and a Poisson number. Upper:
      the time spent in passed tests before failure d + 1 is at most the sum of d + 1 exponential lives.
    - No failures: no estimate; upper limit -ln(1 - confidence)/(time known good), one-sided.
    - Every one failed by its first test: no finite estimate; the lower limit solves
      prod(1 - exp(-rate R_i)) = 1 - confidence, one-sided.

    Validity: independent lives, rate constant in age, test times chosen without regard to hidden failure.

    References
    ----------
    .. [1] W. Nelson, Applied Life Data Analysis, 1982, chapter 9 (inspection data).
    .. [2] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404; F. Garwood, Biometrika 28 (1936) 437.

    Examples
    --------
    Zero failures in 20 instrument-years: the exact 95 % upper limit is 3.0 over the exposure.

    >>> from pitbird.science.reliability.spans import spans
    >>> seen = spans([1.0], [float("inf")], [20])
    >>> round(fit_exponential(seen).rate_high, 4)
    0.1498
    """
    check_confidence(confidence)
    gaps = Gaps.of(seen)
    failures, censored = seen.failures, seen.censored

    def answer(
        outcome: Outcome,
        rate: float | None,
        limits: tuple[float | None, float | None],
        ll: float,
        method: str,
        why: str = "",
    ) -> ExponentialFit:
        return ExponentialFit(
            outcome, rate, *limits, ll, outcome == "estimated", failures, censored, gaps.good, confidence,
            method, why,
        )  # fmt: skip

    if not failures:
        if not gaps.good:
            why = "No time known good and no failure: nothing was observed."
            return answer("nothing observed", None, (None, None), 0.0, NO_LIMITS, why)
        high = -math.log1p(-confidence) / gaps.good
        why = "No failures: no estimate, only an upper limit."
        return answer("no failures", None, (0.0, high), 0.0, ZERO_FAILURES, why)
    if not gaps.good:
        why = "Every one failed by its first test: no finite estimate, only a lower limit."
        low = _all_failed_limit(gaps, confidence)
        return answer("all failed by the first test", None, (low, None), 0.0, ALL_FAILED, why)
    rate = _maximum(gaps)
    ll = gaps.log_likelihood(rate)
    if failures >= ENOUGH_FAILURES:
        return answer("estimated", rate, _profile_limits(gaps, rate, ll, confidence), ll, PROFILE)
    trials = _equal_trials(seen, gaps)
    if trials is not None:
        step, number = trials
        limits = _clopper_pearson_rates(failures, number, step, confidence)
        return answer("estimated", rate, limits, ll, CLOPPER_PEARSON)
    return answer("estimated", rate, _garwood(failures, gaps, confidence), ll, BRACKETED)


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that is not strictly between 0 and 1."""
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")


def _maximum(gaps: Gaps) -> float:
    """Newton on log rate, in which the log-likelihood is concave; steps are held to a factor of e^2."""
    rate = gaps.failures / (gaps.good + 0.5 * (gaps.longest - gaps.good))
    for _ in range(100):
        _, first, second = gaps.slopes(rate)
        step = first / -second
        rate *= math.exp(max(-2.0, min(2.0, step)))
        if abs(step) < 1e-13:
            break
    return rate


def _profile_limits(gaps: Gaps, rate: float, best: float, confidence: float) -> tuple[float, float]:
    cut = best - 0.5 * float(chdtri(1, 1 - confidence))
    _, _, second = gaps.slopes(rate)
    reach = math.sqrt(2 * (best - cut) / -second)
    return _crossing(gaps, rate, cut, -reach), _crossing(gaps, rate, cut, reach)


def _crossing(gaps: Gaps, rate: float, cut: float, reach: float) -> float:
    """Where the log-likelihood falls to the cut, on one side: Newton, held between the sides."""
    theta = math.log(rate) + reach
    inside, outside = math.log(rate), math.nan
    for _ in range(200):
        value, first, _ = gaps.slopes(math.exp(theta))
        if value >= cut:
            inside = theta
        else:
            outside = theta
        step = (cut - value) / first if first else math.inf
        following = theta + step
        between = min(inside, outside) < following < max(inside, outside)
        if math.isnan(outside):
            # Not yet past the crossing: Newton on a concave fall overshoots, at most double the way.
            following = theta + math.copysign(min(abs(step), 2.0), reach)
        elif not between:
            following = 0.5 * (inside + outside)
        if abs(following - theta) < 1e-13:
            return math.exp(following)
        theta = following
    return math.exp(theta)


def _equal_trials(seen: Spans, gaps: Gaps) -> tuple[float, float] | None:
    """Length and number of equal intervals, where the tests were such: None where not."""
    step = float(gaps.gap[0])
    if float(np.ptp(gaps.gap)) > 1e-9 * step:
        return None
    whole = seen.left / step
    if not bool((np.abs(whole - np.round(whole)) <= 1e-9 * np.maximum(whole, 1)).all()):
        return None
    return step, float(np.dot(np.round(whole), seen.count)) + gaps.failures


def clopper_pearson(failures: float, trials: float, confidence: float = 0.95) -> tuple[float, float]:
    r"""Exact two-sided limits of a proportion, (1 - confidence)/2 beyond each.

    Parameters
    ----------
    failures, trials : float
        How many of how many, [-].
    confidence : float
        Of the two limits together, [-].

    Returns
    -------
    float, float
        Lower and upper limit, [-]; 0 where none failed, 1 where all did.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404.

    Examples
    --------
    >>> [round(100 * p, 3) for p in clopper_pearson(3, 1000)]
    [0.062, 0.874]
    """
    check_confidence(confidence)
    if not 0 <= failures <= trials or trials <= 0:
        raise ValueError(f"{failures:g} failures in {trials:g} trials: not a proportion")
    tail = 0.5 * (1 - confidence)
    low = 0.0 if failures == 0 else float(betaincinv(failures, trials - failures + 1, tail))
    high = 1.0 if failures == trials else float(betaincinv(failures + 1, trials - failures, 1 - tail))
    return low, high


def _clopper_pearson_rates(
    failures: float, trials: float, step: float, confidence: float
) -> tuple[float, float]:
    low, high = clopper_pearson(failures, trials, confidence)
    return -math.log1p(-low) / step, -math.log1p(-high) / step


def _garwood(failures: float, gaps: Gaps, confidence: float) -> tuple[float, float]:
    tail = 0.5 * (1 - confidence)
    low = float(gammaincinv(failures, tail)) / gaps.longest
    high = float(gammaincinv(failures + 1, 1 - tail)) / gaps.good
    return low, high


def _all_failed_limit(gaps: Gaps, confidence: float) -> float:
    """The rate at which all would have failed by their first tests with probability 1 - confidence."""
    target = math.log1p(-confidence)
    # One failure alone by the longest gap is more likely than all of them, by the shortest n times less so.
    low = -math.log1p(-math.exp(target)) / float(gaps.gap.max())
    high = -math.log(-math.expm1(target / gaps.failures)) / float(gaps.gap.min())
    low, high = math.log(low) - 1e-6, math.log(high) + 1e-6
    from scipy.optimize import brentq  # takes a quarter of a second to load, and is seldom needed

    return math.exp(brentq(lambda x: gaps.log_likelihood(math.exp(x)) - target, low, high, xtol=1e-14))


@dataclass(frozen=True, slots=True)
class GammaPosterior:
    """What is believed of a constant rate [1/unit of time] after the observations; equal tails."""

    mean: float
    median: float
    low: float
    high: float
    confidence: float


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)


def gamma_posterior(seen: Spans, *, shape: float, rate: float, confidence: float = 0.95) -> GammaPosterior:
    r"""Posterior of a constant rate from a gamma prior, under the exact likelihood of the intervals.

    .. math:: p(\lambda) \propto \lambda^{a-1} e^{-b\lambda} e^{-\lambda \sum L_i}
        \prod_{failed} (1 - e^{-\lambda (R_i - L_i)})

    Parameters
    ----------
    seen : Spans
        Observations ``(left, right]``.
    shape, rate : float
        a > 0, [-], and b >= 0, [unit of time], of the gamma prior; its mean is a/b.
    confidence : float
        Between `low` and `high`, equal tails, [-].

    Returns
    -------
    GammaPosterior
        [1/unit of time].

    Notes
    -----
    Without failures the posterior is gamma(a, b + time known good), exactly. With failures, Gauss-Legendre
    quadrature in log rate, where the density is log-concave; good to about 1e-10.

    Raises
    ------
    ValueError
        A shape that is not positive, a negative rate; b = 0 and no time known good: then nothing bounds the
        rate above.

    Examples
    --------
    >>> from pitbird.science.reliability.spans import spans
    >>> none = gamma_posterior(spans([1.0], [float("inf")], [20]), shape=1, rate=0, confidence=0.9)
    >>> round(none.high, 4)
    0.1498
    """
    check_confidence(confidence)
    if not (shape > 0 and math.isfinite(shape)):
        raise ValueError(f"the prior's shape is {shape}; it must be a positive number")
    if not (rate >= 0 and math.isfinite(rate)):
        raise ValueError(f"the prior's rate is {rate}; it must be a number from 0")
    gaps = Gaps.of(seen)
    if not gaps.good + rate > 0:
        raise ValueError(
            "every one failed by its first test and the prior's rate is 0: nothing bounds the rate above"
        )
    tail = 0.5 * (1 - confidence)
    if not gaps.failures:
        over = gaps.good + rate
        low, median, high = (float(gammaincinv(shape, p)) / over for p in (tail, 0.5, 1 - tail))
        return GammaPosterior(shape / over, median, low, high, confidence)
    return _quadrature(Gaps(gaps.good + rate, gaps.gap, gaps.count), shape, tail, confidence)


def _quadrature(gaps: Gaps, shape: float, tail: float, confidence: float) -> GammaPosterior:
    """Mean and quantiles of exp(shape x + ln L(e^x)) by panels of Gauss-Legendre in x = log rate."""

    def slopes(x: float) -> tuple[float, float, float]:
        value, first, second = gaps.slopes(math.exp(x))
        return value + shape * x, first + shape, second

    top = math.log((gaps.failures + shape) / (gaps.good + 0.5 * (gaps.longest - gaps.good)))
    for _ in range(100):
        _, first, second = slopes(top)
        step = max(-1.0, min(1.0, first / -second))
        top += step
        if abs(step) < 1e-10:
            break
    peak, _, second = slopes(top)
    wide = 1 / math.sqrt(-second)
    ends = [_edge(slopes, top, peak, side * wide) for side in (-1.0, 1.0)]
    edges = np.linspace(ends[0], ends[1], 65)

    def mass(a: float, b: float, power: float = 0.0) -> float:
        x = 0.5 * (b - a) * _NODES + 0.5 * (a + b)
        values = [slopes(float(at))[0] - peak + power * (at - top) for at in x]
        return 0.5 * (b - a) * float(np.dot(_WEIGHTS, np.exp(values)))

    pieces = np.array([mass(a, b) for a, b in itertools.pairwise(edges.tolist())])
    upto = np.concatenate(([0.0], np.cumsum(pieces)))
    total = float(upto[-1])
    mean = sum(mass(a, b, 1.0) for a, b in itertools.pairwise(edges.tolist())) / total * math.exp(top)

    def quantile(p: float) -> float:
        at = min(int(np.searchsorted(upto, p * total, side="right")) - 1, len(pieces) - 1)
        a, b = float(edges[at]), float(edges[at + 1])
        missing = p * total - float(upto[at])
        from scipy.optimize import brentq  # takes a quarter of a second to load, and is seldom needed

        return math.exp(brentq(lambda x: mass(a, x) - missing, a, b, xtol=1e-14))

    return GammaPosterior(mean, quantile(0.5), quantile(tail), quantile(1 - tail), confidence)


def _edge(
    slopes: Callable[[float], tuple[float, float, float]], top: float, peak: float, step: float
) -> float:
    """Far enough out that what lies beyond is below 1e-17 of the whole."""
    at = top
    while slopes(at)[0] > peak - 45:
        at += step
    return at
