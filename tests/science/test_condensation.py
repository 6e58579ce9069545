"""Where a heavy component condenses in the cylinder: figures of the trade, boiling points, mixtures."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.condensation import LOWEST_C, condensation, vapour_pressure_bar

ATM = 1.01325


@pytest.mark.parametrize(("gauge_bar", "below_c"), [(34.5, 2), (69, 18)])
def test_three_quarters_of_a_percent_of_pentane(gauge_bar: float, below_c: float) -> None:
    """Near 2 °C at 34.5 bar and 18 °C at 69 bar gauge (common practice, no source)."""
    found = condensation([("n-pentane", 0.75)], gauge_bar + ATM)
    assert found.below_c == pytest.approx(below_c, abs=0.3)
    assert found.gas == "n-pentane"


@pytest.mark.slow
@pytest.mark.parametrize("gauge_bar", [34.5, 69])
def test_equations_of_state_of_the_mixture_lie_on_the_colder_side(gauge_bar: float) -> None:
    """CoolProp, Helmholtz energy mixture of nitrogen and n-pentane: about -10 and -6 °C."""
    from CoolProp.CoolProp import PQ_INPUTS, AbstractState

    state = AbstractState("HEOS", "Nitrogen&n-Pentane")
    state.set_mole_fractions([0.9925, 0.0075])
    state.update(PQ_INPUTS, (gauge_bar + ATM) * 1e5, 1)
    ours = condensation([("n-pentane", 0.75)], gauge_bar + ATM).below_c
    assert ours is not None
    assert 10 < ours - (state.T() - 273.15) < 26


@pytest.mark.parametrize(
    ("gas", "boils_c"),
    # CRC Handbook of Chemistry and Physics (from memory, high).
    [("n-pentane", 36.06), ("n-hexane", 68.73), ("n-butane", -0.5), ("toluene", 110.6), ("chlorine", -34.04)],
)
def test_a_gas_by_itself_condenses_at_its_boiling_point(gas: str, boils_c: float) -> None:
    assert condensation([(gas, 100)], ATM).below_c == pytest.approx(boils_c, abs=0.4)


def test_carbon_dioxide_by_itself_at_its_pressure_at_20_c() -> None:
    """R. Span and W. Wagner 1996: 57.29 bar at 20 °C."""
    assert condensation([("CO2", 100)], 57.29).below_c == pytest.approx(20, abs=0.3)
    assert vapour_pressure_bar("CO2", 20) == pytest.approx(57.29, rel=0.01)


def test_light_test_gas_does_not_condense() -> None:
    found = condensation([("methane", 2.5), ("oxygen", 18), ("CO", 0.01), ("H2S", 0.0025)], 70)
    assert (found.below_c, found.gas, found.unknown) == (None, None, ())


def test_what_is_not_known_is_named_not_left_out_in_silence() -> None:
    assert condensation([("NO2", 0.001), ("n-pentane", 0.75)], 35).unknown == ("nitrogen dioxide",)
    assert condensation([("air", 99)], 35).unknown == ()


def test_two_heavy_components_condense_before_either_alone() -> None:
    both = condensation([("n-pentane", 0.5), ("n-hexane", 0.2)], 50).below_c
    alone = [condensation([part], 50).below_c for part in (("n-pentane", 0.5), ("n-hexane", 0.2))]
    assert both is not None
    assert all(each is not None and each < both for each in alone)


@given(st.floats(0.1, 2), st.floats(5, 150), st.floats(5, 150))
def test_more_pressure_condenses_warmer(vol_pct: float, a: float, b: float) -> None:
    low, high = (condensation([("n-pentane", vol_pct)], p).below_c for p in sorted((a, b)))
    assert (low if low is not None else LOWEST_C) <= (high if high is not None else LOWEST_C) + 1e-4


def test_at_that_temperature_the_partial_pressure_is_the_vapour_pressure() -> None:
    found = condensation([("n-hexane", 0.4)], 40).below_c
    assert found is not None
    assert vapour_pressure_bar("n-hexane", found) == pytest.approx(0.004 * 40, rel=1e-6)


@pytest.mark.parametrize(
    ("vol_pct", "pressure", "problem"),
    [
        (101, 35, "between 0 and 100"),
        (-1, 35, "between 0 and 100"),
        (1, 0, "not above 0"),
        (1, 401, "up to 400"),
    ],
)
def test_amounts_and_pressures_that_are_none_are_refused(
    vol_pct: float, pressure: float, problem: str
) -> None:
    with pytest.raises(ValueError, match=problem):
        condensation([("n-pentane", vol_pct)], pressure)
