"""Units at the edge: published conversion factors, what a field offers, and what it refuses."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.calc.definition import Refused
from pitbird.calc.units import SUFFIXES, from_chosen, measure_of, offered, to_chosen


@pytest.mark.parametrize(
    ("field", "value", "unit", "wanted"),
    # NIST Special Publication 811 (2008), Appendix B.8 (from memory, high), to the digits printed there.
    [
        ("pressure_bar", 1, "psi", 6.894757e-02),
        ("flow_l_min", 1, "cfh", 7.865791e-06 * 60_000),  # 7.865791 E-06 m³/s, as cubic foot per hour
        ("interzonal_flow_m3_min", 1, "cfm", 4.719474e-04 * 60),
        ("room_m3", 1, "cubic feet", 2.831685e-02),
        ("free_gas_l", 1, "cubic feet", 2.831685e-02 * 1000),
        ("water_capacity_l", 1, "cubic inches", 1.638706e-05 * 1000),
        ("hose_m", 1, "feet", 0.3048),
    ],
)
def test_published_conversion_factors(field: str, value: float, unit: str, wanted: float) -> None:
    assert from_chosen(field, value, unit) == pytest.approx(wanted, rel=5e-7)


@pytest.mark.parametrize(
    ("field", "value", "unit", "wanted"),
    [
        ("temperature_c", 212, "°F", 100),  # NIST SP 811 (2008) B.8: (t - 32) / 1.8 (from memory, high)
        ("temperature_c", -40, "°F", -40),
        ("temperature_c", 273.15, "K", 0),
        ("pressure_bar", 500, "kPa", 5),
        ("pressure_bar", 7, "MPa", 70),
        ("h2s_ppm", 0.0025, "% vol", 25),
        ("h2s_ppm", 25_000, "ppb", 25),
        ("methane_vol_pct", 25_000, "ppm", 2.5),
        ("gas_on_s", 1.5, "min", 90),
        ("release_minutes", 90, "s", 1.5),
        ("full_check_days", 1, "years", 365.25),  # the year of every calculation here
        ("near_field_m3", 500, "L", 0.5),
        ("water_capacity_l", 0.5, "m³", 500),
        ("flow_l_min", 500, "mL/min", 0.5),
        ("air_changes_per_h", 0.1, "per min", 6),
        ("rate_per_day", 365.25, "per year", 1),
    ],
)
def test_exact_conversions(field: str, value: float, unit: str, wanted: float) -> None:
    assert from_chosen(field, value, unit) == wanted


@pytest.mark.parametrize("unit", ["psi", "psig", "psi gauge", " psi "])
def test_a_gauge_pressure_is_known_by_its_usual_names(unit: str) -> None:
    assert from_chosen("minimum_pressure_bar", 500, unit) == pytest.approx(34.47379)


@pytest.mark.parametrize("unit", ["bar absolute", "bara", "psia", "kPa abs", "PSIA"])
def test_an_absolute_pressure_is_never_taken_for_a_gauge_one(unit: str) -> None:
    with pytest.raises(Refused, match=r"pressure_bar = .*absolute pressure, where gauge pressure is asked"):
        from_chosen("pressure_bar", 10, unit)


@pytest.mark.parametrize("unit", ["bar", "psig", "kPa gauge", "MPa"])
def test_a_gauge_pressure_is_never_taken_for_an_absolute_one(unit: str) -> None:
    with pytest.raises(Refused, match="gauge pressure, where absolute pressure is asked for"):
        from_chosen("air_pressure_bar_abs", 10, unit)
    assert from_chosen("air_pressure_bar_abs", 14.695949, "psia") == pytest.approx(1.01325, rel=1e-6)


@pytest.mark.parametrize(
    ("field", "unit", "told"),
    [
        ("flow_l_min", "L", "no unit of gas flow that is known here"),
        ("gas_on_s", "psi", "write s or min"),
        ("free_gas_l", "cubic fet", "did you mean cubic feet"),
        ("temperature_c", "bar", "write °C, °F or K"),
        ("methane_ppm", "mg/m³", "write ppm, % vol or ppb"),
    ],
)
def test_a_unit_of_another_kind_is_refused_with_those_that_will_do(field: str, unit: str, told: str) -> None:
    with pytest.raises(Refused, match=told) as refused:
        from_chosen(field, 1, unit)
    (fault,) = refused.value.faults
    assert fault.where == field


def test_nothing_is_colder_than_nothing() -> None:
    with pytest.raises(Refused, match=r"temperature_c = -500 °F: temperature does not go below -459.67 °F"):
        from_chosen("temperature_c", -500, "°F")
    with pytest.raises(Refused, match="absolute pressure does not go below 0 psi absolute"):
        from_chosen("air_pressure_bar_abs", -1, "psia")


@pytest.mark.parametrize(
    ("field", "own", "others"),
    [
        ("pressure_bar", "bar", ("bar", "psi", "kPa", "MPa")),
        ("temperature_c", "°C", ("°C", "°F", "K")),
        ("flow_l_min", "L/min", ("L/min", "mL/min", "L/h", "cfh")),
        ("expanded_uncertainty_pct", "%", ()),
        ("alarm_pct_lfl", "% LFL", ()),
        ("detectors", "", ()),
        ("balance", "", ()),
    ],
)
def test_a_field_offers_the_units_of_what_it_measures(field: str, own: str, others: tuple[str, ...]) -> None:
    assert offered(field) == (own, others)


@pytest.mark.parametrize(
    ("field", "name"),
    [
        ("oxygen_vol_pct_min", "lowest share by volume"),  # a minimum, not minutes
        ("flow_l_min", "gas flow"),
        ("interzonal_flow_m3_min", "air flow"),
        ("released_gas_l", "amount of gas, or capacity"),
        ("room_m3", "space"),
        ("t90_s", "time"),
        ("twa_8h_ppm", "share by volume"),
        ("mixture_lfl_vol_pct", "share by volume"),
        ("undetected_detector_days_per_year", "rate"),
        ("full_pressure_bar", "gauge pressure"),
    ],
)
def test_the_end_of_a_name_tells_what_it_measures(field: str, name: str) -> None:
    measure = measure_of(field)
    assert measure is not None
    assert measure.name == name


def test_a_longer_end_stands_before_the_one_it_ends_with() -> None:
    ends = list(SUFFIXES)
    for place, end in enumerate(ends):
        assert not [later for later in ends[place + 1 :] if later.endswith(end)], end


@pytest.mark.parametrize("value", ["ten", "", None, True, float("nan"), float("inf")])
def test_what_is_no_number_is_left_for_the_request_to_refuse(value: object) -> None:
    assert from_chosen("pressure_bar", value, "psi") is value


def test_in_its_own_unit_or_without_one_a_value_stays_as_it_is() -> None:
    assert from_chosen("pressure_bar", 0.1 + 0.2, "bar") == 0.1 + 0.2
    assert from_chosen("detectors", 12, "psi") == 12
    assert from_chosen("pressure_bar", 12, "") == 12


@given(
    st.sampled_from([(end, unit) for end, measure in SUFFIXES.items() for unit in measure.units]),
    st.floats(0.001, 1e5),
)
def test_there_and_back_is_the_same(way: tuple[str, str], value: float) -> None:
    end, unit = way
    assert from_chosen(f"x{end}", to_chosen(f"x{end}", value, unit), unit) == pytest.approx(value, rel=1e-6)


def test_the_library_of_units_is_loaded_only_when_a_unit_is_turned() -> None:
    code = (
        "import sys; from pitbird.calc import units; units.from_chosen('pressure_bar', 5, 'bar');"
        "assert 'pint' not in sys.modules; units.from_chosen('pressure_bar', 5, 'psi');"
        "assert 'pint' in sys.modules"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
