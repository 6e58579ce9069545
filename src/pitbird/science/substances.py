"""What the gases are made of and how they burn and boil: the numbers the calculations need.

``find`` knows a gas by its name, formula or CAS number. The numbers come from ``substance_data``, which a
test makes again from the open library ``chemicals``; what that library lacks stands here with its source.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from typing import Final

from pitbird.science.gases import BASES, GASES, IEC, Gas, gas_of
from pitbird.science.substance_data import BASIC, VAPOUR_PRESSURE

ZERO_C_K: Final = 273.15

#: Molar mass of dry air [g/mol]: A. Picard et al. (CIPM-2007), Metrologia 45 (2008) 149: 28.965 46 with
#: 400 ppm of carbon dioxide (from memory, high).
AIR_MOLAR_MASS: Final = 28.9655

#: Gases that burn in air but have no limit in either table, so that a missing limit does not read as "does
#: not burn" (UN Model Regulations: 1062 has a flammable range, 2199, 2188, 2203, 1911 are of division 2.1;
#: from memory, high).
BURN_WITHOUT_LIMIT: Final = frozenset({"methyl bromide", "phosphine", "arsine", "silane", "diborane"})

#: Rings that the additive diffusion volumes correct for; see ``diffusion``.
RINGS: Final = frozenset(
    {
        "benzene", "toluene", "ethylbenzene", "o-xylene", "m-xylene", "p-xylene", "styrene",
        "tetrahydrofuran", "tetrahydrothiophene",
    }
)  # fmt: skip


class UnknownGas(ValueError):
    """A gas that is not in the table; ``near`` are known names like it."""

    def __init__(self, text: str, near: tuple[str, ...]) -> None:
        self.text, self.near = text, near
        offer = f"; did you mean {' or '.join(near)}?" if near else ""
        super().__init__(f"{text!r} is not a gas that is known here{offer}")


@dataclass(frozen=True, slots=True)
class VapourPressure:
    """ln(p/Pa) = C1 + C2/T + C3 ln T + C4 T^C5, T in K, from ``t_min_k`` to ``t_max_k``.

    Source: Perry's Chemical Engineers' Handbook, 8th ed., table 2-8, as carried by ``chemicals``.
    """

    coefficients: tuple[float, float, float, float, float]
    t_min_k: float
    t_max_k: float

    def bar(self, kelvin: float) -> float:
        """Vapour pressure [bar, absolute] at a temperature [K]; ``ValueError`` outside its range."""
        if not self.t_min_k <= kelvin <= self.t_max_k:
            raise ValueError(f"valid from {self.t_min_k:g} to {self.t_max_k:g} K, not at {kelvin:g} K")
        c1, c2, c3, c4, c5 = self.coefficients
        return math.exp(c1 + c2 / kelvin + c3 * math.log(kelvin) + c4 * kelvin**c5) / 1e5


@dataclass(frozen=True, slots=True)
class Substance:
    """A gas and its numbers; None where a number is not known.

    ``net_heat_of_combustion_kj_mol``: of the gas at 25 °C to CO2, water vapour, SO2, N2 and hydrogen halides;
    only for gases that have a flammable limit. ``vapour_pressure`` ends at the critical temperature.
    """

    gas: Gas
    formula: str | None
    molar_mass_g_mol: float
    ufl_iec: str | None = None
    ufl_nfpa: str | None = None
    net_heat_of_combustion_kj_mol: float | None = None
    vapour_pressure: VapourPressure | None = None

    @property
    def name(self) -> str:
        """The name in words."""
        return self.gas.name

    @property
    def cas(self) -> str:
        """The CAS number."""
        return self.gas.cas

    @property
    def burns(self) -> bool:
        """Whether it burns in air, with or without a limit in the tables."""
        has_limit = self.gas.lfl_iec is not None or self.gas.lfl_nfpa is not None
        return has_limit or self.name in BURN_WITHOUT_LIMIT

    def lfl_vol_pct(self, basis: str) -> float | None:
        """Lower flammable limit in air [% vol] on a basis; None if that table has none."""
        return self._limit(basis, self.gas.lfl_iec, self.gas.lfl_nfpa)

    def ufl_vol_pct(self, basis: str) -> float | None:
        """Upper flammable limit in air [% vol] on a basis; None if that table has none.

        100 for gases that decompose without air (acetylene, ethylene oxide). The library's NFPA 497 file
        gives 2.9 for n-nonane.
        """
        return self._limit(basis, self.ufl_iec, self.ufl_nfpa)

    @property
    def lowest_lfl_vol_pct(self) -> float | None:
        """The lower of the two limits [% vol], for a decision that must hold on either basis."""
        limits = [limit for basis in BASES if (limit := self.lfl_vol_pct(basis)) is not None]
        return min(limits, default=None)

    @property
    def atoms(self) -> dict[str, int]:
        """How many atoms of each element; empty for air."""
        return _atoms(self.formula) if self.formula else {}

    @staticmethod
    def _limit(basis: str, iec: str | None, nfpa: str | None) -> float | None:
        if basis not in BASES:
            raise ValueError(f"basis {basis!r} is not one of {', '.join(BASES)}")
        value = iec if basis == IEC else nfpa
        return None if value is None else float(value)


@lru_cache(maxsize=256)
def substance_of(text: str) -> Substance | None:
    """The substance that a name, formula or CAS number stands for; None if not known."""
    gas = gas_of(text)
    if gas is None:
        return None
    if gas.name == "air":
        return Substance(gas, None, AIR_MOLAR_MASS)
    formula, mass, ufl_iec, ufl_nfpa, heat = BASIC[gas.cas]
    row = VAPOUR_PRESSURE.get(gas.cas)
    pressure = VapourPressure(row[:5], row[5], row[6]) if row else None
    return Substance(gas, formula, mass, ufl_iec, ufl_nfpa, heat, pressure)


def find(text: str) -> Substance:
    """The substance that a name, formula or CAS number stands for (case and outer spaces aside).

    Raises ``UnknownGas`` with near names where there is none.

    Examples
    --------
    >>> find("H2S").name, find("109-66-0").name
    ('hydrogen sulfide', 'n-pentane')
    """
    found = substance_of(text)
    if found is None:
        names = {n.lower(): n for g in GASES for n in (g.name, *g.other_names, g.cas)}
        close = get_close_matches(" ".join(text.split()).lower(), names, n=3, cutoff=0.6)
        raise UnknownGas(text, tuple(names[word] for word in close))
    return found


@lru_cache(maxsize=256)
def _atoms(formula: str) -> dict[str, int]:
    found: dict[str, int] = {}
    for element, count in re.findall(r"([A-Z][a-z]?)(\d*)", formula):
        found[element] = found.get(element, 0) + int(count or 1)
    return found
