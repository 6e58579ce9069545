"""What reached the sensors: a regulator that gives less than a pump draws, a hose, and the label's scale."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.state import ComponentFact, OtherState
from pitbird.rules.decision import Finding, Verdict
from pitbird.rules.loading import load_shipped, shipped
from pitbird.rules.words import sentence
from tests.rules.builders import (
    CH4,
    FOUR,
    around,
    ask,
    changed,
    channel,
    cylinder,
    detector,
    found,
    regulator,
    rule,
    rule_set,
    shown,
    t,
    test_fact,
)

DAILY = rule("gas-test-current", lasts="working-day")
FLOW = rule("regulator-gives-enough", "warns")
BASIS = rule("lfl-basis-agrees", "warns")
CHALLENGE = rule("gas-sets-off-alarms", probability="0.95")
LONG = rule("gas-on-at-least", seconds=20)
SLOW = tuple(changed(each, t90_s="30") for each in FOUR)
QUAD = (
    ComponentFact("methane", "1.6", "vol_pct", "2"),
    ComponentFact("oxygen", "16.2", "vol_pct", "2"),
    ComponentFact("carbon monoxide", "120", "ppm", "2"),
    ComponentFact("hydrogen sulfide", "20", "ppm", "2"),
)
FIXED = regulator(flow="fixed", flow_l_min="0.3")


def judged(
    what: dict[str, Any],
    *,
    fitted: OtherState | None = FIXED,
    pump: str | None = "0.5",
    draws: str = "pump",
    test: Any = None,
    **gas: Any,
) -> Finding:
    bottle = cylinder(**{"components": QUAD, "regulator": "regulator:R-03", **gas})
    regulators = {fitted.subject: fitted} if fitted else {}
    surroundings = around(rule_set(DAILY, what), cylinders=(bottle,), regulators=regulators)
    unit = detector(channels=SLOW, draws=draws, pump_l_min=pump, tests=(test or test_fact(),))
    return found(ask(unit, surroundings), what["predicate"])


def test_what_reaches_the_sensor_of_a_pump_that_draws_more_than_the_regulator_gives() -> None:
    # Conservation of amount: 0.3 L/min of gas and 0.2 L/min of air are 60 % gas; 1.6 % vol becomes 0.96.
    finding = judged(FLOW)
    facts = dict(finding.facts)
    assert (finding.code, finding.strength) == ("gas-thinned", "warns")
    assert (facts["given"], facts["drawn"], facts["share"]) == ("0.3", "0.5", "60")
    told = sentence(finding, zone="Europe/Lisbon", gettext=str)
    assert "60 % of what reaches the sensor is test gas (methane: 0.96 of 1.6 % vol)" in told


@pytest.mark.parametrize(
    ("fitted", "pump", "draws", "code"),
    [
        (regulator(flow="fixed", flow_l_min="0.5"), "0.5", "pump", "regulator-gives-enough"),
        (regulator(flow="demand"), None, "pump", "regulator-gives-enough"),
        (FIXED, None, "diffusion", "no-pump"),
        (FIXED, None, "pump", "pump-not-described"),
        (None, "0.5", "pump", "regulator-not-known"),
        (regulator("regulator:R-99", flow="fixed", flow_l_min="0.5"), "0.5", "pump", "regulator-not-known"),
    ],
)
def test_enough_gas_no_pump_and_what_is_not_known(
    fitted: OtherState | None, pump: str | None, draws: str, code: str
) -> None:
    assert judged(FLOW, fitted=fitted, pump=pump, draws=draws).code == code


def test_the_regulator_of_the_test_comes_before_that_of_the_cylinder() -> None:
    on = tuple(shown(each.name, regulator="regulator:R-03") for each in FOUR)
    assert judged(FLOW, test=test_fact(shown=on), regulator="regulator:R-04").code == "gas-thinned"
    assert judged(FLOW, regulator="regulator:R-04").code == "regulator-not-known"


def test_a_cylinder_opened_anew_after_the_test_does_not_tell_which_regulator_was_on_it_then() -> None:
    assert judged(FLOW, opened_at=t("2026-03-02 06:00")).code == "gas-thinned"
    assert judged(FLOW, opened_at=t("2026-03-02 07:00")).code == "regulator-not-known"


def test_thinned_gas_is_judged_as_it_reaches_the_sensors() -> None:
    enough = regulator(flow="fixed", flow_l_min="0.5")
    assert judged(CHALLENGE, fitted=enough).code == "gas-sets-off-alarms"
    finding = judged(CHALLENGE, fitted=regulator(flow="fixed", flow_l_min="0.2"))
    # 40 % of 16.2 with 60 % of 20.9: oxygen comes down to 19.0 % vol only, above the alarm at 18.
    assert (finding.code, dict(finding.facts)["channel"]) == ("alarm-out-of-reach", "LEL")


def test_a_hose_takes_its_time_from_the_gas() -> None:
    # 3 s a metre (summary of HSE CEMHD1-2020): 4 m take 12 s of the 22 s of gas.
    hose = regulator(flow="demand", hose_m="4")
    assert judged(LONG, fitted=regulator(flow="demand")).code == "gas-on-long-enough"
    finding = judged(LONG, fitted=hose)
    assert (finding.code, dict(finding.facts)["hose"]) == ("gas-on-too-short-for-hose", "12")
    assert judged(LONG, fitted=regulator(flow="demand", hose_m="4", hose_s_per_m="0.5")).code == (
        "gas-on-long-enough"
    )
    late = judged(CHALLENGE, fitted=regulator(flow="demand", hose_m="6"))
    assert late.code == "gas-off-too-soon"


def test_a_vapour_that_sticks_to_a_hose_cannot_be_judged() -> None:
    pentane = channel(
        "LEL", "n-pentane", *CH4.alarms, principle="catalytic", unit="pct_lfl", range_high="100",
        lfl_basis="nfpa-497", t90_s="30",
    )  # fmt: skip
    gas = cylinder(
        regulator="regulator:R-03",
        components=(ComponentFact("n-pentane", "0.75", "vol_pct"), ComponentFact("oxygen", "18", "vol_pct")),
    )
    hose = regulator(flow="demand", hose_m="3")
    surroundings = around(rule_set(DAILY, CHALLENGE), cylinders=(gas,), regulators={hose.subject: hose})
    unit = detector(channels=(pentane,), tests=(test_fact(shown=(shown("LEL"),)),))
    decision = ask(unit, surroundings)
    finding = found(decision, "gas-sets-off-alarms")
    assert (finding.code, decision.verdict) == ("alarm-not-judged", Verdict.CANNOT_TELL)
    assert "15 minutes where methane took seconds" in dict(finding.facts)["why"]


def labelled(share: str | None, limit: str | None, amount: str = "2.2") -> Finding:
    gas = ComponentFact("methane", amount, "vol_pct", "2", share, limit)
    american = changed(CH4, lfl_basis="nfpa-497")
    surroundings = around(rule_set(DAILY, BASIS), cylinders=(cylinder(components=(gas,)),))
    unit = detector(channels=(american,), tests=(test_fact(shown=(shown("LEL"),)),))
    return found(ask(unit, surroundings), "lfl-basis-agrees")


@pytest.mark.parametrize(("share", "limit"), [("50", None), ("50", "4.4"), (None, "4.4")])
def test_a_label_on_another_basis_than_the_detectors_does_not_read_as_labelled(
    share: str | None, limit: str | None
) -> None:
    # IEC 60079-20-1:2010, methane 4.4 % vol; NFPA 497:2008, 5.0 % vol: 2.2 % vol is 50 and 44 %LFL.
    finding = labelled(share, limit)
    facts = dict(finding.facts)
    assert (finding.code, finding.strength) == ("lfl-basis-differs", "warns")
    assert [facts[name] for name in ("on_label", "label_lfl", "own_lfl", "reads")] == ["50", "4.4", "5", "44"]
    assert "a healthy one reads 44 %LFL" in sentence(finding, zone="Europe/Lisbon", gettext=str)


def test_the_same_basis_a_rounded_label_and_no_label_at_all() -> None:
    assert labelled("44", "5.0").code == "lfl-basis-agrees"
    assert labelled("50", None, "2.48").code == "lfl-basis-agrees"  # 4.96: a label rounds
    assert labelled(None, None).code == "no-lfl-on-label"


def test_the_shipped_rules_warn_of_flow_and_basis() -> None:
    for name in shipped():
        strengths = {each.predicate: each.strength for each in load_shipped(name).rules}
        assert strengths["regulator-gives-enough"] == strengths["lfl-basis-agrees"] == "warns"
