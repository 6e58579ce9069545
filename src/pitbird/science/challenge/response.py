r"""First-order response with delay to a step of gas, in plain numbers.

.. math:: r(t) = r_0 + (R - r_0)\left(1 - e^{-(t - d)/\tau}\right), t > d, \quad \tau = t_{90} / \ln 10

A step is counted towards the alarm: for a falling alarm (set below the clean-air reading) it is r0 - R. A
step and a threshold are then both positive where the gas can set the alarm off.
"""

from __future__ import annotations

import math
from typing import Final

LN10: Final = math.log(10)


def tau_s(t90_s: float) -> float:
    """Time constant, [s], of a first-order response: t90 / ln 10. (t50 = 0.6931 tau, t90 / t50 = 3.3219.)"""
    return t90_s / LN10


def gain(t_s: float, t90_s: float, delay_s: float = 0.0) -> float:
    """Share of the step, [-], that shows at a time after gas on; 0 until the delay is over."""
    after = t_s - delay_s
    return -math.expm1(-after * LN10 / t90_s) if after > 0 else 0.0


def reading_at(
    t_s: float, clean_air_reading: float, final_reading: float, t90_s: float, delay_s: float = 0.0
) -> float:
    """Reading at a time after gas on, [the unit of the two readings]."""
    return clean_air_reading + (final_reading - clean_air_reading) * gain(t_s, t90_s, delay_s)


def time_to_alarm_s(threshold: float, step: float, t90_s: float, delay_s: float = 0.0) -> float | None:
    """Time from gas on, delay included, [s], until the step has come as far as the threshold.

    t = d - tau ln(1 - threshold / step). None where it never does: the threshold is approached, not reached,
    when it equals the step. ``threshold`` must be positive.
    """
    if step <= threshold:
        return None
    return delay_s - tau_s(t90_s) * math.log1p(-threshold / step)


def undetected_loss(
    threshold: float, step: float, gas_on_s: float, t90_s: float, delay_s: float = 0.0
) -> float | None:
    """Largest fractional loss of sensitivity, [-], with which the alarm still comes within the gas.

    loss = 1 - threshold / (step x gain at the end of the gas). To know what a test could miss at worst, put
    in the richest gas and the fastest sensor. None where even the full sensitivity does not get there.
    """
    reached = step * gain(gas_on_s, t90_s, delay_s)
    return 1 - threshold / reached if reached > 0 and reached >= threshold else None


def slowest_t90_s(threshold: float, step: float, gas_on_s: float, delay_s: float = 0.0) -> float | None:
    """Largest t90, [s], with which the alarm still comes within the gas at full sensitivity.

    t90 = (gas on - d) ln 10 / -ln(1 - threshold / step). None where no t90 would do.
    """
    if step <= threshold or gas_on_s <= delay_s:
        return None
    return (gas_on_s - delay_s) * LN10 / -math.log1p(-threshold / step)
