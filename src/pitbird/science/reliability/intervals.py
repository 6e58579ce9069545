"""How much failure goes unnoticed between tests: mean shares of time, delays, intervals that meet a target.

A constant rate: `undetected_fraction` (tests every T), `undetected_fraction_of_log` (tests as they were;
`actual_log` makes the gaps), `undetected_fraction_at_random`, `undetected_fraction_imperfect`,
`undetected_fraction_uncertain` (the rate itself uncertain), `undetected_fraction_with_full_check` (a test
that shows only a share of failures), `worst_case`, `mean_delay`, `information_kept`.

A rate that changes with age: `weibull_undetected_fraction`, `weibull_undetected_fraction_at_age`,
`weibull_undetected_fraction_of_log`, `weibull_undetected_fraction_with_full_check`, `weibull_worst_case`.

Both: `of_detector` (several channels), `longest_interval` (for a target), `cheapest_interval`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammainc, gammaincc

from pitbird.science.reliability.spans import FloatArray

#: Belongs beside every interval that is worked out from failures.
NEVER_LOOSENS: Final = (
    "Evidence may shorten an interval; by itself it never lengthens what the manual, the law or the site "
    "rules ask for."
)

#: Steps of a life followed one by one; a longer tail is summed by the formula of Euler and Maclaurin.
_STEPS: Final = 200_000


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (value > 0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value}; it must be a positive number")


def _share(**values: float) -> None:
    for name, value in values.items():
        if not 0 <= value <= 1:
            raise ValueError(f"{name} is {value}; it must lie between 0 and 1")


def _mean_of_rise(x: float) -> float:
    """1 - (1 - exp(-x))/x, to full precision for small x too."""
    if x < 0.05:
        term, total = 0.5 * x, 0.0
        for n in range(3, 14):
            total += term
            term *= -x / n
        return total
    return 1 + math.expm1(-x) / x


def mean_of_rises(x: FloatArray) -> FloatArray:
    """1 - (1 - exp(-x))/x of each, to full precision for small x too; 0 at 0."""
    term, series = 0.5 * x, np.zeros_like(x)
    for n in range(3, 14):
        series += term
        term = term * (-x / n)
    return np.where(x < 0.05, series, 1 + np.expm1(-x) / np.maximum(x, 0.05))


def undetected_fraction(rate: float, interval: float) -> float:
    r"""Mean share of time failed and not known: constant rate, a test every T, replaced at once when found.

    .. math:: U = 1 - \frac{1 - e^{-\lambda T}}{\lambda T}

    Parameters
    ----------
    rate : float
        Failure rate lambda of one channel, [1/time], positive.
    interval : float
        T between tests, [same time], positive.

    Returns
    -------
    float
        U, [-].

    Notes
    -----
    lambda T/2, the average probability of failure on demand of IEC 61508-6 for one channel, is its upper
    bound, too high by about lambda T/3 of itself.

    References
    ----------
    .. [1] IEC 61508-6:2010, Annex B (average probability of failure on demand, one channel).

    Examples
    --------
    44 failures in 10^9 h, tested once a year (8760 h): lambda T/2 is 1.93e-4.

    >>> f"{undetected_fraction(44e-9, 8760):.3e}"
    '1.927e-04'
    """
    _positive(rate=rate, interval=interval)
    return _mean_of_rise(rate * interval)


def worst_case(rate: float, interval: float) -> float:
    """Chance of failed and not known just before the next test, good at the last: 1 - exp(-rate interval)."""
    _positive(rate=rate, interval=interval)
    return -math.expm1(-rate * interval)


def mean_delay(rate: float, interval: float) -> float:
    r"""Mean time from a failure to the test that shows it: T/(1 - e^{-\lambda T}) - 1/\lambda."""
    _positive(rate=rate, interval=interval)
    x = rate * interval
    return interval * _mean_of_rise(x) / -math.expm1(-x)


def undetected_fraction_of_log(rate: float, gaps: ArrayLike) -> float:
    r"""Mean share of time failed and not known on the actual log of tests.

    .. math:: U = 1 - \frac{\sum_i (1 - e^{-\lambda g_i})}{\lambda \sum_i g_i}
        \approx \frac{\lambda E[g^2]}{2 E[g]}

    Parameters
    ----------
    rate : float
        Failure rate of one channel, [1/time], positive.
    gaps : array_like
        Times between one test and the next, [same time], positive. The gaps count by their square: absences
        weigh more than the mean gap says.

    Returns
    -------
    float
        U, [-].

    Examples
    --------
    Daily on five days with a gap of three over the end of the week: a third more than the mean gap says.

    >>> log = [1, 1, 1, 1, 3] * 50
    >>> round(undetected_fraction_of_log(1e-4, log) / undetected_fraction(1e-4, 7 / 5), 2)
    1.33
    """
    _positive(rate=rate)
    lengths = _gaps(gaps)
    return float(np.dot(lengths, mean_of_rises(rate * lengths)) / lengths.sum())


def _gaps(gaps: ArrayLike) -> FloatArray:
    lengths = np.asarray(gaps, dtype=np.float64)
    if lengths.ndim != 1 or not len(lengths):
        raise ValueError("there must be at least one gap between tests")
    wrong = np.flatnonzero(~((lengths > 0) & np.isfinite(lengths)))
    if len(wrong):
        raise ValueError(f"gap {int(wrong[0])} is {lengths[wrong[0]]:g}; gaps are positive numbers")
    return lengths


def undetected_fraction_at_random(rate: float, mean_interval: float) -> float:
    r"""The same where tests come at random (Poisson) times: \lambda T/(1 + \lambda T), twice the periodic."""
    _positive(rate=rate, mean_interval=mean_interval)
    x = rate * mean_interval
    return x / (1 + x)


def undetected_fraction_imperfect(rate: float, interval: float, detects: float) -> float:
    r"""The same where each test shows a present failure only with a chance, anew each time.

    .. math:: D = \frac{T}{1 - e^{-\lambda T}} - \frac1\lambda + T \frac{1 - \theta}{\theta}, \quad
        U = \frac{D}{D + 1/\lambda}

    Parameters
    ----------
    rate, interval : float
        As for `undetected_fraction`.
    detects : float
        theta, chance that a test shows the failure, [-], above 0.

    Examples
    --------
    >>> round(undetected_fraction_imperfect(1 / 1500, 30, 0.9), 4)
    0.0121
    """
    _share(detects=detects)
    _positive(detects=detects)
    delay = mean_delay(rate, interval) + interval * (1 - detects) / detects
    return delay / (delay + 1 / rate)


def undetected_fraction_uncertain(shape: float, rate_time: float, interval: float) -> float:
    r"""Mean of `undetected_fraction` over a rate that is gamma(a, b) distributed.

    .. math:: E[U] = 1 - \frac{b}{T (a - 1)} \left[1 - \left(\frac{b}{b + T}\right)^{a - 1}\right]

    For a = 1 its limit, 1 - (b/T) ln(1 + T/b). Quantiles need no formula: U rises with the rate, so a
    quantile of U is U at that quantile of the rate.

    Parameters
    ----------
    shape : float
        a, [-], positive.
    rate_time : float
        b, [time], positive; the mean rate is a/b.
    interval : float
        T, [same time].
    """
    _positive(shape=shape, rate_time=rate_time, interval=interval)
    less, ratio = shape - 1, math.log1p(interval / rate_time)
    rise = ratio if abs(less) < 1e-12 else -math.expm1(-less * ratio) / less
    return 1 - rate_time / interval * rise


def undetected_fraction_with_full_check(
    rate: float, interval: float, coverage: float, full_check: float
) -> float:
    r"""The same where the test can show only a share of failures and a full check shows the rest.

    With q = 1 - e^{-\lambda T}, r = 1 - (1 - c) q and n tests every T within the time F between full checks:

    .. math:: U = 1 - \frac{1}{\lambda F} \left[ q \sum_{i<n} r^i + r^n (1 - e^{-\lambda (F - nT)}) \right]

    Parameters
    ----------
    rate, interval : float
        As for `undetected_fraction`.
    coverage : float
        c, share of failures that the test can show, [-].
    full_check : float
        F, time between checks that show every failure, [same time]; each starts the tests anew.

    Returns
    -------
    float
        U, [-]. For small \lambda F near \lambda [c T/2 + (1 - c) F/2], the rule of IEC 61508-6 for imperfect
        proof tests.

    Notes
    -----
    Whether a failure can be shown by the test is settled when it comes; a channel failed in a way the test
    cannot show stays so until the full check. Exact under that model.
    """
    _positive(rate=rate, interval=interval, full_check=full_check)
    _share(coverage=coverage)
    if interval >= full_check:
        return undetected_fraction(rate, full_check)
    n = math.floor(full_check / interval * (1 + 1e-12))
    rest = max(0.0, full_check - n * interval)
    q = -math.expm1(-rate * interval)
    hidden = (1 - coverage) * q
    log_r = math.log1p(-hidden) if hidden < 1 else -math.inf
    steps = n if hidden == 0 else -math.expm1(n * log_r) / hidden
    good = q * steps - math.exp(n * log_r) * math.expm1(-rate * rest)
    return 1 - good / (rate * full_check)


def information_kept(rate: float, interval: float) -> float:
    r"""Share of the information about a constant rate that tests every T keep.

    .. math:: \frac{(x/2)^2}{\sinh^2(x/2)}, \quad x = \lambda T

    Examples
    --------
    >>> [round(information_kept(x, 1), 3) for x in (0.25, 1.0)]
    [0.995, 0.921]
    """
    _positive(rate=rate, interval=interval)
    half = 0.5 * rate * interval
    return (half / math.sinh(half)) ** 2 if half < 300 else 0.0


def _survival(shape: float, scale: float, age: FloatArray) -> FloatArray:
    with np.errstate(over="ignore"):
        return np.exp(-((age / scale) ** shape))


def _good_time(shape: float, scale: float, age: float) -> float:
    """Expected time good up to an age: the integral of survival."""
    a = 1 / shape
    if math.isinf(age):
        return scale * math.gamma(1 + a)
    return scale * math.gamma(1 + a) * float(gammainc(a, _hazard(shape, scale, age)))


def weibull_undetected_fraction(shape: float, scale: float, interval: float) -> float:
    r"""Mean share of time failed and not known in the long run: Weibull life, a test every T, new when found.

    .. math:: U = 1 - \frac{\mu}{T \sum_{k \ge 0} S(kT)}

    Parameters
    ----------
    shape, scale : float
        Of the Weibull life, [-] and [time], positive.
    interval : float
        T, [same time].

    Returns
    -------
    float
        U, [-], over many replacements (renewal); `weibull_undetected_fraction_at_age` tells of the next.
    """
    _positive(shape=shape, scale=scale, interval=interval)
    return 1 - _good_time(shape, scale, math.inf) / (interval * _tests_lived(shape, scale, interval))


def _tests_lived(shape: float, scale: float, interval: float) -> float:
    """Sum of S(kT) over k >= 0: tests up to the one that shows the failure."""
    last = scale / interval * 45 ** (1 / shape)
    steps = int(min(last + 2, _STEPS))
    total = float(_survival(shape, scale, interval * np.arange(steps, dtype=np.float64)).sum())
    age = steps * interval
    if last > steps:
        u = (age / scale) ** shape
        beyond = _good_time(shape, scale, math.inf) * float(gammaincc(1 / shape, u)) / interval
        alive = math.exp(-u)
        total += beyond + 0.5 * alive + interval * alive * shape * u / age / 12
    return total


def weibull_undetected_fraction_at_age(shape: float, scale: float, age: float, interval: float) -> float:
    r"""Mean share of the next interval failed and not known, good at an age.

    .. math:: \frac1T \int_0^T 1 - \frac{S(a + u)}{S(a)} \, du
    """
    _positive(shape=shape, scale=scale, interval=interval)
    if not (age >= 0 and math.isfinite(age)):
        raise ValueError(f"age is {age}; it must be a number from 0")
    x, w = np.polynomial.legendre.leggauss(40)
    # In the square of the share of the interval: smooth at age 0 for shapes below 1 too.
    part = 0.5 * (x + 1)
    u = interval * part**4
    rise = -np.expm1((age / scale) ** shape - ((age + u) / scale) ** shape)
    return float(np.dot(0.5 * w * 4 * part**3, rise))


def weibull_worst_case(shape: float, scale: float, age: float, interval: float) -> float:
    """Chance of failed and not known just before the next test, good at an age: 1 - S(age + T)/S(age)."""
    _positive(shape=shape, scale=scale, interval=interval)
    if not (age >= 0 and math.isfinite(age)):
        raise ValueError(f"age is {age}; it must be a number from 0")
    before = _hazard(shape, scale, age)
    # Beyond what a number can hold nothing lives on, whatever came before.
    return -math.expm1(before - _hazard(shape, scale, age + interval)) if math.isfinite(before) else 1.0


def _hazard(shape: float, scale: float, age: float) -> float:
    """Cumulative hazard, infinite where no number can hold it."""
    try:
        return float((age / scale) ** shape)
    except OverflowError:
        return math.inf


def weibull_undetected_fraction_of_log(shape: float, scale: float, gaps: ArrayLike) -> float:
    r"""Mean share of time failed and not known on the actual log of a sensor new at its start, not replaced.

    .. math:: U = \frac{1}{\sum g} \sum_j \int_{t_{j-1}}^{t_j} F(t) - F(t_{j-1}) \, dt
    """
    _positive(shape=shape, scale=scale)
    lengths = _gaps(gaps)
    ends = np.concatenate(([0.0], np.cumsum(lengths)))
    alive = _survival(shape, scale, ends[:-1])
    good = np.array([_good_time(shape, scale, float(t)) for t in ends])
    return float((alive * lengths - np.diff(good)).sum() / lengths.sum())


def weibull_undetected_fraction_with_full_check(
    shape: float, scale: float, interval: float, coverage: float, full_check: float
) -> float:
    """As `undetected_fraction_with_full_check`, for a Weibull life, in the long run.

    Notes
    -----
    Full checks come with every m-th test, m = F/T rounded up (the cautious way); a channel found failed is
    replaced by a new one, whose age counts from there. Exact for that schedule: a Markov chain over the place
    between full checks at which a channel is new.

    Raises
    ------
    ValueError
        An interval so short against the life that it takes more than two million tests to follow.
    """
    _positive(shape=shape, scale=scale, interval=interval, full_check=full_check)
    _share(coverage=coverage)
    m = max(1, math.ceil(full_check / interval * (1 - 1e-12)))
    if m == 1 or coverage == 1:
        return weibull_undetected_fraction(shape, scale, min(interval, full_check))
    steps = scale / interval * 32 ** (1 / shape) + 2
    if steps > 2e6:
        raise ValueError("the interval is too short against the life to follow every test; take a longer one")
    alive = _survival(shape, scale, interval * np.arange(int(steps) + 1, dtype=np.float64))
    alive[-1] = 0.0
    # Chance that the failure is due at a test of each place between full checks, counted from the start.
    falls = np.bincount(np.arange(1, len(alive)) % m, -np.diff(alive), m)
    start = np.fft.ifft((1 - coverage) / (1 - coverage * np.fft.fft(falls))).real
    waits = (-np.arange(m)) % m
    place = np.fft.ifft(np.fft.fft(start) * np.fft.fft(falls)).real
    cycle = float(alive.sum()) + (1 - coverage) * float(np.dot(place, waits))
    return 1 - _good_time(shape, scale, math.inf) / (interval * cycle)


def of_detector(fraction: float, channels: int) -> float:
    """Share for a detector of several like channels, any of which may be down: 1 - (1 - u)^channels."""
    _share(fraction=fraction)
    if channels < 1:
        raise ValueError(f"channels is {channels}; a detector has at least one")
    return 1.0 if fraction == 1 else -math.expm1(channels * math.log1p(-fraction))


def longest_interval(target: float, fraction: Callable[[float], float], upto: float) -> float | None:
    """The longest interval that keeps a share of time within a target; None if not even the shortest does.

    Parameters
    ----------
    target : float
        Share of time failed and not known that is allowed, [-], positive.
    fraction : callable
        That share at an interval; must not fall as the interval grows.
    upto : float
        The longest interval to think of, [time]: the answer where even that one meets the target.
    """
    _positive(target=target, upto=upto)
    least = upto * 1e-6
    if fraction(upto) <= target:
        return upto
    if fraction(least) > target:
        return None
    from scipy.optimize import brentq  # takes a quarter of a second to load

    found = float(brentq(lambda t: fraction(t) - target, least, upto, xtol=1e-12 * upto, rtol=1e-12))
    # On the side of the target that keeps it.
    while fraction(found) > target:
        found *= 1 - 1e-12
    return found


def cheapest_interval(rate: float, cost_per_test: float, cost_undetected_per_time: float) -> float:
    r"""Interval at which tests and time undetected cost least together: sqrt(2 c_test/(\lambda c_und)).

    For \lambda T small. Costs of a person's harm are no costs of this kind.
    """
    _positive(rate=rate, cost_per_test=cost_per_test, cost_undetected_per_time=cost_undetected_per_time)
    return math.sqrt(2 * cost_per_test / (rate * cost_undetected_per_time))
