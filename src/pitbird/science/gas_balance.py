"""Tests written down against the gas that left the cylinder.

More tests than the gas could have served were written without gas, or the gauge, the flow or the cylinder are
not what they are taken for; gas that left without tests leaked, or was used and not written down. The balance
says which, where it lies beyond what gauge, flow, temperature and gas before the hood was on can explain.
It is no verdict on anybody.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from pitbird.science.cylinders import GaugeBar, held_l

#: How far a cylinder may be from 20 °C when its gauge is read [K]; ours.
TEMPERATURE_SPREAD_K: Final = 10.0
#: Gas that may flow at a test beside the time written down [s]: opening, purging, closing; ours.
UNWRITTEN_S: Final = 15.0

Outcome = Literal["agrees", "more written", "less written", "cannot tell"]


@dataclass(frozen=True, slots=True)
class GasBalance:
    """Gas written down and gas used [reference litres], each with its least and most, and what follows."""

    outcome: Outcome
    written_l: float
    written_low_l: float
    written_high_l: float
    used_l: float
    used_low_l: float
    used_high_l: float


def gas_balance(
    start: GaugeBar,
    end: GaugeBar,
    *,
    tests: int,
    gas_on_s: float,
    flow_l_min: float,
    water_capacity_l: float,
    balance: str = "nitrogen",
    gauge_resolution_bar: float = 1.0,
    flow_tolerance_pct: float = 10.0,
    temperature_spread_k: float = TEMPERATURE_SPREAD_K,
    unwritten_s: float = UNWRITTEN_S,
) -> GasBalance:
    r"""Compare the gas of the tests between two gauge readings with the gas that left between them.

    .. math:: V_{written} = Q \sum t_{on} / 60, \quad V_{used} = V(p_1) - V(p_2)

    Parameters
    ----------
    start, end : GaugeBar
        The gauge before the first test and after the last [bar].
    tests : int
        Tests written down in between.
    gas_on_s : float
        Their gas-on times together [s].
    flow_l_min : float
        Flow of the regulator [reference L/min].
    water_capacity_l : float
        Of the cylinder [L].
    gauge_resolution_bar : float
        Division of the gauge; half of it either way at both readings.
    flow_tolerance_pct : float
        Of the regulator's flow [%], either way.
    temperature_spread_k : float
        The cylinder may have been so much warmer or colder than 20 °C at each reading [K].
    unwritten_s : float
        Gas a test may have taken beside the time written [s].

    Returns
    -------
    GasBalance
        ``more written``: even the least that was written is more than the most that left. ``less written``:
        even the most that was written is less than the least that left. ``cannot tell``: what left is not
        beyond what the two readings leave open, or no test was written.

    Raises
    ------
    ValueError
        For numbers that cannot be; ``OutOfRange`` outside the validity of the gas law.
    """
    if min(tests, gas_on_s, gauge_resolution_bar, temperature_spread_k, unwritten_s) < 0:
        raise ValueError("tests, times, resolution and spread cannot be negative")
    if min(flow_l_min, water_capacity_l) <= 0:
        raise ValueError("flow and water capacity must be more than 0")
    half = gauge_resolution_bar / 2

    def held(pressure: float, warmer: float = 0.0) -> float:
        gauge = GaugeBar(max(pressure, 0.0))
        return held_l(gauge, water_capacity_l=water_capacity_l, balance=balance, temperature_c=20.0 + warmer)

    spread = temperature_spread_k
    used = held(start) - held(end)
    low = held(start - half, spread) - held(end + half, -spread)
    high = held(start + half, -spread) - held(end - half, spread)
    written = flow_l_min * gas_on_s / 60
    least = written * (1 - flow_tolerance_pct / 100)
    most = flow_l_min * (gas_on_s + tests * unwritten_s) / 60 * (1 + flow_tolerance_pct / 100)
    return GasBalance(
        _outcome(tests, least, most, low, high), written, least, most, used, max(low, 0.0), high
    )


def _outcome(tests: int, least: float, most: float, low: float, high: float) -> Outcome:
    if tests and least > high:
        return "more written"
    if low > 0 and most < low:
        return "less written"
    return "agrees" if tests and low > 0 else "cannot tell"
