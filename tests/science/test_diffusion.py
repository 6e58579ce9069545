"""Diffusivity in air against measured values and a worked example."""

from __future__ import annotations

import pytest

from pitbird.science.diffusion import diffusion_volume, diffusivity_cm2_s
from pitbird.science.substances import find

# G. A. Lugg, Anal. Chem. 40 (1968) 1072, and for the permanent gases handbook values; 25 °C, cm²/s (from
# memory, high).
MEASURED = {
    "methane": 0.220, "ethane": 0.148, "propane": 0.115, "n-butane": 0.099, "n-pentane": 0.0842,
    "n-hexane": 0.0732, "hydrogen": 0.756, "ammonia": 0.228, "carbon monoxide": 0.208,
    "hydrogen sulfide": 0.176, "ethanol": 0.1181, "acetone": 0.1049, "toluene": 0.0849, "benzene": 0.0932,
    "methanol": 0.152,
}  # fmt: skip


@pytest.mark.parametrize(("gas", "cm2_s"), MEASURED.items())
def test_it_lies_within_7_percent_of_the_measured_value(gas: str, cm2_s: float) -> None:
    assert diffusivity_cm2_s(find(gas)) == pytest.approx(cm2_s, rel=0.07)


def test_water_vapour_in_air_at_0_c() -> None:
    """W. J. Massman, Atmospheric Environment 32 (1998) 1111: 0.2178 cm²/s at 0 °C and 1 atm (from memory)."""
    assert diffusivity_cm2_s(find("water"), 0.0) == pytest.approx(0.2178, rel=0.05)


def test_the_volumes_of_1969_add_up() -> None:
    """Sums as other open codes carry them: methane 25.14."""
    assert diffusion_volume(find("methane")) == pytest.approx(25.14)
    # Seven carbons, eight hydrogens, one ring.
    assert diffusion_volume(find("toluene")) == pytest.approx(7 * 15.9 + 8 * 2.31 - 18.3)


def test_warmer_is_faster_and_denser_is_slower() -> None:
    gas = find("n-pentane")
    cold, warm, dense = diffusivity_cm2_s(gas, 0), diffusivity_cm2_s(gas, 40), diffusivity_cm2_s(gas, 0, 2)
    assert cold is not None
    assert warm is not None
    assert dense is not None
    assert warm / cold == pytest.approx((313.15 / 273.15) ** 1.75)
    assert dense / cold == pytest.approx(1.01325 / 2)


def test_no_volume_no_diffusivity() -> None:
    assert diffusivity_cm2_s(find("silane")) is None


def test_outside_its_validity_it_is_refused() -> None:
    with pytest.raises(ValueError, match="temperature_c: valid from -50 to 100 °C, not at 400"):
        diffusivity_cm2_s(find("methane"), 400)
    with pytest.raises(ValueError, match=r"pressure_bar: valid from 0\.5 to 2 bar absolute, not at 35"):
        diffusivity_cm2_s(find("methane"), 25, 35)
