"""Observations of life that show only at tests: intervals ``(left, right]``, checked, counted, grouped.

`spans` checks and takes in intervals, `spans_from_rows` makes them from rows of tests, `grouped` puts equal
intervals together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]

#: Faults named one by one; beyond it they are only counted.
NAMED_FAULTS: Final = 50
#: Whole numbers up to here go two to a 64-bit word.
_HALF_WORD: Final = 2.0**31


@dataclass(frozen=True, slots=True)
class SpanFault:
    """What is wrong with one observation: its place in the list (None: the list itself) and why."""

    index: int | None
    why: str

    def __str__(self) -> str:
        return self.why if self.index is None else f"observation {self.index}: {self.why}"


class BadSpans(ValueError):
    """Observations that cannot be used; `faults` holds every reason."""

    def __init__(self, faults: Sequence[SpanFault], left_out: int = 0) -> None:
        self.faults = tuple(faults)
        self.left_out = left_out
        more = f"; and {left_out} more" if left_out else ""
        super().__init__("; ".join(map(str, self.faults)) + more)


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Checked observations ``(left, right]``, `count` of each; `right` is infinite for "still good"."""

    left: FloatArray
    right: FloatArray
    count: FloatArray

    @property
    def failures(self) -> int:
        """How many were found failed."""
        return int(self.count[np.isfinite(self.right)].sum())

    @property
    def censored(self) -> int:
        """How many were still good when last tested."""
        return int(self.count[~np.isfinite(self.right)].sum())

    @property
    def exposure(self) -> float:
        """Sum of the times known good, in the unit of the observations."""
        return float((self.left * self.count).sum())

    def __len__(self) -> int:
        return len(self.left)


def spans(
    left: ArrayLike, right: ArrayLike | Sequence[float | None], count: ArrayLike | None = None
) -> Spans:
    r"""Take in observations ``(left, right]`` and refuse, all at once, those that cannot be.

    Parameters
    ----------
    left : array_like
        Age at the last good test, [any unit of time]; 0 where there was none.
    right : array_like
        Age at the first failed test, [same unit]; infinite (or None) where there is none.
    count : array_like, optional
        How many sensors each observation stands for, [-]; 1 where left out. Observations with count 0
        are dropped.

    Raises
    ------
    BadSpans
        Names every observation with an end that is not a number, a negative or infinite left end, equal
        ends (the interval is open on the left, so nothing lies in it), ends that are reversed, a count
        that is not a whole number from 0; lists of unequal length; nothing left to look at.

    Examples
    --------
    >>> seen = spans([0, 30, 60], [30, 60, float("inf")])
    >>> seen.failures, seen.censored, seen.exposure
    (2, 1, 90.0)
    """
    lefts, rights = _numbers(left, "left"), _numbers(right, "right", none=np.inf)
    counts = np.ones(len(lefts)) if count is None else _numbers(count, "count")
    if not len(lefts) == len(rights) == len(counts):
        lengths = f"{len(lefts)}, {len(rights)} and {len(counts)}"
        raise BadSpans([SpanFault(None, f"left, right and count are of unequal length: {lengths}")])
    _refuse(lefts, rights, counts)
    if counts.size and counts.min() < 1:
        kept = counts > 0
        lefts, rights, counts = lefts[kept], rights[kept], counts[kept]
    if not len(lefts):
        raise BadSpans([SpanFault(None, "there is no observation")])
    return Spans(lefts, rights, counts)


