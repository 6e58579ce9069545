"""How many tests are left in this cylinder?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Final

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Refused, Request, Result
from pitbird.calc.fields import Many, NotNegative, Positive
from pitbird.calc.gas_parts import BalanceName, Component, composition_faults
from pitbird.record.faults import Fault, shown
from pitbird.science.condensation import FOOTING as CONDENSATION_FOOTING
from pitbird.science.condensation import Condensation, condensation
from pitbird.science.cylinders import (
    COLDEST_C,
    HIGHEST_BAR,
    HOTTEST_C,
    GaugeBar,
    OutOfRange,
    absolute,
    balance_of,
    compressibility,
    gas_per_test_l,
    held_l,
    tests_band,
    usable_l,
    water_capacity_l,
    whole_tests,
)
from pitbird.science.gases import same_gas

#: More than this over the contents that are named is no filling, it is a wrong unit or a wrong cylinder.
_OVERFULL: Final = 1.10
_STORAGE_C: Final = 50.0
#: Colder than this no cylinder lies around in a store or a van, for most.
_WINTER_C: Final = -20.0
_ALIKE_PCT: Final = 5.0
_USED_WHOLE: Final = (
    "The number holds for a full cylinder used to the last, which no cylinder is: "
    "it ends at the minimum usage pressure of its certificate."
)

Pressure = Annotated[float, Field(ge=0, le=HIGHEST_BAR)]


class CylinderRequest(Request):
    """A cylinder, what its gauge shows, and how a test uses it."""

    water_capacity_l: Positive | None = None
    """Space inside the cylinder, as stamped on it. Or the contents in its place."""
    free_gas_l: Positive | None = None
    """Gas in the full cylinder, as on its label (at 1 atm and 20 °C)."""
    full_pressure_bar: Annotated[float, Field(gt=0, le=HIGHEST_BAR)] | None = None
    """Gauge pressure of the full cylinder at 20 °C, with free_gas_l."""
    pressure_bar: Pressure | None = None
    """What the gauge shows now."""
    minimum_pressure_bar: Pressure | None = None
    """Gauge pressure down to which the certificate allows use."""
    temperature_c: Annotated[float, Field(ge=COLDEST_C, le=HOTTEST_C)] = 20.0
    """Temperature of the cylinder when the gauge is read."""
    balance: BalanceName = "nitrogen"
    """What the components are made up with."""
    components: Many[Component] = ()
    """What else is in it."""
    flow_l_min: Positive | None = None
    """Flow of a fixed-flow regulator (at 1 atm and 20 °C)."""
    demand_flow_l_min: Positive | None = None
    """In its place, for a demand-flow regulator: what the detector's pump draws."""
    gas_on_s: Positive
    """Gas-on time of one test."""
    purge_s: NotNegative = 0.0
    """Gas let through before each test to fill regulator and tube."""
    gauge_resolution_bar: NotNegative | None = None
    """One division of the gauge."""
    flow_tolerance_pct: Annotated[float, Field(ge=0, lt=100)] | None = None
    """How far the flow may be from its mark, either way."""


class CylinderResult(Result):
    """What is left."""

    usable_gas_l: float
    gas_per_test_l: float
    tests_left: int
    """Whole tests."""
    tests_left_low: int | None
    """The fewest that gauge and flow leave possible, where their doubt is given."""
    tests_left_high: int | None
    """The most that they leave possible."""
    water_capacity_l: float | None
    compressibility: float | None
    """Z of the balance gas at the present pressure and temperature."""
    condensation_below_c: float | None
    """Where a component would begin to condense at the present pressure; null where none would."""


