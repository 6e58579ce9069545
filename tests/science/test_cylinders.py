"""Cylinders: the gas law against published tables, capacities, tests left, and laws that must hold."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitbird.science import cylinders
from pitbird.science.cylinders import (
    ATMOSPHERE,
    BALANCES,
    AbsoluteBar,
    GaugeBar,
    OutOfRange,
    absolute,
    balance_of,
    compressibility,
    gas_per_test_l,
    held_l,
    molar_density,
    usable_l,
    water_capacity_l,
    whole_tests,
)

PSI = 0.06894757293168  # bar; NIST SP 811 (2008) B.8: 6.894757 E-02
WARM_C = 26.85  # 300 K


@pytest.mark.parametrize(
    ("bar", "z"),
    # Perry's Chemical Engineers' Handbook, compressibility factors of nitrogen at 300 K (from memory, high).
    [(1, 0.9998), (20, 0.9971), (40, 0.9964), (60, 0.9973), (100, 1.0052), (200, 1.0559)],
)
def test_nitrogen_at_300_k_is_as_compressible_as_tables_say(bar: float, z: float) -> None:
    assert compressibility(AbsoluteBar(bar), WARM_C) == pytest.approx(z, abs=0.001)


@pytest.mark.parametrize(
    ("bar", "z"),
    # Perry's Chemical Engineers' Handbook, compressibility factors of air at 300 K (from memory, high).
    [(1, 0.9999), (20, 0.9950), (40, 0.9917), (60, 0.9901), (100, 0.9930), (200, 1.0326)],
)
def test_air_at_300_k_is_as_compressible_as_tables_say(bar: float, z: float) -> None:
    assert compressibility(AbsoluteBar(bar), WARM_C, "air") == pytest.approx(z, abs=0.001)


@pytest.mark.parametrize(
    ("balance", "z"),
    # ISO 6976, compressibility factors at 20 °C and 101.325 kPa (from memory, high).
    [
        ("nitrogen", 0.9997),
        ("air", 0.9996),
        ("argon", 0.9993),
        ("helium", 1.0005),
        ("carbon dioxide", 0.9944),
    ],
)
def test_at_the_reference_state_the_gases_are_nearly_ideal(balance: str, z: float) -> None:
    assert compressibility(ATMOSPHERE, 20, balance) == pytest.approx(z, abs=0.0003)


def test_nitrogen_at_1_atm_and_20_c_weighs_1_165_grams_a_litre() -> None:
    """NIST Chemistry WebBook, fluid properties of nitrogen: 1.1648 kg/m³ (from memory, high)."""
    assert molar_density(ATMOSPHERE, 20) * 28.0134e-3 == pytest.approx(1.1648, abs=0.0003)


def test_gauge_and_absolute_differ_by_the_air_around() -> None:
    assert absolute(GaugeBar(0)) == ATMOSPHERE
    assert absolute(GaugeBar(10), atmosphere=AbsoluteBar(0.85)) == pytest.approx(10.85)


@pytest.mark.parametrize(
    ("free_l", "psig", "litres"),
    # Ideal gas by hand: L x 1.013 / (p + 1.013). The real gas moves the third digit only.
    [(34, 500, 0.97), (58, 1000, 0.84), (103, 500, 2.94), (103, 1000, 1.49), (116, 1000, 1.68)],
)
def test_water_capacities_of_usual_sizes(free_l: float, psig: float, litres: float) -> None:
    assert water_capacity_l(free_l, GaugeBar(psig * PSI)) == pytest.approx(litres, rel=0.012)


def test_usual_sizes_lie_within_the_limits_of_non_refillable_cylinders() -> None:
    """49 CFR 178.65(a): at most 55 lb of water (24.95 L) up to 500 psig, 10 lb (4.536 L) above."""
    pound = 0.45359237  # kg, exact (NIST SP 811 B.8); a kilogram of water is a litre to 0.2 %
    assert water_capacity_l(103, GaugeBar(500 * PSI)) < 55 * pound
    assert water_capacity_l(116, GaugeBar(1000 * PSI)) < 10 * pound
    # The largest that is allowed above 500 psig holds, at 1000 psig, some 310 L.
    assert held_l(GaugeBar(1000 * PSI), water_capacity_l=10 * pound) == pytest.approx(315, abs=5)


def test_110_litres_at_1_litre_a_minute_and_10_seconds_are_660_tests() -> None:
    """Common practice, no source: with nothing lost."""
    assert whole_tests(110, gas_per_test_l(1.0, 10)) == 660


@pytest.mark.parametrize(("free_l", "tests"), [(34, 90), (58, 154), (103, 274), (116, 309)])
def test_tests_of_45_seconds_at_half_a_litre_a_minute(free_l: float, tests: int) -> None:
    """By hand: 0.375 L each."""
    assert whole_tests(free_l, gas_per_test_l(0.5, 45)) == tests


def test_purging_takes_gas_like_a_test() -> None:
    assert gas_per_test_l(0.5, 30, 30) == pytest.approx(0.5)


def test_nothing_is_usable_at_the_minimum_pressure_or_below() -> None:
    assert usable_l(GaugeBar(3), GaugeBar(3), water_capacity_l=1) == 0
    assert usable_l(GaugeBar(2), GaugeBar(3), water_capacity_l=1) == 0


def test_down_to_no_gauge_pressure_the_last_atmosphere_stays_in() -> None:
    """40 CFR 261.7(b)(2): such a cylinder is empty when its pressure nears that of the air."""
    held = held_l(GaugeBar(35), water_capacity_l=0.97)
    assert held - usable_l(GaugeBar(35), GaugeBar(0), water_capacity_l=0.97) == pytest.approx(0.97)


def test_a_full_cylinder_gives_back_what_was_named() -> None:
    litres = water_capacity_l(110, GaugeBar(70), balance="air")
    assert held_l(GaugeBar(70), water_capacity_l=litres, balance="air") == pytest.approx(110)


def test_a_warm_cylinder_at_the_same_pressure_holds_less() -> None:
    cold, warm = (held_l(GaugeBar(35), water_capacity_l=1, temperature_c=t) for t in (0, 40))
    assert warm < cold
    # Nearly as the absolute temperatures: 273.15 / 313.15.
    assert warm / cold == pytest.approx(273.15 / 313.15, rel=0.02)


def test_the_band_takes_both_doubts_the_bad_way_at_once() -> None:
    """1 L of ideal-like gas: at 35 bar and 0.375 L a test; half of 2 bar and 10 % either way."""
    band = cylinders.tests_band(
        GaugeBar(35),
        GaugeBar(2),
        0.375,
        water_capacity_l=1,
        gauge_resolution_bar=2,
        flow_tolerance_pct=10,
    )
    low = usable_l(GaugeBar(34), GaugeBar(2), water_capacity_l=1) / 0.4125
    high = usable_l(GaugeBar(36), GaugeBar(2), water_capacity_l=1) / 0.3375
    assert (band.low, band.high) == (int(low), int(high))
    # The ideal gas gives 32 / 1.01325 / 0.4125 = 76.6 and 34 / 1.01325 / 0.3375 = 99.4.
    assert (band.low, band.high) == (77, 100)


def test_a_gauge_within_half_a_division_of_the_minimum_may_leave_no_test() -> None:
    band = cylinders.tests_band(GaugeBar(2.5), GaugeBar(2), 0.1, water_capacity_l=1, gauge_resolution_bar=2)
    assert band.low == 0
    assert band.high > 10


def test_carbon_dioxide_as_a_liquid_is_refused() -> None:
    """Its vapour pressure at 20 °C is 57.29 bar (R. Span and W. Wagner 1996)."""
    assert molar_density(AbsoluteBar(57.0), 20, "carbon dioxide") > 0
    with pytest.raises(OutOfRange, match="liquid") as refused:
        molar_density(AbsoluteBar(57.6), 20, "carbon dioxide")
    assert refused.value.argument == "pressure_bar"


@pytest.mark.parametrize(
    ("bar", "c", "balance", "argument"),
    [
        (301.1 + 1.1, 20, "nitrogen", "pressure_bar"),
        (0, 20, "nitrogen", "pressure_bar"),
        (10, -41, "nitrogen", "temperature_c"),
        (10, 66, "nitrogen", "temperature_c"),
        (10, 20, "methane", "balance"),
    ],
)
def test_outside_its_validity_the_gas_law_is_refused(
    bar: float, c: float, balance: str, argument: str
) -> None:
    with pytest.raises(OutOfRange) as refused:
        molar_density(AbsoluteBar(bar), c, balance)
    assert refused.value.argument == argument


@pytest.mark.parametrize(
    ("text", "balance"),
    [
        ("N2", "nitrogen"),
        ("7440-37-1", "argon"),
        (" Synthetic  air", "air"),
        ("CO2", "carbon dioxide"),
        ("methane", None),
        ("hydrogen", None),
        ("", None),
    ],
)
def test_a_balance_is_known_by_name_formula_or_cas_number(text: str, balance: str | None) -> None:
    assert balance_of(text) == balance


pressures = st.floats(0, 300).map(GaugeBar)
temperatures = st.floats(-40, 65)
inert = st.sampled_from(sorted(set(BALANCES) - {"carbon dioxide"}))


@given(pressures, pressures, temperatures, inert)
@settings(max_examples=40)
def test_more_pressure_is_more_gas(one: GaugeBar, other: GaugeBar, t: float, balance: str) -> None:
    low, high = sorted((one, other))
    held = [held_l(p, water_capacity_l=1, temperature_c=t, balance=balance) for p in (low, high)]
    assert held[0] <= held[1] * (1 + 1e-9)


@given(pressures, pressures, pressures, temperatures)
@settings(max_examples=40)
def test_what_is_used_in_two_goes_is_what_is_used_in_one(
    a: GaugeBar, b: GaugeBar, c: GaugeBar, t: float
) -> None:
    low, middle, high = sorted((a, b, c))

    def used(top: GaugeBar, end: GaugeBar) -> float:
        return usable_l(top, end, water_capacity_l=2.5, temperature_c=t)

    assert used(high, middle) + used(middle, low) == pytest.approx(used(high, low), abs=1e-6)


@given(pressures, st.floats(0, 5), st.floats(0.01, 5), st.floats(0, 20), st.floats(0, 50))
@settings(max_examples=40)
def test_the_band_holds_the_best_estimate(
    p: GaugeBar, least: float, per_test: float, resolution: float, tolerance: float
) -> None:
    minimum = GaugeBar(least)
    best = whole_tests(usable_l(p, minimum, water_capacity_l=1), per_test)
    band = cylinders.tests_band(
        p,
        minimum,
        per_test,
        water_capacity_l=1,
        gauge_resolution_bar=resolution,
        flow_tolerance_pct=tolerance,
    )
    assert 0 <= band.low <= best <= band.high
