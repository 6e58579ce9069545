r"""The temperature below which a heavy component of a mixture condenses in the cylinder.

.. math:: \sum_i \frac{y_i\,p}{p_i^{sat}(T)} = 1

Raoult's law with an ideal gas: p is the total absolute pressure, y the shares, and only components below
their critical temperature count. Compressed nitrogen holds more vapour than that: for 0.75 % n-pentane in
nitrogen the rule gives 2 °C at 34.5 bar and 18 °C at 69 bar gauge, equations of state for the mixture about
-10 °C and -6 °C. So the true temperature lies lower, by some 12 to 24 K there, and this one is cautious.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pitbird.science.substances import ZERO_C_K, Substance, find

#: Below this no cylinder is kept, and nothing is looked for.
LOWEST_C: Final = -60.0
FOOTING: Final = (
    "condensation by Raoult's law and the ideal gas law at the absolute pressure, from vapour pressures of "
    "Perry's Chemical Engineers' Handbook, 8th ed., table 2-8; the truth lies lower, since compressed "
    "gas holds more vapour"
)


@dataclass(frozen=True, slots=True)
class Condensation:
    """Where a mixture begins to condense.

    ``below_c``: [°C]; None if not above ``LOWEST_C``. ``gas``: what condenses, for the most part.
    ``unknown``: components whose vapour pressure is not known here, left out.
    """

    below_c: float | None
    gas: str | None
    unknown: tuple[str, ...]


def vapour_pressure_bar(gas: str, temperature_c: float) -> float | None:
    """Vapour pressure of a gas, by name, formula or CAS number [bar, absolute] at a temperature [°C].

    None where no coefficients are known here. Raises ``ValueError`` outside their range, which ends at the
    critical temperature, and ``UnknownGas``.
    """
    pressure = find(gas).vapour_pressure
    return None if pressure is None else pressure.bar(temperature_c + ZERO_C_K)


def condensation(components: Sequence[tuple[str, float]], pressure_bar: float) -> Condensation:
    """Where a mixture of components (gas, % vol) begins to condense at a total absolute pressure [bar].

    The balance gas need not be among them. Below its melting point a component is taken as an undercooled
    liquid; it may freeze out a few degrees earlier. Raises ``ValueError`` for amounts or pressures that are
    none, ``UnknownGas``.

    Examples
    --------
    >>> round(condensation([("n-pentane", 0.75)], 34.5 + 1.01325).below_c)
    2
    """
    if not 0 < pressure_bar <= 400:
        raise ValueError(f"pressure_bar: {pressure_bar:g} is not above 0 and up to 400 bar absolute")
    if any(not 0 <= vol_pct <= 100 for _, vol_pct in components):
        raise ValueError("components: amounts lie between 0 and 100 % vol")
    gases = [(find(name), vol_pct / 100 * pressure_bar) for name, vol_pct in components if vol_pct > 0]
    unknown = tuple(gas.name for gas, _ in gases if gas.vapour_pressure is None and gas.name != "air")
    known = [(gas, partial) for gas, partial in gases if gas.vapour_pressure is not None]
    low = LOWEST_C + ZERO_C_K
    if _liquid(known, low) < 1:
        return Condensation(None, None, unknown)
    high = max(gas.vapour_pressure.t_max_k for gas, _ in known if gas.vapour_pressure)
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if _liquid(known, middle) >= 1 else (low, middle)
    heaviest = max(known, key=lambda each: _liquid([each], low))[0]
    return Condensation(low - ZERO_C_K, heaviest.name, unknown)


def _liquid(gases: Sequence[tuple[Substance, float]], kelvin: float) -> float:
    """Sum of partial over vapour pressure; 1 where the first drop forms."""
    total = 0.0
    for gas, partial in gases:
        pressure = gas.vapour_pressure
        if pressure is not None and kelvin < pressure.t_max_k:
            c1, c2, c3, c4, c5 = pressure.coefficients
            saturated = math.exp(c1 + c2 / kelvin + c3 * math.log(kelvin) + c4 * kelvin**c5) / 1e5
            total += partial / saturated
    return total
