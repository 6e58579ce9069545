"""What are t50, t90 and the final reading of this record?"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Annotated, Final

import numpy as np
from pydantic import Field
from scipy.optimize import brentq

from pitbird.calc.definition import Calculation, Example, Part, Refused, Request, Result
from pitbird.calc.fields import Many
from pitbird.record.faults import Fault, shown
from pitbird.science.curves import (
    BIC_GAIN,
    FEWEST,
    SETTLED,
    FloatArray,
    NoResponse,
    Response,
    crossing_s,
    fit_response,
    step_reading,
)

_NAMED: Final = 20
_CAUTION: Final = (
    "A response time holds for this gas, flow and temperature, with this inlet and filter; the instrument's "
    "manual says what is healthy."
)
_NOT_SETTLED: Final = (
    "The record ends before the reading has settled: final reading, t50 and t90 are carried on beyond it and "
    "can be far off."
)

Second = Annotated[float, Field(ge=-1e10, le=1e10)]
Reading = Annotated[float, Field(ge=-1e9, le=1e9)]


class Alarm(Part):
    """An alarm of the sensor."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    at: Reading
    """Where it is set, in the unit of the readings."""


class ResponseCurveRequest(Request):
    """A record of readings through a step of gas."""

    t_s: Annotated[Many[Second], Field(max_length=200_000)]
    """Times of the readings, rising, on any one clock."""
    reading: Annotated[Many[Reading | None], Field(max_length=200_000)]
    """The readings, in any one unit; null where one is missing."""
    gas_on_s: Second
    """The instant of gas on, on the same clock."""
    gas_off_s: Second | None = None
    """The instant of gas off, where the record shows the recovery."""
    alarms: Annotated[Many[Alarm], Field(max_length=100)] = ()
    """Alarms whose times are wanted."""
    clean_air_reading: Reading | None = None
    """The reading in clean air, where it is known; fitted if left out."""


class AlarmTime(Part):
    """When an alarm was reached."""

    name: str
    time_s: float | None
    """From gas on, on the record itself; null if it never was."""


class ResponseCurveResult(Result):
    """The fitted response; times count from gas on, the delay in them."""

    clean_air_reading: float
    final_reading: float
    t50_s: float
    t90_s: float
    delay_s: float
    tau_s: float
    """Time constant; the faster one where there are two."""
    slow_tau_s: float | None
    """A second, slower constant, where the record asks for one."""
    slow_share: float
    """Share of the step that takes it."""
    se_final_reading: float
    se_t50_s: float
    se_t90_s: float
    se_delay_s: float
    se_tau_s: float
    rmse: float
    settled: bool
    """Whether the record is long enough to believe the final reading."""
    alarms: tuple[AlarmTime, ...]
    t10_s: float | None
    """Recovery: from gas off to a tenth of the step; null where the record does not show it."""
    se_t10_s: float | None


