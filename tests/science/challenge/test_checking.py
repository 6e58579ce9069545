"""What is refused before anything is calculated, all of it at once."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.science.challenge.checking import check
from pitbird.science.challenge.judging import judge
from pitbird.science.challenge.readings import NotJudged
from pitbird.science.challenge.values import Alarm, Component, Mixture, Sensor
from pitbird.science.gases import IEC, NFPA
from tests.science.challenge.making import CO, FOUR, H2S, METHANE, OXYGEN, QUAD, alarm, mixture, sensor


def faults(gas: Mixture = QUAD, sensors: tuple[Sensor, ...] = FOUR, **terms: Any) -> list[str]:
    asked: dict[str, Any] = {"basis": NFPA, "gas_on_s": 30.0, "required_probability": 0.95} | terms
    return [f"{p.where}: {p.problem}" for p in check(gas, sensors, **asked)]


def test_a_four_gas_detector_and_its_gas_are_in_order() -> None:
    assert faults() == []


@pytest.mark.parametrize(
    ("gas", "where", "words"),
    [
        (mixture(("methane", -1, "vol_pct")), "gas.components[0].amount", "between 0 and 100 vol_pct"),
        (mixture(("methane", float("nan"), "vol_pct")), "gas.components[0].amount", "between 0"),
        (mixture(("carbon monoxide", 2e6, "ppm")), "gas.components[0].amount", "between 0 and 1e+06 ppm"),
        (mixture(("oxygen", 60, "vol_pct"), ("CO2", 50, "vol_pct")), "gas.components", "together 110 % vol"),
        (mixture(("swamp gas", 1, "vol_pct")), "gas.components[0].gas", "not a gas that is known"),
        (mixture(("H2S", 1, "ppm"), ("hydrogen sulphide", 2, "ppm")), "gas.components[1].gas", "nts[0]"),
        (mixture(("H2S", 1, "ppm", 130)), "gas.components[0].expanded_uncertainty_pct", "k = 2"),
        (mixture(("oxygen", 18, "vol_pct"), balance="methane"), "gas.balance", "methane burns"),
        (mixture(("oxygen", 18, "vol_pct"), balance="air"), "gas.balance", "oxygen of its own"),
        (mixture(("oxygen", 18, "vol_pct"), balance="chlorine"), "gas.balance", "must be air, nitrogen"),
        (mixture(("air", 90, "vol_pct")), "gas.components[0].gas", "air is a balance"),
        (mixture(), "gas.components", "at least one"),
    ],
)  # fmt: skip
def test_a_mixture_that_cannot_be_is_refused(gas: Mixture, where: str, words: str) -> None:
    (found,) = faults(gas)
    assert found.startswith(f"{where}: ")
    assert words in found


@pytest.mark.parametrize(
    ("base", "changes", "where", "words"),
    [
        (CO, {"gas": "gas X"}, "gas", "not a gas"),
        (CO, {"t90_s": 0}, "t90_s", "more than 0"),
        (CO, {"t90_fast_s": 31}, "t90_fast_s", "no more than t90_s, 30"),
        (CO, {"delay_s": -1}, "delay_s", "0 seconds or more"),
        (CO, {"span_sd_pct": 101}, "span_sd_pct", "between 0 and 100"),
        (CO, {"clean_air_reading": -3}, "clean_air_reading", "between 0"),
        (CO, {"alarms": ()}, "alarms", "at least one alarm"),
        (CO, {"alarms": alarm(-5)}, "alarms[0].at", "outside the scale"),
        (METHANE, {"alarms": alarm(120)}, "alarms[0].at", "outside the scale, 0 to 100 pct_lfl"),
        (OXYGEN, {"alarms": alarm(20.9)}, "alarms[0].at", "is the clean-air reading"),
        (CO, {"alarms": alarm(2), "clean_air_reading": 3}, "alarms[0].at", "belongs to oxygen"),
        (OXYGEN, {"clean_air_reading": 0}, "clean_air_reading", "about 20.9 % vol in clean air"),
        (CO, {"alarms": (Alarm("A1", 30), Alarm("A1", 60))}, "alarms[1].name", "another alarm"),
        (CO, {"principle": "oxygen"}, "principle", "an oxygen sensor measures oxygen"),
        (CO, {"gas": "sulfur dioxide", "principle": "catalytic"}, "principle", "does not burn"),
        (METHANE, {"gas": "hydrogen", "principle": "infrared"}, "principle", "does not see hydrogen"),
        (CO, {"principle": "photoionisation"}, "principle", "no lamp in use"),
        (CO, {"gas": "chlorine", "unit": "pct_lfl"}, "unit", "has no LFL"),
        (METHANE, {"gas": "isobutylene"}, "unit", "no LFL of isobutylene is known on nfpa-497"),
        (METHANE, {"relative_response": (("propane", -0.5),)}, "relative_response.propane", "0 or more"),
        (METHANE, {"relative_response": (("CH4", 0.5),)}, "relative_response.CH4", "its factor is 1"),
        (METHANE, {"relative_response": (("CO2", 0.5),)}, "relative_response.CO2", "no LFL to compare"),
        (
            METHANE, {"principle": "infrared", "relative_response": (("hydrogen", 0.5),)},
            "relative_response.hydrogen", "does not see hydrogen",
        ),
        (H2S, {"cross_sensitivity": (("H2S", 1.0),)}, "cross_sensitivity.H2S", "no cross-sensitivity"),
        (H2S, {"cross_sensitivity": (("gas X", 1.0),)}, "cross_sensitivity.gas X", "not a gas"),
        (H2S, {"cross_sensitivity": (("CO", 0.1), ("carbon monoxide", 0.2))},
            "cross_sensitivity.carbon monoxide", "stands twice"),
        (H2S, {"cross_sensitivity": (("CO", 0.1),), "relative_response": (("CO", 0.1),)},
            "cross_sensitivity.CO", "keep one"),
    ],
)  # fmt: skip
def test_a_sensor_that_cannot_be_is_refused(base: Sensor, changes: Any, where: str, words: str) -> None:
    (found,) = faults(sensors=(sensor(base, **changes),))
    assert found.startswith(f"sensors[0].{where}: ")
    assert words in found


def test_terms_that_cannot_be_are_refused() -> None:
    assert [f.partition(":")[0] for f in faults(basis="x", gas_on_s=0.0, required_probability=1.0)] == [
        "basis", "gas_on_s", "required_probability",
    ]  # fmt: skip
    assert faults(sensors=()) == ["sensors: there must be at least one sensor"]
    assert faults(sensors=(CO, CO)) == ["sensors[1].name: another sensor bears this name; give each its own"]


def test_all_faults_come_at_once_and_nothing_is_judged() -> None:
    gas = Mixture((Component("methane", -1, "vol_pct"), Component("swamp gas", 1, "ppm")), "propane")
    with pytest.raises(NotJudged) as refused:
        judge(gas, (sensor(CO, t90_s=-1, alarms=alarm(0)),), basis=IEC, gas_on_s=-1)
    assert [p.where for p in refused.value.problems] == [
        "gas_on_s", "gas.balance", "gas.components[0].amount", "gas.components[1].gas",
        "sensors[0].t90_s", "sensors[0].alarms[0].at",
    ]  # fmt: skip