def _numbers(values: ArrayLike | Sequence[float | None], name: str, none: float = np.nan) -> FloatArray:
    try:
        if isinstance(values, np.ndarray) and values.dtype != object:
            array = values.astype(np.float64, copy=False)
        else:
            listed: Any = values
            array = np.array([none if value is None else value for value in listed], dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise BadSpans([SpanFault(None, f"{name} must be a list of numbers ({error})")]) from None
    if array.ndim != 1:
        raise BadSpans([SpanFault(None, f"{name} must be one list of numbers, not {array.ndim} deep")])
    return array


def _refuse(left: FloatArray, right: FloatArray, count: FloatArray) -> None:
    # One comparison each where all is well, as it nearly always is.
    with np.errstate(invalid="ignore"):
        good = (left >= 0) & (left < right) & (left < np.inf) & (count >= 0) & (count < 2.0**53)
        good &= count == np.floor(count)
    if good.all():
        return
    wrong = np.flatnonzero(~good)
    faults = [
        SpanFault(int(i), _why(float(left[i]), float(right[i]), float(count[i])))
        for i in wrong[:NAMED_FAULTS]
    ]
    raise BadSpans(faults, left_out=max(0, len(wrong) - NAMED_FAULTS))


def _why(left: float, right: float, count: float) -> str:
    if np.isnan(left) or np.isnan(right):
        return "an end of the interval is not a number"
    if left < 0:
        return f"left is {left:g}; ages start at 0"
    if np.isinf(left):
        return "left is infinite; it must be the age at a test"
    if left == right:
        return (
            f"both ends are {left:g}; the interval is open on the left and closed on the right, "
            "so nothing lies in it"
        )
    if left > right:
        return f"left {left:g} comes after right {right:g}; the ends are reversed"
    return f"count is {count:g}; it must be a whole number from 0"


def grouped(seen: Spans) -> Spans:
    """The same observations with equal intervals put together; as they are where no two are equal."""
    left, right = seen.left, seen.right
    if len(left) < 2:
        return seen
    whole = _whole_keys(left, right)
    if whole is not None:
        return _grouped_whole(seen, whole)
    # Equal intervals have equal sums, so distinct sums (the ordinary case without ties) end it.
    sums = left + np.where(np.isfinite(right), right, -1.0) * 0.6180339887498949
    ordered = np.sort(sums)
    if not (ordered[1:] == ordered[:-1]).any():
        return seen
    order = np.lexsort((right, left))
    lefts, rights = left[order], right[order]
    new = np.concatenate(([True], (lefts[1:] != lefts[:-1]) | (rights[1:] != rights[:-1])))
    starts = np.flatnonzero(new)
    return Spans(lefts[starts], rights[starts], np.add.reduceat(seen.count[order], starts))


def _whole_keys(left: FloatArray, right: FloatArray) -> IntArray | None:
    """Both ends of each interval in one whole number, where they are whole and small enough."""
    if left.max() >= _HALF_WORD:
        return None
    ends = np.where(np.isfinite(right), right, _HALF_WORD - 1)
    if ends.max() >= _HALF_WORD or (np.isfinite(right) & (ends == _HALF_WORD - 1)).any():
        return None
    lefts, rights = left.astype(np.int64), ends.astype(np.int64)
    if not ((lefts == left).all() and (rights == ends).all()):
        return None
    return (lefts << 31) | rights


def _grouped_whole(seen: Spans, keys: IntArray) -> Spans:
    lone = seen.count.min() == seen.count.max() == 1
    if lone:
        ordered, weights = np.sort(keys), None
    else:
        order = np.argsort(keys)
        ordered, weights = keys[order], seen.count[order]
    starts = np.flatnonzero(np.concatenate(([True], ordered[1:] != ordered[:-1])))
    if weights is None:
        count = np.diff(np.append(starts, len(ordered))).astype(np.float64)
    else:
        count = np.add.reduceat(weights, starts)
    first = ordered[starts]
    right = (first & ((1 << 31) - 1)).astype(np.float64)
    right[right == _HALF_WORD - 1] = np.inf
    return Spans((first >> 31).astype(np.float64), right, count)


def spans_from_rows(
    sensor: NDArray[np.integer[Any]], age: ArrayLike, passed: NDArray[np.bool_], *, sensors: int | None = None
) -> tuple[Spans, IntArray]:
    """From rows of tests, in any order, to one observation for each sensor that was tested.

    Parameters
    ----------
    sensor : array of int
        Number of the sensor, 0 to `sensors` - 1. A sensor replaced, repaired or adjusted is a new one.
    age : array_like
        Its age at the test, [any unit of time], not negative.
    passed : array of bool
        Whether it passed. Spoiled tests and tests that do not count are to be left out.
    sensors : int, optional
        How many there are; one more than the highest number where left out.

    Returns
    -------
    Spans, array of int
        The observations, and the number of the sensor that each belongs to.

    Notes
    -----
    The first failed test ends a sensor's life; what comes later is not looked at. A pass at the very moment
    of that failed test does not count: where they contradict each other the fail wins. A sensor that failed
    at age 0 has no life to observe and is left out.

    Examples
    --------
    >>> rows = [0, 0, 0, 1, 1], [10, 20, 30, 10, 20], [True, True, False, True, True]
    >>> seen, who = spans_from_rows(*map(np.array, rows))
    >>> seen.left.tolist(), seen.right.tolist(), who.tolist()
    ([20.0, 20.0], [30.0, inf], [0, 1])
    """
    ages = np.asarray(age, dtype=np.float64)
    if not len(sensor) == len(ages) == len(passed):
        raise BadSpans([SpanFault(None, "sensor, age and passed are of unequal length")])
    if not len(sensor):
        raise BadSpans([SpanFault(None, "there is no test")])
    if not ages.min() >= 0 or np.isinf(ages.max()):
        raise BadSpans([SpanFault(None, "an age at a test is negative, infinite or not a number")])
    total = int(sensor.max()) + 1 if sensors is None else sensors
    if sensor.min() < 0 or sensor.max() >= total:
        raise BadSpans([SpanFault(None, f"a sensor's number lies outside 0 to {total - 1}")])
    failed = np.flatnonzero(~passed)
    right = np.full(total, np.inf)
    np.minimum.at(right, sensor[failed], ages[failed])
    left = np.full(total, -1.0)
    good = passed & (ages < right[sensor]) if len(failed) else passed
    if good.all():
        np.maximum.at(left, sensor, ages)
    else:
        np.maximum.at(left, sensor[good], ages[good])
    who = np.flatnonzero((left >= 0) | (np.isfinite(right) & (right > 0)))
    if not len(who):
        raise BadSpans([SpanFault(None, "no sensor has a life to observe")])
    return Spans(np.maximum(left[who], 0.0), right[who], np.ones(len(who))), who
