"""When, between the last good test and the first failed one, the failure may have come.

`look_back` gives for each use the chance that the sensor had failed, on two clocks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

Clock = Literal["calendar", "in-use"]

CAUTION: Final = (
    "A small number never clears a use: "
    "a known drop, soaking, over-range or poisoning comes before any of this."
)
NO_USE: Final = (
    "no use lies between the last pass and the first fail, so the failure cannot lie in one: "
    "the in-use clock has no answer"
)


@dataclass(frozen=True, slots=True)
class UseChance:
    """Chance [-] of having failed when a use began, by its end, and by its end on the worse clock."""

    failed_at_start: float
    failed_by_end: float
    worst_failed_by_end: float


def share_failed(rate: float, passed: float, whole: float) -> float:
    r"""Chance that a failure known to lie within a time had come after part of it, at a constant rate.

    .. math:: \frac{1 - e^{-\lambda t}}{1 - e^{-\lambda T}}

    Parameters
    ----------
    rate : float
        lambda, [1/time], from 0; 0 is the limit t/T.
    passed, whole : float
        t and T, [same time]; t is taken as 0 below 0 and as T beyond T.
    """
    t = min(max(passed, 0.0), whole)
    if rate * whole < 1e-300:
        return t / whole
    return math.expm1(-rate * t) / math.expm1(-rate * whole)


def look_back(
    uses: Sequence[tuple[float, float]],
    *,
    last_pass: float,
    first_fail: float,
    rate: float,
    clock: Clock = "calendar",
) -> tuple[UseChance, ...]:
    """For each use, the chance that the sensor had failed, given that it did in ``(last_pass, first_fail]``.

    Parameters
    ----------
    uses : sequence of (start, end)
        When the detector was used, [time on any one scale]; they may overlap and lie outside.
    last_pass, first_fail : float
        The last good test and the first failed one, [same scale].
    rate : float
        Failure rate of the channel, [1/time], from 0. The higher, the earlier the failure likely was: the
        upper limit of an estimate is the cautious choice.
    clock : {"calendar", "in-use"}
        The hazard runs all the time, or only during uses (overlapping uses count once).

    Returns
    -------
    tuple of UseChance
        In the order of the uses. Before `last_pass` the chance is 0, after `first_fail` 1.
        `worst_failed_by_end` is the larger over both clocks, the calendar's where no use lies between.

    Notes
    -----
    Constant rate while the clock runs. `CAUTION` belongs beside every answer.

    Raises
    ------
    ValueError
        Tests in the wrong order, a use that ends before it begins, a negative rate, a time that is not a
        number; the in-use clock without any use between the tests.

    Examples
    --------
    >>> chances = look_back([(0, 2), (8, 10)], last_pass=0, first_fail=10, rate=0)
    >>> [(c.failed_by_end, c.worst_failed_by_end) for c in chances]
    [(0.2, 0.5), (1.0, 1.0)]
    """
    _check(uses, last_pass, first_fail, rate)
    runs = _merged(uses, last_pass, first_fail)
    used = sum(end - start for start, end in runs)
    if clock == "in-use" and not used:
        raise ValueError(NO_USE)

    def by(moment: float, on: Clock) -> float:
        if moment <= last_pass:
            return 0.0
        if moment >= first_fail:
            return 1.0
        if on == "calendar":
            return share_failed(rate, moment - last_pass, first_fail - last_pass)
        return share_failed(rate, sum(max(0.0, min(end, moment) - start) for start, end in runs), used)

    clocks: tuple[Clock, ...] = ("calendar", "in-use") if used else ("calendar",)
    return tuple(
        UseChance(by(start, clock), by(end, clock), max(by(end, each) for each in clocks))
        for start, end in uses
    )


def _check(uses: Sequence[tuple[float, float]], last_pass: float, first_fail: float, rate: float) -> None:
    if not (math.isfinite(last_pass) and math.isfinite(first_fail) and last_pass < first_fail):
        raise ValueError(f"the first fail ({first_fail:g}) must come after the last pass ({last_pass:g})")
    if not (rate >= 0 and math.isfinite(rate)):
        raise ValueError(f"the rate is {rate}; it must be a number from 0")
    for i, (start, end) in enumerate(uses):
        if not (math.isfinite(start) and math.isfinite(end) and start <= end):
            raise ValueError(f"use {i} runs from {start:g} to {end:g}; it must end after it begins")


def _merged(uses: Sequence[tuple[float, float]], low: float, high: float) -> list[tuple[float, float]]:
    """Uses within the two tests, overlapping ones as one."""
    runs: list[tuple[float, float]] = []
    for start, end in sorted((max(start, low), min(end, high)) for start, end in uses):
        if start >= end:
            continue
        if runs and start <= runs[-1][1]:
            runs[-1] = (runs[-1][0], max(end, runs[-1][1]))
        else:
            runs.append((start, end))
    return runs
