"""When is the next calibration due, by what the past ones found?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, Literal

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.fields import Confidence, Many, NotNegative, Positive
from pitbird.record.faults import Fault, shown
from pitbird.science.calibration_intervals import (
    FEWEST,
    LENGTHEN,
    SHORTEN,
    SOURCE,
    WELL_WITHIN,
    control_chart,
    staircase,
)

NEVER_LOOSENS: Final = (
    "Evidence may shorten an interval; by itself it never lengthens it beyond the instrument's manual, the "
    "law or the site rules."
)


class Calibration(Part):
    """What one calibration found, after which the error was put right."""

    since_days: Positive
    """Time since the calibration before."""
    in_use_h: NotNegative | None = None
    """Time in use since the calibration before."""
    error_pct: float
    """As-found error, in per cent of the gas applied; negative where it read low."""


class CalibrationIntervalRequest(Request):
    """Past calibrations of one channel, the oldest first, and the method by which they are reviewed."""

    method: Literal["staircase", "control-chart", "in-use-time"]
    """Method of ILAC-G24 / OIML D 10."""
    tolerance_pct: Positive
    """Permitted error, in per cent of the gas applied."""
    calibrations: Many[Calibration] = Field(min_length=1, max_length=1000)
    """The calibrations, the oldest first."""
    longest_days: Positive | None = None
    """What manual, law or site rules allow at most."""
    confidence: Confidence = 0.95
    """With which the error is to stay within the tolerance (control chart, in-use time)."""
    in_use_h_per_day: Positive | None = None
    """Time in use a day from now on (in-use time)."""
    well_within: float = Field(default=WELL_WITHIN, gt=0, le=1)
    """Share of the tolerance up to which the staircase lengthens."""
    lengthen: float = Field(default=LENGTHEN, ge=1, le=4)
    """Factor by which it lengthens."""
    shorten: float = Field(default=SHORTEN, gt=0, lt=1)
    """Factor by which it shortens."""


class CalibrationIntervalResult(Result):
    """The interval until the next calibration."""

    interval_days: float | None
    """The interval proposed; null where nothing drifts and no longest one is given."""
    limited: bool
    """Whether it is the longest that is allowed."""
    step: Literal["lengthen", "keep", "shorten"]
    """Against the last interval."""
    drift_pct_per_year: float | None = None
    """Mean drift (control chart)."""
    drift_pct_per_1000_h: float | None = None
    """Mean drift (in-use time)."""
    spread_pct: float | None = None
    """Standard deviation of that drift, in the same unit."""
    interval_h: float | None = None
    """The interval in time of use (in-use time)."""


def check(request: CalibrationIntervalRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    number = len(request.calibrations)
    if request.method != "staircase" and number < FEWEST:
        yield Fault("calibrations", str(number), f"too few to tell a spread; write {FEWEST} at least")
    if request.method != "in-use-time":
        return
    for place, each in enumerate(request.calibrations):
        if not each.in_use_h:
            given = "" if each.in_use_h is None else shown(each.in_use_h)
            yield Fault(f"calibrations[{place}].in_use_h", given, "must be more than 0 for this method")
    if request.in_use_h_per_day is None:
        yield Fault("in_use_h_per_day", "", "missing; the method of in-use time turns hours into days by it")
    elif request.in_use_h_per_day > 24:
        yield Fault("in_use_h_per_day", shown(request.in_use_h_per_day), "a day has 24 hours")


def solve(request: CalibrationIntervalRequest) -> CalibrationIntervalResult:
    """See ``pitbird.science.calibration_intervals``."""
    last = request.calibrations[-1]
    days: float
    drift = spread = hours = None
    if request.method == "staircase":
        _, days = staircase(
            last.error_pct,
            request.tolerance_pct,
            last.since_days,
            well_within=request.well_within,
            lengthen=request.lengthen,
            shorten=request.shorten,
        )
    else:
        in_use = request.method == "in-use-time"
        gaps = [float(c.in_use_h or 0) if in_use else c.since_days for c in request.calibrations]
        errors = [calibration.error_pct for calibration in request.calibrations]
        found = control_chart(errors, gaps, request.tolerance_pct, confidence=request.confidence)
        unit = 1000.0 if in_use else 365.25
        drift, spread, days = found.mean * unit, found.spread * unit, found.until
        if in_use:
            hours, days = _finite(found.until), found.until / (request.in_use_h_per_day or 1.0)
    limited = request.longest_days is not None and days >= request.longest_days
    days = min(days, request.longest_days or math.inf)
    return CalibrationIntervalResult(
        footing=tuple(_footing(request)),
        cautions=tuple(_cautions(request)),
        interval_days=_finite(days),
        limited=limited,
        step=_step(days, last.since_days),
        drift_pct_per_year=drift if request.method == "control-chart" else None,
        drift_pct_per_1000_h=drift if request.method == "in-use-time" else None,
        spread_pct=spread,
        interval_h=hours,
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _step(days: float, before: float) -> Literal["lengthen", "keep", "shorten"]:
    if math.isclose(days, before, rel_tol=1e-9):
        return "keep"
    return "lengthen" if days > before else "shorten"


def _footing(request: CalibrationIntervalRequest) -> Iterator[str]:
    names = {"staircase": "staircase", "control-chart": "control chart", "in-use-time": "in-use time"}
    yield f"method: {names[request.method]} ({SOURCE})"
    if request.method == "staircase":
        yield (
            f"longer by {request.lengthen:g} up to {request.well_within:g} of the tolerance, shorter by "
            f"{request.shorten:g} beyond it; the guide leaves these numbers to the user"
        )
    else:
        yield (
            "drift: each as-found error over the time since the calibration before; the next one within mean "
            f"and t limits of prediction ({request.confidence:g}); each calibration left the error at about 0"
        )


def _cautions(request: CalibrationIntervalRequest) -> Iterator[str]:
    yield NEVER_LOOSENS
    last = request.calibrations[-1]
    if abs(last.error_pct) > request.tolerance_pct:
        yield (
            "The last calibration found it outside its tolerance: look back on what it was used for since "
            "the one before."
        )
    if request.longest_days is None:
        yield "No longest interval is given: hold the answer against manual, law and site rules."
    if request.method != "staircase" and len(request.calibrations) < 6:
        yield "Few calibrations: the spread itself is hardly known, and the answer leans to the short side."


_DRIFTING: Final = [
    {"since_days": 182, "in_use_h": 610, "error_pct": -2.1},
    {"since_days": 176, "in_use_h": 540, "error_pct": -3.0},
    {"since_days": 190, "in_use_h": 720, "error_pct": -2.6},
    {"since_days": 180, "in_use_h": 590, "error_pct": -3.4},
]

CALCULATION: Final = Calculation(
    "calibration-interval",
    CalibrationIntervalRequest,
    CalibrationIntervalResult,
    solve,
    check,
    examples=(
        Example(
            "A sensor that loses some three per cent in half a year",
            {"method": "control-chart", "tolerance_pct": 10, "longest_days": 180, "calibrations": _DRIFTING},
        ),
        Example(
            "The same by the staircase",
            {"method": "staircase", "tolerance_pct": 10, "longest_days": 180, "calibrations": _DRIFTING},
        ),
        Example(
            "The same by its time in use",
            {
                "method": "in-use-time",
                "tolerance_pct": 10,
                "in_use_h_per_day": 3.5,
                "longest_days": 180,
                "calibrations": _DRIFTING,
            },
        ),
    ),
)
