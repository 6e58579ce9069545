"""The life distribution without a form, from failures that show only at tests (Turnbull).

`fit_npmle` gives the intervals that carry probability, their masses, and a certificate of how near the
likelihood is to its maximum.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import scipy.sparse
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression
from scipy.sparse.linalg import splu

from pitbird.science.reliability.spans import FloatArray, IntArray, Spans, grouped

#: The gap of the certificate up to which the fit counts as converged.
GAP: Final = 1e-8
#: What the search itself aims at, so that rounding does not decide.
_AIM: Final = 1e-9
_FIRST_STEPS: Final = 20
_STEPS: Final = 20
_ROUNDS: Final = 60
#: Intervals with mass up to which Newton's step is worth its equations.
_NEWTON_UP_TO: Final = 6_000


@dataclass(frozen=True, slots=True, eq=False)
class Npmle:
    """Masses on intervals ``(left, right]``; within an interval the data say nothing about where it lies."""

    left: FloatArray
    right: FloatArray
    mass: FloatArray
    log_likelihood: float
    #: max_j g_j/n - 1: the log-likelihood is within n times this of its maximum.
    certificate: float
    converged: bool
    failures: int
    censored: int
    exposure: float
    why: str = ""
    _upto: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_upto", np.concatenate(([0.0], np.cumsum(self.mass))))

    def survival(self, age: float) -> tuple[float, float]:
        """Lowest and highest probability of living beyond an age; equal unless it lies inside an interval."""
        surely = int(np.searchsorted(self.right, age, side="right"))
        perhaps = int(np.searchsorted(self.left, age, side="left"))
        low, high = 1 - float(self._upto[perhaps]), 1 - float(self._upto[surely])
        return max(0.0, low), max(0.0, high)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Observations as ranges of supports, each of probability G[end] - G[start], G the masses summed."""

    start: IntArray
    end: IntArray
    weight: FloatArray
    size: int
    total: float

    def log_likelihood(self, cumulative: FloatArray) -> float:
        p = cumulative[self.end] - cumulative[self.start]
        return float((self.weight * np.log(p)).sum()) if p.min() > 0 else -np.inf

    def falls(self, over: FloatArray) -> FloatArray:
        """Sum of `over` (weight/probability) by start less that by end: the gradient to G, sign turned."""
        starts: FloatArray = np.bincount(self.start, over, self.size + 1).astype(np.float64, copy=False)
        return starts - np.bincount(self.end, over, self.size + 1)

    def pull(self, cumulative: FloatArray) -> FloatArray:
        """g_j: the derivative of the log-likelihood to the mass of each support."""
        return np.cumsum(self.falls(self.weight / (cumulative[self.end] - cumulative[self.start]))[:-1])

    def on(self, kept: NDArray[np.bool_]) -> _Problem:
        """The same observations with only some of the supports, equal ranges put together."""
        before = np.concatenate(([0], np.cumsum(kept)))
        size = int(before[-1])
        start, end, weight = _pairs(before[self.start], before[self.end], self.weight, size)
        return _Problem(start, end, weight, size, self.total)


