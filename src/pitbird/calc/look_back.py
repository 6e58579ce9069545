"""What does a failed test say about the uses before it?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BeforeValidator, Field

from pitbird.calc.definition import Calculation, Example, Part, Refused, Request, Result
from pitbird.calc.fields import Many
from pitbird.record.faults import Fault, shown
from pitbird.science.reliability.look_back import CAUTION, NO_USE, Clock, look_back

_DAY: Final = timedelta(days=1)
_WORDS: Final = {
    "zoned": "a time with its zone",
    "local": "a time without zone",
    "days": "a number of days",
}
_NO_ZONE: Final = (
    "The times stand without their zone: they are taken as of one clock that was never put forward or back."
)


@dataclass(frozen=True, slots=True)
class _When:
    """A moment on its own scale: text with zone, text without, or days."""

    scale: str
    at: datetime | float

    def days_after(self, other: _When) -> float:
        if isinstance(self.at, datetime) and isinstance(other.at, datetime):
            return (self.at - other.at) / _DAY
        if isinstance(self.at, float) and isinstance(other.at, float):
            return self.at - other.at
        raise TypeError("moments of two scales")


def _when(text: str) -> _When | None:
    try:
        days = float(text)
    except ValueError:
        pass
    else:
        return _When("days", days) if abs(days) <= 1e7 else None
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return _When("local" if at.utcoffset() is None else "zoned", at)


def _as_text(value: Any) -> Any:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return repr(float(value)) if number and abs(value) <= 1e7 else value


def _known(text: str) -> str:
    if _when(text) is None:
        raise ValueError("not a time; write it as 2026-03-02T08:00+01:00, or all times as numbers of days")
    return text


#: A time with its zone (ISO 8601), or a number of days on any one scale; kept as text.
Moment = Annotated[
    str,
    BeforeValidator(_as_text),
    AfterValidator(_known),
    Field(
        json_schema_extra={
            "type": ["string", "number"],
            "examples": ["2026-03-02T08:00+01:00"],
        }
    ),
]


class Use(Part):
    """One use of the detector."""

    start: Moment
    end: Moment
    label: Annotated[str, Field(max_length=500)] = ""
    """Who, where, on which permit."""


class LookBackRequest(Request):
    """The last good test, the first failed one, and the uses that may have been without warning."""

    last_pass: Moment
    """The last good test."""
    first_fail: Moment
    """The first failed test after it."""
    uses: Annotated[Many[Use], Field(max_length=100_000)]
    """When the detector was out."""
    rate_per_day: Annotated[float, Field(ge=0, le=1000)]
    """Failure rate of the channel; the higher, the earlier the failure likely was: take its upper limit."""
    clock: Clock = "calendar"
    """Whether the sensor can fail at any time, or only in use."""


class UseChances(Part):
    """One use, in the order of the request."""

    label: str
    start: str
    end: str
    probability_failed_at_start: float
    probability_failed_by_end: float
    worst_probability_failed_by_end: float
    """The larger over both clocks."""


class LookBackResult(Result):
    """For each use, the chance that the sensor had failed."""

    uses: tuple[UseChances, ...]


def check(request: LookBackRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    first = _at(request.last_pass)
    strangers = list(_of_other_scale(request, first.scale))
    yield from strangers
    if strangers:
        return
    if _at(request.first_fail).days_after(first) <= 0:
        problem = f"not after the last good test ({request.last_pass})"
        yield Fault("first_fail", shown(request.first_fail), problem)
    for i, use in enumerate(request.uses):
        if _at(use.end).days_after(_at(use.start)) < 0:
            yield Fault(f"uses[{i}].end", shown(use.end), f"before its start ({use.start})")


def _of_other_scale(request: LookBackRequest, scale: str) -> Iterator[Fault]:
    moments = [("first_fail", request.first_fail)]
    for i, use in enumerate(request.uses):
        moments += [(f"uses[{i}].start", use.start), (f"uses[{i}].end", use.end)]
    for field, text in moments:
        other = _at(text).scale
        if other != scale:
            problem = f"{_WORDS[other]}, where last_pass is {_WORDS[scale]}; write all in one way"
            yield Fault(field, shown(text), problem)


def _at(text: str) -> _When:
    found = _when(text)
    if found is None:  # Moment has seen to it.
        raise ValueError(text)
    return found


def solve(request: LookBackRequest) -> LookBackResult:
    """The chances of each use."""
    zero = _at(request.last_pass)
    whole = _at(request.first_fail).days_after(zero)
    uses = [(_at(use.start).days_after(zero), _at(use.end).days_after(zero)) for use in request.uses]
    between = math.fsum(max(0.0, min(end, whole) - max(start, 0.0)) for start, end in uses)
    if request.clock == "in-use" and not between > 0:
        raise Refused([Fault("clock", shown(request.clock), f"{NO_USE}; use the calendar clock")])
    chances = look_back(uses, last_pass=0.0, first_fail=whole, rate=request.rate_per_day, clock=request.clock)
    runs = "at any time" if request.clock == "calendar" else "only during uses"
    return LookBackResult(
        footing=(
            "the failure came at some time after the last good test, up to the first failed one",
            f"a failure rate that does not change with age, {request.rate_per_day:g} per day",
            f"the sensor can fail {runs}",
            "chance by a time t of the span T: (1 - exp(-rate t)) / (1 - exp(-rate T))",
        ),
        cautions=(CAUTION, *([_NO_ZONE] if zero.scale == "local" else [])),
        uses=tuple(
            UseChances(
                label=use.label,
                start=use.start,
                end=use.end,
                probability_failed_at_start=chance.failed_at_start,
                probability_failed_by_end=chance.failed_by_end,
                worst_probability_failed_by_end=chance.worst_failed_by_end,
            )
            for use, chance in zip(request.uses, chances, strict=True)
        ),
    )


CALCULATION: Final = Calculation(
    "look-back",
    LookBackRequest,
    LookBackResult,
    solve,
    check,
    examples=(
        Example(
            "A weekly test failed: three uses since the last good one",
            {
                "last_pass": "2026-03-02T07:40+01:00",
                "first_fail": "2026-03-09T07:35+01:00",
                "uses": [
                    {
                        "start": "2026-03-02T08:00+01:00",
                        "end": "2026-03-02T15:30+01:00",
                        "label": "Digester 2, permit 26-114",
                    },
                    {
                        "start": "2026-03-04T08:00+01:00",
                        "end": "2026-03-04T12:00+01:00",
                        "label": "Sewer, Mill Lane",
                    },
                    {
                        "start": "2026-03-06T13:00+01:00",
                        "end": "2026-03-06T16:00+01:00",
                        "label": "Pump sump, East depot",
                    },
                ],
                "rate_per_day": 0.001,
            },
        ),
        Example(
            "The same if the sensor can fail only in use, in days since the last good test",
            {
                "last_pass": 0,
                "first_fail": 7,
                "uses": [
                    {"start": 0.01, "end": 0.33, "label": "Digester 2"},
                    {"start": 2.01, "end": 2.18, "label": "Sewer, Mill Lane"},
                ],
                "rate_per_day": 0.001,
                "clock": "in-use",
            },
        ),
    ),
)