def check(request: ResponseCurveRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    times, off = request.t_s, request.gas_off_s
    if len(times) != len(request.reading):
        problem = f"there are {len(request.reading)} readings for {len(times)} times; write one for each"
        yield Fault("reading", "", problem)
        return
    falls = [i for i, (one, other) in enumerate(itertools.pairwise(times), 1) if other <= one]
    for i in falls[:_NAMED]:
        yield Fault(f"t_s[{i}]", shown(times[i]), f"not after the time before it ({times[i - 1]:g})")
    if len(falls) > _NAMED:
        yield Fault("t_s", "", f"and {len(falls) - _NAMED} more that do not come after the time before")
    if off is not None and off <= request.gas_on_s:
        yield Fault("gas_off_s", shown(off), f"not after gas on ({request.gas_on_s:g})")
        return
    end = np.inf if off is None else off
    pairs = zip(times, request.reading, strict=True)
    rising = sum(reading is not None and request.gas_on_s <= t <= end for t, reading in pairs)
    if rising < FEWEST:
        where = "from gas on" if off is None else "between gas on and gas off"
        yield Fault("reading", "", f"{rising} readings {where}; {FEWEST} are the fewest that can be fitted")


def solve(request: ResponseCurveRequest) -> ResponseCurveResult:
    """The fit, the alarms on the record, the recovery."""
    t, y = _record(request)
    gas = t <= (np.inf if request.gas_off_s is None else request.gas_off_s)
    try:
        fit = fit_response(
            t[gas], y[gas], gas_on_s=request.gas_on_s, clean_air_reading=request.clean_air_reading
        )
    except NoResponse as refused:
        raise Refused([Fault("reading", "", str(refused))]) from None
    alarms = tuple(
        AlarmTime(name=alarm.name, time_s=crossing_s(t[gas], y[gas], alarm.at, gas_on_s=request.gas_on_s))
        for alarm in request.alarms
    )
    t10, se_t10, told = _recovery(request, fit, t, y)
    return ResponseCurveResult(
        footing=tuple(_footing(request, fit)),
        cautions=tuple(_cautions(fit, alarms, told)),
        clean_air_reading=fit.clean_air_reading,
        final_reading=fit.final_reading,
        t50_s=fit.t50_s,
        t90_s=fit.t90_s,
        delay_s=fit.delay_s,
        tau_s=fit.tau_s,
        slow_tau_s=fit.slow_tau_s,
        slow_share=fit.slow_share,
        se_final_reading=fit.se_final_reading,
        se_t50_s=fit.se_t50_s,
        se_t90_s=fit.se_t90_s,
        se_delay_s=fit.se_delay_s,
        se_tau_s=fit.se_tau_s,
        rmse=fit.rmse,
        settled=fit.settled,
        alarms=alarms,
        t10_s=t10,
        se_t10_s=se_t10,
    )


def _record(request: ResponseCurveRequest) -> tuple[FloatArray, FloatArray]:
    y = np.array([np.nan if each is None else each for each in request.reading], dtype=np.float64)
    t = np.array(request.t_s, dtype=np.float64)
    good = np.isfinite(y)
    return t[good], y[good]


def _recovery(
    request: ResponseCurveRequest, gas: Response, t: FloatArray, y: FloatArray
) -> tuple[float | None, float | None, str]:
    """t10 with its standard error, or why there is none."""
    off = request.gas_off_s
    if off is None:
        return None, None, ""
    after = t >= off
    after[max(int(np.argmax(after)) - 1, 0)] = True  # the last reading in gas, where the fall begins
    try:
        fall = fit_response(t[after], y[after], gas_on_s=off)
    except NoResponse as refused:
        return None, None, f"The recovery could not be fitted: {refused}."
    level = gas.clean_air_reading + 0.1 * (gas.final_reading - gas.clean_air_reading)
    last = float(t[-1] - off)

    def above(late: float) -> float:
        return float(fall.reading([late])[0] - level)

    if above(0.0) * above(last) > 0:
        return None, None, "The record ends before a tenth of the step is reached again: there is no t10."
    return float(brentq(above, 0.0, last, xtol=1e-9)), fall.se_t90_s, ""


def _footing(request: ResponseCurveRequest, fit: Response) -> Iterator[str]:
    constants = "two time constants" if fit.slow_tau_s is not None else "one time constant"
    yield f"first order with delay and {constants}, by least squares that outliers do not draw"
    if fit.slow_tau_s is not None:
        yield (
            "the second constant stands because it lowers the Bayesian information criterion by "
            f"{fit.bic_gain:.3g}, more than {BIC_GAIN:g}"
        )
    known = "as given" if request.clean_air_reading is not None else "fitted"
    yield f"times count from gas on, the delay in them; shares are of the step from clean air ({known})"
    yield "alarms are read on the record itself, on the line between readings"
    yield (
        f"settled: no more than {100 * SETTLED:g} % of the step still to come at the end of the gas, and the "
        "final reading known to within that"
    )


def _cautions(fit: Response, alarms: tuple[AlarmTime, ...], told: str) -> Iterator[str]:
    yield _CAUTION
    if not fit.settled:
        yield _NOT_SETTLED
    never = [alarm.name for alarm in alarms if alarm.time_s is None]
    if never:
        yield f"Not reached on this record: {', '.join(never)}."
    if told:
        yield told


def fitted(
    request: ResponseCurveRequest, result: ResponseCurveResult, steps: int
) -> Iterator[tuple[float, float]]:
    """Times on the clock of the request and fitted readings, from its first time to gas off or its end."""
    last = request.t_s[-1] if request.gas_off_s is None else min(request.t_s[-1], request.gas_off_s)
    times = np.linspace(request.t_s[0], last, steps + 1)
    readings = step_reading(
        times - request.gas_on_s,
        start=result.clean_air_reading,
        final=result.final_reading,
        delay_s=result.delay_s,
        tau_s=result.tau_s,
        slow_tau_s=result.slow_tau_s,
        slow_share=result.slow_share,
    )
    yield from zip(times.tolist(), readings.tolist(), strict=True)


#: Carbon monoxide sensor with a delay of 3 s and a time constant of 9 s, read every second; made up.
_READ: Final = [
    0, 0, 0, 0, 0, 0, 0, 0, 0, 3, 5, 7, 9, 11, 12, 13, 15, 16, 17, 18, 18, 19, 20, 20, 21, 21, 22, 22, 22, 23,
    23, 23, 24, 24, 24, 24, 24, 24, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25,
]  # fmt: skip
_FALL: Final = [
    25, 25, 25, 25, 22, 20, 18, 16, 14, 13, 11, 10, 9, 8, 7, 6, 6, 5, 5, 4, 4, 3, 3, 3, 2, 2, 2, 2, 1, 1, 1,
    1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0,
]  # fmt: skip

CALCULATION: Final = Calculation(
    "response-curve",
    ResponseCurveRequest,
    ResponseCurveResult,
    solve,
    check,
    examples=(
        Example(
            "Carbon monoxide, 25 ppm put on at 5 s",
            {
                "t_s": [float(t) for t in range(len(_READ))],
                "reading": [float(r) for r in _READ],
                "gas_on_s": 5,
                "alarms": [{"name": "low", "at": 10}, {"name": "high", "at": 30}],
            },
        ),
        Example(
            "The same with the gas taken off again",
            {
                "t_s": [float(t) for t in range(len(_READ) + len(_FALL))],
                "reading": [float(r) for r in _READ + _FALL],
                "gas_on_s": 5,
                "gas_off_s": len(_READ),
                "alarms": [{"name": "low", "at": 10}],
                "clean_air_reading": 0,
            },
        ),
    ),
)
