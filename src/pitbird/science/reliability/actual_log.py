"""Tests as they were, absences and all: gaps from the times of tests, failure unnoticed during use.

`gaps_of` turns the times of a detector's tests into gaps, `gaps_from_rows` those of a whole fleet (for
`intervals.undetected_fraction_of_log`); `undetected_fraction_in_use` counts the time in use alone, for
detectors tested when they are handed out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pitbird.science.reliability.intervals import mean_of_rises
from pitbird.science.reliability.spans import FloatArray


def gaps_of(tests: ArrayLike, upto: float | None = None) -> FloatArray:
    """Gaps between the good tests of one detector, in any order; the last runs on to `upto` where given.

    Parameters
    ----------
    tests : array_like
        Times of the tests that count, [any unit of time]; two at the same time are one.
    upto : float, optional
        Until when it was, or is, in circulation, [same unit]: the open gap since the last test counts too.

    Raises
    ------
    ValueError
        No gap at all; a time that is not a number; an end before the last test.

    Examples
    --------
    >>> gaps_of([0, 1, 2, 5], upto=9).tolist()
    [1.0, 1.0, 3.0, 4.0]
    """
    times = np.unique(_times(tests, "tests"))
    if upto is not None:
        if not math.isfinite(upto):
            raise ValueError(f"upto is {upto}; it must be a time")
        if len(times) and upto < times[-1]:
            raise ValueError(f"upto ({upto:g}) lies before the last test ({times[-1]:g})")
        times = np.unique(np.append(times, upto))
    if len(times) < 2:
        raise ValueError("there is no gap: at least two tests, or one and an end, are needed")
    return np.diff(times)


def gaps_from_rows(detector: NDArray[np.integer[Any]], time: ArrayLike) -> FloatArray:
    """Gaps between tests that follow each other on the same detector, from rows of tests in any order.

    Parameters
    ----------
    detector : array of int
        Number of the detector of each test. A gap that should not count (in the store, in repair) is kept
        out by a new number after it.
    time : array_like
        When, [any unit of time].

    Examples
    --------
    >>> gaps_from_rows(np.array([0, 1, 0, 1]), [0, 5, 3, 6]).tolist()
    [3.0, 1.0]
    """
    times = _times(time, "time")
    if len(times) != len(detector):
        raise ValueError(f"detector and time are of unequal length: {len(detector)} and {len(times)}")
    order = np.lexsort((times, detector))
    gaps = np.diff(times[order])
    kept: FloatArray = gaps[(np.diff(detector[order]) == 0) & (gaps > 0)]
    if not len(kept):
        raise ValueError("there is no gap: no detector has two tests")
    return kept


def undetected_fraction_in_use(rate: float, tests: ArrayLike, uses: Sequence[tuple[float, float]]) -> float:
    r"""Mean share of the time in use failed and not known: constant rate, tests and uses as they were.

    .. math:: U = \frac{\sum \int_{use} 1 - e^{-\lambda (t - p(t))} \, dt}{\sum \int_{use} dt}

    with p(t) the last test before t.

    Parameters
    ----------
    rate : float
        Failure rate of one channel on the calendar, [1/time], positive.
    tests : array_like
        Times of the good tests, [same time], in any order.
    uses : sequence of (start, end)
        When the detector was out, [same time].

    Returns
    -------
    float
        U, [-].

    Raises
    ------
    ValueError
        A use that begins before the first test (nothing is known of the detector then) or ends before it
        begins; no time in use.

    Examples
    --------
    Tested when handed out for 0.4 of a day, once a week: against the whole week it is 17 times less.

    >>> weeks = range(0, 70, 7)
    >>> round(undetected_fraction_in_use(1e-4, weeks, [(t, t + 0.4) for t in weeks]) / 1e-4, 3)
    0.2
    """
    if not (rate > 0 and math.isfinite(rate)):
        raise ValueError(f"rate is {rate}; it must be a positive number")
    times = np.unique(_times(tests, "tests"))
    hidden, whole = [], []
    for i, (start, end) in enumerate(uses):
        if not (math.isfinite(start) and math.isfinite(end) and start <= end):
            raise ValueError(f"use {i} runs from {start:g} to {end:g}; it must end after it begins")
        first = int(np.searchsorted(times, start, side="right")) - 1
        if first < 0:
            raise ValueError(f"use {i} begins at {start:g}, before the first test: nothing is known of it")
        last = int(np.searchsorted(times, end, side="left"))
        tested = times[first:last] if last > first else times[first : first + 1]
        ends = np.append(tested[1:], end)
        before = np.maximum(start - tested, 0.0)
        after = ends - tested
        # The integral of 1 - exp(-rate u) over an age u since the test, as a difference from the test on.
        hidden.append(float(np.sum(_risen(rate, after) - _risen(rate, before))))
        whole.append(end - start)
    total = math.fsum(whole)
    if not total > 0:
        raise ValueError("there is no time in use")
    return math.fsum(hidden) / total


def _risen(rate: float, since: FloatArray) -> FloatArray:
    return since * mean_of_rises(rate * since)


def _times(values: ArrayLike, name: str) -> FloatArray:
    times = np.asarray(values, dtype=np.float64)
    if times.ndim != 1:
        raise ValueError(f"{name} must be one list of times")
    wrong = np.flatnonzero(~np.isfinite(times))
    if len(wrong):
        raise ValueError(f"{name}: time {int(wrong[0])} is not a number")
    return times
