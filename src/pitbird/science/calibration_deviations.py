"""The expanded uncertainty of what a calibration found: the deviation of a reading from the gas applied."""

from __future__ import annotations

from math import sqrt
from typing import Final

#: Coverage factor: about 95 % of a normal distribution (JCGM 100:2008, 6.3.3).
K: Final = 2.0


def expanded_deviation(applied: float, gas_pct: float, step: float) -> float:
    """The expanded uncertainty U (k = 2) of ``reading - applied``, in the unit of ``applied``.

    ``gas_pct`` is the expanded uncertainty (k = 2) of the gas by its certificate [% of the amount], ``step``
    the step of the display in the unit of ``applied``:

    ``U = 2 sqrt((applied gas_pct / 200)² + step² / 12)``

    A display that goes by steps is uncertain by a rectangle of that width, step / √12 (JCGM 100:2008,
    F.2.2.1); independent parts add in squares (5.1.2). Repeatability, drift, flow, temperature and pressure
    are not in it, so it is the least that the uncertainty can be. Raises ValueError for negative parts.
    """
    if gas_pct < 0 or step < 0:
        raise ValueError("an uncertainty and a step are not below zero")
    return K * sqrt((applied * gas_pct / 100 / K) ** 2 + step**2 / 12)
