"""Drift of a sensor from readings against certified gas, and when it will pass a limit.

`fit_drift` fits local-level and local-trend models to the readings, the gas's own uncertainty in them, and
forecasts with the one that has forecast this very record better than "no change"; where none has, it is no
change. The same serves for t90 that creeps up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from pitbird.science.reliability.spans import FloatArray, IntArray

Model = Literal["no change", "level", "trend"]

#: Fewest readings that are looked at, forecasts from which on a model can be judged, and readings kept.
FEWEST: Final = 3
JUDGED: Final = 8
LONGEST: Final = 400
_YEAR: Final = 365.25
#: Noise of a reading, wandering of the level over a usual gap and of the slope over the record, in units of
#: the noise seen; likelihoods are weighed over all of them.
_NOISE: Final = (0.25, 0.5, 0.75, 1.0, 1.4, 2.0)
_WANDER: Final = (0.0, 0.1, 0.3, 0.7, 1.4, 2.5)
_TURN: Final = (0.0, 0.3, 1.0, 3.0)


class NoDrift(ValueError):
    """Readings from which nothing can be forecast; the message says why."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """What the sensor will show in true gas, without the noise of one reading."""

    t_days: float
    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Passing:
    """When a limit will be passed: days by which with a chance of 5, 50 and 95 %; None: not within reach."""

    early_days: float | None
    median_days: float | None
    late_days: float | None
    upto_days: float


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """The model that forecasts, why it is that one, and its forecasts."""

    model: Model
    why: str
    #: Whether the record is long enough to choose between models.
    told: bool
    #: Mean absolute error of each model's forecasts on this record, at each origin from what came before.
    errors: dict[Model, float]
    origins: int
    confidence: float
    last_days: float
    _states: tuple[_States, ...]
    _last: float

    def forecast(self, t_days: float) -> Forecast:
        """Median and limits at a time not before the last reading."""
        tail = 0.5 * (1 - self.confidence)
        return Forecast(t_days, *(self._quantile(t_days, p) for p in (0.5, tail, 1 - tail)))

    def chance_below(self, limit: float, t_days: float) -> float:
        """Chance of lying below a limit at a time."""
        mean, sd, weight = self._normals(t_days)
        return float(np.dot(weight, ndtr((limit - mean) / sd)))

    def passes(self, limit: float, *, upto_days: float, falling: bool = True) -> Passing:
        """When a limit is passed downwards (or upwards), looking no further than `upto_days`."""
        if upto_days <= self.last_days:
            raise ValueError(
                f"upto_days ({upto_days:g}) does not lie after the last reading ({self.last_days:g})"
            )

        def chance(t: float) -> float:
            below = self.chance_below(limit, t)
            return below if falling else 1 - below

        times = np.linspace(self.last_days, upto_days, 201)
        reached = np.maximum.accumulate([chance(float(t)) for t in times])

        def at(p: float) -> float | None:
            i = int(np.searchsorted(reached, p))
            if i == len(times):
                return None
            if i == 0:
                return float(times[0])
            share = (p - reached[i - 1]) / (reached[i] - reached[i - 1])
            return float(times[i - 1] + share * (times[i] - times[i - 1]))

        return Passing(at(0.05), at(0.5), at(0.95), upto_days)

    def _normals(self, t_days: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Means, standard deviations and weights of what is mixed."""
        if t_days < self.last_days:
            raise ValueError(f"t_days ({t_days:g}) lies before the last reading ({self.last_days:g})")
        parts = [states.ahead(t_days - self.last_days) for states in self._states]
        mean, variance = (np.concatenate(each) for each in zip(*parts, strict=True))
        weight = np.concatenate([states.weight for states in self._states]) / len(self._states)
        if self.model == "no change":
            # About the last reading, and as wide as level and trend together would have it.
            variance = variance + (mean - self._last) ** 2
            mean = np.full_like(mean, self._last)
        return mean, np.sqrt(np.maximum(variance, 1e-300)), weight

    def _quantile(self, t_days: float, p: float) -> float:
        mean, sd, weight = self._normals(t_days)

        def short(x: float) -> float:
            return float(np.dot(weight, ndtr((x - mean) / sd))) - p

        low, high = float((mean - 12 * sd).min()), float((mean + 12 * sd).max())
        return (
            float(brentq(short, low, high, xtol=1e-12 * max(1.0, abs(low), abs(high)))) if low < high else low
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Candidates:
    """Variances that are tried at once: of a reading, of the level and of the slope, per day."""

    noise: FloatArray
    level: FloatArray
    slope: FloatArray
    trend: bool


@dataclass(frozen=True, slots=True, eq=False)
class _States:
    """After some readings: level and slope with their covariance under each candidate, and its weight."""

    candidates: _Candidates
    mean: FloatArray  # candidates x (level, slope, offset of each cylinder)
    cov: NDArray[np.float64]
    weight: FloatArray

    def ahead(self, days: float) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of the level after some days."""
        mean: FloatArray = self.mean[:, 0] + days * self.mean[:, 1]
        p = self.cov
        variance: FloatArray = p[:, 0, 0] + 2 * days * p[:, 0, 1] + days**2 * p[:, 1, 1]
        return mean, variance + self.candidates.level * days + self.candidates.slope * days**3 / 3

    def expected(self, days: float) -> float:
        """Mean over the candidates."""
        return float(np.dot(self.weight, self.ahead(days)[0]))


def fit_drift(
    t_days: ArrayLike,
    reading: ArrayLike,
    *,
    gas_sd: ArrayLike = 0.0,
    cylinder: Sequence[str] | None = None,
    horizon_days: float | None = None,
    confidence: float = 0.95,
) -> Drift:
    r"""Forecast of a sensor's reading in certified gas from its readings so far.

    .. math:: y_i = m(t_i) + c_{cyl(i)} + e_i, \quad dm = s\,dt + \sigma_m dW, \quad ds = \sigma_s dW'

    Parameters
    ----------
    t_days : array_like
        Times of the readings, [days], rising.
    reading : array_like
        Reading over certified value, [-] or in % (or t90, [s]), of one sensor since it was last adjusted.
    gas_sd : array_like
        Standard uncertainty of the certified value, [same unit as reading], one for all or for each reading:
        half the expanded one of the certificate (k = 2).
    cylinder : sequence of str, optional
        From which cylinder each reading came. The error of a certificate is the same at every reading of its
        cylinder; left out, all are from one.
    horizon_days : float, optional
        How far ahead forecasts are judged on the record; a third of its span where left out.
    confidence : float
        Of the limits of a forecast, [-].

    Returns
    -------
    Drift

    Notes
    -----
    Kalman filter over 36 (level) and 144 (trend) sets of variances at once, weighed by their likelihood, so
    that limits carry the doubt about them. From each reading on the models forecast those within the horizon;
    a model is chosen only if its mean absolute error there lies below that of "no change" (the last reading
    stays) by more than the standard error of the difference. With fewer than `JUDGED` such origins nothing
    can be told and nothing changes; the limits are then as wide as both models
    have it. No more than the last `LONGEST` readings are looked at.

    Raises
    ------
    NoDrift
        Lists of unequal length, too few readings, times that do not rise, numbers that are none.

    References
    ----------
    .. [1] A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter, 1989, chapter 4.
    .. [2] L. J. Tashman, Int. J. Forecasting 16 (2000) 437 (rolling origin).

    Examples
    --------
    >>> t = np.arange(0, 600, 30.0)
    >>> told = fit_drift(t, 100 - 0.05 * t + np.where(np.arange(20) % 2, 0.3, -0.3), gas_sd=1.0)
    >>> told.model, round(told.passes(60, upto_days=2000).median_days, -2)
    ('trend', 800.0)
    """
    t, y, sd, which = _checked(t_days, reading, gas_sd, cylinder)
    ahead = horizon_days if horizon_days is not None else (t[-1] - t[0]) / 3
    noise = _noise(y)
    level, trend = (
        list(_filtered(t, y, sd, which, _tried(t, noise, trend=trend))) for trend in (False, True)
    )
    errors, gains, origins = _judged(t, y, level, trend, ahead)
    model, why = _chosen(errors, gains, origins)
    chosen = {"level": level[-1:], "trend": trend[-1:], "no change": [level[-1], trend[-1]]}
    return Drift(
        model,
        why,
        origins >= JUDGED,
        errors,
        origins,
        confidence,
        float(t[-1]),
        tuple(chosen[model]),
        float(y[-1]),
    )


def _checked(
    t_days: ArrayLike, reading: ArrayLike, gas_sd: ArrayLike, cylinder: Sequence[str] | None
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    t, y = np.asarray(t_days, dtype=np.float64), np.asarray(reading, dtype=np.float64)
    if t.ndim != 1 or t.shape != y.shape:
        raise NoDrift(f"t_days and reading are lists of unequal length: {t.size} and {y.size}")
    if cylinder is not None and len(cylinder) != len(t):
        raise NoDrift(f"there are {len(cylinder)} cylinders for {len(t)} readings")
    if len(t) < FEWEST:
        raise NoDrift(f"there are {len(t)} readings; {FEWEST} are the fewest")
    for name, values in (("time", t), ("reading", y)):
        wrong = np.flatnonzero(~np.isfinite(values))
        if len(wrong):
            raise NoDrift(f"{name} {int(wrong[0])} is not a number")
    falls = np.flatnonzero(np.diff(t) <= 0)
    if len(falls):
        raise NoDrift(f"time {int(falls[0]) + 1} does not come after the one before")
    sd = np.broadcast_to(np.asarray(gas_sd, dtype=np.float64), t.shape)
    if not ((sd >= 0) & np.isfinite(sd)).all():
        raise NoDrift("gas_sd must be numbers from 0")
    kept = slice(-LONGEST, None)
    names = list(cylinder)[kept] if cylinder is not None else [""] * len(t[kept])
    order = {name: i for i, name in enumerate(dict.fromkeys(names))}
    return t[kept], y[kept], sd[kept].copy(), np.array([order[name] for name in names])


def _noise(y: FloatArray) -> float:
    """Size of what the readings do from one to the next."""
    steps = float(np.median(np.abs(np.diff(y)))) / (0.6745 * math.sqrt(2))
    return max(steps, 1e-4 * float(np.abs(y).max()), 1e-12)


def _tried(t: FloatArray, noise: float, *, trend: bool) -> _Candidates:
    gap, span = float(np.median(np.diff(t))), float(t[-1] - t[0])
    turns = _TURN if trend else (0.0,)
    grid = np.array([(n, w, s) for n in _NOISE for w in _WANDER for s in turns]).T
    # A slope that wanders moves the level over the record by noise x turn.
    return _Candidates(
        (noise * grid[0]) ** 2, (noise * grid[1]) ** 2 / gap, 3 * (noise * grid[2]) ** 2 / span**3, trend
    )


def _filtered(
    t: FloatArray, y: FloatArray, sd: FloatArray, which: IntArray, tried: _Candidates
) -> Iterator[_States]:
    """The states after each reading, all candidates at once."""
    many, size = len(tried.noise), 2 + int(which.max()) + 1
    mean = np.zeros((many, size))
    mean[:, 0] = y[0]
    cov = np.zeros((many, size, size))
    scale = max(float(np.abs(y).max()), 1e-12)
    cov[:, 0, 0] = scale**2
    cov[:, 1, 1] = (scale / _YEAR) ** 2 if tried.trend else 0.0
    for c in range(size - 2):
        cov[:, 2 + c, 2 + c] = float(sd[which == c].max()) ** 2
    value = np.zeros(many)
    for i in range(len(t)):
        if i:
            mean, cov = _moved(mean, cov, tried, float(t[i] - t[i - 1]))
        mean, cov, gained = _seen(mean, cov, tried.noise, float(y[i]), 2 + int(which[i]))
        value = value + gained
        weight = np.exp(value - value.max())
        yield _States(tried, mean, cov, weight / weight.sum())


def _moved(
    mean: FloatArray, cov: NDArray[np.float64], tried: _Candidates, days: float
) -> tuple[FloatArray, NDArray[np.float64]]:
    moved = mean.copy()
    moved[:, 0] += days * mean[:, 1]
    p = cov.copy()
    p[:, 0, :] += days * cov[:, 1, :]
    p[:, :, 0] += days * p[:, :, 1]
    p[:, 0, 0] += tried.level * days + tried.slope * days**3 / 3
    p[:, 0, 1] += tried.slope * days**2 / 2
    p[:, 1, 0] += tried.slope * days**2 / 2
    p[:, 1, 1] += tried.slope * days
    return moved, p


def _seen(
    mean: FloatArray, cov: NDArray[np.float64], noise: FloatArray, y: float, offset: int
) -> tuple[FloatArray, NDArray[np.float64], FloatArray]:
    """States after one reading, and what it adds to the log-likelihood."""
    pull = cov[:, :, 0] + cov[:, :, offset]
    variance = pull[:, 0] + pull[:, offset] + noise
    short = y - mean[:, 0] - mean[:, offset]
    gain = pull / variance[:, None]
    gained: FloatArray = -0.5 * (np.log(2 * math.pi * variance) + short**2 / variance)
    return mean + gain * short[:, None], cov - gain[:, :, None] * pull[:, None, :], gained


def _judged(
    t: FloatArray, y: FloatArray, level: list[_States], trend: list[_States], ahead: float
) -> tuple[dict[Model, float], dict[Model, tuple[float, float]], int]:
    """Mean absolute errors, and by how much each model beats no change with the standard error of that."""
    misses: list[tuple[float, float, float]] = []
    for i in range(FEWEST - 1, len(t) - 1):
        within = [j for j in range(i + 1, len(t)) if t[j] - t[i] <= ahead] or [i + 1]
        both = [
            float(np.mean([abs(y[j] - states[i].expected(float(t[j] - t[i]))) for j in within]))
            for states in (level, trend)
        ]
        misses.append((float(np.mean(np.abs(y[within] - y[i]))), *both))  # type: ignore[arg-type]
    if not misses:
        return {}, {}, 0
    table = np.array(misses)
    # Origins within one horizon share what they forecast: only so many are independent.
    independent = max(2.0, min(len(table), (t[-1] - t[0]) / max(ahead, 1e-12)))
    gain = table[:, :1] - table
    spread = gain.std(axis=0) / math.sqrt(independent)
    names: tuple[Model, ...] = ("no change", "level", "trend")
    errors = {name: float(table[:, i].mean()) for i, name in enumerate(names)}
    gains = {name: (float(gain[:, i].mean()), float(spread[i])) for i, name in enumerate(names)}
    return errors, gains, len(misses)


def _chosen(
    errors: dict[Model, float], gains: dict[Model, tuple[float, float]], origins: int
) -> tuple[Model, str]:
    if origins < JUDGED:
        return "no change", (
            f"It cannot be told: {origins} forecasts can be judged on this record, {JUDGED} are the fewest. "
            "No change is assumed."
        )
    better: list[Model] = [
        name for name, (gain, error) in gains.items() if name != "no change" and gain > error
    ]
    if not better:
        return "no change", (
            "On this record no model has forecast better than the last reading by more than chance: "
            "no change is assumed."
        )
    best = min(better, key=lambda name: errors[name])
    share = 1 - errors[best] / errors["no change"]
    words = "a trend" if best == "trend" else "a level that wanders"
    return (
        best,
        f"On this record {words} has forecast with {100 * share:.0f} % less error than the last reading.",
    )
