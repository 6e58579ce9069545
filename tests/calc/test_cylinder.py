"""The cylinder, from plain values to plain values: numbers of the trade, and every refusal in words."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.calc.cylinder import CALCULATION
from pitbird.calc.definition import Refused, as_values
from pitbird.calc.registry import answer

GAUGED = {
    "water_capacity_l": 1,
    "pressure_bar": 35,
    "minimum_pressure_bar": 2,
    "flow_l_min": 0.5,
    "gas_on_s": 45,
}


def faults(**changed: Any) -> list[str]:
    raw = {key: value for key, value in (GAUGED | changed).items() if value is not ...}
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(raw)
    return [str(fault) for fault in refused.value.faults]


def test_110_litres_are_660_tests_of_10_seconds_at_1_litre_a_minute() -> None:
    """Common practice, no source: with nothing lost."""
    found = answer("cylinder", {"free_gas_l": 110, "flow_l_min": 1, "gas_on_s": 10})
    assert found["tests_left"] == 660
    assert found["usable_gas_l"] == 110
    assert found["compressibility"] is None
    assert found["footing"][0] == "a full cylinder, all of it used"
    assert "a full cylinder used to the last" in found["cautions"][0]


def test_purging_is_gas_of_the_test() -> None:
    found = answer("cylinder", {"free_gas_l": 110, "flow_l_min": 1, "gas_on_s": 10, "purge_s": 10})
    assert (found["gas_per_test_l"], found["tests_left"]) == (pytest.approx(1 / 3), 330)


def test_usable_gas_is_that_of_the_ideal_gas_to_within_its_compressibility() -> None:
    """By hand: 33 bar / 1.01325 bar = 32.57 L from 1 L; Z of nitrogen at 36 bar and 20 °C is 0.994 (NIST)."""
    found = answer("cylinder", GAUGED)
    assert found["usable_gas_l"] == pytest.approx(32.57, rel=0.008)
    assert found["usable_gas_l"] > 32.57
    assert found["compressibility"] == pytest.approx(0.994, abs=0.001)
    assert found["tests_left"] == int(found["usable_gas_l"] / 0.375) == 87
    assert found["tests_left_low"] is found["tests_left_high"] is None


def test_contents_with_their_pressure_tell_what_half_the_pressure_leaves() -> None:
    """By hand, ideal gas: 58 L at 69 bar are 0.84 L of space; 33 bar of it are 27.3 L."""
    raw = {"free_gas_l": 58, "full_pressure_bar": 69, "pressure_bar": 35, "minimum_pressure_bar": 2}
    found = answer("cylinder", raw | {"flow_l_min": 0.5, "gas_on_s": 30})
    assert found["water_capacity_l"] == pytest.approx(0.84, abs=0.005)
    assert found["usable_gas_l"] == pytest.approx(27.3, abs=0.3)


def test_doubt_of_gauge_and_flow_is_a_band_around_the_number() -> None:
    found = answer("cylinder", GAUGED | {"gauge_resolution_bar": 2, "flow_tolerance_pct": 10})
    assert (found["tests_left_low"], found["tests_left"], found["tests_left_high"]) == (77, 87, 100)


def test_a_full_cylinder_has_a_band_from_its_flow_alone() -> None:
    raw = {"free_gas_l": 110, "flow_l_min": 1, "gas_on_s": 10, "flow_tolerance_pct": 10}
    found = answer("cylinder", raw)
    assert (found["tests_left_low"], found["tests_left_high"]) == (600, 733)


def test_a_demand_flow_regulator_gives_what_the_pump_draws() -> None:
    raw = {key: value for key, value in GAUGED.items() if key != "flow_l_min"} | {"demand_flow_l_min": 0.25}
    found = answer("cylinder", raw)
    assert found["gas_per_test_l"] == pytest.approx(0.1875)
    assert any("draws it with a pump" in caution for caution in found["cautions"])


def test_at_the_minimum_pressure_no_test_is_left() -> None:
    found = answer("cylinder", GAUGED | {"pressure_bar": 2})
    assert (found["usable_gas_l"], found["tests_left"]) == (0, 0)


def test_down_to_no_pressure_at_all_is_cautioned() -> None:
    (caution,) = answer("cylinder", GAUGED | {"minimum_pressure_bar": 0})["cautions"]
    assert "nearly empty" in caution
    assert answer("cylinder", GAUGED)["cautions"] == []


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"temperature_c": 55}, "below 50 °C"),
        ({"components": [{"gas": "carbon dioxide", "vol_pct": 10}]}, "not quite as compressible"),
        ({"pressure_bar": 2.5, "gauge_resolution_bar": 2}, "take another cylinder"),
    ],
)
def test_what_must_be_heeded_is_said(changed: dict[str, Any], told: str) -> None:
    assert any(told in caution for caution in answer("cylinder", GAUGED | changed)["cautions"])


def test_oxygen_in_nitrogen_is_nothing_to_caution_about() -> None:
    components = [{"gas": "oxygen", "vol_pct": 18}, {"gas": "H2S", "ppm": 25}]
    assert answer("cylinder", GAUGED | {"components": components})["cautions"] == []


def test_where_pentane_condenses_at_the_present_pressure() -> None:
    """By hand, Raoult: 0.75 % of 35.5 bar is 0.266 bar, the vapour pressure of n-pentane at 2 °C.

    Antoine for n-pentane, log10(p/bar) = 3.9892 - 1070.617/(T/K - 40.454), NIST Chemistry WebBook (from
    memory, high).
    """
    assert pytest.approx(0.0075 * 35.513, rel=0.02) == 10 ** (3.9892 - 1070.617 / (275.2 - 40.454))
    pentane = GAUGED | {"pressure_bar": 34.5, "components": [{"gas": "n-pentane", "vol_pct": 0.75}]}
    found = answer("cylinder", pentane)
    assert found["condensation_below_c"] == pytest.approx(2, abs=0.5)
    assert any("keep and use the cylinder warmer" in caution for caution in found["cautions"])
    assert any("Raoult" in line for line in found["footing"])
    emptier = answer("cylinder", pentane | {"pressure_bar": 5})["condensation_below_c"]
    assert emptier < found["condensation_below_c"] - 20


def test_a_component_that_may_have_condensed_is_said() -> None:
    cold = {"temperature_c": 0, "pressure_bar": 69, "components": [{"gas": "pentane", "vol_pct": 0.75}]}
    assert any("may have condensed" in caution for caution in answer("cylinder", GAUGED | cold)["cautions"])


def test_light_components_condense_nowhere_that_matters() -> None:
    light = [{"gas": "methane", "vol_pct": 2.5}, {"gas": "CO", "ppm": 100}, {"gas": "H2S", "ppm": 25}]
    found = answer("cylinder", GAUGED | {"components": light})
    assert (found["condensation_below_c"], found["cautions"]) == (None, [])
    assert answer("cylinder", GAUGED)["condensation_below_c"] is None


def test_every_fault_of_single_fields_is_told_at_once() -> None:
    choice = "write nitrogen, air, argon, helium or carbon dioxide"
    assert faults(
        water_capacity_l=0,
        pressure_bar=-1,
        balance="methan",
        gas_on_s=...,
        purge_s=-5,
        flow_tolerance_pct=100,
    ) == [
        "cylinder.water_capacity_l = 0: must be more than 0",
        "cylinder.pressure_bar = -1: must be 0 or more",
        f"cylinder.balance = 'methan': not a gas that is known here; {choice}",
        "cylinder.gas_on_s: missing",
        "cylinder.purge_s = -5: must be 0 or more",
        "cylinder.flow_tolerance_pct = 100: must be less than 100",
    ]


def test_every_fault_between_fields_is_told_at_once() -> None:
    one = "a regulator is fixed-flow or demand-flow, write one"
    assert faults(
        free_gas_l=34,
        pressure_bar=1,
        demand_flow_l_min=0.3,
        components=[{"gas": "methane", "vol_pct": 60}, {"gas": "CH4", "vol_pct": 50}, {"gas": "CO"}],
    ) == [
        "cylinder.free_gas_l = 34.0: stands beside water_capacity_l; write one of the two",
        "cylinder.pressure_bar = 1.0: below the minimum usage pressure of 2 bar; the cylinder is at its end",
        f"cylinder.demand_flow_l_min = 0.3: stands beside flow_l_min; {one}",
        "cylinder.components[1].gas = 'CH4': named twice; add the amounts up",
        "cylinder.components[2] = 'CO': has no amount; write one of ppm and vol_pct",
        "cylinder.components = 110 % vol: more than 100 % in all; check the units",
    ]


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"water_capacity_l": ...}, "water_capacity_l: missing; write it, or free_gas_l"),
        ({"pressure_bar": ...}, "pressure_bar: missing; write what the gauge shows"),
        ({"minimum_pressure_bar": ...}, "minimum_pressure_bar: missing; write the minimum usage pressure"),
        ({"flow_l_min": ...}, "flow_l_min: missing"),
        ({"full_pressure_bar": 70}, "full_pressure_bar = 70.0: belongs to free_gas_l"),
        ({"balance": "methane"}, "balance = 'methane': burns"),
        ({"balance": "oxygen"}, "balance = 'oxygen': not a balance gas"),
        ({"balance": "nitrogn"}, "did you mean nitrogen?"),
        ({"components": [{"gas": "N2", "vol_pct": 2}]}, "is the balance gas too"),
        ({"components": [{"gas": "CO", "ppm": 5, "vol_pct": 2}]}, "both ppm and vol_pct"),
        ({"components": [{"gas": "pentan", "ppm": 5}]}, "did you mean"),
        ({"components": [{"gas": "CO", "ppm": -5}]}, "components[0].ppm = -5: must be more than 0"),
        ({"temperature_c": 70}, "temperature_c = 70: must be 65 or less"),
        ({"balance": "CO2", "pressure_bar": 60}, "pressure_bar = 60.0: carbon dioxide is liquid there"),
        ({"pressure": 5}, "no field of that name; did you mean pressure_bar"),
    ],
)
def test_what_cannot_be_answered_is_refused_with_the_field(changed: dict[str, Any], told: str) -> None:
    (fault,) = faults(**changed)
    assert told in fault
    assert fault.startswith("cylinder.")


def test_contents_alone_take_no_pressures() -> None:
    told = faults(water_capacity_l=..., free_gas_l=34, gauge_resolution_bar=1)
    assert [fault.split(" ")[0] for fault in told] == [
        "cylinder.pressure_bar",
        "cylinder.minimum_pressure_bar",
        "cylinder.gauge_resolution_bar",
    ]
    assert all("add full_pressure_bar" in fault for fault in told)


def test_more_gas_than_the_full_cylinder_holds_is_a_wrong_unit() -> None:
    """500 psi typed as 500/10 bar, say: 50 bar in a cylinder that is full at 34.5."""
    (fault,) = faults(water_capacity_l=..., free_gas_l=34, full_pressure_bar=34.5, pressure_bar=50)
    assert "where the full cylinder holds 34 L at 34.5 bar" in fault


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda example: example.title)
def test_every_example_is_answered(example: Any) -> None:
    found = as_values(CALCULATION.answer(example.request))
    assert found["tests_left"] > 50
    assert found["footing"]
