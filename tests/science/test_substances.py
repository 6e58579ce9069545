"""The table of substances: made again from the open library ``chemicals``, and checked by value."""

from __future__ import annotations

import pytest
from chemicals import combustion, identifiers, reaction, safety, vapor_pressure

from pitbird.science.gases import GASES, IEC, NFPA
from pitbird.science.substance_data import BASIC, VAPOUR_PRESSURE
from pitbird.science.substances import BURN_WITHOUT_LIMIT, UnknownGas, find, substance_of

LISTED = [gas for gas in GASES if gas.name != "air"]


def test_formulas_and_molar_masses_are_those_of_the_chemicals_library() -> None:
    for gas in LISTED:
        known = identifiers.search_chemical(gas.cas)
        assert BASIC[gas.cas][:2] == (known.formula, round(known.MW, 4)), gas.name


def test_upper_limits_are_those_of_the_chemicals_library() -> None:
    """Data files of ``chemicals``: IEC 60079-20-1 (2010) and NFPA 497 (2008)."""
    for gas in LISTED:
        for basis, method in ((IEC, safety.IEC), (NFPA, safety.NFPA)):
            there = safety.UFL(CASRN=gas.cas, method=method)
            expected = None if there is None else pytest.approx(there * 100)
            assert find(gas.cas).ufl_vol_pct(basis) == expected, (gas.name, basis)


def test_heats_of_combustion_are_those_of_the_chemicals_library() -> None:
    for gas in LISTED:
        ours = find(gas.cas).net_heat_of_combustion_kj_mol
        if gas.lfl_iec is None and gas.lfl_nfpa is None:
            assert ours is None, gas.name
            continue
        known = identifiers.search_chemical(gas.cas)
        there = combustion.combustion_data(known.formula, Hf=reaction.Hfg(gas.cas), MW=known.MW)
        assert ours == pytest.approx(-there.LHV / 1000, abs=0.051), gas.name


def test_vapour_pressures_are_those_of_the_chemicals_library() -> None:
    """Perry's Chemical Engineers' Handbook, 8th ed., table 2-8."""
    table = vapor_pressure.Psat_data_Perrys2_8
    for gas in LISTED:
        if gas.cas in table.index:
            row = table.loc[gas.cas]
            columns = ("C1", "C2", "C3", "C4", "C5", "Tmin", "Tmax")
            assert VAPOUR_PRESSURE[gas.cas] == tuple(float(row[c]) for c in columns), gas.name
        else:
            assert gas.cas not in VAPOUR_PRESSURE, gas.name
    assert set(BASIC) == {gas.cas for gas in LISTED}
    assert set(VAPOUR_PRESSURE) <= set(BASIC)


# Normal boiling points, CRC Handbook of Chemistry and Physics (from memory, high): 1.01325 bar there.
@pytest.mark.parametrize(
    ("gas", "boils_c"),
    [
        ("n-pentane", 36.06), ("n-hexane", 68.73), ("n-butane", -0.5), ("propane", -42.1), ("toluene", 110.6),
        ("ammonia", -33.33), ("hydrogen sulfide", -60.3), ("ethanol", 78.24), ("water", 99.98),
        ("chlorine", -34.04), ("isobutylene", -6.9),
    ],
)  # fmt: skip
def test_the_vapour_pressure_at_the_boiling_point_is_one_atmosphere(gas: str, boils_c: float) -> None:
    pressure = find(gas).vapour_pressure
    assert pressure is not None
    assert pressure.bar(boils_c + 273.15) == pytest.approx(1.01325, rel=0.012)


def test_a_vapour_pressure_outside_its_range_is_refused() -> None:
    pressure = find("methane").vapour_pressure
    assert pressure is not None
    with pytest.raises(ValueError, match=r"valid from 90\.69 to 190\.56 K, not at 293\.15 K"):
        pressure.bar(293.15)


# ISO 6976:2016 table 3, net molar heats at 25 °C (from memory, high).
@pytest.mark.parametrize(
    ("gas", "kj_mol"),
    [
        ("methane", 802.69),
        ("propane", 2043.37),
        ("hydrogen", 241.72),
        ("carbon monoxide", 282.91),
        ("ammonia", 316.86),
    ],
)
def test_heats_agree_with_the_natural_gas_standard(gas: str, kj_mol: float) -> None:
    assert find(gas).net_heat_of_combustion_kj_mol == pytest.approx(kj_mol, rel=0.0015)


# IEC 60079-20-1:2010 and NFPA 497:2008 as carried in the data files of ``chemicals``.
@pytest.mark.parametrize(
    ("gas", "iec", "nfpa"),
    [("methane", (4.4, 17), (5, 15)), ("hydrogen", (4, 77), (4, 75)), ("n-pentane", (1.1, 8.7), (1.5, 7.8))],
)
def test_both_limits_on_both_bases(gas: str, iec: tuple[float, float], nfpa: tuple[float, float]) -> None:
    found = find(gas)
    for basis, limits in ((IEC, iec), (NFPA, nfpa)):
        assert (found.lfl_vol_pct(basis), found.ufl_vol_pct(basis)) == limits


def test_no_lower_limit_lies_above_its_upper_limit() -> None:
    for gas in LISTED:
        for basis in (IEC, NFPA):
            low, high = find(gas.cas).lfl_vol_pct(basis), find(gas.cas).ufl_vol_pct(basis)
            assert low is None or high is None or low < high, (gas.name, basis)


def test_a_basis_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="iec-60079-20-1, nfpa-497"):
        find("methane").lfl_vol_pct("lel")


def test_the_lowest_limit_holds_on_either_basis() -> None:
    assert find("styrene").lowest_lfl_vol_pct == 0.9
    assert find("methane").lowest_lfl_vol_pct == 4.4
    assert find("isobutylene").lowest_lfl_vol_pct == 1.6
    assert find("nitrogen").lowest_lfl_vol_pct is None


def test_a_gas_that_burns_without_a_limit_still_burns() -> None:
    assert all(find(name).burns and find(name).lowest_lfl_vol_pct is None for name in BURN_WITHOUT_LIMIT)
    assert find("methane").burns
    assert not any(find(name).burns for name in ("nitrogen", "oxygen", "air", "CO2", "NO2", "chlorine"))


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("methan", "methane"),
        ("pentan", "pentane"),
        ("Sulphur dioxid", "sulphur dioxide"),
        ("74-82-9", "74-82-8"),
    ],
)
def test_an_unknown_gas_is_refused_with_near_names(text: str, near: str) -> None:
    with pytest.raises(UnknownGas, match="did you mean") as refused:
        find(text)
    assert near in refused.value.near
    assert substance_of(text) is None


def test_a_text_like_nothing_is_refused_without_names() -> None:
    with pytest.raises(UnknownGas) as refused:
        find("zzzzqq")
    assert refused.value.near == ()


def test_atoms_are_counted() -> None:
    assert find("ethanol").atoms == {"C": 2, "H": 6, "O": 1}
    assert find("vinyl chloride").atoms == {"C": 2, "H": 3, "Cl": 1}
    assert find("air").atoms == {}


def test_air_is_a_substance_with_the_molar_mass_of_dry_air() -> None:
    """U.S. Standard Atmosphere 1976: 28.9644 g/mol (from memory, high)."""
    assert find("synthetic air").molar_mass_g_mol == pytest.approx(28.9644, abs=0.002)
