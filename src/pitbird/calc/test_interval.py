"""How much failing goes undetected at this interval between tests?"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Annotated, Final

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Refused, Request, Result
from pitbird.calc.fields import Many, NotNegative, Share, Whole
from pitbird.record.faults import Fault, shown
from pitbird.science.reliability.intervals import (
    NEVER_LOOSENS,
    of_detector,
    undetected_fraction,
    undetected_fraction_with_full_check,
    weibull_undetected_fraction,
    weibull_undetected_fraction_with_full_check,
    weibull_worst_case,
    worst_case,
)

_YEAR: Final = 365.25
_ABSENCES: Final = (
    "The interval is taken as kept: gaps count by their square, so that daily tests with absences can leave "
    "three times as much undetected as their mean gap says."
)
_ONE_AFTER_ANOTHER: Final = (
    "The channels of a detector are taken as alike and as failing independently; what strikes them together "
    "(a drop, water, a blocked inlet) is not in it."
)

Days = Annotated[float, Field(ge=0.001, le=36525)]


class TestIntervalRequest(Request):
    """How often a channel fails, and the intervals to think about."""

    rate_per_day: Annotated[float, Field(gt=0, le=1000)] | None = None
    """Failure rate of one channel, where it does not change with age. Or shape and scale in its place."""
    shape: Annotated[float, Field(ge=0.1, le=50)] | None = None
    """Shape of the Weibull life of one channel."""
    scale_days: Annotated[float, Field(ge=0.01, le=1e7)] | None = None
    """Age by which 63 % have failed."""
    age_days: Annotated[float, Field(ge=0, le=1e6)] = 0.0
    """Age of the channel for the worst case, with shape and scale."""
    channels: Annotated[Whole, Field(ge=1, le=100)] = 1
    """Channels of a detector."""
    intervals_days: Annotated[Many[Days], Field(max_length=1000)]
    """The intervals between tests."""
    detectors: Annotated[Whole, Field(ge=1, le=10_000_000)]
    """How many detectors."""
    coverage: Share = 1.0
    """Share of the failures that the test can reveal."""
    full_check_days: Days | None = None
    """When a full check (a calibration) reveals the rest."""
    cost_per_test: NotNegative | None = None
    """In any one currency."""


class Interval(Part):
    """One interval."""

    interval_days: float
    undetected_fraction: float
    """Of one channel: mean share of time failed and not known."""
    worst_case_probability: float
    """Of one channel: failed and not known just before the next test, good at the last one."""
    detector_undetected_fraction: float
    """Of a detector: any of its channels failed and not known."""
    undetected_detector_days_per_year: float
    """Of all detectors together."""
    tests_per_year: float
    """Of all detectors together."""
    cost_per_year: float | None
    """Of all detectors together; null without a cost per test."""


class TestIntervalResult(Result):
    """What each interval leaves undetected."""

    intervals: tuple[Interval, ...]


def check(request: TestIntervalRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    rate, shape, scale = request.rate_per_day, request.shape, request.scale_days
    if rate is not None:
        for field, value in (("shape", shape), ("scale_days", scale), ("age_days", request.age_days or None)):
            if value is not None:
                problem = "stands beside rate_per_day; write a constant rate, or shape and scale_days"
                yield Fault(field, shown(value), problem)
    elif shape is None and scale is None:
        yield Fault("rate_per_day", "", "missing; write it, or shape and scale_days for a Weibull life")
    elif scale is None:
        yield Fault("scale_days", "", "missing; it belongs to shape")
    elif shape is None:
        yield Fault("shape", "", "missing; it belongs to scale_days")
    if not request.intervals_days:
        yield Fault("intervals_days", "[]", "empty; write at least one interval")
    if request.coverage < 1 and request.full_check_days is None:
        problem = "missing; with a coverage below 1 say when the rest of the failures comes to light"
        yield Fault("full_check_days", "", problem)


def solve(request: TestIntervalRequest) -> TestIntervalResult:
    """What each interval leaves undetected."""
    found, faults = [], []
    for i, days in enumerate(request.intervals_days):
        try:
            found.append(_interval(request, days))
        except (ValueError, ArithmeticError) as error:
            told = str(error) if isinstance(error, ValueError) else "too far from the life to calculate with"
            faults.append(Fault(f"intervals_days[{i}]", shown(days), told))
    if faults:
        raise Refused(faults)
    return TestIntervalResult(
        footing=tuple(_footing(request)), cautions=tuple(_cautions(request)), intervals=tuple(found)
    )


def _interval(request: TestIntervalRequest, days: float) -> Interval:
    undetected, worst = _of_channel(request)
    one = min(1.0, max(0.0, undetected(days)))
    whole = of_detector(one, request.channels)
    tests = request.detectors * _YEAR / days
    at_worst = worst(days)
    if not math.isfinite(one + at_worst):
        raise ValueError("too far from the life to calculate with")
    return Interval(
        interval_days=days,
        undetected_fraction=one,
        worst_case_probability=at_worst,
        detector_undetected_fraction=whole,
        undetected_detector_days_per_year=request.detectors * _YEAR * whole,
        tests_per_year=tests,
        cost_per_year=None if request.cost_per_test is None else tests * request.cost_per_test,
    )


def _of_channel(request: TestIntervalRequest) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """Share of time undetected and the worst case of one channel, each at an interval."""
    share, full = request.coverage, request.full_check_days
    partly = share < 1 and full is not None
    rate = request.rate_per_day
    if rate is not None:
        if partly:
            return (
                lambda t: undetected_fraction_with_full_check(rate, t, share, full or t),
                lambda t: worst_case(rate, t),
            )
        return lambda t: undetected_fraction(rate, t), lambda t: worst_case(rate, t)
    k, eta = request.shape or 1.0, request.scale_days or 1.0

    def at_worst(t: float) -> float:
        return weibull_worst_case(k, eta, request.age_days, t)

    if partly:
        return lambda t: weibull_undetected_fraction_with_full_check(k, eta, t, share, full or t), at_worst
    return lambda t: weibull_undetected_fraction(k, eta, t), at_worst


def _footing(request: TestIntervalRequest) -> Iterator[str]:
    if request.rate_per_day is not None:
        yield (
            "a failure rate that does not change with age; undetected share 1 - (1 - exp(-rate T)) / "
            "(rate T), whose upper bound rate T / 2 is the mean probability of failure on demand of "
            "IEC 61508-6:2010, Annex B, for one channel"
        )
    else:
        yield (
            "Weibull life; undetected share over many replacements, 1 - mean life / (T x mean number of "
            f"tests lived); the worst case at an age of {request.age_days:g} days"
        )
    yield "a channel found failed is replaced at once by a new one; a channel fails silently"
    if request.coverage < 1:
        yield (
            f"a test reveals {100 * request.coverage:g} % of the failures, a full check every "
            f"{request.full_check_days:g} days the rest"
        )
    yield "a year is 365.25 days; tests, cost and detector-days are those of all detectors together"


def _cautions(request: TestIntervalRequest) -> Iterator[str]:
    yield NEVER_LOOSENS
    yield _ABSENCES
    if request.channels > 1:
        yield _ONE_AFTER_ANOTHER
    if request.coverage < 1:
        yield (
            "The worst case counts from a check that showed the channel good; what the tests cannot reveal "
            "adds up until the full check."
        )
        full = request.full_check_days or 0.0
        if request.shape is not None and any(full % days > 1e-9 * days for days in request.intervals_days):
            yield "With a Weibull life a full check that falls between two tests is taken at the later one."
    else:
        yield "A coverage of 1 says that the test reveals every failure; a test with gas alone seldom does."


CALCULATION: Final = Calculation(
    "test-interval",
    TestIntervalRequest,
    TestIntervalResult,
    solve,
    check,
    examples=(
        Example(
            "Thirty four-gas detectors: daily, weekly, monthly",
            {
                "rate_per_day": 0.0003,
                "channels": 4,
                "intervals_days": [1, 7, 30.4],
                "detectors": 30,
                "cost_per_test": 0.6,
            },
        ),
        Example(
            "A test that reveals nine failures in ten, the rest at calibration twice a year",
            {
                "rate_per_day": 0.0003,
                "intervals_days": [1, 7, 30],
                "detectors": 30,
                "coverage": 0.9,
                "full_check_days": 182,
            },
        ),
        Example(
            "Sensors that wear out: the worst case at two years of age",
            {
                "shape": 2.5,
                "scale_days": 1200,
                "age_days": 730,
                "intervals_days": [1, 7, 30],
                "detectors": 30,
            },
        ),
    ),
)
