"""Whether the gas of a test could set off what it had to: strength, time, probability, and methane."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.state import ChannelFact, ComponentFact, OtherGas
from pitbird.rules.decision import Finding, Verdict
from pitbird.rules.loading import load_shipped, shipped
from pitbird.rules.serving import serve
from tests.rules.builders import (
    CH4,
    CO,
    FOUR,
    H2S,
    alarm,
    around,
    ask,
    changed,
    channel,
    cylinder,
    detector,
    found,
    rule,
    rule_set,
    shown,
    test_fact,
)

DAILY = rule("gas-test-current", lasts="working-day")
CHALLENGE = rule("gas-sets-off-alarms", probability="0.95")
METHANE = rule("methane-shown-methane")
SLOW = tuple(changed(each, t90_s="30") for each in FOUR)


def mixture(**amounts: str) -> tuple[ComponentFact, ...]:
    normal = {"methane": "1.6", "oxygen": "16.2", "carbon monoxide": "120", "hydrogen sulfide": "20"}
    merged = {**normal, **{name.replace("_", " "): amount for name, amount in amounts.items()}}
    return tuple(
        ComponentFact(gas, amount, "ppm" if gas.split()[-1] in ("monoxide", "sulfide") else "vol_pct", "2")
        for gas, amount in merged.items()
        if amount
    )


def judged(
    what: Any = CHALLENGE,
    *,
    channels: tuple[ChannelFact, ...] = SLOW,
    components: tuple[ComponentFact, ...] | None = None,
    test: Any = None,
    subject: str = "cylinder:C-112",
) -> tuple[Finding, Verdict]:
    gas = cylinder(subject=subject, components=mixture() if components is None else components)
    around_it = around(rule_set(DAILY, what), cylinders=(gas,))
    decision = ask(detector(channels=channels, tests=(test or test_fact(),)), around_it)
    return found(decision, what["predicate"]), decision.verdict


YES, NO, DOUBT = Verdict.MAY_GO_OUT, Verdict.NOT_YET, Verdict.CANNOT_TELL


def test_gas_that_brings_every_alarm_in_time_is_right() -> None:
    finding, verdict = judged()
    assert (finding.code, verdict) == ("gas-sets-off-alarms", YES)


def test_gas_too_weak_for_an_alarm_cannot_bring_it_however_long_it_is_on() -> None:
    finding, verdict = judged(components=mixture(hydrogen_sulfide="9"))
    assert (finding.code, verdict) == ("alarm-out-of-reach", NO)
    assert dict(finding.facts)["channel"] == "H2S"


def test_gas_that_was_off_before_a_slow_sensor_gets_there_was_off_too_soon() -> None:
    # 20 ppm to the alarm at 10: t = t90 log10(20 / (20 - 10)) = 0.301 t90 (first-order response); the leanest
    # gas, 2 % less, takes 0.310 t90, that is 9.3 s of a t90 of 30 s
    just = tuple(shown(each.name, gas_on_s=9.99 if each.name == "H2S" else 30) for each in FOUR)
    short = tuple(shown(each.name, gas_on_s=9.0 if each.name == "H2S" else 30) for each in FOUR)
    assert judged(test=test_fact(shown=short))[0].code == "gas-off-too-soon"
    assert dict(judged(test=test_fact(shown=short))[0].facts)["needs"] == "9.3"
    # 9.99 s count as 9 whole seconds, which are not enough either
    assert judged(test=test_fact(shown=just))[0].code == "gas-off-too-soon"
    enough = tuple(shown(each.name, gas_on_s=10.0 if each.name == "H2S" else 30) for each in FOUR)
    assert judged(test=test_fact(shown=enough))[0].code == "gas-sets-off-alarms"


def test_a_channel_whose_response_time_is_not_known_cannot_be_judged() -> None:
    finding, verdict = judged(channels=FOUR)
    assert (finding.code, verdict) == ("alarm-not-judged", DOUBT)
    assert "t90" in dict(finding.facts)["why"]


def test_what_is_found_against_weighs_more_than_what_cannot_be_judged() -> None:
    mixed = (changed(CH4, t90_s=None), *SLOW[1:])
    assert judged(channels=mixed, components=mixture(carbon_monoxide="30"))[0].code == "alarm-out-of-reach"


def test_a_cylinder_that_is_not_known_and_gas_that_is_not_recorded() -> None:
    assert judged(subject="cylinder:C-999")[0].code == "cylinder-not-known"
    assert judged(test=test_fact(shown=(shown("XX"),)))[0].code == "gas-not-recorded"


def test_a_gas_that_only_crosses_over_sets_nothing_off() -> None:
    # hydrogen sulfide reads on a carbon monoxide channel too; by itself it proves nothing of it
    crossing = changed(SLOW[2], other_gases=(OtherGas("hydrogen sulfide", "20", "ppm", "200"),))
    served = serve(crossing, mixture(carbon_monoxide=""), "nitrogen", 60.0)
    assert served.found is not None
    assert served.found.reading.final == pytest.approx(200)
    assert served.found.reading.own == 0
    assert served.serves is False


def test_a_worked_reading_of_a_bead_takes_the_place_of_the_model() -> None:
    bead = changed(
        SLOW[0],
        gas="methane",
        other_gases=(OtherGas("propane", "50", "pct_lfl", "25"),),
    )
    # 0.85 % vol propane is half its LFL of 1.7 % (IEC 60079-20-1); by the worked reading the bead shows 25
    served = serve(
        bead,
        (ComponentFact("propane", "0.85", "vol_pct"), ComponentFact("oxygen", "18", "vol_pct")),
        "nitrogen",
        60.0,
    )
    assert served.found is not None
    assert served.found.reading.own == pytest.approx(25)


def test_a_fast_t90_that_is_slower_than_the_slow_one_is_not_believed() -> None:
    served = serve(changed(SLOW[3], t90_fast_s="90"), mixture(), "nitrogen", 30.0)
    assert served.found is not None
    assert served.found.sensor.t90_fast_s is None


def test_a_channel_without_an_alarm_that_gas_shows_is_served_by_anything() -> None:
    silent = channel("CO", "carbon monoxide", alarm("twa", "20", shown_by="none"), t90_s="30")
    served = serve(silent, mixture(), "nitrogen", 30.0)
    assert (served.serves, served.asked) == (True, None)


# --- methane ------------------------------------------------------------------------------------------------


def test_a_methane_bead_shown_another_gas_is_a_finding_and_one_shown_methane_is_not() -> None:
    finding, verdict = judged(METHANE, components=mixture(methane="", **{"n-pentane": "0.7"}))
    assert (finding.code, verdict) == ("methane-by-another-gas", NO)
    assert dict(finding.facts)["gas"] == "n-pentane"
    assert judged(METHANE)[0].code == "methane-shown-methane"


@pytest.mark.parametrize(
    "channels",
    [
        (SLOW[2], SLOW[3]),
        (changed(SLOW[0], principle="infrared"), *SLOW[1:]),
        (changed(SLOW[0], gas="n-pentane"), *SLOW[1:]),
    ],
)
def test_it_asks_about_catalytic_methane_channels_only(channels: tuple[ChannelFact, ...]) -> None:
    assert judged(METHANE, channels=channels)[0].code == "no-methane-channel"


def test_it_asks_for_what_was_recorded() -> None:
    assert judged(METHANE, subject="cylinder:C-999")[0].code == "cylinder-not-known"
    assert judged(METHANE, test=test_fact(shown=(shown("H2S"),)))[0].code == "gas-not-recorded"


@pytest.mark.parametrize("name", shipped())
def test_in_every_shipped_set_both_warn_and_do_not_stop(name: str) -> None:
    strengths = {each.predicate: each.strength for each in load_shipped(name).rules}
    assert strengths["gas-sets-off-alarms"] == strengths["methane-shown-methane"] == "warns"


def test_the_channels_of_these_tests_are_what_they_are_taken_for() -> None:
    assert [each.name for each in SLOW] == ["LEL", "O2", "CO", "H2S"]
    assert (CO.t90_s, H2S.t90_s) == (None, None)
