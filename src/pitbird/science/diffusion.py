r"""How fast a gas diffuses in air: the method of Fuller, Schettler and Giddings.

.. math:: D = \frac{0.00143\,T^{1.75}}{p\,M^{1/2}\left(v^{1/3} + v_{air}^{1/3}\right)^2}, \quad
          M = \frac{2}{1/M_{gas} + 1/M_{air}}

D in cm²/s, T in K, p in bar, M in g/mol. Sources: E. N. Fuller, P. D. Schettler and J. C. Giddings, Ind. Eng.
Chem. 58 (1966) no. 5, 18; E. N. Fuller, K. Ensley and J. C. Giddings, J. Phys. Chem. 73 (1969) 3679; in this
form, with the volumes of 1969, B. E. Poling, J. M. Prausnitz and J. P. O'Connell, The Properties of Gases and
Liquids, 5th ed. (2001), eq. 11-4.4 and table 11-1 (from memory, high).

For the gases of the trade it lies within 7 % of the values that G. A. Lugg measured, Anal. Chem. 40 (1968)
1072.
"""

from __future__ import annotations

from typing import Final

from pitbird.science.substances import AIR_MOLAR_MASS, RINGS, ZERO_C_K, Substance

#: Diffusion volumes of atoms, of aromatic and heterocyclic rings, and of simple molecules.
ATOMS: Final = {
    "C": 15.9, "H": 2.31, "O": 6.11, "N": 4.54, "F": 14.7, "Cl": 21.0, "Br": 21.9, "I": 29.8, "S": 22.9,
}  # fmt: skip
RING: Final = -18.3
MOLECULES: Final = {
    "hydrogen": 6.12, "helium": 2.67, "neon": 5.98, "argon": 16.2, "krypton": 24.5, "xenon": 32.7,
    "nitrogen": 18.5, "oxygen": 16.3, "air": 19.7, "carbon monoxide": 18.0, "carbon dioxide": 26.9,
    "nitrous oxide": 35.9, "ammonia": 20.7, "water": 13.1, "sulfur hexafluoride": 71.3, "chlorine": 38.4,
    "bromine": 69.0, "sulfur dioxide": 41.8,
}  # fmt: skip
METHOD: Final = (
    "Fuller, Schettler and Giddings, Ind. Eng. Chem. 58 (1966) no. 5, 18, with the diffusion volumes of 1969"
)


def diffusion_volume(gas: Substance) -> float | None:
    """The diffusion volume of a gas [-]; None where an element has none (boron, silicon, phosphorus...).

    The ring correction is left out for the three-membered rings of ethylene oxide and propylene oxide, which
    it would make half as fast again as measured.
    """
    if gas.name in MOLECULES:
        return MOLECULES[gas.name]
    atoms = gas.atoms
    if not atoms.keys() <= ATOMS.keys():
        return None
    return sum(ATOMS[element] * count for element, count in atoms.items()) + RING * (gas.name in RINGS)


def diffusivity_cm2_s(
    gas: Substance, temperature_c: float = 25.0, pressure_bar: float = 1.01325
) -> float | None:
    """Diffusivity of a gas in air [cm²/s] at a temperature [°C] and an absolute pressure [bar].

    None where a diffusion volume is not known. Meant for -50 to 100 °C near atmospheric pressure, the range
    of portable detectors; ``ValueError`` outside.
    """
    if not -50 <= temperature_c <= 100:
        raise ValueError(f"temperature_c: valid from -50 to 100 °C, not at {temperature_c:g}")
    if not 0.5 <= pressure_bar <= 2:
        raise ValueError(f"pressure_bar: valid from 0.5 to 2 bar absolute, not at {pressure_bar:g}")
    volume = diffusion_volume(gas)
    if volume is None:
        return None
    mass = 2 / (1 / gas.molar_mass_g_mol + 1 / AIR_MOLAR_MASS)
    across = (volume ** (1 / 3) + MOLECULES["air"] ** (1 / 3)) ** 2
    return float(0.00143 * (temperature_c + ZERO_C_K) ** 1.75 / (pressure_bar * mass**0.5 * across))
