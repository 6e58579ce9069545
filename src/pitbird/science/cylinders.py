"""What is left in a cylinder of test gas, and for how many tests.

Gauge and absolute pressure are two types here (`GaugeBar`, `AbsoluteBar`) that only `absolute` turns one into
the other, because reading the one as the other is the usual mistake: it is worth a whole filling at low
pressure. A reference litre of gas is at 1 atm and 20 °C. The gas law is that of the balance gas (CoolProp:
reference equations of state), loaded only when asked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NewType

from pitbird.science.gases import gas_of

GaugeBar = NewType("GaugeBar", float)
AbsoluteBar = NewType("AbsoluteBar", float)

#: 1 standard atmosphere [bar], exact (10th CGPM, 1954, resolution 4).
ATMOSPHERE: Final = AbsoluteBar(1.01325)
REFERENCE_C: Final = 20.0
ZERO_C_K: Final = 273.15
#: Where the equations of state are used here: colder or hotter, or higher pressed, no test gas is kept.
COLDEST_C: Final = -40.0
HOTTEST_C: Final = 65.0
HIGHEST_BAR: Final = 300.0

AIR: Final = "air"
#: Balance gases that do not burn, as CoolProp calls them.
BALANCES: Final = {
    "nitrogen": "Nitrogen",
    AIR: "Air",
    "argon": "Argon",
    "helium": "Helium",
    "carbon dioxide": "CarbonDioxide",
}
_AIR_NAMES: Final = frozenset({"air", "synthetic air", "zero air", "132259-10-0"})


class OutOfRange(ValueError):
    """A state outside the validity of what is calculated here; ``argument`` names what is to be changed."""

    def __init__(self, argument: str, problem: str) -> None:
        self.argument, self.problem = argument, problem
        super().__init__(f"{argument}: {problem}")


def absolute(gauge: GaugeBar, *, atmosphere: AbsoluteBar = ATMOSPHERE) -> AbsoluteBar:
    """Absolute pressure [bar] from what a gauge shows [bar] and the pressure of the air around it."""
    return AbsoluteBar(gauge + atmosphere)


def balance_of(text: str) -> str | None:
    """The balance gas (a key of `BALANCES`) that a name, formula or CAS number stands for; None if none."""
    name = " ".join(text.split()).lower()
    if name in _AIR_NAMES:
        return AIR
    gas = gas_of(name)
    return gas.name if gas is not None and gas.name in BALANCES else None


@lru_cache(maxsize=256)
def molar_density(pressure: AbsoluteBar, temperature_c: float, balance: str = "nitrogen") -> float:
    """Amount of gas in a volume [mol/m³] at an absolute pressure [bar] and a temperature [°C].

    Real gas, by the reference equation of state of the balance gas as CoolProp carries it: nitrogen R. Span
    et al., J. Phys. Chem. Ref. Data 29 (2000) 1361; air E. W. Lemmon et al., ibid. 29 (2000) 331; argon
    Ch. Tegeler et al., ibid. 28 (1999) 779; helium D. O. Ortiz Vega et al.; carbon dioxide R. Span and
    W. Wagner, ibid. 25 (1996) 1509.

    Valid from -40 to 65 °C, to 300 bar gauge, for a gas: raises `OutOfRange` beyond, and where carbon dioxide
    would be liquid, since its pressure then tells nothing of what is left.
    """
    if balance not in BALANCES:
        raise OutOfRange("balance", f"not one of {', '.join(BALANCES)}")
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise OutOfRange("temperature_c", f"valid from {COLDEST_C:g} to {HOTTEST_C:g} °C")
    if not 0 < pressure <= HIGHEST_BAR + ATMOSPHERE:
        raise OutOfRange("pressure_bar", f"valid from no pressure at all to {HIGHEST_BAR:g} bar gauge")
    from CoolProp.CoolProp import PropsSI  # here, since it takes a second to load

    fluid, kelvin = BALANCES[balance], temperature_c + ZERO_C_K
    if kelvin < PropsSI("Tcrit", fluid) and pressure * 1e5 >= PropsSI("P", "T", kelvin, "Q", 1, fluid):
        raise OutOfRange(
            "pressure_bar",
            f"{balance} is liquid there: its pressure does not tell what is left, weighing does",
        )
    return float(PropsSI("Dmolar", "T", kelvin, "P", pressure * 1e5, fluid))


def compressibility(pressure: AbsoluteBar, temperature_c: float, balance: str = "nitrogen") -> float:
    """Z = p / (ρ R T) [-] of the balance gas; validity and source as `molar_density`."""
    ideal = pressure * 1e5 / (8.314462618 * (temperature_c + ZERO_C_K))
    return ideal / molar_density(pressure, temperature_c, balance)


def held_l(
    pressure: GaugeBar,
    *,
    water_capacity_l: float,
    temperature_c: float = REFERENCE_C,
    balance: str = "nitrogen",
    atmosphere: AbsoluteBar = ATMOSPHERE,
) -> float:
    """All gas in a cylinder, the last atmosphere too [reference litres].

    .. math:: V = V_w \\, \\rho(p_g + p_{atm}, T) / \\rho(1\\ \\mathrm{atm}, 20\\ °C)

    The water capacity [L] is taken as the same at every pressure and temperature (steel and aluminium give
    way by well under 1 %).
    """
    there = molar_density(absolute(pressure, atmosphere=atmosphere), temperature_c, balance)
    return water_capacity_l * there / molar_density(ATMOSPHERE, REFERENCE_C, balance)


def water_capacity_l(free_gas_l: float, full_pressure: GaugeBar, *, balance: str = "nitrogen") -> float:
    """Water capacity [L] of a cylinder that holds ``free_gas_l`` at its full pressure and 20 °C.

    The named contents are taken as all that it holds, the last atmosphere too: the smaller cylinder of the
    two readings of that number, so that no gas is counted that may not be there.
    """
    return free_gas_l / held_l(full_pressure, water_capacity_l=1.0, balance=balance)


def usable_l(
    pressure: GaugeBar,
    minimum_pressure: GaugeBar,
    *,
    water_capacity_l: float,
    temperature_c: float = REFERENCE_C,
    balance: str = "nitrogen",
    atmosphere: AbsoluteBar = ATMOSPHERE,
) -> float:
    """Gas between the present pressure and the minimum usage pressure [reference litres]; 0 below it.

    Both at the present temperature: the cylinder warms up again between tests.
    """
    held = [
        held_l(
            p,
            water_capacity_l=water_capacity_l,
            temperature_c=temperature_c,
            balance=balance,
            atmosphere=atmosphere,
        )
        for p in (pressure, minimum_pressure)
    ]
    return max(held[0] - held[1], 0.0)


def gas_per_test_l(flow_l_min: float, gas_on_s: float, purge_s: float = 0.0) -> float:
    """Gas that one test takes [reference litres]: flow [reference L/min] x (gas on + purge) [s] / 60."""
    return flow_l_min * (gas_on_s + purge_s) / 60.0


def whole_tests(usable: float, per_test: float) -> int:
    """Whole tests in an amount of gas; a quotient within 1e-9 of a whole number counts as that."""
    quotient = usable / per_test
    return math.floor(quotient * (1 + 1e-9))


@dataclass(frozen=True, slots=True)
class Band:
    """Fewest and most whole tests that the reading of the gauge and the flow leave possible."""

    low: int
    high: int


def tests_band(
    pressure: GaugeBar,
    minimum_pressure: GaugeBar,
    per_test_l: float,
    *,
    water_capacity_l: float,
    temperature_c: float = REFERENCE_C,
    balance: str = "nitrogen",
    gauge_resolution_bar: float = 0.0,
    flow_tolerance_pct: float = 0.0,
) -> Band:
    """Whole tests left at the two ends of what gauge and regulator leave open, both ends the bad way at once.

    A gauge that is read to its nearest division leaves half a division either way (JCGM 100:2008, F.2.2.1);
    the flow may be higher or lower by its tolerance.
    """
    half = gauge_resolution_bar / 2
    ends = []
    for step, flow in ((-half, 1 + flow_tolerance_pct / 100), (half, 1 - flow_tolerance_pct / 100)):
        usable = usable_l(
            GaugeBar(min(max(pressure + step, 0.0), HIGHEST_BAR)),
            minimum_pressure,
            water_capacity_l=water_capacity_l,
            temperature_c=temperature_c,
            balance=balance,
        )
        ends.append(whole_tests(usable, per_test_l * flow))
    return Band(*ends)
