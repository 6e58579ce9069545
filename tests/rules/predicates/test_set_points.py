"""Whether an alarm comes before an exposure limit is passed."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.rules.decision import Finding, Verdict
from pitbird.rules.loading import load_shipped, parse_rules
from tests.rules.builders import (
    CO,
    CO2,
    H2S,
    alarm,
    around,
    ask,
    changed,
    channel,
    detector,
    found,
    rule,
    rule_set,
)

DAILY = rule("gas-test-current", lasts="working-day")


def judged(*channels: Any, limits: str = "osha-pel") -> tuple[Finding, Verdict]:
    decision = ask(
        detector(channels=channels), around(rule_set(DAILY, rule("alarms-within-limits", limits=limits)))
    )
    return found(decision, "alarms-within-limits"), decision.verdict


@pytest.mark.parametrize(
    ("low", "limits", "code"),
    [
        # 29 CFR 1910.1000 table Z-1: carbon monoxide 50 ppm over 8 hours
        ("50", "osha-pel", "alarms-within-limits"),
        ("51", "osha-pel", "alarm-above-limit"),
        # NIOSH Pocket Guide: 35 ppm over 10 (here 8) hours
        ("35", "niosh-rel", "alarms-within-limits"),
        ("36", "niosh-rel", "alarm-above-limit"),
        # Directive (EU) 2017/164: 20 ppm over 8 hours (from memory)
        ("21", "eu", "alarm-above-limit"),
    ],
)
def test_the_lowest_rising_alarm_stands_no_higher_than_the_lowest_limit(
    low: str, limits: str, code: str
) -> None:
    one = channel("CO", "carbon monoxide", alarm("low", low), alarm("high", "200"))
    assert judged(one, limits=limits)[0].code == code


def test_the_finding_says_the_limit_and_how_well_it_is_known() -> None:
    finding, verdict = judged(changed(H2S, alarms=(alarm("high", "25"),)))
    facts = dict(finding.facts)
    assert (facts["at"], facts["limit"]) == ("25", "ceiling 20 ppm, peak 50 ppm for 10 min")
    assert "read in the source" in facts["known"]
    assert verdict is Verdict.NOT_YET


def test_a_channel_in_percent_by_volume_is_held_against_ppm() -> None:
    # carbon dioxide: 5000 ppm over 8 hours is 0.5 % vol
    assert judged(CO2)[0].code == "alarms-within-limits"
    assert judged(changed(CO2, alarms=(alarm("low", "0.51"),)))[0].code == "alarm-above-limit"


def test_gases_without_a_limit_are_not_asked_about() -> None:
    flammable = channel("CH4", "methane", alarm("low", "10"), unit="pct_lfl", principle="catalytic")
    assert judged(flammable)[0].code == "no-limit-for-its-gases"
    assert judged(flammable, CO)[0].code == "alarms-within-limits"


def test_a_set_point_that_cannot_be_read_is_not_known() -> None:
    finding, verdict = judged(changed(CO, alarms=(alarm("low", "thirty"),)))
    assert (finding.code, verdict) == ("set-point-not-readable", Verdict.CANNOT_TELL)


def test_a_set_of_limits_that_is_none_is_refused_with_those_that_there_are() -> None:
    made, faults = parse_rules(
        {
            "id": "mine",
            "version": 1,
            "title": "Mine",
            "rule": [DAILY, rule("alarms-within-limits", limits="osha")],
        }
    )
    assert made is None
    assert "must be one of osha-pel, niosh-rel" in "".join(map(str, faults))


def test_the_us_set_only_warns() -> None:
    (shipped,) = [each for each in load_shipped("us").rules if each.predicate == "alarms-within-limits"]
    assert shipped.strength == "warns"


OWN = (
    "hydrogen sulfide: 8 h 1 ppm, 15 min 5 ppm (House rules, 2026)",
    "carbon dioxide: ceiling 1.5 % vol (House rules, 2026)",
)


@pytest.mark.parametrize(
    ("what", "code"),
    [
        (changed(H2S, alarms=(alarm("low", "1"),)), "alarms-within-limits"),
        (changed(H2S, alarms=(alarm("low", "1.1"),)), "alarm-above-limit"),
        # 1 % vol = 10 000 ppm
        (changed(CO2, alarms=(alarm("low", "1.5"),)), "alarms-within-limits"),
        (changed(CO2, alarms=(alarm("low", "1.6"),)), "alarm-above-limit"),
        (CO, "no-limit-for-its-gases"),
    ],
)
def test_a_site_writes_limits_of_its_own(what: Any, code: str) -> None:
    own = rule("alarms-within-limits", limits="own", own=list(OWN))
    finding = found(ask(detector(channels=(what,)), around(rule_set(DAILY, own))), "alarms-within-limits")
    assert finding.code == code
    if code == "alarm-above-limit":
        assert dict(finding.facts)["known"] == "House rules, 2026"


@pytest.mark.parametrize(
    ("parameters", "told"),
    [
        ({"limits": "own"}, "own is missing"),
        ({"limits": "eu", "own": list(OWN)}, "own stands only with limits = 'own'"),
        ({"limits": "own", "own": []}, "own must not be empty"),
        ({"limits": "own", "own": ["hydrogen sulfide 10 ppm"]}, "write it as"),
        (
            {"limits": "own", "own": ["swamp gas: 8 h 1 ppm (us)"]},
            "swamp gas is not a gas that is known here",
        ),
        ({"limits": "own", "own": ["ammonia: 8 h 0 ppm (us)"]}, "it is above 0"),
        ({"limits": "own", "own": ["ammonia: 8 h 1 ppm, 8 h 2 ppm (us)"]}, "two limits for 8 h"),
        ({"limits": "own", "own": ["ammonia: 8 h 14 mg/m3 (us)"]}, '"8 h 14 mg/m3" is no limit'),
    ],
)
def test_own_limits_that_say_nothing_are_refused_in_words(parameters: dict[str, Any], told: str) -> None:
    made, faults = parse_rules(
        {"id": "x", "version": 1, "title": "X", "rule": [rule("alarms-within-limits", **parameters)]}
    )
    assert made is None
    assert told in "\n".join(map(str, faults))


def test_of_two_lines_about_one_gas_the_stricter_holds() -> None:
    lines = ["ammonia: 8 h 25 ppm (A)", "ammonia: 8 h 20 ppm (B)"]
    own = rule("alarms-within-limits", limits="own", own=lines)
    unit = channel("NH3", "ammonia", alarm("low", "22"))
    finding = found(ask(detector(channels=(unit,)), around(rule_set(DAILY, own))), "alarms-within-limits")
    assert dict(finding.facts)["known"] == "B"
