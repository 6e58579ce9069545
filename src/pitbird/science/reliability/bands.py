"""Limits of what is worked out from a fitted life: a share of time, a chance, an interval, with its band.

`rate_band` carries the limits of a constant rate through; `weibull_band` gives the profile-likelihood limits
of anything that depends on shape and scale together.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import chdtri

from pitbird.science.reliability.exponential import ExponentialFit
from pitbird.science.reliability.spans import Spans, grouped
from pitbird.science.reliability.weibull import Likelihood, WeibullFit

#: Directions in which the edge of the likelihood region is sought before the extremes are refined.
_DIRECTIONS: Final = 48
#: Standard errors out to which the edge is sought.
_REACH: Final = 60.0


@dataclass(frozen=True, slots=True)
class Band:
    """A value with limits; None where the data give no such number."""

    value: float | None
    low: float | None
    high: float | None
    confidence: float
    method: str


def rate_band(
    of: Callable[[float], float], fit: ExponentialFit, *, at_none: float | None, at_all: float | None
) -> Band:
    """What depends on a constant rate alone, and never turns back as the rate grows, with the rate's limits.

    Parameters
    ----------
    of : callable
        The number at a positive rate, such as a share of time undetected.
    fit : ExponentialFit
        The rate with its limits; where it has one limit only, so has the number.
    at_none, at_all : float or None
        The number at a rate of nothing, and as the rate grows without end.

    Returns
    -------
    Band
        Of the confidence of the rate's limits, exactly: a number that always rises (or always falls) with the
        rate has the rate's limits.

    Examples
    --------
    20 instrument-years without a failure, tested every 30 days (0.0821 years): at most 0.6 % undetected.

    >>> from pitbird.science.reliability.exponential import fit_exponential
    >>> from pitbird.science.reliability.intervals import undetected_fraction
    >>> from pitbird.science.reliability.spans import spans
    >>> fit = fit_exponential(spans([1.0], [float("inf")], [20]))
    >>> band = rate_band(lambda r: undetected_fraction(r, 30 / 365.25), fit, at_none=0.0, at_all=1.0)
    >>> band.value, band.low, round(band.high, 4)
    (None, 0.0, 0.0061)
    """

    def there(rate: float | None, open_end: float | None) -> float | None:
        return open_end if rate is None else at_none if rate == 0 else of(rate)

    ends = [there(fit.rate_low, at_none), there(fit.rate_high, at_all)]
    known = [end for end in ends if end is not None]
    if len(known) == 2 and known[0] > known[1]:
        ends.reverse()
    value = None if fit.rate is None else of(fit.rate)
    return Band(value, ends[0], ends[1], fit.confidence, fit.interval_method)


def weibull_band(of: Callable[[float, float], float], seen: Spans, fit: WeibullFit) -> Band:
    r"""Anything that depends on shape and scale of a Weibull life, with profile-likelihood limits.

    .. math:: \{ q(k, \eta) : 2 [\ln L(\hat k, \hat\eta) - \ln L(k, \eta)] \le \chi^2_{1, confidence} \}

    Parameters
    ----------
    of : callable
        The number q at a shape and a scale (positive), continuous.
    seen : Spans
        The observations of the fit.
    fit : WeibullFit
        With limits.

    Returns
    -------
    Band
        Both limits None where there is no estimate, or where the data bound shape or scale on one side only.

    Notes
    -----
    The limits are the extremes of q on the edge of that region (q is taken to have none inside, as shares of
    time and chances of failing have not). The edge is followed in directions of the curvature at the maximum,
    the extremes refined between them.
    """
    nothing = Band(None, None, None, fit.confidence, "none: there is no estimate")
    if fit.shape is None or fit.scale is None:
        return nothing
    value = of(fit.shape, fit.scale)
    if None in (fit.shape_low, fit.shape_high, fit.scale_low, fit.scale_high):
        return Band(value, None, None, fit.confidence, "none: the data do not bound shape and scale")
    edge = _edge(seen, fit, fit.shape, fit.scale)

    def on_edge(angle: float) -> float:
        return of(*edge(angle))

    angles = np.linspace(0, 2 * math.pi, _DIRECTIONS, endpoint=False)
    values = [on_edge(float(a)) for a in angles]
    step = 2 * math.pi / _DIRECTIONS
    ends = []
    for sign in (1.0, -1.0):
        best = float(angles[int(np.argmin(sign * np.array(values)))])
        found = minimize_scalar(
            lambda a, sign=sign: sign * on_edge(a), bounds=(best - step, best + step), method="bounded",
            options={"xatol": 1e-4},
        )  # fmt: skip
        ends.append(sign * min(float(found.fun), sign * on_edge(best)))
    return Band(value, ends[0], ends[1], fit.confidence, "profile likelihood")


def _edge(seen: Spans, fit: WeibullFit, shape: float, scale: float) -> Callable[[float], tuple[float, float]]:
    """Shape and scale where, in a direction, the log-likelihood has fallen to the cut."""
    like = Likelihood.of(grouped(seen), scale)
    cut = like.sums(0.0, shape).value - 0.5 * float(chdtri(1, 1 - fit.confidence))
    wide_shape, wide_scale = fit.se_log_shape or 1.0, fit.se_log_scale or 1.0

    def at(angle: float, radius: float) -> tuple[float, float]:
        """Shape, and log of the scale in units of the estimate."""
        k = shape * math.exp(radius * wide_shape * math.cos(angle))
        return k, radius * wide_scale * math.sin(angle)

    def over(angle: float, radius: float) -> float:
        k, log_scale = at(angle, radius)
        value = like.sums(-k * log_scale, k).value - cut
        return value if math.isfinite(value) else -1e300

    def edge(angle: float) -> tuple[float, float]:
        far = 1.0
        while over(angle, far) > 0 and far < _REACH:
            far *= 1.6
        radius = float(brentq(lambda r: over(angle, r), 0.0, far, xtol=1e-9))
        k, log_scale = at(angle, radius)
        return k, math.exp(log_scale) * scale

    return edge
