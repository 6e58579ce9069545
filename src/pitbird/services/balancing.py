"""Whether the tests written on a cylinder agree with the gas that left it since its first gauge reading."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitbird.fleet.folding import trace
from pitbird.fleet.state import CylinderState, GaugeFact
from pitbird.fleet.times import Ms
from pitbird.rules.serving import number
from pitbird.services.gas_left import flow_of
from pitbird.services.knowing import Known, Now
from pitbird.services.refolding import entries_about

if TYPE_CHECKING:
    from pitbird.science.gas_balance import GasBalance


@dataclass(frozen=True, slots=True)
class Reading:
    """A gauge reading, with the tests and the gas written on the cylinder before it."""

    gauge: GaugeFact
    tests: int
    gas_on_ms: int


@dataclass(frozen=True, slots=True)
class Balanced:
    """The balance between the first and the last reading of a cylinder."""

    since: Ms
    until: Ms
    from_bar: float
    to_bar: float
    tests: int
    gas_on_s: float
    flow_l_min: float
    assumed: tuple[str, ...]
    found: GasBalance


def balanced(state: CylinderState, *, known: Known | None = None) -> Balanced | None:
    """The balance of a cylinder; None where its size is not described, its regulator gives only what is
    drawn, or its gauge was not read twice."""
    from pitbird.science.cylinders import GaugeBar, OutOfRange, balance_of, water_capacity_l
    from pitbird.science.gas_balance import gas_balance

    flow, kind, assumed = flow_of(state, known or Now())
    readings = readings_of(state.subject)
    mixture = balance_of(state.balance)
    if kind != "fixed" or len(readings) < 2 or mixture is None:
        return None
    first, last = readings[0], readings[-1]
    start, end = number(first.gauge.bar), number(last.gauge.bar)
    capacity = number(state.water_capacity_l)
    free, full = number(state.free_gas_l), number(state.full_pressure_bar)
    try:
        if capacity is None and free is not None and full is not None:
            capacity = water_capacity_l(free, GaugeBar(full), balance=mixture)
        if capacity is None or start is None or end is None:
            return None
        tests, gas_on_s = last.tests - first.tests, (last.gas_on_ms - first.gas_on_ms) / 1000
        found = gas_balance(
            GaugeBar(start),
            GaugeBar(end),
            tests=tests,
            gas_on_s=gas_on_s,
            flow_l_min=flow,
            water_capacity_l=capacity,
            balance=mixture,
        )
    except OutOfRange:
        return None
    return Balanced(first.gauge.at, last.gauge.at, start, end, tests, gas_on_s, flow, tuple(assumed), found)


def readings_of(subject: str) -> list[Reading]:
    """Every gauge reading of a cylinder in the order in which they were made.

    A gauge read at a test was read before its gas: that test is not among those before it.
    """
    readings: list[Reading] = []
    before = CylinderState(subject=subject)
    for state in trace(subject, sorted(entries_about(subject), key=lambda entry: entry[0])):
        if not isinstance(state, CylinderState):
            return []
        if state.gauges and state.gauges[:1] != before.gauges[:1]:
            readings.append(Reading(state.gauges[0], before.tests, before.gas_on_ms))
        before = state
    return readings
