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
