"""The strength and the time that the German chemical trade association advises for a test by alarm.

BG RCI, FAQ 2.9, table 1, method 1. It stands beside the physics of ``response`` and never replaces it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, NamedTuple

from pitbird.science.challenge.values import Alarm, Sensor, canonical
from pitbird.science.gases import lfl_vol_pct

SOURCE: Final = "BG RCI FAQ 2.9, table 1, method 1"


class Guidance(NamedTuple):
    """The figures of the guidance: factors on the alarm, the cap in %LFL, and the longest exposures [s]."""

    low: Decimal
    high: Decimal
    max_pct_lfl: Decimal
    oxygen: Decimal
    oxygen_spread: Decimal
    flammable_s: int
    toxic_s: int
    oxygen_s: int


class Span(NamedTuple):
    """Between which strengths (both included, in the channel's unit) the gas should lie, and for how long
    at most, [s]."""

    low: Decimal
    high: Decimal
    seconds: int


#: As the source has them; "about 0.9" for oxygen there, the spread is ours.
BG_RCI: Final = Guidance(
    Decimal("1.2"), Decimal("2.0"), Decimal(60), Decimal("0.9"), Decimal("0.05"), 45, 90, 60
)
MOST_PCT_LFL: Final = float(BG_RCI.max_pct_lfl)


def rising_span(at: Decimal, cap: Decimal | None, guidance: Guidance = BG_RCI) -> Span:
    """The span for the highest of the alarms that rise: 1.2 to 2.0 times it; for a flammable gas no more than
    ``cap``, which is 60 %LFL in the unit of the alarm; a cap of None is that of a toxic gas."""
    low, high = at * guidance.low, at * guidance.high
    if cap is None:
        return Span(low, high, guidance.toxic_s)
    return Span(low, min(high, cap), guidance.flammable_s)


def falling_span(at: Decimal, guidance: Guidance = BG_RCI) -> Span:
    """The span for the lowest of the alarms on too little oxygen: about 0.9 times it."""
    low, high = guidance.oxygen - guidance.oxygen_spread, guidance.oxygen + guidance.oxygen_spread
    return Span(at * low, at * high, guidance.oxygen_s)


def cap_of(limit_vol_pct: Decimal | None, unit: str, guidance: Guidance = BG_RCI) -> Decimal | None:
    """60 %LFL in a unit, from the lower flammable limit [% vol]; None where that is not known and needed."""
    if unit == "pct_lfl":
        return guidance.max_pct_lfl
    if limit_vol_pct is None:
        return None
    return guidance.max_pct_lfl / 100 * limit_vol_pct * (10_000 if unit == "ppm" else 1)


NAMED_TOXIC: Final = frozenset(
    {
        "carbon monoxide", "carbon dioxide", "hydrogen sulfide", "sulfur dioxide", "nitrogen dioxide",
        "nitric oxide", "ammonia",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Window:
    """Between which readings (both included, in the sensor's unit) the gas should lie, and the longest
    exposure within which the alarm must have come, [s]. ``alarm``: the one it follows from."""

    low: float
    high: float
    seconds: float
    alarm: str
    source: str = SOURCE


def window(sensor: Sensor, basis: str) -> Window | None:
    """The window of a sensor, from its alarms that gas must show.

    Flammable: 1.2 to 2.0 times the highest alarm and at most 60 %LFL, within 45 s; toxic: 1.2 to 2.0 times
    the highest alarm, within 90 s (the source names CO, CO2, H2S, SO2, NO2, NO and NH3; it is applied to
    others likewise); oxygen deficiency: 0.9 times the lowest alarm, with 0.05 on either side as our own
    spread, within 60 s. None where gas shows no alarm, and for alarms on too much oxygen, of which the
    source says nothing.
    """
    shown = [alarm for alarm in sensor.alarms if alarm.shown_by == "gas"]
    falling = [alarm for alarm in shown if sensor.falls(alarm)]
    if falling:
        return _falling(sensor, min(falling, key=_at))
    if not shown or canonical(sensor.gas) == "oxygen":
        return None
    top = max(shown, key=_at)
    cap = None
    if sensor.flammable:
        cap = cap_of(lfl_vol_pct(sensor.gas, basis), sensor.unit) or Decimal("Infinity")
    return _window(rising_span(_exact(top.at), cap), top)


def _at(alarm: Alarm) -> float:
    return alarm.at


def _falling(sensor: Sensor, lowest: Alarm) -> Window | None:
    if canonical(sensor.gas) != "oxygen":
        return None
    return _window(falling_span(_exact(lowest.at)), lowest)


def _exact(at: float) -> Decimal:
    """A set-point as it was written."""
    return Decimal(repr(at))


def _window(span: Span, alarm: Alarm) -> Window:
    return Window(float(span.low), float(span.high), float(span.seconds), alarm.name)


def outside(
    window_: Window, sensor: Sensor, reading: float, gas_on_s: float, time_s: float | None
) -> Iterator[str]:
    """Sentences on where a test lies outside its window; ``time_s`` is that of the window's alarm."""
    unit = in_words(sensor.unit)
    span = f"{window_.low:.3g} to {window_.high:.3g} {unit} ({window_.source})"
    if window_.low > window_.high:
        yield (
            f"{sensor.name}: no gas fits the guidance for alarm {window_.alarm}: 1.2 times it is "
            f"{window_.low:.3g} {unit}, and at most {window_.high:.3g} {unit} is advised ({window_.source})."
        )
    elif reading < window_.low:
        strong = "strong" if canonical(sensor.gas) == "oxygen" else "weak"
        yield f"{sensor.name}: too {strong} for the guidance: {reading:.3g} {unit}, advised is {span}."
    elif reading > window_.high:
        weak = "weak" if canonical(sensor.gas) == "oxygen" else "strong"
        yield f"{sensor.name}: too {weak} for the guidance: {reading:.3g} {unit}, advised is {span}."
    if time_s is not None and time_s > window_.seconds:
        yield (
            f"{sensor.name}: alarm {window_.alarm} takes {time_s:.3g} s; the guidance wants it within "
            f"{window_.seconds:g} s ({window_.source})."
        )
    elif gas_on_s > window_.seconds:
        yield (
            f"{sensor.name}: the gas is on for {gas_on_s:g} s; the guidance gives the alarm "
            f"{window_.seconds:g} s ({window_.source}), so one that comes later must count as failed."
        )


def in_words(unit: str) -> str:
    """A unit as it is written."""
    return {"pct_lfl": "%LFL", "vol_pct": "% vol"}.get(unit, unit)