def fit_npmle(seen: Spans) -> Npmle:
    r"""Non-parametric maximum-likelihood estimate of life from interval-censored observations.

    .. math:: \max_{p \ge 0, \sum p_j = 1} \sum_i n_i \ln \sum_{j \in (L_i, R_i]} p_j

    Parameters
    ----------
    seen : Spans
        Observations ``(left, right]``; intervals that touch share no point.

    Returns
    -------
    Npmle
        Supports ``(left, right]`` with positive mass [-], the last with infinite `right` where some outlive
        all tests; the certificate.

    Notes
    -----
    Probability lies only on the maximal intersections: a left end followed directly by a right end [1]_. The
    search goes by EM and iterative convex minorant in turn [2]_; once masses that vanish have done so, on the
    intervals left and those whose derivative calls for mass, with a Newton step whose point is made monotone
    by isotonic regression; every step is kept only if the likelihood rises. The certificate needs no trust in
    the search: with g_j the derivative to mass j, ln L is within n (max_j g_j/n - 1) of its maximum, since it
    is concave [3]_. Not `converged` where that gap is above 1e-8.

    References
    ----------
    .. [1] B. W. Turnbull, J. R. Statist. Soc. B 38 (1976) 290.
    .. [2] J. A. Wellner and Y. Zhan, J. Amer. Statist. Assoc. 92 (1997) 945.
    .. [3] R. Gentleman and C. J. Geyer, Biometrika 81 (1994) 618.

    Examples
    --------
    Two sensors, one failed in (0, 30], one in (30, 60]: half each.

    >>> from pitbird.science.reliability.spans import spans
    >>> fit = fit_npmle(spans([0, 30], [30, 60]))
    >>> fit.mass.tolist(), fit.survival(30)
    ([0.5, 0.5], (0.5, 0.5))
    """
    together = grouped(seen)
    left, right, problem = _problem(together)
    mass = _search(problem)
    cumulative = np.concatenate(([0.0], np.cumsum(mass)))
    gap = float(problem.pull(cumulative).max()) / problem.total - 1
    kept = mass > 0
    why = "" if gap <= GAP else f"The search stopped {gap:.1e} from its certificate; allowed is {GAP:.0e}."
    return Npmle(
        left[kept], right[kept], mass[kept], problem.log_likelihood(cumulative), gap, gap <= GAP,
        seen.failures, seen.censored, seen.exposure, why,
    )  # fmt: skip


def _problem(seen: Spans) -> tuple[FloatArray, FloatArray, _Problem]:
    """The maximal intersections, and each observation as the range of those within it."""
    ends = np.concatenate((seen.left, seen.right))
    order = np.argsort(ends)
    ordered = ends[order]
    new = np.concatenate(([True], ordered[1:] != ordered[:-1]))
    rank = np.empty(len(ends), dtype=np.int64)
    rank[order] = np.cumsum(new) - 1
    values = ordered[new]
    starts, stops = rank[: len(seen)], rank[len(seen) :]
    is_left = np.zeros(len(values), dtype=bool)
    is_right = np.zeros(len(values), dtype=bool)
    is_left[starts], is_right[stops] = True, True
    # At one age right ends come before left ends, so (a, b] and (b, c] share nothing.
    support = is_left[:-1] & is_right[1:]
    before = np.concatenate(([0], np.cumsum(support)))
    size = int(before[-1])
    first, last, weight = _pairs(before[starts], before[stops], seen.count, size)
    at = np.flatnonzero(support)
    return values[at], values[at + 1], _Problem(first, last, weight, size, float(weight.sum()))


