"""Units as people choose them, turned into the units that the names of fields end with, and back.

A field's name says what it wants: ``pressure_bar`` gauge pressure in bar, ``flow_l_min`` litres a minute.
`offered` tells which units a field can be typed in, `from_chosen` turns a typed value into the field's unit.
Gauge and absolute pressure are different things here, not different units: the one is refused for the other,
because only who reads the gauge knows the pressure of the air around it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from pitbird.calc.definition import Refused
from pitbird.record.faults import Fault, listed, near, shown


@dataclass(frozen=True, slots=True)
class Measure:
    """What a field measures: its name in words, its own unit first among those that can be chosen.

    ``units`` maps the unit as shown to what pint calls it.
    """

    name: str
    units: Mapping[str, str]
    lowest: float = -math.inf

    @property
    def own(self) -> str:
        """The unit that the field's name ends with."""
        return next(iter(self.units))


_PRESSURES: Final = {"bar": "bar", "psi": "psi", "kPa": "kilopascal", "MPa": "megapascal"}
_ABSOLUTE: Final = {f"{unit} absolute": meant for unit, meant in _PRESSURES.items()}
_SECOND, _MINUTE, _HOUR, _DAY = {"s": "second"}, {"min": "minute"}, {"h": "hour"}, {"days": "day"}
_PPM, _PERCENT = {"ppm": "ppm"}, {"% vol": "percent"}

GAUGE: Final = Measure("gauge pressure", _PRESSURES)
ABSOLUTE: Final = Measure("absolute pressure", _ABSOLUTE, 0)

#: Ends of field names, longer ones before those that they end with.
SUFFIXES: Final[Mapping[str, Measure]] = {
    "_vol_pct_min": Measure("lowest share by volume", {**_PERCENT, **_PPM}),
    "_vol_pct": Measure("share by volume", {**_PERCENT, **_PPM}),
    "_pct_lfl": Measure("share of the lower flammable limit", {"% LFL": "percent"}),
    "_pct": Measure("share", {"%": "percent"}),
    "_ppm": Measure("share by volume", {**_PPM, **_PERCENT, "ppb": "ppb"}),
    "_m3_min": Measure(
        "air flow",
        {
            "m³/min": "meter**3/minute",
            "m³/h": "meter**3/hour",
            "L/s": "liter/second",
            "cfm": "foot**3/minute",
        },
    ),
    "_l_min": Measure(
        "gas flow",
        {
            "L/min": "liter/minute",
            "mL/min": "milliliter/minute",
            "L/h": "liter/hour",
            "cfh": "foot**3/hour",
        },
    ),
    "_l": Measure(
        "amount of gas, or capacity",
        {
            "L": "liter",
            "mL": "milliliter",
            "m³": "meter**3",
            "cubic feet": "foot**3",
            "cubic inches": "inch**3",
        },
    ),
    "_m3": Measure("space", {"m³": "meter**3", "L": "liter", "cubic feet": "foot**3"}),
    "_bar_abs": ABSOLUTE,
    "_bar": GAUGE,
    "_per_day": Measure("rate", {"per day": "1/day", "per year": "1/julian_year"}),
    "_per_year": Measure("rate", {"per year": "1/julian_year"}),
    "_per_h": Measure("rate", {"per h": "1/hour", "per min": "1/minute"}),
    "_s_per_m": Measure("time for a length", {"s/m": "second/meter", "s/ft": "second/foot"}),
    "_minutes": Measure("time", {**_MINUTE, **_SECOND, **_HOUR}),
    "_days": Measure("time", {**_DAY, **_HOUR, "weeks": "week", "years": "julian_year"}),
    "_s": Measure("time", {**_SECOND, **_MINUTE}),
    "_h": Measure("time", {**_HOUR, **_MINUTE, **_DAY}),
    "_c": Measure("temperature", {"°C": "degC", "°F": "degF", "K": "kelvin"}, -273.15),
    "_m": Measure("length", {"m": "meter", "feet": "foot", "cm": "centimeter"}),
}

