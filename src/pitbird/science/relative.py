r"""What a catalytic sensor (pellistor) that is set up on one vapour reads in another.

In the diffusion-limited model every molecule that reaches the bead burns: the signal is proportional to the
net heat of combustion, the diffusivity in air and the concentration. At equal percentage of LFL

.. math:: r = \frac{\Delta H_b\,D_b\,L_b}{\Delta H_a\,D_a\,L_a}

for a sensor set up on a and exposed to b; L is the LFL. Source: J. G. Firth, A. Jones and T. A. Jones,
Combustion and Flame 21 (1973) 303. Diffusivity by ``diffusion``, at 25 °C and 1 atm (pressure and, nearly,
temperature drop out of the ratio).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from pitbird.science.diffusion import METHOD, diffusivity_cm2_s
from pitbird.science.gases import BASES, EDITIONS
from pitbird.science.substances import Substance, UnknownGas, find

MODEL: Final = (
    "diffusion-limited model of a catalytic sensor: response = net heat of combustion x diffusivity in air x "
    "concentration (J. G. Firth, A. Jones and T. A. Jones, Combustion and Flame 21 (1973) 303)"
)
#: By how much theory and practice may part for alkanes (common practice, no source).
SPREAD_PCT: Final = 25
#: Gases that do not follow the model: hydrogen burns colder and further out, carbon monoxide and ammonia do
#: not burn whole.
ASTRAY: Final = ("hydrogen", "carbon monoxide", "ammonia")
#: Elements whose compounds poison or slow down the bead.
_HARMFUL: Final = {
    "S": "sulfur", "Cl": "chlorine", "Br": "bromine", "F": "fluorine", "I": "iodine", "Si": "silicon",
    "P": "phosphorus",
}  # fmt: skip


class NotInModel(ValueError):
    """A gas that the model cannot take; ``argument`` names it."""

    def __init__(self, argument: str, problem: str) -> None:
        self.argument, self.problem = argument, problem
        super().__init__(f"{argument}: {problem}")


@dataclass(frozen=True, slots=True)
class Terms:
    """What the model needs of a gas."""

    gas: str
    net_heat_of_combustion_kj_mol: float
    diffusivity_cm2_s: float
    lfl_vol_pct: float

    @property
    def signal(self) -> float:
        """Signal at 100 %LFL, in units of its own."""
        return self.net_heat_of_combustion_kj_mol * self.diffusivity_cm2_s * self.lfl_vol_pct


@dataclass(frozen=True, slots=True)
class RelativeResponse:
    """The answer; ``relative_response`` is reading over true %LFL, ``correction_factor`` its inverse."""

    relative_response: float
    correction_factor: float
    calibrated_on: Terms
    exposed_to: Terms
    footing: tuple[str, ...]
    cautions: tuple[str, ...]


def terms(gas: str, basis: str, argument: str = "gas") -> Terms:
    """What the model needs of a gas.

    Raises ``NotInModel`` for a gas that is not known, does not burn, has no limit on this basis or no
    diffusivity.
    """
    if basis not in BASES:
        raise NotInModel("basis", f"must be one of {', '.join(BASES)}")
    try:
        found = find(gas)
    except UnknownGas as unknown:
        raise NotInModel(argument, str(unknown)) from None
    if not found.burns:
        raise NotInModel(argument, f"{found.name} does not burn: a catalytic sensor does not see it")
    limit = found.lfl_vol_pct(basis)
    if limit is None:
        raise NotInModel(argument, f"{found.name} has no lower flammable limit in {EDITIONS[basis]}")
    heat, diffusivity = found.net_heat_of_combustion_kj_mol, diffusivity_cm2_s(found)
    if heat is None or diffusivity is None:
        raise NotInModel(argument, f"heat of combustion or diffusivity of {found.name} is not known here")
    return Terms(found.name, heat, diffusivity, limit)


def relative_response(calibrated_on: str, exposed_to: str, basis: str) -> RelativeResponse:
    """What a catalytic sensor set up on one vapour reads in another, at equal percentage of LFL.

    Gases by name, formula or CAS number; basis ``iec-60079-20-1`` or ``nfpa-497``. Raises ``NotInModel`` (see
    ``terms``). The model is theory: measured factors of alkanes lie within some 25 % of it.

    Examples
    --------
    >>> round(relative_response("methane", "n-pentane", "iec-60079-20-1").relative_response, 1)
    0.4
    """
    on, to = terms(calibrated_on, basis, "calibrated_on"), terms(exposed_to, basis, "exposed_to")
    response = to.signal / on.signal
    footing = (
        MODEL,
        f"lower flammable limits: {EDITIONS[basis]}",
        f"diffusivity in air at 25 °C and 1 atm: {METHOD}",
        "net heat of combustion of the gas at 25 °C, from heats of formation",
    )
    return RelativeResponse(response, 1 / response, on, to, footing, tuple(_cautions(on, to, response)))


@lru_cache(maxsize=4096)
def model_response(calibrated_on: str, exposed_to: str, basis: str) -> float | None:
    """Reading over true %LFL as in ``relative_response``; None where the model cannot take one of the two."""
    try:
        return terms(exposed_to, basis).signal / terms(calibrated_on, basis).signal
    except NotInModel:
        return None


def _cautions(on: Terms, to: Terms, response: float) -> list[str]:
    found = [
        "The instrument's own manual comes first: its factors replace this theory.",
        f"Theory and measured factors of alkanes part by up to {SPREAD_PCT} %; of other vapours by more.",
        "It holds for catalytic sensors only, not for infrared, electrochemical or photoionisation sensors.",
        "It holds for a sound bead with 10 % vol of oxygen or more; a poisoned one loses methane first.",
    ]
    gases = {on.gas: find(on.gas), to.gas: find(to.gas)}
    found += [f"{name} does not follow the model." for name in gases if name in ASTRAY]
    for name, gas in gases.items():
        if harmful := _harm(gas):
            found.append(f"{name} contains {harmful}: it can poison the bead or slow it down.")
    if response < 1:
        found.append(
            f"It reads low: at a reading of 10 %LFL there are about {10 / response:.0f} %LFL of {to.gas}, "
            "and the alarms come that much later."
        )
    if to.gas == "methane" and on.gas != "methane":
        found.append(f"A test with {on.gas} can pass while the response to methane is lost.")
    return found


def _harm(gas: Substance) -> str:
    return " and ".join(word for element, word in _HARMFUL.items() if element in gas.atoms)