def check(request: CylinderRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    yield from _contents_faults(request)
    yield from _pressure_faults(request)
    fixed, demand = request.flow_l_min, request.demand_flow_l_min
    if fixed is None and demand is None:
        yield Fault("flow_l_min", "", "missing; write it, or demand_flow_l_min for a demand-flow regulator")
    if fixed is not None and demand is not None:
        problem = "stands beside flow_l_min; a regulator is fixed-flow or demand-flow, write one"
        yield Fault("demand_flow_l_min", shown(demand), problem)
    yield from composition_faults(request.components, request.balance)


def _contents_faults(request: CylinderRequest) -> Iterator[Fault]:
    water, free, full = request.water_capacity_l, request.free_gas_l, request.full_pressure_bar
    if water is None and free is None:
        yield Fault("water_capacity_l", "", "missing; write it, or free_gas_l with full_pressure_bar")
    if water is not None and free is not None:
        yield Fault("free_gas_l", shown(free), "stands beside water_capacity_l; write one of the two")
    if full is not None and free is None:
        yield Fault("full_pressure_bar", shown(full), "belongs to free_gas_l; write that, or leave it out")
    if _only_contents(request):
        for field in ("pressure_bar", "minimum_pressure_bar", "gauge_resolution_bar"):
            value = getattr(request, field)
            if value is not None:
                problem = (
                    "cannot be used with free_gas_l alone; "
                    "add full_pressure_bar, or leave it out for a full cylinder used whole"
                )
                yield Fault(field, shown(value), problem)


def _pressure_faults(request: CylinderRequest) -> Iterator[Fault]:
    if _only_contents(request):
        return
    now, least, full = request.pressure_bar, request.minimum_pressure_bar, request.full_pressure_bar
    if now is None:
        yield Fault("pressure_bar", "", "missing; write what the gauge shows")
    if least is None:
        problem = "missing; write the minimum usage pressure of the certificate, 0 where it sets none"
        yield Fault("minimum_pressure_bar", "", problem)
    if least is not None and full is not None and least >= full:
        yield Fault("minimum_pressure_bar", shown(least), f"not below the full pressure of {full:g} bar")
    if now is not None and least is not None and now < least:
        problem = f"below the minimum usage pressure of {least:g} bar; the cylinder is at its end"
        yield Fault("pressure_bar", shown(now), problem)


def _only_contents(request: CylinderRequest) -> bool:
    """Whether nothing is known but what a full cylinder holds."""
    named = request.free_gas_l is not None and request.full_pressure_bar is None
    return named and request.water_capacity_l is None


def solve(request: CylinderRequest) -> CylinderResult:
    """The gas that may be used, and the tests it is good for."""
    flow = request.flow_l_min if request.flow_l_min is not None else request.demand_flow_l_min or 0.0
    per_test = gas_per_test_l(flow, request.gas_on_s, request.purge_s)
    if _only_contents(request):
        return _full(request, request.free_gas_l or 0.0, per_test)
    try:
        return _by_pressure(request, per_test)
    except OutOfRange as refused:
        value = getattr(request, refused.argument, None)
        raise Refused([Fault(refused.argument, shown(value), refused.problem)]) from None


def _full(request: CylinderRequest, free: float, per_test: float) -> CylinderResult:
    low = high = None
    if request.flow_tolerance_pct is not None:
        part = request.flow_tolerance_pct / 100
        low, high = whole_tests(free, per_test * (1 + part)), whole_tests(free, per_test * (1 - part))
    return CylinderResult(
        footing=(
            "a full cylinder, all of it used",
            "contents and flow as named, in litres at 1 atm and 20 °C",
        ),
        cautions=(
            _USED_WHOLE,
            *_cautions(request, low),
        ),
        usable_gas_l=free,
        gas_per_test_l=per_test,
        tests_left=whole_tests(free, per_test),
        tests_left_low=low,
        tests_left_high=high,
        water_capacity_l=None,
        compressibility=None,
        condensation_below_c=None,
    )


def _by_pressure(request: CylinderRequest, per_test: float) -> CylinderResult:
    balance = balance_of(request.balance) or request.balance
    now, least = GaugeBar(request.pressure_bar or 0.0), GaugeBar(request.minimum_pressure_bar or 0.0)
    capacity = request.water_capacity_l or _capacity(request, now, balance)
    usable = usable_l(
        now, least, water_capacity_l=capacity, temperature_c=request.temperature_c, balance=balance
    )
    low = high = None
    if request.gauge_resolution_bar is not None or request.flow_tolerance_pct is not None:
        band = tests_band(
            now,
            least,
            per_test,
            water_capacity_l=capacity,
            temperature_c=request.temperature_c,
            balance=balance,
            gauge_resolution_bar=request.gauge_resolution_bar or 0.0,
            flow_tolerance_pct=request.flow_tolerance_pct or 0.0,
        )
        low, high = band.low, band.high
    dew = condensation([(c.gas, c.share_pct) for c in request.components], absolute(now))
    return CylinderResult(
        footing=_footing(request, balance),
        cautions=(*_dew_cautions(request, dew), *_cautions(request, low)),
        usable_gas_l=usable,
        gas_per_test_l=per_test,
        tests_left=whole_tests(usable, per_test),
        tests_left_low=low,
        tests_left_high=high,
        water_capacity_l=capacity,
        compressibility=compressibility(absolute(now), request.temperature_c, balance),
        condensation_below_c=dew.below_c,
    )


def _capacity(request: CylinderRequest, now: GaugeBar, balance: str) -> float:
    free, full = request.free_gas_l or 0.0, request.full_pressure_bar or 0.0
    capacity = water_capacity_l(free, GaugeBar(full), balance=balance)
    held = held_l(now, water_capacity_l=capacity, temperature_c=request.temperature_c, balance=balance)
    if held > _OVERFULL * free:
        problem = (
            f"would be {held:.4g} L of gas, where the full cylinder holds {free:g} L "
            f"at {full:g} bar and 20 °C; check the unit of the gauge and the cylinder"
        )
        raise OutOfRange("pressure_bar", problem)
    return capacity


def _footing(request: CylinderRequest, balance: str) -> tuple[str, ...]:
    lines = [
        f"real gas: reference equation of state of {balance}, as CoolProp carries it",
        "litres at 1 atm and 20 °C; pressures are gauge, above an air pressure of 1.01325 bar",
        "usable down to the minimum usage pressure, at the present temperature",
    ]
    if request.free_gas_l is not None:
        lines.append("the contents named are all that the full cylinder holds, its last atmosphere too")
    if request.gauge_resolution_bar is not None:
        lines.append("a gauge leaves half a division either way (JCGM 100:2008, F.2.2.1)")
    if request.components:
        lines.append(CONDENSATION_FOOTING)
    return tuple(lines)


def _dew_cautions(request: CylinderRequest, dew: Condensation) -> Iterator[str]:
    if dew.below_c is not None and dew.below_c >= request.temperature_c:
        yield (
            f"{dew.gas} may have condensed in this cylinder: its gas may be leaner than certified, "
            f"and richer near the end. Do not use it as it is: warm it above {dew.below_c:.0f} °C and "
            "roll it as its supplier says, or take another."
        )
    elif dew.below_c is not None and dew.below_c > _WINTER_C:
        yield f"{dew.gas} may condense below {dew.below_c:.0f} °C: keep and use the cylinder warmer."
    if dew.unknown:
        yield f"Whether {', '.join(dew.unknown)} would condense is not known here."


def _cautions(request: CylinderRequest, low: int | None) -> tuple[str, ...]:
    told = []
    if request.minimum_pressure_bar == 0:
        told.append(
            "A mixture can lose its consistency when nearly empty: "
            "the minimum usage pressure of the certificate is the end of the cylinder."
        )
    if request.demand_flow_l_min is not None:
        told.append(
            "A demand-flow regulator gives gas only to a detector that draws it with a pump; "
            "the flow is what that pump draws, not a mark on the regulator."
        )
    if request.temperature_c > _STORAGE_C:
        told.append("Cylinders are kept below 50 °C: cool it down, then read the gauge again.")
    other = sum(c.share_pct for c in request.components if not same_gas(c.gas, "oxygen"))
    if other > _ALIKE_PCT:
        told.append(
            f"With {other:g} % vol of other gas the mixture is not quite as compressible as its balance."
        )
    if low == 0:
        told.append(
            "Within the doubt of gauge and flow not one whole test may be left: take another cylinder."
        )
    return tuple(told)


CALCULATION: Final = Calculation(
    "cylinder",
    CylinderRequest,
    CylinderResult,
    solve,
    check,
    examples=(
        Example(
            "A 58 L cylinder, half used",
            {
                "free_gas_l": 58,
                "full_pressure_bar": 69,
                "pressure_bar": 35,
                "minimum_pressure_bar": 2,
                "balance": "nitrogen",
                "flow_l_min": 0.5,
                "gas_on_s": 30,
                "purge_s": 5,
                "gauge_resolution_bar": 2,
                "flow_tolerance_pct": 10,
            },
        ),
        Example(
            "Pentane in air in an unheated store",
            {
                "water_capacity_l": 0.84,
                "pressure_bar": 60,
                "minimum_pressure_bar": 2,
                "temperature_c": 5,
                "balance": "air",
                "components": [{"gas": "n-pentane", "vol_pct": 0.55}],
                "flow_l_min": 0.5,
                "gas_on_s": 45,
            },
        ),
        Example(
            "A full cylinder, before buying: how many tests at the most",
            {"free_gas_l": 110, "flow_l_min": 1, "gas_on_s": 10},
        ),
        Example(
            "Pumped detectors on a demand-flow regulator, a cold morning",
            {
                "water_capacity_l": 1.5,
                "pressure_bar": 40,
                "minimum_pressure_bar": 3,
                "temperature_c": 2,
                "balance": "air",
                "demand_flow_l_min": 0.3,
                "gas_on_s": 45,
            },
        ),
    ),
)
