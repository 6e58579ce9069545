"""The response of a sensor to a step of gas: first order with delay, a second, slower constant where needed.

`fit_response` fits a record from gas on; `crossing_s` tells when the record itself reached a level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, least_squares

FloatArray: TypeAlias = NDArray[np.float64]

#: By how much the second constant must lower the Bayesian information criterion to be kept ("strong"
#: evidence: R. E. Kass and A. E. Raftery, J. Amer. Statist. Assoc. 90 (1995) 773).
BIC_GAIN: Final = 6.0
#: Share of the step still to come, and standard error of the final reading, up to which a record is settled.
SETTLED: Final = 0.05
FEWEST: Final = 8


class NoResponse(ValueError):
    """A record from which no response can be told."""


@dataclass(frozen=True, slots=True)
class Response:
    """A fitted step response; times [s] from gas on, delay included; `se_...` their standard errors."""

    clean_air_reading: float
    final_reading: float
    delay_s: float
    tau_s: float
    #: The slower constant and the share of the step that takes it; None and 0 where one constant will do.
    slow_tau_s: float | None
    slow_share: float
    t50_s: float
    t90_s: float
    se_final_reading: float
    se_delay_s: float
    se_tau_s: float
    se_t50_s: float
    se_t90_s: float
    rmse: float
    bic_gain: float
    settled: bool
    samples: int

    def reading(self, t_s: ArrayLike) -> FloatArray:
        """The fitted reading at times from gas on."""
        return step_reading(
            t_s, start=self.clean_air_reading, final=self.final_reading, delay_s=self.delay_s,
            tau_s=self.tau_s, slow_tau_s=self.slow_tau_s, slow_share=self.slow_share,
        )  # fmt: skip


def step_reading(
    t_s: ArrayLike, *, start: float, final: float, delay_s: float, tau_s: float,
    slow_tau_s: float | None = None, slow_share: float = 0.0,
) -> FloatArray:  # fmt: skip
    """The reading at times from gas on, [unit of start and final], of a response of first order with delay.

    Parameters are those of `Response`; `slow_tau_s` and `slow_share` belong together.
    """
    t = np.asarray(t_s, dtype=np.float64)
    left = _left(t, delay_s, tau_s, slow_tau_s or tau_s, slow_share)
    reading: FloatArray = final + (start - final) * left
    return reading


def _left(t: FloatArray, delay: float, tau: float, slow: float, share: float) -> FloatArray:
    """Share of the step still to come."""
    late = np.maximum(t - delay, 0.0)
    left: FloatArray = (1 - share) * np.exp(-late / tau)
    return left + share * np.exp(-late / slow) if share else left


def fit_response(
    t_s: ArrayLike, reading: ArrayLike, *, gas_on_s: float, clean_air_reading: float | None = None
) -> Response:
    r"""Fit the response to a step of gas.

    .. math:: r(t) = R + (r_0 - R) \left[(1 - s) e^{-(t - d)/\tau} + s e^{-(t - d)/\tau_2}\right], t > d

    Parameters
    ----------
    t_s : array_like
        Times, [s], rising; gaps do no harm.
    reading : array_like
        Readings, [any one unit]; samples that are not numbers are left out.
    gas_on_s : float
        The instant of gas on, [s, same clock]. Samples before it, if any, show clean air. For a recovery, the
        instant of gas off.
    clean_air_reading : float, optional
        r_0 where it is known; fitted where left out.

    Returns
    -------
    Response

    Notes
    -----
    Least squares with a soft absolute loss that bends beyond 1.5 times the noise of neighbours (or rounding),
    then, where the model itself is off by more, beyond three times that. Several starts. The second constant
    is kept if it lowers the Bayesian information criterion by more than `BIC_GAIN`, taken with as many
    independent samples as the autocorrelation of the residuals leaves, if it is 1.5 times the first or more
    and carries 2 to 98 % of the step. Standard errors from the curvature, widened for the same
    autocorrelation. `settled`: no more than `SETTLED` of the fitted step is still to come at the last sample,
    and the final reading is known to within that.

    Raises
    ------
    NoResponse
        Lists of unequal length, times that do not rise, too few samples, a step no larger than the noise.

    Examples
    --------
    >>> t = np.arange(0, 121, 2.0)
    >>> fit = fit_response(t, np.where(t > 3, 25 * (1 - np.exp(-np.maximum(t - 3, 0) / 10)), 0), gas_on_s=0)
    >>> round(fit.final_reading, 2), round(fit.t90_s, 2), fit.settled
    (25.0, 26.03, True)
    """
    t, y = _record(t_s, reading, gas_on_s)
    noise = _noise(y)
    step = _step(t, y, clean_air_reading)
    if not abs(step) > 4 * noise:
        raise NoResponse("the reading changes no more than its noise: there is no response to fit")
    # Times and readings in units of the record, so that no unit matters.
    span = float(t[-1])
    work = _Work(t / span, y / abs(step), max(noise / abs(step), 2e-4), clean_air_reading, abs(step))
    one = work.best(double=False)
    two = work.best(double=True)
    residual, gain = _gain(work, one, two)
    keep = gain > BIC_GAIN and _is_second(two)
    chosen = two if keep else one
    return _response(work, chosen, residual if keep else work.residual(one), span, gain)


def _record(t_s: ArrayLike, reading: ArrayLike, gas_on_s: float) -> tuple[FloatArray, FloatArray]:
    t = np.asarray(t_s, dtype=np.float64)
    y = np.asarray(reading, dtype=np.float64)
    if t.ndim != 1 or t.shape != y.shape:
        raise NoResponse(f"t_s and reading are lists of unequal length: {t.size} and {y.size}")
    if not math.isfinite(gas_on_s):
        raise NoResponse(f"gas_on_s is {gas_on_s}; it must be a number")
    wrong = np.flatnonzero(~np.isfinite(t))
    if len(wrong):
        raise NoResponse(f"time {int(wrong[0])} is not a number")
    falls = np.flatnonzero(np.diff(t) <= 0)
    if len(falls):
        raise NoResponse(
            f"time {int(falls[0]) + 1} ({t[falls[0] + 1]:g} s) does not come after the one before"
        )
    good = np.isfinite(y)
    t, y = t[good] - gas_on_s, y[good]
    after = int((t >= 0).sum())
    if after < FEWEST:
        raise NoResponse(f"there are {after} samples from gas on; {FEWEST} are the fewest that can be fitted")
    return t, y


def _noise(y: FloatArray) -> float:
    """Standard deviation of the noise, from second differences, or of rounding where that is more."""
    second = y[2:] - 2 * y[1:-1] + y[:-2]
    spread = float(np.median(np.abs(second))) / (0.6745 * math.sqrt(6))
    steps = np.abs(np.diff(y))
    rounding = float(steps[steps > 0].min(initial=np.inf)) / math.sqrt(12)
    # The least step between samples is the resolution only where steps of it are common.
    common = float((np.isclose(steps, steps[steps > 0].min(initial=np.inf)) | (steps == 0)).mean())
    return max(spread, rounding if common > 0.3 and math.isfinite(rounding) else 0.0)


def _step(t: FloatArray, y: FloatArray, clean: float | None) -> float:
    before = y[t <= 0]
    start = clean if clean is not None else float(np.median(before if len(before) else y[:2]))
    end = float(np.median(y[-max(3, len(y) // 10) :]))
    return end - start


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """The record in its own units; parameters r0, R, delay, log tau and, of a second, log ratio and share."""

    t: FloatArray
    y: FloatArray
    noise: float
    clean: float | None
    unit: float

    def model(self, p: FloatArray) -> FloatArray:
        tau = math.exp(p[3])
        double = len(p) == 6
        left = _left(self.t, p[2], tau, tau * math.exp(p[4]) if double else tau, p[5] if double else 0.0)
        fitted: FloatArray = p[1] + (p[0] - p[1]) * left
        return fitted

    def residual(self, p: FloatArray) -> FloatArray:
        return self.model(p) - self.y

    def best(self, *, double: bool) -> FloatArray:
        """The best fit from several starts."""
        before = self.y[self.t <= 0]
        known = self.clean is not None
        start = float(np.median(before[-9:]) if len(before) else self.y[0])
        if self.clean is not None:
            start = self.clean / self.unit
        end = float(np.median(self.y[-max(3, len(self.y) // 10) :]))
        half = self._reaches(start, end, 0.5)
        low = [start - 1e-9 if known else -np.inf, -np.inf, 0.0, math.log(1e-5)]
        high = [start + 1e-9 if known else np.inf, np.inf, 1.0, math.log(20.0)]
        starts = [
            [start, end, share * half, math.log(max((1 - share) * half / math.log(2), 1e-4))]
            for share in (0.02, 0.5, 0.9)
        ]
        if double:
            low, high = [*low, math.log(1.2), 0.0], [*high, math.log(200.0), 1.0]
            starts = [[*s, math.log(r), share] for s in starts for r, share in ((4.0, 0.3), (15.0, 0.15))]
        bend = 1.5 * self.noise
        found = min((self._descend(np.array(s), low, high, bend) for s in starts), key=lambda f: f[0])[1]
        # Where the model itself is off by more than the noise, only what stands out of that is an outlier.
        wider = max(bend, 3 * 1.4826 * float(np.median(np.abs(self.residual(found)))))
        ends = [found, *(np.array(s) for s in starts[:: 3 if double else 1])]
        return min((self._descend(e, low, high, wider) for e in ends), key=lambda f: f[0])[1]

    def _reaches(self, start: float, end: float, share: float) -> float:
        done = (self.y - start) / (end - start) >= share if end != start else self.t >= 0
        at = self.t[done & (self.t >= 0)]
        return max(float(at[0]) if len(at) else 0.5, 1e-4)

    def _descend(
        self, p: FloatArray, low: list[float], high: list[float], bend: float
    ) -> tuple[float, FloatArray]:
        inside = np.clip(p, np.array(low) + 1e-12, np.array(high) - 1e-12)
        done = least_squares(
            self.residual,
            inside,
            bounds=(low, high),
            loss="soft_l1",
            f_scale=bend,
            x_scale=np.array([1.0, 1.0, 0.05, 0.5, 0.5, 0.2][: len(p)]),
            max_nfev=200,
        )
        return float(done.cost), np.asarray(done.x, dtype=np.float64)


def _is_second(p: FloatArray) -> bool:
    return math.exp(p[4]) >= 1.5 and 0.02 <= p[5] <= 0.98


def _independent(residual: FloatArray) -> float:
    """Share of the samples that count as independent, from the autocorrelation of neighbours."""
    r = residual - residual.mean()
    square = float(r @ r)
    rho = float(r[1:] @ r[:-1]) / square if square > 0 else 0.0
    rho = min(max(rho, 0.0), 0.99)
    return (1 - rho) / (1 + rho)


def _gain(work: _Work, one: FloatArray, two: FloatArray) -> tuple[FloatArray, float]:
    """Fall of the Bayesian information criterion by the second constant, on residuals with tails drawn in."""
    r1, r2 = work.residual(one), work.residual(two)
    bend = max(1.5 * work.noise, 2.5 * 1.4826 * float(np.median(np.abs(r1))))
    s1, s2 = (float((np.clip(r, -bend, bend) ** 2).mean()) + 1e-18 for r in (r1, r2))
    independent = max(len(r1) * _independent(r2), 4.0)
    return r2, independent * math.log(s1 / s2) - 2 * math.log(independent)


def _response(work: _Work, p: FloatArray, residual: FloatArray, span: float, gain: float) -> Response:
    cov = _covariance(work, p, residual)
    unit = work.unit

    def error(gradient: FloatArray) -> float:
        return math.sqrt(max(float(gradient @ cov @ gradient), 0.0))

    def slope(share: float) -> FloatArray:
        out = np.zeros(len(p))
        for i in range(len(p)):
            h = 1e-6 * max(1.0, abs(float(p[i])))
            up, down = p.copy(), p.copy()
            up[i] += h
            down[i] -= h
            out[i] = (_reached(up, share) - _reached(down, share)) / (2 * h)
        return out

    axis = np.eye(len(p))
    tau = math.exp(p[3])
    double = len(p) == 6
    left = float(
        _left(work.t[-1:], p[2], tau, tau * math.exp(p[4]) if double else tau, p[5] if double else 0.0)[0]
    )
    se_final = error(axis[1])
    return Response(
        clean_air_reading=float(p[0]) * unit,
        final_reading=float(p[1]) * unit,
        delay_s=float(p[2]) * span,
        tau_s=tau * span,
        slow_tau_s=tau * math.exp(p[4]) * span if double else None,
        slow_share=float(p[5]) if double else 0.0,
        t50_s=_reached(p, 0.5) * span,
        t90_s=_reached(p, 0.9) * span,
        se_final_reading=se_final * unit,
        se_delay_s=error(axis[2]) * span,
        se_tau_s=error(axis[3]) * tau * span,
        se_t50_s=error(slope(0.5)) * span,
        se_t90_s=error(slope(0.9)) * span,
        rmse=math.sqrt(float((residual**2).mean())) * unit,
        bic_gain=gain,
        settled=left <= SETTLED and se_final <= SETTLED * abs(float(p[1] - p[0])),
        samples=len(residual),
    )


def _covariance(work: _Work, p: FloatArray, residual: FloatArray) -> NDArray[np.float64]:
    columns = []
    for i in range(len(p)):
        h = 1e-6
        up, down = p.copy(), p.copy()
        up[i] += h
        down[i] -= h
        columns.append((work.model(up) - work.model(down)) / (2 * h))
    if work.clean is not None:
        columns[0] = np.zeros_like(columns[0])
    jacobian = np.stack(columns, axis=1)
    free = max(len(residual) - len(p), 1)
    bend = max(1.5 * work.noise, 2.5 * 1.4826 * float(np.median(np.abs(residual))))
    variance = float((np.clip(residual, -bend, bend) ** 2).sum()) / free
    inverse = np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-12).astype(np.float64)
    return inverse * variance / _independent(residual)


def _reached(p: FloatArray, share: float) -> float:
    """Time by which a share of the step is there, delay included, in units of the record."""
    tau = math.exp(p[3])
    if len(p) == 4:
        return float(p[2]) - tau * math.log(1 - share)
    slow = tau * math.exp(p[4])
    part = float(p[5])
    top = max(slow, tau) * -math.log(1 - share)

    def short(late: float) -> float:
        return (1 - part) * math.exp(-late / tau) + part * math.exp(-late / slow) - (1 - share)

    return float(p[2]) + float(brentq(short, 0.0, top * (1 + 1e-9) + 1e-300, xtol=1e-14))


def crossing_s(t_s: ArrayLike, reading: ArrayLike, at: float, *, gas_on_s: float) -> float | None:
    """When a record reached a level, [s] from gas on, on the line between samples; None if it never did.

    Above the first reading the level is reached rising, below it falling. A level passed already at the first
    sample from gas on is reached there.
    """
    t = np.asarray(t_s, dtype=np.float64) - gas_on_s
    y = np.asarray(reading, dtype=np.float64)
    good = np.isfinite(y) & np.isfinite(t)
    t, y = t[good], y[good]
    before = y[t <= 0]
    start = float(before[-1]) if len(before) else float(y[0]) if len(y) else math.nan
    sign = 1.0 if at >= start else -1.0
    reached = np.flatnonzero((t >= 0) & (sign * (y - at) >= 0))
    if not len(reached):
        return None
    i = int(reached[0])
    if i == 0 or t[i] <= 0 or sign * (y[i - 1] - at) >= 0:
        return max(float(t[i]), 0.0)
    share = (at - y[i - 1]) / (y[i] - y[i - 1])
    return max(float(t[i - 1] + share * (t[i] - t[i - 1])), 0.0)
