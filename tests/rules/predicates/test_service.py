"""The detector itself: in service, come back properly after a failure, not at its end."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.rules.decision import Verdict
from tests.rules.builders import (
    DAILY,
    FOUR,
    O2,
    around,
    ask,
    calibration,
    changed,
    custody,
    detector,
    event,
    failure,
    found,
    reason,
    rule,
    rule_set,
    t,
    test_fact,
)

RETURN = around(
    rule_set(DAILY, rule("returned-properly", remedies=["calibration", "repaired", "sensor-changed"]))
)
ONLY_CALIBRATION = around(rule_set(DAILY, rule("returned-properly", remedies=["calibration"])))
ANSWERED = {"answered_by": "ret-1", "answered_at": "2026-03-01 16:00", "cause": "sensor-worn"}
REPAIRED = (event("repaired", "2026-03-01 12:00", "rep-1"),)

# The failure is always on 1 March at 10:00, the pass on 2 March at 06:41.
AFTER_A_FAILURE: dict[str, tuple[dict[str, Any], str, Verdict]] = {
    "nothing failed": ({}, "no-failure", Verdict.MAY_GO_OUT),
    "answered, repaired, passed": (
        {"last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED), "repairs": REPAIRED},
        "failure-mended-and-tested",
        Verdict.MAY_GO_OUT,
    ),
    "not answered": (
        {"last_failure": failure("2026-03-01 10:00", "H2S"), "repairs": REPAIRED},
        "failure-not-answered",
        Verdict.NOT_YET,
    ),
    "answered later": (
        {
            "last_failure": failure("2026-03-01 10:00", **{**ANSWERED, "answered_at": "2026-03-02 10:00"}),
            "repairs": REPAIRED,
        },
        "failure-not-answered",
        Verdict.NOT_YET,
    ),
    "no cause": (
        {"last_failure": failure("2026-03-01 10:00", **{**ANSWERED, "cause": None}), "repairs": REPAIRED},
        "cause-not-named",
        Verdict.NOT_YET,
    ),
    "never mended": (
        {"last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED)},
        "not-mended-since-failure",
        Verdict.NOT_YET,
    ),
    "mended before it failed": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "repairs": (event("repaired", "2026-03-01 09:00"),),
        },
        "not-mended-since-failure",
        Verdict.NOT_YET,
    ),
    "mended after the pass": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "repairs": (event("repaired", "2026-03-02 08:00"),),
        },
        "no-pass-since-mending",
        Verdict.NOT_YET,
    ),
    "sensor changed": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "repairs": (event("sensor-changed", "2026-03-01 12:00"),),
        },
        "failure-mended-and-tested",
        Verdict.MAY_GO_OUT,
    ),
    "the failed channel calibrated": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "calibrations": (calibration("H2S", "2026-03-01 12:00"),),
        },
        "failure-mended-and-tested",
        Verdict.MAY_GO_OUT,
    ),
    "another channel calibrated": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "calibrations": (calibration("CO", "2026-03-01 12:00"),),
        },
        "not-mended-since-failure",
        Verdict.NOT_YET,
    ),
    "calibrated without success": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "calibrations": (calibration("H2S", "2026-03-01 12:00", passed=False),),
        },
        "not-mended-since-failure",
        Verdict.NOT_YET,
    ),
    "no channel named, one calibrated": (
        {
            "last_failure": failure("2026-03-01 10:00", **ANSWERED),
            "calibrations": (calibration("H2S", "2026-03-01 12:00"),),
        },
        "not-mended-since-failure",
        Verdict.NOT_YET,
    ),
    "no channel named, all calibrated": (
        {
            "last_failure": failure("2026-03-01 10:00", **ANSWERED),
            "calibrations": tuple(calibration(c.name, "2026-03-01 12:00") for c in FOUR),
        },
        "failure-mended-and-tested",
        Verdict.MAY_GO_OUT,
    ),
    "the pass cannot be judged": (
        {
            "last_failure": failure("2026-03-01 10:00", "H2S", **ANSWERED),
            "repairs": REPAIRED,
            "tests": (test_fact(outcome="fine"),),
        },
        "pass-since-mending-cannot-be-judged",
        Verdict.CANNOT_TELL,
    ),
}


@pytest.mark.parametrize("case", AFTER_A_FAILURE)
def test_the_way_back_after_a_failure(case: str) -> None:
    changes, code, verdict = AFTER_A_FAILURE[case]
    decision = ask(detector(**changes), RETURN)
    assert (found(decision, "returned-properly").code, decision.verdict) == (code, verdict)


def test_where_only_calibration_mends_a_repair_does_not() -> None:
    """OSHA SHIB 09-30-2013 (quoted): what fails a bump test is fully calibrated before use."""
    repaired = detector(last_failure=failure("2026-03-01 10:00", "H2S", **ANSWERED), repairs=REPAIRED)
    assert ask(repaired, ONLY_CALIBRATION).verdict is Verdict.NOT_YET
    both = changed(repaired, calibrations=(calibration("H2S", "2026-03-01 13:00"),))
    assert ask(both, ONLY_CALIBRATION).verdict is Verdict.MAY_GO_OUT


def test_a_sensor_changed_is_no_repair_where_only_repairs_count() -> None:
    surroundings = around(rule_set(DAILY, rule("returned-properly", remedies=["repaired"])))
    state = detector(
        last_failure=failure("2026-03-01 10:00", "H2S", **ANSWERED),
        repairs=(event("sensor-changed", "2026-03-01 12:00"),),
    )
    assert ask(state, surroundings).verdict is Verdict.NOT_YET


def test_what_only_ends_a_pass_is_no_mending() -> None:
    """A repair by a clock that cannot be right stands among the events alone."""
    told = (event("repaired", "2026-03-01 12:00"), event("sensor-changed", "2026-03-01 12:10"))
    state = detector(last_failure=failure("2026-03-01 10:00", "H2S", **ANSWERED), events=told)
    assert found(ask(state, RETURN), "returned-properly").code == "not-mended-since-failure"


def test_out_of_service_names_the_newest_reason_the_oldest_time_and_all_entries() -> None:
    state = detector(
        open_reasons=(reason("2026-03-01 10:00", "damaged", "a"), reason("2026-02-01 10:00", "lost", "b"))
    )
    finding = found(ask(state), "in-service")
    assert dict(finding.facts) == {"because": "damaged", "since_at": "2026-02-01T10:00:00.000Z", "count": "2"}
    assert finding.entries == ("a", "b")


LIFE = around(rule_set(DAILY, rule("life-not-ended")))


@pytest.mark.parametrize(
    ("life_ends", "sensor_ends", "code"),
    [
        (None, None, "no-end-of-life-stated"),
        ("2026-03-02", None, "life-not-ended"),
        ("2026-03-01", None, "life-ended"),
        (None, "2026-03-02", "life-not-ended"),
        (None, "2026-03-01", "sensor-life-ended"),
        ("2030-01-01", "2026-03-01", "sensor-life-ended"),
        ("some day", None, "end-of-life-not-readable"),
    ],
)
def test_the_last_day_of_life_still_counts(life_ends: str | None, sensor_ends: str | None, code: str) -> None:
    channels = (changed(O2, sensor_ends=sensor_ends),)
    decision = ask(detector(life_ends=life_ends, channels=channels), LIFE)
    assert found(decision, "life-not-ended").code == code


def test_a_yes_ends_with_the_last_day_of_life_on_the_sites_calendar() -> None:
    """In Lisbon's summer the day ends at 23:00 UTC."""
    state = detector(tests=(test_fact("2026-07-06 07:00"),), life_ends="2026-07-06")
    decision = ask(state, LIFE, at="2026-07-06 09:00")
    assert (decision.until_because, decision.until) == ("life-not-ended", t("2026-07-06 23:00"))
    assert ask(state, LIFE, at="2026-07-06 22:59").verdict is Verdict.MAY_GO_OUT
    assert ask(state, LIFE, at="2026-07-06 23:00").verdict is Verdict.NOT_YET


def test_custody_alone_does_not_matter_to_a_set_that_does_not_ask() -> None:
    state = detector(custody=custody("person:P-12", "2026-03-02 08:00", "2026-03-02 08:00"))
    assert ask(state, around(rule_set(DAILY))).verdict is Verdict.MAY_GO_OUT
