"""The challenge as a calculation: a four-gas detector worked by hand, and every refusal in words."""

from __future__ import annotations

import copy
import json
import math
import subprocess
import sys
from typing import Any

import pytest

from pitbird.calc.challenge import CALCULATION, QUAD
from pitbird.calc.definition import Refused, as_values
from pitbird.calc.registry import answer


def asked(**changes: Any) -> dict[str, Any]:
    """The four-gas example with changes at the top."""
    return copy.deepcopy(dict(QUAD.request)) | changes


def one(sensor: dict[str, Any], components: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    """A request with one sensor and one mixture."""
    balance = changes.pop("balance", "nitrogen")
    return asked(sensors=[sensor], gas={"components": components, "balance": balance}, **changes)


def bead(**changes: Any) -> dict[str, Any]:
    found: dict[str, Any] = copy.deepcopy(QUAD.request["sensors"][0])
    return found | changes


def cell(**changes: Any) -> dict[str, Any]:
    found: dict[str, Any] = copy.deepcopy(QUAD.request["sensors"][1])
    return found | changes


def part(gas: str, amount: float, unit: str = "vol_pct") -> dict[str, Any]:
    return {"gas": gas, "amount": amount, "unit": unit}


def faults(raw: object) -> list[str]:
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(raw)
    return [str(fault) for fault in refused.value.faults]


def test_a_four_gas_detector_worked_by_hand() -> None:
    """NFPA 497: 2.5 % vol methane is 50 %LFL. t = -t90 / ln 10 x ln(1 - alarm / step), 30 s of gas."""
    result = answer("challenge", asked())
    assert result["suits"]
    assert [sensor["name"] for sensor in result["sensors"]] == ["LEL", "CO", "H2S", "O2"]
    assert [sensor["own_gas_reading"] for sensor in result["sensors"]] == pytest.approx(
        [50.09, 100, 25, 18], abs=0.02
    )  # with traces of what else burns: 0.08 %LFL of CO, 0.06 of H2S
    tau = 30 / math.log(10)
    high = result["sensors"][1]["alarms"][1]
    assert high["name"] == "A2"
    assert high["time_s"] == pytest.approx(-tau * math.log(1 - 60 / 100))
    assert high["time_lean_s"] == pytest.approx(-tau * math.log(1 - 60 / 98))
    assert high["undetected_loss"] == pytest.approx(1 - 60 / (102 * (1 - 10**-2)))  # t90_fast_s is 15
    assert high["slowest_t90_s"] == pytest.approx(30 * math.log(10) / -math.log(1 - 0.6))
    low = result["sensors"][3]["alarms"][0]
    assert low["time_s"] == pytest.approx(-15 / math.log(10) * math.log(1 - 1.4 / 2.9))
    (problem,) = result["problems"]
    assert problem.startswith(
        "H2S: too strong for the guidance: 25 ppm, advised is 12 to 20 ppm (BG RCI FAQ 2.9,"
    )


def test_it_says_what_it_stands_on_and_what_to_heed() -> None:
    result = answer("challenge", asked())
    assert result["footing"][0] == "Flammable limits: NFPA 497 (2008)"
    assert any("first order" in line for line in result["footing"])
    assert any("half its output gone still passes" in line for line in result["cautions"])
    iec = answer("challenge", asked(basis="iec-60079-20-1"))
    assert iec["footing"][0] == "Flammable limits: IEC 60079-20-1 (2010)"
    assert iec["sensors"][0]["own_gas_reading"] == pytest.approx(100 * 2.5 / 4.4, rel=2e-3)


def test_an_alarm_that_never_comes_has_no_times() -> None:
    result = answer("challenge", one(cell(alarms=[{"name": "A1", "at": 200}]), [part("CO", 100, "ppm")]))
    (alarm,) = result["sensors"][0]["alarms"]
    assert alarm == {
        "name": "A1", "time_s": None, "time_lean_s": None, "trips": False, "undetected_loss": None,
        "probability": pytest.approx(0, abs=1e-15), "slowest_t90_s": None,
    }  # fmt: skip
    assert not result["suits"]
    assert "out of reach" in result["problems"][0]


def test_another_channels_gas_counts_in_the_final_reading_and_sets_nothing_off() -> None:
    result = answer(
        "challenge", one(cell(cross_sensitivity={"hydrogen": 0.2}), [part("hydrogen", 1000, "ppm")])
    )
    (sensor,) = result["sensors"]
    assert (sensor["own_gas_reading"], sensor["final_reading"]) == pytest.approx((0, 200))
    assert [alarm["trips"] for alarm in sensor["alarms"]] == [False, False, False]
    assert not result["suits"]


def test_factors_of_the_manual_stand_in_place_of_the_model() -> None:
    request = one(bead(relative_response={"n-pentane": 0.5}), [part("n-pentane", 0.75)], balance="air")
    assert answer("challenge", request)["sensors"][0]["own_gas_reading"] == pytest.approx(25)


def test_the_model_speaks_where_the_manual_does_not() -> None:
    """50 %LFL of n-pentane on a methane bead: 0.39 (IEC) and 0.47 (NFPA) of it by the diffusion-limited model
    (Firth, Jones and Jones, Combustion and Flame 21 (1973) 303; diffusivities within some per cent)."""
    for basis, limit, response in (("iec-60079-20-1", 1.1, 0.390), ("nfpa-497", 1.5, 0.468)):
        request = one(bead(), [part("n-pentane", limit / 2)], balance="air", basis=basis)
        result = answer("challenge", request)
        assert result["sensors"][0]["own_gas_reading"] == pytest.approx(50 * response, rel=0.06)
        assert any("Firth" in line for line in result["footing"])
        assert any("loses methane first" in line for line in result["problems"])


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        (
            one(cell(), [part("CO", -5, "ppm")]),
            "challenge.gas.components[0].amount = -5.0: must lie between 0 and 1e+06 ppm",
        ),
        (
            one(cell(), [part("oxygen", 70), part("methane", 40)]),
            "challenge.gas.components: together 110 % vol; at most 100 % vol is possible",
        ),
        (
            one(cell(), [part("carbon monoxyde", 100, "ppm")]),
            ("challenge.gas.components[0].gas = 'carbon monoxyde': not a gas that is known here; write its "
            "name or its CAS number; did you mean carbon monoxide, carbon dioxide or nitrogen monoxide?"),
        ),
        (
            one(cell(), [part("CO", 100, "ppm")], balance="propane"),
            ("challenge.gas.balance = 'propane': propane burns: it cannot be a balance; write it as a "
            "component, with its amount"),
        ),
        (
            one(bead(alarms=[{"name": "A1", "at": 130}]), [part("methane", 2.5)], balance="air"),
            "challenge.sensors[0].alarms[0].at = 130.0: outside the scale, 0 to 100 pct_lfl",
        ),
        (
            one(bead(gas="hydrogen", principle="infrared"), [part("hydrogen", 2)]),
            "challenge.sensors[0].principle = 'infrared': an infrared sensor does not see hydrogen",
        ),
        (
            one(bead(), [part("methane", 2.5)]),
            ("challenge.sensors[0].principle = 'catalytic': a bead burns the gas with the oxygen beside it: "
            "the mixture holds 0 % vol oxygen and it takes 10 at least; use test gas with air, or with "
            "oxygen, as balance"),
        ),
        (
            one(bead(principle="infrared"), [part("propane", 1)]),
            ("challenge.sensors[0].relative_response: the catalytic model does not hold for propane on this "
            "infrared sensor set up for methane; write its own factor, reading / true value, from the "
            "instrument's manual"),
        ),
        (
            one(cell(gas="isobutylene", principle="photoionisation"), [part("toluene", 50, "ppm")]),
            ("challenge.sensors[0].relative_response: a photoionisation sensor needs its factor for toluene, "
            "for the lamp that is in it; write reading / true value, or 0 where this "
                "lamp does not ionise it"),
        ),
        (asked(required_probability=1), "challenge.required_probability = 1.0: must lie between 0 and 1"),
        (asked(gas_on_s=0), "challenge.gas_on_s = 0.0: must be more than 0 seconds"),
        (asked(sensors=[]), "challenge.sensors = []: there must be at least one sensor"),
        (asked(basis="iec"), "challenge.basis = 'iec': must be 'iec-60079-20-1' or 'nfpa-497'"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_words(raw: object, expected: str) -> None:
    assert faults(raw) == [expected]


def test_every_fault_comes_at_once() -> None:
    """Numbers, gases, alarms, and a second sensor that this gas cannot be judged for."""
    raw = asked(
        gas_on_s=-1,
        gas={"components": [part("methane", 2.5), part("carbon dioxide", 5)]},
        sensors=[bead(), cell(t90_s=0, t90_fast_s=None, alarms=[{"name": "A1", "at": 0}])],
    )
    assert [fault.split(" = ")[0] for fault in faults(raw)] == [
        "challenge.gas_on_s",
        "challenge.sensors[1].t90_s",
        "challenge.sensors[1].alarms[0].at",
        "challenge.sensors[0].principle",
    ]


def test_a_field_that_is_not_known_is_refused_and_a_missing_one_named() -> None:
    raw = asked()
    raw["sensors"][0]["t95_s"] = 40
    del raw["sensors"][1]["t90_s"]
    first, second = sorted(faults(raw))
    assert first.startswith("challenge.sensors[0].t95_s: no field of that name; did you mean t90_s")
    assert second == "challenge.sensors[1].t90_s: missing"


def test_the_schema_tells_bounds_and_gases() -> None:
    schema = CALCULATION.schema()["request"]
    assert schema["properties"]["gas_on_s"]["exclusiveMinimum"] == 0
    assert schema["$defs"]["GasComponent"]["properties"]["gas"]["format"] == "gas"
    assert schema["$defs"]["SensorAsked"]["properties"]["t90_s"]["description"].startswith("Slowest t90")


def test_a_request_read_from_json_is_answered_in_json() -> None:
    text = json.dumps(as_values(CALCULATION.answer(json.loads(json.dumps(dict(QUAD.request))))))
    assert json.loads(text)["suits"] is True


def test_answering_loads_no_numpy() -> None:
    code = (
        "import sys; from pitbird.calc.registry import answer; from pitbird.calc.challenge import QUAD\n"
        "answer('challenge', dict(QUAD.request)); sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_regulator_that_gives_less_than_the_pump_draws_is_judged_on_what_reaches_the_sensors() -> None:
    # Mixing of flows: 0.3 L/min of 100 ppm and 0.2 L/min of air make 60 ppm (conservation of amount).
    plain = answer("challenge", asked())
    found = answer("challenge", asked(regulator_l_min=0.3, pump_l_min=0.5))
    assert found["share_of_test_gas"] == pytest.approx(0.6)
    assert found["sensors"][1]["own_gas_reading"] == pytest.approx(60)
    assert found["sensors"][3]["own_gas_reading"] == pytest.approx(0.6 * 18 + 0.4 * 20.9)
    assert not found["suits"]
    assert "the sensors get 60 % of the certified strength" in found["problems"][0]
    low, alone = found["sensors"][1]["alarms"][0], plain["sensors"][1]["alarms"][0]
    # -30 / ln 10 x ln(1 - 30/60) = 9.03 s in place of 4.65 s at 100 ppm
    assert (alone["time_s"], low["time_s"]) == pytest.approx((4.6471, 9.0309), abs=1e-4)
    assert low["undetected_loss"] == alone["undetected_loss"], "what a pass hides: the gas as certified"


def test_a_hose_takes_its_time_from_the_gas_but_hides_no_less() -> None:
    # 3 s a metre: summary of HSE safety alert CEMHD1-2020.
    plain, found = answer("challenge", asked()), answer("challenge", asked(hose_m=5))
    assert found["hose_delay_s"] == 15
    for before, after in zip(plain["sensors"], found["sensors"], strict=True):
        for alone, late in zip(before["alarms"], after["alarms"], strict=True):
            if alone["time_s"] is not None:
                assert late["time_s"] == pytest.approx(alone["time_s"] + 15)
            if late["trips"]:
                assert late["undetected_loss"] == alone["undetected_loss"]
    assert found["sensors"][1]["alarms"][0]["trips"]
    assert not answer("challenge", asked(hose_m=9))["sensors"][1]["alarms"][0]["trips"]
    assert answer("challenge", asked(hose_m=9, hose_s_per_m=1))["hose_delay_s"] == 9
    assert any("CEMHD1-2020" in caution for caution in found["cautions"])
    assert any("takes up hydrogen sulfide" in caution for caution in found["cautions"])
    assert any("5 m at 3 s a metre, a rule of thumb" in line for line in found["footing"])


def test_hose_and_thin_gas_hold_together() -> None:
    found = answer("challenge", asked(hose_m=2, regulator_l_min=0.3, pump_l_min=0.5))
    assert found["sensors"][1]["alarms"][0]["time_s"] == pytest.approx(15.0309, abs=1e-4)


def test_flows_hoses_and_vapours_that_stick_are_refused_together() -> None:
    told = faults(asked(hose_m=-1, hose_s_per_m=0, regulator_l_min=0, pump_l_min=-2))
    assert [line.split(" ")[0].rstrip(":") for line in told] == [
        "challenge.regulator_l_min",
        "challenge.pump_l_min",
        "challenge.hose_m",
        "challenge.hose_s_per_m",
    ]
    pentane = one(bead(gas="n-pentane"), [part("n-pentane", 0.75), part("oxygen", 18)], hose_m=3)
    assert "over 15 minutes where methane took seconds" in faults(pentane)[0]
    assert answer("challenge", {**pentane, "hose_m": 0})["hose_delay_s"] == 0


def test_equal_flows_and_a_demand_flow_regulator_change_nothing() -> None:
    plain = answer("challenge", asked())
    for changes in ({"regulator_l_min": 0.5, "pump_l_min": 0.5}, {"pump_l_min": 0.5}):
        found = answer("challenge", asked(**changes))
        assert (found["sensors"], found["problems"]) == (plain["sensors"], plain["problems"])
        assert len(found["cautions"]) == len(plain["cautions"]) + 1
