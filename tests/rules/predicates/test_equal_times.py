"""At equal times the fail wins, and what is dated at the very moment of deciding is used."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.state import EVENTS_KEPT, DetectorState, FailureFact, UntestedIssue
from pitbird.rules.decision import Surroundings, Verdict
from tests.rules.builders import (
    CO,
    DAILY,
    FOUR,
    NOW,
    around,
    ask,
    calibration,
    changed,
    custody,
    cylinder,
    detector,
    event,
    failure,
    found,
    gauge,
    rule,
    rule_set,
    shown,
    t,
    test_fact,
)

ALL = ["calibration", "repaired", "sensor-changed"]
RETURNED = around(rule_set(DAILY, rule("returned-properly", remedies=ALL)))
SINCE = around(rule_set(DAILY, rule("calibrated-since", events=["drop"], calibrated_by_maker="exempt")))
HANDED = around(rule_set(DAILY, rule("tested-since-hand-over")))


def _failed(at: str, answered_at: str | None, **other: Any) -> FailureFact:
    return failure(at, "H2S", answered_by="ret-1", answered_at=answered_at, cause="drifted", **other)


def _repaired(at: str) -> dict[str, Any]:
    return {"repairs": (event("repaired", at),)}


def _calibrated(at: str) -> dict[str, Any]:
    return {"calibrations": (calibration("H2S", at),)}


EARLY = "2026-03-01 10:00"
ANSWERED = _failed(EARLY, "2026-03-01 16:00")

# Asked at 09:00; the pass was at 06:41.
CASES: dict[str, tuple[DetectorState, Surroundings, str, str]] = {
    "answered at the moment is answered": (
        detector(last_failure=_failed(EARLY, NOW), **_repaired("2026-03-01 12:00")),
        RETURNED, "returned-properly", "failure-mended-and-tested",
    ),
    "answered by nobody is not answered": (
        detector(last_failure=changed(ANSWERED, answered_by=None), **_repaired("2026-03-01 12:00")),
        RETURNED, "returned-properly", "failure-not-answered",
    ),
    "answered at no time is not answered": (
        detector(last_failure=changed(ANSWERED, answered_at=None), **_repaired("2026-03-01 12:00")),
        RETURNED, "returned-properly", "failure-not-answered",
    ),
    "a failure at the moment is used": (
        detector(last_failure=_failed(NOW, "2026-03-02 10:00")),
        RETURNED, "returned-properly", "failure-not-answered",
    ),
    "a failure dated later and answered at the moment is used": (
        detector(last_failure=_failed("2026-03-02 10:00", NOW)),
        RETURNED, "returned-properly", "not-mended-since-failure",
    ),
    "a repair as it failed is none since": (
        detector(last_failure=ANSWERED, **_repaired(EARLY)),
        RETURNED, "returned-properly", "not-mended-since-failure",
    ),
    "a repair at the moment is used": (
        detector(last_failure=ANSWERED, **_repaired(NOW)),
        RETURNED, "returned-properly", "no-pass-since-mending",
    ),
    "a repair after the moment is not used": (
        detector(last_failure=ANSWERED, **_repaired("2026-03-02 09:01")),
        RETURNED, "returned-properly", "not-mended-since-failure",
    ),
    "a calibration as it failed is none since": (
        detector(last_failure=ANSWERED, **_calibrated(EARLY)),
        RETURNED, "returned-properly", "not-mended-since-failure",
    ),
    "a calibration at the moment is used": (
        detector(last_failure=ANSWERED, **_calibrated(NOW)),
        RETURNED, "returned-properly", "no-pass-since-mending",
    ),
    "a pass as it was mended is none since": (
        detector(last_failure=ANSWERED, **_repaired("2026-03-02 06:41")),
        RETURNED, "returned-properly", "no-pass-since-mending",
    ),
    "nor is one that cannot be judged": (
        detector(
            last_failure=ANSWERED, tests=(test_fact(outcome="fine"),), **_repaired("2026-03-02 06:41")
        ),
        RETURNED, "returned-properly", "no-pass-since-mending",
    ),
    "a calibration at the moment counts": (
        detector(events=(event("drop", EARLY),), calibrations=tuple(calibration(c.name, NOW) for c in FOUR)),
        SINCE, "calibrated-since", "calibrated-since",
    ),
    "an event at the moment counts": (
        detector(events=(event("drop", NOW),)), SINCE, "calibrated-since", "not-calibrated-since",
    ),
    "a hand-over at the moment counts": (
        detector(custody=custody("person:P-12", NOW, NOW)),
        HANDED, "tested-since-hand-over", "handed-over-since-test",
    ),
    "an issue without a test at the moment is in force": (
        detector(untested=UntestedIssue("i", t(NOW), "person:P-12", "person:P-01", t("2026-03-02 10:00"))),
        HANDED, "untested-issue-noted", "issued-untested",
    ),
    "a reading of the gauge at the test counts": (
        detector(tests=(test_fact(shown=tuple(shown(c.name, gauge_bar=None) for c in FOUR), checks=()),)),
        around(
            rule_set(DAILY, rule("cylinder-above-minimum-pressure")),
            cylinders=(cylinder(gauges=(gauge("2026-03-02 06:41", "40"),)),),
        ),
        "cylinder-above-minimum-pressure", "pressure-enough",
    ),
    "of two readings of the gauge at once the lower counts": (
        detector(tests=(test_fact(shown=tuple(shown(c.name, gauge_bar=None) for c in FOUR), checks=()),)),
        around(
            rule_set(DAILY, rule("cylinder-above-minimum-pressure")),
            cylinders=(cylinder(gauges=(gauge(EARLY, "40"), gauge(EARLY, "1"))),),
        ),
        "cylinder-above-minimum-pressure", "pressure-too-low",
    ),
    "a full list of events that reaches just to the test may have lost one": (
        detector(events=tuple(event("water", "2026-03-02 06:41") for _ in range(EVENTS_KEPT))),
        around(rule_set(DAILY, rule("no-event-since-test", events=["drop"]))),
        "no-event-since-test", "events-no-longer-kept",
    ),
    "a calibration as old as the oldest event kept may have a lost one after it": (
        detector(events=tuple(event("water", "2026-02-20 10:00") for _ in range(EVENTS_KEPT))),
        SINCE, "calibrated-since", "events-no-longer-kept",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_at_equal_times(case: str) -> None:
    state, surroundings, predicate, code = CASES[case]
    assert found(ask(state, surroundings), predicate).code == code


def test_a_holder_from_the_very_moment_on_holds_it() -> None:
    held = detector(custody=custody("person:P-12", NOW))
    decision = ask(held, HANDED, wearer="person:P-13")
    assert found(decision, "tested-since-hand-over").code == "held-by-another"


def test_a_shift_of_calibration_ends_with_its_last_millisecond() -> None:
    only = rule("calibrated-this-shift", gases=["oxygen"], calibrated_by_maker="exempt")
    surroundings = around(rule_set(DAILY, only), change_overs=("06:00", "14:00"))
    state = detector(calibrations=(calibration("O2", "2026-03-02 06:30"),))
    assert ask(state, surroundings, at="2026-03-02 13:59").verdict is Verdict.MAY_GO_OUT
    assert ask(state, surroundings, at="2026-03-02 14:00").verdict is Verdict.NOT_YET


def test_a_pass_that_cannot_be_judged_has_ended_at_its_end() -> None:
    decision = ask(detector(), around(cylinders=()), at="2026-03-03 04:00")
    assert found(decision, "gas-test-current").code == "no-pass-that-counts"


def test_a_channel_without_alarms_is_not_described() -> None:
    assert ask(detector(channels=(changed(CO, alarms=()),))).findings[0].code == "detector-without-channels"
