"""A failure rate that rises or falls with age, from failures that show only at tests.

`fit_weibull` gives shape and scale by maximum likelihood with profile limits for both.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from pitbird.science.reliability.exponential import CHUNK, check_confidence, fit_exponential
from pitbird.science.reliability.spans import FloatArray, Spans, grouped

Outcome = Literal[
    "estimated",
    "no failures",
    "all failed by the first test",
    "shape without bound",
    "shape towards zero",
    "not converged",
    "nothing observed",
]

WHY: Final[dict[Outcome, str]] = {
    "estimated": "",
    "no failures": "No failures: no estimate of shape or scale; the exponential model gives an upper limit.",
    "all failed by the first test": (
        "Every one failed by its first test: the scale goes towards 0, so there is no finite estimate."
    ),
    "shape without bound": (
        "All could have failed at one and the same age, so the likelihood grows with the shape without end: "
        "there is no finite estimate."
    ),
    "shape towards zero": (
        "Those tested at greater ages failed no more often, so the likelihood grows as the shape goes "
        "towards 0: there is no finite estimate."
    ),
    "not converged": "The search for the maximum did not converge: there is no estimate.",
    "nothing observed": "No time known good and no failure: nothing was observed.",
}

#: Log units from the estimate beyond which a limit bounds nothing: some 10^17 times it.
_FARTHEST: Final = 40.0
#: Observations from which on a first fit of a part of them is worth its time.
_LARGE: Final = 20_000
_PART: Final = 2_000


@dataclass(frozen=True, slots=True)
class WeibullFit:
    """Shape [-] and scale [unit of time] with limits; None where there is no such number, `why` says why."""

    outcome: Outcome
    shape: float | None
    shape_low: float | None
    shape_high: float | None
    scale: float | None
    scale_low: float | None
    scale_high: float | None
    log_likelihood: float | None
    converged: bool
    failures: int
    censored: int
    exposure: float
    confidence: float
    #: Standard errors of log shape and log scale, from the curvature at the maximum; not used for the limits.
    se_log_shape: float | None
    se_log_scale: float | None
    interval_method: str
    why: str


class _Sums(NamedTuple):
    """Log-likelihood and its derivatives to (intercept a, slope k) of log cumulative hazard = a + k log t."""

    value: float
    a: float
    k: float
    aa: float
    ak: float
    kk: float


@dataclass(frozen=True, slots=True, eq=False)
class Likelihood:
    """The log-likelihood: observations in log time, by what they tell: good at, failed by, failed between."""

    good: FloatArray  # log of the last good age, those still good
    good_count: FloatArray
    early: FloatArray  # log of the failed age, those failed by the first test
    early_count: FloatArray
    left: FloatArray  # log of the last good age, those failed later
    ratio: FloatArray  # log of failed age over last good age
    count: FloatArray

    @classmethod
    def of(cls, seen: Spans, unit: float) -> Likelihood:
        left, right, count = seen.left, seen.right, seen.count
        failed = np.isfinite(right)
        good = ~failed & (left > 0)
        early = failed & (left == 0)
        between = failed & (left > 0)
        lefts = left[between]
        # log1p keeps the digits of short gaps late in life.
        ratio = np.log1p((right[between] - lefts) / lefts)
        return cls(
            np.log(left[good] / unit), count[good], np.log(right[early] / unit), count[early],
            np.log(lefts / unit), ratio, count[between],
        )  # fmt: skip

    def part(self, every: int) -> Likelihood:
        """Every n-th observation of each sort."""
        return Likelihood(
            self.good[::every], self.good_count[::every], self.early[::every], self.early_count[::every],
            self.left[::every], self.ratio[::every], self.count[::every],
        )  # fmt: skip

    def __len__(self) -> int:
        return len(self.good) + len(self.early) + len(self.left)

    def sums(self, a: float, k: float) -> _Sums:
        """The log-likelihood and its gradient and Hessian at (a, k)."""
        with np.errstate(over="ignore", under="ignore", divide="ignore", invalid="ignore"):
            total = np.zeros(6)
            for at in range(0, len(self.good), CHUNK):
                total += _good_sums(self.good[at : at + CHUNK], self.good_count[at : at + CHUNK], a, k)
            for at in range(0, len(self.early), CHUNK):
                total += _early_sums(self.early[at : at + CHUNK], self.early_count[at : at + CHUNK], a, k)
            for at in range(0, len(self.left), CHUNK):
                piece = slice(at, at + CHUNK)
                total += _between_sums(self.left[piece], self.ratio[piece], self.count[piece], a, k)
        return _Sums(*total.tolist())


def _good_sums(x: FloatArray, count: FloatArray, a: float, k: float) -> FloatArray:
    # l = -u, u = exp(a + k x)
    u = count * np.exp(a + k * x)
    sum_u, sum_xu = float(u.sum()), float(np.dot(u, x))
    sum_xxu = float(np.dot(u * x, x))
    return np.array([-sum_u, -sum_u, -sum_xu, -sum_u, -sum_xu, -sum_xxu])


def _early_sums(x: FloatArray, count: FloatArray, a: float, k: float) -> FloatArray:
    # l = ln(1 - exp(-u))
    u = np.exp(a + k * x)
    e = np.expm1(-u)
    gu = count * np.where(u > 0, -(1 + e) / e * u, 1.0)
    curve = gu * (1 + u / e)  # 1 - u (1 + g) with g = -(1 + e)/e
    return np.array(
        [
            np.dot(count, np.log(-e)), gu.sum(), np.dot(gu, x), curve.sum(), np.dot(curve, x),
            np.dot(curve * x, x),
        ]
    )  # fmt: skip


def _between_sums(x: FloatArray, ratio: FloatArray, count: FloatArray, a: float, k: float) -> FloatArray:
    # l = -u + ln(1 - exp(-d)), u at the left end, d = the hazard between the ends
    u = np.exp(a + k * x)
    d = u * np.expm1(k * ratio)
    e = np.expm1(-d)
    g = -(1 + e) / e
    ends = ratio * (u + d)
    dk = x * d + ends
    dkk = x * dk + (x + ratio) * ends
    bend = g / e  # -g (1 + g)
    ca, cg, cb = count * u, count * g, count * bend
    xu = ca * x
    return np.array(
        [
            np.dot(count, np.log(-e)) - ca.sum(),
            np.dot(cg, d) - ca.sum(),
            np.dot(cg, dk) - xu.sum(),
            np.dot(cg, d) - ca.sum() + np.dot(cb * d, d),
            np.dot(cg, dk) - xu.sum() + np.dot(cb * d, dk),
            np.dot(cg, dkk) - np.dot(xu, x) + np.dot(cb * dk, dk),
        ]
    )


def fit_weibull(seen: Spans, confidence: float = 0.95, *, limits: bool = True) -> WeibullFit:
    r"""Weibull life by maximum likelihood, with profile limits of shape and scale.

    .. math:: F(t) = 1 - \exp(-(t/\eta)^k), \quad
        \ln L = \sum_{good} -(L_i/\eta)^k + \sum_{failed} \ln(F(R_i) - F(L_i))

    Parameters
    ----------
    seen : Spans
        Observations ``(left, right]``.
    confidence : float
        Of each pair of limits, [-], between 0 and 1.
    limits : bool
        False leaves the limits out, for speed.

    Returns
    -------
    WeibullFit
        Shape k [-], scale eta [unit of the observations]: the age by which 63.2 % have failed. A limit is
        None where the data do not bound that side (`why` says so).

    Notes
    -----
    In a = -k log(eta) and k the log-likelihood is concave (the smallest-extreme-value density of log life is
    log-concave), so damped Newton with the exact gradient and Hessian, begun at the exponential fit, finds
    the only maximum. Times are taken in units of the exponential mean life: the fit is the same in any unit.
    Limits lie where the profile log-likelihood has fallen by half the chi-squared quantile (one degree of
    freedom), found in log shape and log scale.

    There is no finite maximum, and no estimate, where

    - there are no failures, or all failed by their first test;
    - no last good age lies beyond a failed age (all could have failed at one age): k grows without bound;
    - every failure was found at its first test, and those found failed were not tested at greater age (mean
      log age) than those good: k goes towards 0.

    References
    ----------
    .. [1] W. Nelson, Applied Life Data Analysis, 1982, chapter 9 (inspection data).
    .. [2] W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data, 1998, chapters 7 and 8.
    .. [3] D. J. Venzon and S. H. Moolgavkar, Applied Statistics 37 (1988) 87 (profile limits).

    Examples
    --------
    Turbine part cracks, 167 parts at 8 inspections (Nelson 1982 p. 415), in days.

    >>> from pitbird.science.reliability.spans import spans
    >>> ends = [0, 186, 606, 902, 1077, 1209, 1377, 1592, 1932]
    >>> seen = spans(ends, [*ends[1:], float("inf")], [5, 16, 12, 18, 18, 2, 6, 17, 73])
    >>> fit = fit_weibull(seen)
    >>> round(fit.shape, 4), round(fit.scale, 1)
    (1.4848, 2182.0)
    """
    check_confidence(confidence)
    rate = fit_exponential(seen, confidence).rate
    outcome = _no_maximum(seen)
    if outcome is not None or rate is None:
        return _none(seen, outcome or "not converged", confidence)
    unit = 1 / rate
    like = Likelihood.of(grouped(seen), unit)
    a, k = 0.0, 1.0
    if len(like) > _LARGE:
        a, k = _start(like, a, k)
    found = _maximum(like, a, k)
    if found is None:
        return _none(seen, "not converged", confidence)
    a, k, best = found
    se_shape, se_scale = _standard_errors(best, a, k)
    shape: tuple[float | None, float | None] = (None, None)
    scale: tuple[float | None, float | None] = (None, None)
    method, why = "none asked for", ""
    if limits:
        shape, scale, why = _limits(like, a, k, best.value, (se_shape, se_scale), confidence)
        method = "profile likelihood"
    low, high = (None if s is None else s * unit for s in scale)
    return WeibullFit(
        "estimated", k, *shape, math.exp(-a / k) * unit, low, high, best.value, True, seen.failures,
        seen.censored, seen.exposure, confidence, se_shape, se_scale, method, why,
    )  # fmt: skip


def _none(seen: Spans, outcome: Outcome, confidence: float) -> WeibullFit:
    nothing = (None,) * 7
    return WeibullFit(
        outcome, *nothing, False, seen.failures, seen.censored, seen.exposure, confidence, None, None,
        "none: there is no estimate", WHY[outcome],
    )  # fmt: skip


def _no_maximum(seen: Spans) -> Outcome | None:
    """Why the likelihood has no finite maximum; None where it has one."""
    left, right, count = seen.left, seen.right, seen.count
    failed = np.isfinite(right)
    if not failed.any():
        return "no failures" if (left > 0).any() else "nothing observed"
    if not (left > 0).any():
        return "all failed by the first test"
    # Ends that part by rounding alone are one age.
    if float(left.max()) <= float(right.min()) * (1 + 1e-12):
        return "shape without bound"
    if (failed & (left > 0)).any():
        return None
    good = ~failed & (left > 0)
    found = float(np.average(np.log(right[failed]), weights=count[failed]))
    kept = float(np.average(np.log(left[good]), weights=count[good]))
    # The slope of the profile at k = 0 has the sign of this difference; a tie is a maximum at 0.
    return "shape towards zero" if found <= kept + 1e-12 * abs(kept) else None


def _start(like: Likelihood, a: float, k: float) -> tuple[float, float]:
    """The fit of a part of the observations: three steps over all of them fewer."""
    part = like.part(len(like) // _PART)
    if not len(part.left):
        return a, k
    found = _maximum(part, a, k)
    return (a, k) if found is None else found[:2]


def _maximum(like: Likelihood, a: float, k: float) -> tuple[float, float, _Sums] | None:
    """Damped Newton in (a, k); None if it does not get there."""
    here = like.sums(a, k)
    for _ in range(200):
        det = here.aa * here.kk - here.ak * here.ak
        if not (math.isfinite(here.value) and det > 0 and here.aa < 0):
            return None
        step_a = (here.ak * here.k - here.kk * here.a) / det
        step_k = (here.ak * here.a - here.aa * here.k) / det
        promised = here.a * step_a + here.k * step_k
        # Half the promised rise is what is missing of the maximum; no step can show less than rounding.
        if promised < 1e-9 * (1 + abs(here.value)) and abs(step_k) < 1e-3 * k:
            polished = like.sums(a + step_a, k + step_k)
            return a + step_a, k + step_k, polished
        share = 1.0 if step_k > -0.8 * k else -0.8 * k / step_k
        while True:
            there = like.sums(a + share * step_a, k + share * step_k)
            if there.value > here.value + 1e-4 * share * promised:
                break
            share *= 0.4
            if share < 1e-10:
                return None
        a, k, here = a + share * step_a, k + share * step_k, there
    return None


def _in_logs(s: _Sums, a: float, k: float) -> tuple[FloatArray, NDArray[np.float64]]:
    """Gradient and Hessian to (log shape, log scale): a = -exp(log shape) log scale, k = exp(log shape)."""
    # da/dx = a, dk/dx = k for x = log shape; da/dy = -k for y = log scale.
    gradient = np.array([a * s.a + k * s.k, -k * s.a])
    xx = a * a * s.aa + 2 * a * k * s.ak + k * k * s.kk + gradient[0]
    xy = -k * (a * s.aa + k * s.ak) - k * s.a
    return gradient, np.array([[xx, xy], [xy, k * k * s.aa]])


def _standard_errors(s: _Sums, a: float, k: float) -> tuple[float, float]:
    _, hessian = _in_logs(s, a, k)
    spread = np.linalg.inv(-hessian)
    return math.sqrt(spread[0, 0]), math.sqrt(spread[1, 1])


def _limits(
    like: Likelihood, a: float, k: float, best: float, errors: tuple[float, float], confidence: float
) -> tuple[tuple[float | None, float | None], tuple[float | None, float | None], str]:
    """Profile limits of shape and of scale (in the fit's own unit), and what is unbounded in words."""
    fall = 0.5 * float(chdtri(1, 1 - confidence))
    cut = best - fall
    open_shape, open_low, open_high = _open_ends(like, cut)
    top = np.array([math.log(k), -a / k])
    found: list[float | None] = []
    for which, is_open in ((0, (open_shape, False)), (1, (open_low, open_high))):
        for side, unbounded in zip((-1, 1), is_open, strict=True):
            if unbounded:
                found.append(None)
                continue
            reach = side * math.sqrt(2 * fall) * errors[which]
            found.append(_profile_limit(like, top, which, reach, cut))
    values = [None if x is None else math.exp(x) for x in found]
    said = []
    for name, pair in (("shape", values[:2]), ("scale", values[2:])):
        ends = " and ".join(w for w, end in zip(("below", "above"), pair, strict=True) if end is None)
        if ends:
            said.append(f"The data do not bound the {name} from {ends}.")
    return (values[0], values[1]), (values[2], values[3]), " ".join(said)


def _open_ends(like: Likelihood, cut: float) -> tuple[bool, bool, bool]:
    """Whether shape 0, scale 0 and a scale without end lie within the limits.

    Only where every failure was found at its first test:
    as the shape goes to 0 every age has the same chance p = 1 - exp(-c) of having failed, with the scale at
    c^(-1/k): without end for c < 1, at 0 for c > 1.
    """
    if len(like.left):
        return False, False, False
    good, early = float(like.good_count.sum()), float(like.early_count.sum())

    def value(c: float) -> float:
        return early * math.log(-math.expm1(-c)) - good * c

    c = -math.log1p(-early / (good + early))
    return value(c) >= cut, value(max(c, 1.0)) >= cut, value(min(c, 1.0)) >= cut


def _profile_limit(like: Likelihood, top: FloatArray, which: int, reach: float, cut: float) -> float | None:
    """Limit of log shape (which = 0) or log scale (1): Newton on both conditions at once, else by search."""
    other = 1 - which
    here = top.copy()
    first = True
    for _ in range(12):
        a, k = _ak(here)
        s = like.sums(a, k)
        if not math.isfinite(s.value):
            break
        gradient, hessian = _in_logs(s, a, k)
        if first:
            # On the ridge, out to where a parabola would meet the cut.
            here = here + reach * np.where(np.arange(2) == which, 1.0, -hessian[0, 1] / hessian[other, other])
            first = False
            continue
        short = s.value - cut
        # Two conditions: the log-likelihood at the cut, and flat in the other parameter.
        step = _solved(gradient, hessian[other], (-short, -gradient[other]))
        if step is None or abs(step[which]) > 3 * abs(reach):
            break
        here = here + step
        if (here[which] - top[which]) * reach <= 0:
            break
        if abs(here[which] - top[which]) > _FARTHEST:
            break
        if abs(step[which]) < 1e-11 and abs(step[other]) < 1e-6:
            return float(here[which])
        if abs(short) < 1e-9 and abs(gradient[other]) < 1e-6 and hessian[other, other] < 0:
            return float(here[which])
    return _searched_limit(like, top, which, reach, cut)


def _solved(one: FloatArray, two: FloatArray, wanted: tuple[float, float]) -> FloatArray | None:
    """The point at which two rows give what is wanted; None where they say the same, or nothing finite."""
    (a, b), (c, d) = one.tolist(), two.tolist()  # plain numbers overflow to infinity and say nothing
    det = a * d - b * c
    if not math.isfinite(det) or abs(det) < 1e-14 * max(abs(a), abs(b)) * max(abs(c), abs(d)):
        return None
    step = ((wanted[0] * d - b * wanted[1]) / det, (a * wanted[1] - wanted[0] * c) / det)
    return np.array(step) if all(map(math.isfinite, step)) else None


def _ak(point: FloatArray) -> tuple[float, float]:
    k = math.exp(min(point[0], 300.0))
    return -k * float(point[1]), k


def _searched_limit(like: Likelihood, top: FloatArray, which: int, reach: float, cut: float) -> float | None:
    """The same limit by stepping outwards and halving, with the other parameter at its best each time; None
    where it lies farther off than any use of it."""
    best_other = float(top[1 - which])

    def over(x: float) -> bool:
        nonlocal best_other
        value, best_other = _profile(like, which, x, best_other)
        return value >= cut

    inside, step = float(top[which]), reach
    for _ in range(200):
        if abs(inside + step - float(top[which])) > _FARTHEST:
            return None
        if not over(inside + step):
            break
        inside += step
        step *= 1.5
    outside = inside + step
    while abs(outside - inside) > 1e-11 * max(1.0, abs(inside)):
        middle = 0.5 * (inside + outside)
        if middle in (inside, outside):
            break
        if over(middle):
            inside = middle
        else:
            outside = middle
    return 0.5 * (inside + outside)


def _profile(like: Likelihood, which: int, x: float, start: float) -> tuple[float, float]:
    """The best log-likelihood with one parameter held at x, and where the other then lies."""

    def at(y: float) -> tuple[float, float, float]:
        a, k = _ak(np.array([x, y] if which == 0 else [y, x]))
        s = like.sums(a, k)
        gradient, hessian = _in_logs(s, a, k)
        return s.value, float(gradient[1 - which]), float(hessian[1 - which, 1 - which])

    return _best(at, start)


def _best(at: Callable[[float], tuple[float, float, float]], y: float) -> tuple[float, float]:
    """Maximum of a function of one number with a single top: damped Newton, uphill only."""
    value, slope, curve = at(y)
    for _ in range(60):
        if math.isfinite(value):
            break
        y *= 0.5
        value, slope, curve = at(y)
    else:
        return -math.inf, y
    for _ in range(100):
        step = slope / -curve if curve < 0 else math.copysign(1.0, slope)
        step = max(-2.0, min(2.0, step))
        there = at(y + step)
        while not there[0] >= value:
            step *= 0.3
            if abs(step) < 1e-13:
                return value, y
            there = at(y + step)
        y += step
        gained, (value, slope, curve) = there[0] - value, there
        if abs(step) < 1e-9 or gained < 1e-13 * abs(value):
            break
    return value, y