def _pairs(
    start: IntArray, end: IntArray, weight: FloatArray, size: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Equal ranges put together."""
    key = start * (size + 1) + end
    if (size + 1) ** 2 <= 8 * len(key):
        sums: FloatArray = np.bincount(key, weight).astype(np.float64, copy=False)
        distinct: IntArray = np.flatnonzero(sums).astype(np.int64, copy=False)
        sums = sums[distinct]
    else:
        order = np.argsort(key)
        ordered = key[order]
        at = np.flatnonzero(np.concatenate(([True], ordered[1:] != ordered[:-1])))
        distinct, sums = ordered[at], np.add.reduceat(weight[order], at)
    return distinct // (size + 1), distinct % (size + 1), sums


def _search(problem: _Problem) -> FloatArray:
    """Masses whose certificate is within the aim, or the best that the rounds came to."""
    cumulative = np.linspace(0.0, 1.0, problem.size + 1)
    for _ in range(_FIRST_STEPS):
        cumulative = _em_and_minorant(problem, cumulative)
    mass = np.diff(cumulative)
    best, least = mass, np.inf
    for _ in range(_ROUNDS):
        mass = _without_dust(problem, mass)
        pull = problem.pull(np.concatenate(([0.0], np.cumsum(mass))))
        gap = float(pull.max()) / problem.total - 1
        if gap < least:
            best, least = mass, gap
        if gap <= _AIM:
            break
        kept = (mass > 0) | _called_for(mass, pull, problem.total)
        part = problem.on(kept)
        cumulative = np.concatenate(([0.0], np.cumsum(mass[kept])))
        for _ in range(_STEPS):
            cumulative = _em_and_minorant(part, cumulative)
        if 2 <= part.size <= _NEWTON_UP_TO:
            cumulative = _newton(part, cumulative)
        mass = np.zeros(problem.size)
        mass[kept] = np.diff(cumulative)
    return best


def _without_dust(problem: _Problem, mass: FloatArray) -> FloatArray:
    """Masses too small to matter put to 0, unless an observation would be left without any."""
    cleared = np.where(mass > 1e-7 / problem.total, mass, 0.0)
    cleared /= cleared.sum()
    cumulative = np.concatenate(([0.0], np.cumsum(cleared)))
    # At the maximum no observation has less probability than its share of all.
    least = float((cumulative[problem.end] - cumulative[problem.start]).min())
    return cleared if least > 1e-3 / problem.total else mass


def _called_for(mass: FloatArray, pull: FloatArray, total: float) -> NDArray[np.bool_]:
    """In each run of supports without mass, the one whose derivative most calls for some."""
    called = np.zeros(len(mass), dtype=bool)
    wanting = np.flatnonzero((mass == 0) & (pull > total * (1 + 1e-10)))
    if len(wanting):
        run = np.cumsum(mass > 0)[wanting]
        order = np.lexsort((-pull[wanting], run))
        ordered = run[order]
        first = np.concatenate(([True], ordered[1:] != ordered[:-1]))
        called[wanting[order][first]] = True
    return called


def _em_and_minorant(problem: _Problem, cumulative: FloatArray) -> FloatArray:
    """One EM step, then one step of the iterative convex minorant with halving."""
    mass = np.diff(cumulative) * problem.pull(cumulative)
    cumulative = np.concatenate(([0.0], np.cumsum(mass)))
    cumulative /= cumulative[-1]
    if problem.size < 2:
        return cumulative
    p = cumulative[problem.end] - cumulative[problem.start]
    over = problem.weight / p
    value = float((problem.weight * np.log(p)).sum())
    falls = problem.falls(over)[1:-1]
    curve = _curvature(problem, over / p)
    moved = cumulative[1:-1] - falls / curve
    return _uphill(problem, cumulative, moved, curve, value)


def _curvature(problem: _Problem, over: FloatArray) -> FloatArray:
    """Diagonal of the negative Hessian to the cumulative masses."""
    starts: FloatArray = np.bincount(problem.start, over, problem.size + 1).astype(np.float64, copy=False)
    both = starts + np.bincount(problem.end, over, problem.size + 1)
    return np.maximum(both[1:-1], 1e-300)


def _uphill(
    problem: _Problem, cumulative: FloatArray, moved: FloatArray, curve: FloatArray, value: float
) -> FloatArray:
    """Towards a point made monotone, as far as the likelihood does not fall; stays where it would."""
    monotone = np.clip(isotonic_regression(moved, weights=curve).x, 0.0, 1.0)
    aim = np.concatenate(([0.0], monotone, [1.0]))
    share = 1.0
    while share > 1e-6:
        there = cumulative + share * (aim - cumulative)
        if problem.log_likelihood(there) >= value:
            return there
        share *= 0.5
    return cumulative


def _newton(problem: _Problem, cumulative: FloatArray) -> FloatArray:
    """One Newton step with the whole Hessian, a weighted graph Laplacian, made monotone."""
    p = cumulative[problem.end] - cumulative[problem.start]
    if not p.min() > 0:
        return cumulative
    over = problem.weight / p
    value = float((problem.weight * np.log(p)).sum())
    bend = over / p
    curve = _curvature(problem, bend)
    inner = (problem.start > 0) & (problem.end < problem.size)
    rows, columns, values = problem.start[inner] - 1, problem.end[inner] - 1, -bend[inner]
    diagonal = np.arange(problem.size - 1)
    matrix = scipy.sparse.csc_matrix(
        (
            # A trace more on the diagonal where masses cannot be told apart.
            np.concatenate((values, values, curve * (1 + 1e-10))),
            (np.concatenate((rows, columns, diagonal)), np.concatenate((columns, rows, diagonal))),
        )
    )
    try:
        solver = splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
    except RuntimeError:  # singular in spite of it
        return cumulative
    step = solver.solve(-problem.falls(over)[1:-1])
    if not np.isfinite(step).all():
        return cumulative
    return _uphill(problem, cumulative, cumulative[1:-1] + step, curve, value)
