"""What one test showed: alarms, signals, checks, clean air, clearing, time of gas, footing."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.state import TESTS_KEPT, ChannelFact
from pitbird.fleet.state import TestFact as Bump
from pitbird.rules.decision import Verdict
from pitbird.rules.predicates.shown import judge_clean_air
from tests.rules.builders import (
    CO,
    CO2,
    DAILY,
    FOUR,
    H2S,
    O2,
    alarm,
    around,
    ask,
    changed,
    channel,
    detector,
    found,
    rule,
    rule_set,
    shown,
    spoiled,
    test_fact,
)


def _judge(
    predicate: dict[str, Any], test: Bump, channels: tuple[ChannelFact, ...] = FOUR
) -> tuple[str, Verdict]:
    decision = ask(detector(tests=(test,), channels=channels), around(rule_set(DAILY, predicate)))
    return found(decision, predicate["predicate"]).code, decision.verdict


YES, NO, DOUBT = Verdict.MAY_GO_OUT, Verdict.NOT_YET, Verdict.CANNOT_TELL
REPORTED_COUNTS = rule("footing-accepted", reported="counts")


@pytest.mark.parametrize(
    ("test", "reported", "expected"),
    [
        (test_fact(), "does-not-count", ("shown-and-recorded", YES)),
        (test_fact(footing="reported"), "does-not-count", ("report-not-accepted", NO)),
        (test_fact(footing="reported"), "counts", ("report-accepted", YES)),
        (test_fact(footing="reported", shown=(), cylinders=()), "counts", ("report-accepted", YES)),
        (test_fact(shown=()), "counts", ("no-gas-recorded", NO)),
        (test_fact(cylinders=()), "counts", ("no-gas-recorded", NO)),
        (test_fact(footing="heard"), "counts", ("footing-not-understood", DOUBT)),
        (
            test_fact(footing="reported", shown=(shown("CO", False),)),
            "counts",
            ("report-contradicts-itself", NO),
        ),
    ],
)
def test_a_bare_report_counts_only_where_the_rules_say_so(
    test: Bump, reported: str, expected: tuple[str, Verdict]
) -> None:
    assert _judge(rule("footing-accepted", reported=reported), test) == expected


ALARMS = rule("every-alarm-shown")


def test_every_channel_with_an_alarm_for_gas_must_have_reached_it() -> None:
    assert _judge(ALARMS, test_fact()) == ("every-alarm-shown", YES)
    without_co = test_fact(shown=tuple(shown(c) for c in ("LEL", "O2", "H2S")))
    assert _judge(ALARMS, without_co) == ("alarm-not-shown", NO)


def test_an_alarm_that_the_self_check_shows_needs_no_gas() -> None:
    self_checked = channel("CO", "carbon monoxide", alarm("low", "30", shown_by="self-check"))
    test = test_fact(shown=(shown("H2S"),))
    assert _judge(ALARMS, test, (self_checked, H2S)) == ("every-alarm-shown", YES)


def test_a_detector_none_of_whose_alarms_gas_shows_cannot_be_judged() -> None:
    silent = channel("CO", "carbon monoxide", alarm("twa", "20", shown_by="none"))
    assert _judge(ALARMS, test_fact(), (silent,)) == ("no-alarm-to-show", DOUBT)


@pytest.mark.parametrize(
    ("signals", "expected"),
    [
        ((("sound", "yes"), ("light", "yes"), ("vibration", "yes")), ("signals-seen", YES)),
        ((("sound", "yes"), ("light", "yes"), ("vibration", "no")), ("signal-not-seen", NO)),
        ((("sound", "yes"), ("light", "yes"), ("vibration", "not-fitted")), ("signal-not-seen", NO)),
        ((("sound", "yes"), ("light", "yes")), ("signal-not-seen", NO)),
        ((), ("signal-not-seen", NO)),
    ],
)
def test_each_signal_fitted_must_have_been_noticed(signals: Any, expected: tuple[str, Verdict]) -> None:
    assert _judge(rule("signals-seen"), test_fact(signals=signals)) == expected


def test_a_signal_that_is_not_fitted_is_not_asked_for() -> None:
    state = detector(
        signals=("sound", "light"), tests=(test_fact(signals=(("sound", "yes"), ("light", "yes"))),)
    )
    assert ask(state, around(rule_set(DAILY, rule("signals-seen")))).verdict is YES
    assert ask(changed(state, signals=()), around(rule_set(DAILY, rule("signals-seen")))).verdict is DOUBT


@pytest.mark.parametrize(
    ("checks", "expected"),
    [
        ((("battery", "yes"), ("inlets_clear", "yes")), ("checks-made", YES)),
        ((("battery", "yes"), ("inlets_clear", "no")), ("check-found-wrong", NO)),
        ((("battery", "yes"),), ("check-not-made", NO)),
        ((("inlets_clear", "no"),), ("check-found-wrong", NO)),
        ((), ("check-not-made", NO)),
    ],
)
def test_a_check_that_is_not_recorded_was_not_made(checks: Any, expected: tuple[str, Verdict]) -> None:
    assert (
        _judge(rule("checks-made", checks=["battery", "inlets_clear"]), test_fact(checks=checks)) == expected
    )


@pytest.mark.parametrize(
    ("cleared", "expected"),
    [
        ((("readings", "yes"), ("peaks", "yes")), ("cleared-after-test", YES)),
        ((("readings", "yes"), ("peaks", "no")), ("not-cleared", NO)),
        ((("readings", "yes"),), ("not-cleared", NO)),
    ],
)
def test_readings_and_peaks_are_brought_back_after_gas(cleared: Any, expected: tuple[str, Verdict]) -> None:
    predicate = rule("cleared-after-test", what=["readings", "peaks"])
    assert _judge(predicate, test_fact(cleared=cleared)) == expected


# --- clean air ------------------------------------------------------------

# Zero on toxic and flammable, 20.9 % vol on oxygen, carbon dioxide not zero: common practice, no source.
CLEAN_AIR = {
    "carbon monoxide at zero": (CO, "0", "yes"),
    "carbon monoxide within tolerance": (CO, "1", "yes"),
    "carbon monoxide off zero": (CO, "2", "no"),
    "carbon monoxide far below zero": (CO, "-2", "no"),
    "oxygen at 20.9": (O2, "20.9", "yes"),
    "oxygen within tolerance": (O2, "20.6", "yes"),
    "oxygen too low": (O2, "20.5", "no"),
    "oxygen too high": (O2, "21.3", "no"),
    "oxygen at zero": (O2, "0", "no"),
    "carbon dioxide as in clean air": (CO2, "0.04", "yes"),
    "carbon dioxide at zero": (CO2, "0", "no"),
    "carbon dioxide too high": (CO2, "0.09", "no"),
    "oxygen known by its principle": (changed(O2, gas="O2 deficiency"), "20.9", "yes"),
    "oxygen known by its name": (changed(O2, principle="electrochemical"), "20.9", "yes"),
    "no tolerance at all, at zero": (changed(CO, clean_air_tolerance="0"), "0", "yes"),
    "no tolerance at all, off zero": (changed(CO, clean_air_tolerance="0"), "0.1", "no"),
    "no number": (CO, "zero", "no"),
    "oxygen described as 19.5": (changed(O2, clean_air="19.5"), "19.5", "doubtful"),
    "carbon monoxide described as 5": (changed(CO, clean_air="5"), "5", "doubtful"),
    "carbon dioxide described as 0": (changed(CO2, clean_air="0"), "0.01", "doubtful"),
    "a tolerance that is no number": (changed(CO, clean_air_tolerance="some"), "0", "doubtful"),
    "a tolerance below zero": (changed(CO, clean_air_tolerance="-1"), "0", "doubtful"),
}


@pytest.mark.parametrize("case", CLEAN_AIR)
def test_readings_in_clean_air(case: str) -> None:
    described, reading, expected = CLEAN_AIR[case]
    judged = judge_clean_air(
        described.gas, described.principle, described.clean_air, described.clean_air_tolerance, reading
    )
    assert judged == expected


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ((("CO", "0", "yes"),), ("clean-air-right", YES)),
        ((("CO", None, "yes"),), ("clean-air-right", YES)),
        ((("CO", None, "no"),), ("clean-air-wrong", NO)),
        ((("CO", "0", "no"),), ("clean-air-wrong", NO)),
        ((("CO", "9", "yes"),), ("clean-air-wrong", NO)),
        ((("CO", "0", "yes"), ("CO", "9", "yes")), ("clean-air-wrong", NO)),
        ((("H2S", "0", "yes"),), ("clean-air-not-looked-at", NO)),
        ((), ("clean-air-not-looked-at", NO)),
    ],
)
def test_a_yes_beside_a_wrong_reading_does_not_help(said: Any, expected: tuple[str, Verdict]) -> None:
    test = test_fact(clean_air=said, shown=(shown("CO"),))
    assert _judge(rule("clean-air-right"), test, (CO,)) == expected


def test_a_description_that_does_not_fit_clean_air_cannot_be_judged() -> None:
    test = test_fact(clean_air=(("O2", "19.5", "yes"),), shown=(shown("O2"),))
    odd = (changed(O2, clean_air="19.5"),)
    assert _judge(rule("clean-air-right"), test, odd) == ("clean-air-value-doubtful", DOUBT)


# --- time of gas ------------------------------------------------------------

AT_LEAST, WITHIN = rule("gas-on-at-least", seconds=10), rule("gas-on-within", seconds=20)


@pytest.mark.parametrize(("seconds", "code"), [(9.9, "gas-on-too-short"), (10.0, "gas-on-long-enough")])
def test_gas_is_on_for_at_least_so_long(seconds: float, code: str) -> None:
    test = test_fact(shown=(*(shown(c.name) for c in FOUR[1:]), shown("LEL", gas_on_s=seconds)))
    assert _judge(AT_LEAST, test)[0] == code


# "No more than about 20 s of gas": common practice, no source.
@pytest.mark.parametrize(("seconds", "code"), [(20.0, "gas-on-short-enough"), (20.1, "gas-on-too-long")])
def test_gas_is_on_no_longer_than_so(seconds: float, code: str) -> None:
    test = test_fact(shown=tuple(shown(c.name, gas_on_s=seconds) for c in FOUR))
    assert _judge(WITHIN, test)[0] == code


@pytest.mark.parametrize("predicate", [AT_LEAST, WITHIN])
def test_a_time_that_is_no_number_does_not_pass(predicate: dict[str, Any]) -> None:
    test = test_fact(shown=tuple(shown(c.name, gas_on_s=float("nan")) for c in FOUR))
    assert _judge(predicate, test)[1] is NO
    assert _judge(predicate, test_fact(shown=(shown("XX"),)))[0] == "gas-on-not-recorded"


# --- attempts ------------------------------------------------------------

TWO_TRIES = around(rule_set(DAILY, rule("attempts-within", spoiled=2, hours=12)))


def test_two_spoiled_attempts_are_allowed_and_a_third_is_not() -> None:
    tries = [spoiled(f"2026-03-02 06:{10 + n}", f"sp-{n}") for n in range(3)]
    assert ask(detector(tests=(test_fact(), *tries[:2])), TWO_TRIES).verdict is YES
    decision = ask(detector(tests=(test_fact(), *tries)), TWO_TRIES)
    assert decision.verdict is NO
    assert dict(found(decision, "attempts-within").facts) == {"count": "3", "allowed": "2"}


def test_attempts_before_another_pass_or_long_ago_are_not_counted() -> None:
    earlier = (
        test_fact("2026-03-02 06:30", "test-0"),
        *(spoiled(f"2026-03-02 06:{10 + n}", f"sp-{n}") for n in range(3)),
    )
    assert ask(detector(tests=(test_fact(), *earlier)), TWO_TRIES).verdict is YES
    yesterday = tuple(spoiled(f"2026-03-01 06:{10 + n}", f"sp-{n}") for n in range(3))
    assert ask(detector(tests=(test_fact(), *yesterday)), TWO_TRIES).verdict is YES


def test_an_attempt_at_the_time_of_the_pass_or_just_within_the_hours_is_counted() -> None:
    at_once = (
        spoiled("2026-03-02 06:41", "sp-1"),
        *(spoiled(f"2026-03-02 06:1{n}", f"s-{n}") for n in range(2)),
    )
    assert ask(detector(tests=(test_fact(), *at_once)), TWO_TRIES).verdict is NO
    twelve_hours = tuple(spoiled("2026-03-01 18:41", f"sp-{n}") for n in range(3))
    assert ask(detector(tests=(test_fact(), *twelve_hours)), TWO_TRIES).verdict is NO


def test_attempts_after_the_pass_are_not_counted() -> None:
    later = tuple(spoiled(f"2026-03-02 07:{10 + n}", f"sp-{n}") for n in range(3))
    assert ask(detector(tests=(*later, test_fact())), TWO_TRIES).verdict is YES


def test_attempts_that_may_no_longer_be_kept_cannot_be_judged() -> None:
    later = tuple(spoiled(f"2026-03-02 07:{10 + n}", f"late-{n}") for n in range(TESTS_KEPT - 2))
    before = spoiled("2026-03-02 06:30", "sp-1")
    assert ask(detector(tests=(*later, test_fact(), before)), TWO_TRIES).verdict is DOUBT


def test_a_pass_after_too_many_attempts_does_not_count_but_an_earlier_one_does() -> None:
    tries = [spoiled(f"2026-03-02 06:{10 + n}", f"sp-{n}") for n in range(3)]
    decision = ask(detector(tests=(test_fact(), *tries, test_fact("2026-03-02 05:00", "test-0"))), TWO_TRIES)
    assert (decision.verdict, decision.test) == (YES, "test-0")


# --- bare reports ------------------------------------------------------------

DETAILS = [
    ALARMS,
    rule("signals-seen"),
    rule("checks-made", checks=["battery"]),
    rule("cleared-after-test", what=["peaks"]),
    rule("clean-air-right"),
    AT_LEAST,
    WITHIN,
    rule("cylinder-in-date"),
    rule("cylinder-above-minimum-pressure"),
    rule("cylinder-above-minimum-temperature", unknown_is="stops"),
    rule("cylinder-not-withdrawn"),
]
BARE = test_fact(
    footing="reported",
    shown=(),
    cylinders=(),
    signals=(),
    checks=(),
    clean_air=(),
    cleared=(),
    temperature_c=None,
)


@pytest.mark.parametrize("predicate", DETAILS, ids=[d["predicate"] for d in DETAILS])
def test_details_that_a_bare_report_lacks_are_not_asked_for(predicate: dict[str, Any]) -> None:
    decision = ask(detector(tests=(BARE,)), around(rule_set(DAILY, REPORTED_COUNTS, predicate)))
    assert (found(decision, predicate["predicate"]).code, decision.verdict) == ("bare-report", YES)


@pytest.mark.parametrize(
    ("predicate", "code"),
    [(ALARMS, "every-alarm-shown"), (rule("signals-seen"), "signals-seen"), (AT_LEAST, "gas-on-long-enough")],
)
def test_details_that_a_report_does_hold_are_judged(predicate: dict[str, Any], code: str) -> None:
    full = detector(tests=(test_fact(footing="reported"),))
    decision = ask(full, around(rule_set(DAILY, REPORTED_COUNTS, predicate)))
    assert found(decision, predicate["predicate"]).code == code


@pytest.mark.parametrize(
    ("against", "predicate"),
    [
        ({"signals": (("sound", "no"),)}, rule("signals-seen")),
        ({"checks": (("battery", "no"),)}, rule("checks-made", checks=["battery"])),
        ({"cleared": (("peaks", "no"),)}, rule("cleared-after-test", what=["peaks"])),
        ({"clean_air": (("CO", "9", "yes"),)}, rule("clean-air-right")),
        ({"shown": (shown("CO", gas_on_s=2.0),)}, AT_LEAST),
    ],
)
def test_what_speaks_against_a_bare_report_counts(against: dict[str, Any], predicate: dict[str, Any]) -> None:
    test = changed(BARE, **against)
    assert ask(detector(tests=(test,)), around(rule_set(DAILY, REPORTED_COUNTS, predicate))).verdict is NO