#: Other ways to write a unit.
_SAME: Final[Mapping[str, str]] = {
    "%": "% vol",
    "vol %": "% vol",
    "% v/v": "% vol",
    "l": "L",
    "litres": "L",
    "liters": "L",
    "ml": "mL",
    "m3": "m³",
    "cubic metres": "m³",
    "ft3": "cubic feet",
    "ft³": "cubic feet",
    "in3": "cubic inches",
    "l/min": "L/min",
    "ml/min": "mL/min",
    "m3/min": "m³/min",
    "m3/h": "m³/h",
    "ft3/h": "cfh",
    "ft³/h": "cfh",
    "ft3/min": "cfm",
    "ft³/min": "cfm",
    "barg": "bar",
    "bar gauge": "bar",
    "psig": "psi",
    "psi gauge": "psi",
    "kpa": "kPa",
    "kpa gauge": "kPa",
    "mpa": "MPa",
    "bara": "bar absolute",
    "bar abs": "bar absolute",
    "psia": "psi absolute",
    "kpa abs": "kPa absolute",
    "degc": "°C",
    "celsius": "°C",
    "degf": "°F",
    "fahrenheit": "°F",
    "seconds": "s",
    "minutes": "min",
    "hours": "h",
    "day": "days",
    "metres": "m",
    "meters": "m",
    "ft": "feet",
    "foot": "feet",
}


def measure_of(field: str) -> Measure | None:
    """What a field measures, by the end of its name; None where its name ends with no unit."""
    return next((measure for suffix, measure in SUFFIXES.items() if field.endswith(suffix)), None)


def offered(field: str) -> tuple[str, tuple[str, ...]]:
    """The unit of a field and all that it can be typed in, its own first; none where there is no choice."""
    measure = measure_of(field)
    if measure is None:
        return "", ()
    return measure.own, tuple(measure.units) if len(measure.units) > 1 else ()


def from_chosen(field: str, value: Any, unit: str) -> Any:
    """A typed value in the unit of the field, to 12 digits.

    What is no number, or has no unit to be turned from, is given back as it is, so that the request's own
    reading refuses it with the rest. Raises ``Refused`` for a unit that the field does not take: unknown, of
    another kind, gauge for absolute or the other way round.
    """
    return _turned(field, value, unit, inward=True)


def to_chosen(field: str, value: Any, unit: str) -> Any:
    """A value in the unit of the field turned into a chosen one; otherwise as `from_chosen`."""
    return _turned(field, value, unit, inward=False)


def _turned(field: str, value: Any, unit: str, *, inward: bool) -> Any:
    measure = measure_of(field)
    if measure is None or not unit:
        return value
    chosen = _unit(field, measure, unit)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return value
    if chosen == measure.own:
        turned = value
    else:
        way = (chosen, measure.own) if inward else (measure.own, chosen)
        ends = [measure.units[end] for end in way]
        turned = float(f"{_quantities()(value, ends[0]).to(ends[1]).magnitude:.12g}")
    if inward and turned < measure.lowest:
        least = f"{to_chosen(field, measure.lowest, chosen):g} {chosen}"
        raise Refused([Fault(field, f"{shown(value)} {chosen}", f"{measure.name} does not go below {least}")])
    return turned


def _unit(field: str, measure: Measure, unit: str) -> str:
    text = " ".join(unit.split())
    for known in (text, _SAME.get(text), _SAME.get(text.lower())):
        if known is not None and known in measure.units:
            return known
    meant = _SAME.get(text.lower(), text)
    if measure is GAUGE and meant in _ABSOLUTE:
        problem = "absolute pressure, where gauge pressure is asked for; subtract the pressure of the air"
    elif measure is ABSOLUTE and meant in _PRESSURES:
        problem = "gauge pressure, where absolute pressure is asked for; add the pressure of the air"
    else:
        choice = listed(measure.units)
        problem = f"no unit of {measure.name} that is known here{near(text, measure.units)}; write {choice}"
    raise Refused([Fault(field, shown(unit), problem)])


@lru_cache(maxsize=1)
def _quantities() -> Any:
    import pint  # here, since it takes a while to load

    registry: Any = pint.UnitRegistry(cache_folder=None)
    registry.define("ppb = 1e-9")
    return registry.Quantity
