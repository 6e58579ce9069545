"""Calibration: within so many days, in this shift, after what calls for a new one."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.state import EVENTS_KEPT, CalibrationFact, DetectorState
from pitbird.rules.decision import Verdict
from pitbird.rules.loading import load_shipped
from tests.rules.builders import (
    CO,
    DAILY,
    FOUR,
    H2S,
    around,
    ask,
    calibration,
    custody,
    detector,
    event,
    found,
    person,
    rule,
    rule_set,
    shown,
    t,
    test_fact,
    training,
)

YES, NO, DOUBT = Verdict.MAY_GO_OUT, Verdict.NOT_YET, Verdict.CANNOT_TELL


def _days(days: int = 31, gases: tuple[str, ...] = (), maker: str = "exempt") -> dict[str, Any]:
    return rule("calibrated-within-days", days=days, gases=list(gases), calibrated_by_maker=maker)


def _all(at: str, **other: Any) -> tuple[CalibrationFact, ...]:
    return tuple(calibration(c.name, at, **other) for c in FOUR)


def _judge(predicate: dict[str, Any], **changes: Any) -> tuple[str, Verdict]:
    decision = ask(detector(**changes), around(rule_set(DAILY, predicate)))
    return found(decision, predicate["predicate"]).code, decision.verdict


# Asked on 2 March at 09:00.
@pytest.mark.parametrize(
    ("calibrations", "expected"),
    [
        (_all("2026-02-20 10:00"), ("calibration-current", YES)),
        (_all("2026-01-30 09:01"), ("calibration-current", YES)),
        (_all("2026-01-30 09:00"), ("calibration-overdue", NO)),
        (
            (*_all("2026-02-20 10:00")[1:], calibration("LEL", "2026-01-01 10:00")),
            ("calibration-overdue", NO),
        ),
        (_all("2026-02-20 10:00")[1:], ("never-calibrated", NO)),
        ((), ("never-calibrated", NO)),
        (_all("2026-02-20 10:00", passed=False), ("calibration-failed", NO)),
        (_all("2026-03-02 10:00"), ("only-later-calibration-kept", DOUBT)),
    ],
)
def test_every_channel_was_calibrated_within_so_many_days(
    calibrations: tuple[CalibrationFact, ...], expected: tuple[str, Verdict]
) -> None:
    assert _judge(_days(), calibrations=calibrations) == expected


def test_only_channels_of_the_gases_named_are_asked_for() -> None:
    only_methane = (calibration("LEL"),)
    assert _judge(_days(gases=("methane",)), calibrations=only_methane) == ("calibration-current", YES)
    assert _judge(_days(gases=("CH4",)), calibrations=only_methane) == ("calibration-current", YES)
    assert _judge(_days(gases=("methane", "oxygen")), calibrations=only_methane) == ("never-calibrated", NO)
    assert _judge(_days(gases=("ammonia",)), calibrations=()) == ("no-such-channel", YES)


def test_what_only_its_maker_can_calibrate_is_left_out_where_the_rules_say_so() -> None:
    assert _judge(_days(), calibrations=(), maker_calibrates=True) == ("maker-calibrates", YES)
    assert _judge(_days(maker="not-exempt"), calibrations=(), maker_calibrates=True) == (
        "never-calibrated",
        NO,
    )


SHIFT = rule("calibrated-this-shift", gases=["oxygen"], calibrated_by_maker="not-exempt")


@pytest.mark.parametrize(
    ("calibrations", "zone", "expected"),
    [
        ((calibration("O2", "2026-03-02 06:00"),), "Europe/Lisbon", ("calibrated-this-shift", YES)),
        ((calibration("O2", "2026-03-02 03:59"),), "Europe/Lisbon", ("not-calibrated-this-shift", NO)),
        ((), "Europe/Lisbon", ("never-calibrated", NO)),
        ((calibration("O2", "2026-03-02 06:00"),), None, ("no-site-clock", DOUBT)),
    ],
)
def test_oxygen_was_calibrated_in_this_shift(
    calibrations: tuple[CalibrationFact, ...], zone: str | None, expected: tuple[str, Verdict]
) -> None:
    rules = rule_set(rule("gas-test-within-days", days=30), SHIFT)
    decision = ask(detector(calibrations=calibrations), around(rules, zone=zone))
    assert (found(decision, "calibrated-this-shift").code, decision.verdict) == expected


def test_shift_rules_leave_out_makers_calibration_and_other_channels_where_they_say_so() -> None:
    exempt = rule("calibrated-this-shift", gases=["oxygen"], calibrated_by_maker="exempt")
    assert _judge(exempt, calibrations=(), maker_calibrates=True) == ("maker-calibrates", YES)
    assert _judge(SHIFT, calibrations=(), channels=(CO, H2S)) == ("no-such-channel", YES)


SINCE = rule("calibrated-since", events=["sensor-changed"], calibrated_by_maker="exempt")


@pytest.mark.parametrize(
    ("events", "calibrated", "expected"),
    [
        ((), "2026-02-20 10:00", ("calibrated-since", YES)),
        ((event("drop", "2026-02-25 10:00"),), "2026-02-20 10:00", ("calibrated-since", YES)),
        ((event("sensor-changed", "2026-02-19 10:00"),), "2026-02-20 10:00", ("calibrated-since", YES)),
        ((event("sensor-changed", "2026-02-20 10:00"),), "2026-02-20 10:00", ("not-calibrated-since", NO)),
        ((event("sensor-changed", "2026-02-25 10:00"),), "2026-02-20 10:00", ("not-calibrated-since", NO)),
        ((event("sensor-changed", "2026-03-02 10:00"),), "2026-02-20 10:00", ("calibrated-since", YES)),
    ],
)
def test_a_new_sensor_calls_for_a_calibration(
    events: Any, calibrated: str, expected: tuple[str, Verdict]
) -> None:
    assert _judge(SINCE, events=events, calibrations=_all(calibrated)) == expected


def test_every_channel_is_calibrated_after_a_new_sensor_since_an_event_names_none() -> None:
    changes = {"events": (event("sensor-changed", "2026-02-19 10:00"),)}
    assert _judge(SINCE, calibrations=_all("2026-02-20 10:00")[1:], **changes) == ("never-calibrated", NO)
    assert _judge(SINCE, calibrations=(), maker_calibrates=True, **changes) == ("maker-calibrates", YES)


def test_a_full_list_of_events_may_have_lost_a_new_sensor() -> None:
    events = tuple(event("drop", f"2026-02-21 10:{59 - n:02d}") for n in range(EVENTS_KEPT))
    assert _judge(SINCE, events=events, calibrations=_all("2026-02-20 10:00")) == (
        "events-no-longer-kept",
        DOUBT,
    )
    assert _judge(SINCE, events=events, calibrations=_all("2026-02-22 10:00")) == ("calibrated-since", YES)


# --- 30 CFR 75.320 ------------------------------------------------------------

MINE = around(
    load_shipped("mining"),
    change_overs=("06:00", "14:00", "22:00"),
    people=(person(trainings=(training("bump-test", "2025-03-02 09:00", None),)),),
)


def _in_the_mine(methane: str, oxygen: str, tested: str, asked: str) -> Any:
    state = detector(
        calibrations=(calibration("LEL", methane), calibration("O2", oxygen, entry="cal-2")),
        tests=(test_fact(tested, shown=tuple(shown(c.name) for c in FOUR)),),
    )
    return ask(state, MINE, at=asked)


def test_30_cfr_75_320_a_methane_is_calibrated_at_least_once_every_31_days() -> None:
    """30 CFR 75.320(a): calibrated with a known methane-air mixture at least once every 31 days."""
    on_time = _in_the_mine("2026-01-30 08:00", "2026-03-02 06:10", "2026-03-02 06:41", "2026-03-02 07:59")
    assert on_time.verdict is YES
    assert (on_time.until, on_time.until_because) == (t("2026-03-02 08:00"), "methane-31-days")
    late = _in_the_mine("2026-01-30 08:00", "2026-03-02 06:10", "2026-03-02 06:41", "2026-03-02 08:00")
    assert late.verdict is NO
    assert late.decisive is not None
    assert (late.decisive.rule, late.decisive.code) == ("methane-31-days", "calibration-overdue")
    assert late.decisive.source.startswith("30 CFR 75.320(a)")


def test_30_cfr_75_320_b_oxygen_is_calibrated_at_the_start_of_each_shift() -> None:
    """30 CFR 75.320(b): calibrated at the start of each shift in which the detector is used."""
    this_shift = _in_the_mine("2026-02-20 08:00", "2026-03-02 06:10", "2026-03-02 06:41", "2026-03-02 09:00")
    assert (this_shift.verdict, this_shift.until) == (YES, t("2026-03-02 14:00"))
    last_shift = _in_the_mine("2026-02-20 08:00", "2026-03-02 05:59", "2026-03-02 06:41", "2026-03-02 09:00")
    assert last_shift.verdict is NO
    assert last_shift.decisive is not None
    assert last_shift.decisive.rule == "oxygen-each-shift"


# --- calibrated-since-use -----------------------------------------------------

SINCE_USE = rule("calibrated-since-use", calibrated_by_maker="exempt")
BACK = "2026-02-20 10:00"  # exactly when it was calibrated


@pytest.mark.parametrize(
    ("state", "code"),
    [
        (detector(), "calibrated-since-use"),
        (detector(custody=custody(None, "2026-02-20 09:59")), "calibrated-since-use"),
        (detector(custody=custody(None, BACK)), "not-calibrated-since-use"),
        (detector(custody=custody(None, "2026-03-01 10:00")), "not-calibrated-since-use"),
        (detector(custody=custody("person:P-12", "2026-02-10 10:00")), "in-use"),
        (detector(events=(event("alarm-in-use", "2026-03-01 10:00"),)), "not-calibrated-since-use"),
        (detector(calibrations=()), "never-calibrated"),
        (detector(calibrations=tuple(calibration(c.name) for c in FOUR[1:])), "never-calibrated"),
        (detector(calibrations=(), maker_calibrates=True), "maker-calibrates"),
    ],
)
def test_after_use_every_channel_is_calibrated(state: DetectorState, code: str) -> None:
    """DGUV FBFHB-020 (24 Jul 2020): full function control after each use or drill; that it is a calibration
    is our reading, to the careful side."""
    assert found(ask(state, around(rule_set(DAILY, SINCE_USE))), "calibrated-since-use").code == code


def test_one_channel_calibrated_after_use_is_not_all_of_them() -> None:
    back = custody(None, "2026-03-01 10:00")
    after = tuple(calibration(c.name, "2026-03-01 12:00") for c in FOUR)
    whole = detector(custody=back, calibrations=after)
    part = detector(custody=back, calibrations=(*after[1:], calibration(FOUR[0].name)))
    rules = around(rule_set(DAILY, SINCE_USE))
    assert ask(whole, rules).verdict is Verdict.MAY_GO_OUT
    assert ask(part, rules).verdict is Verdict.NOT_YET


def test_events_that_are_not_all_kept_leave_a_use_since_the_calibration_open() -> None:
    many = tuple(event("fresh-air-set", "2026-03-01 07:00") for _ in range(EVENTS_KEPT))
    decision = ask(detector(events=many), around(rule_set(DAILY, SINCE_USE)))
    assert found(decision, "calibrated-since-use").code == "events-no-longer-kept"
