"""The strength and the time that the German chemical trade association advises for a test by alarm.

BG RCI, FAQ 2.9, table 1, method 1. It stands beside the physics of ``response`` and never replaces it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from pitbird.science.challenge.values import Alarm, Sensor, canonical
from pitbird.science.gases import lfl_vol_pct

SOURCE: Final = "BG RCI FAQ 2.9, table 1, method 1"
LOW, HIGH, MOST_PCT_LFL, FLAMMABLE_S = 1.2, 2.0, 60.0, 45.0
TOXIC_S = 90.0
OXYGEN, OXYGEN_S = 0.9, 60.0
#: "About 0.9" in the source; the spread is ours.
OXYGEN_SPREAD: Final = 0.05
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
    low, high = LOW * top.at, HIGH * top.at
    if not sensor.flammable:
        return Window(low, high, TOXIC_S, top.name)
    return Window(low, min(high, _cap(sensor, basis)), FLAMMABLE_S, top.name)


def _at(alarm: Alarm) -> float:
    return alarm.at


def _falling(sensor: Sensor, lowest: Alarm) -> Window | None:
    if canonical(sensor.gas) != "oxygen":
        return None
    low, high = (OXYGEN - OXYGEN_SPREAD) * lowest.at, (OXYGEN + OXYGEN_SPREAD) * lowest.at
    return Window(low, high, OXYGEN_S, lowest.name)


def _cap(sensor: Sensor, basis: str) -> float:
    """60 %LFL of the sensor's own gas, in its unit."""
    if sensor.unit == "pct_lfl":
        return MOST_PCT_LFL
    limit = lfl_vol_pct(sensor.gas, basis)
    if limit is None:
        return float("inf")
    return MOST_PCT_LFL / 100 * float(limit) * (10_000 if sensor.unit == "ppm" else 1)


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
