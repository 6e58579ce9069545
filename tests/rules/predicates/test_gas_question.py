"""Several failures on one cylinder ask about the gas before they ask about the detectors."""

from __future__ import annotations

import pytest

from pitbird.fleet.state import FAILURES_KEPT, TESTS_ON_KEPT, FailedOn, ReasonOut, Span
from pitbird.rules import words
from pitbird.rules.decision import Verdict
from pitbird.rules.loading import parse_rules
from tests.rules.builders import (
    DAILY,
    around,
    ask,
    changed,
    cylinder,
    detector,
    found,
    rule,
    rule_set,
    t,
    test_fact,
)

QUESTION = rule("cylinder-not-in-question", in_a_row=2, detectors=2)


def failed_on(at: str, *, in_a_row: int = 1, detectors: int = 1, until: str | None = None) -> FailedOn:
    return FailedOn("failed-1", t(at), "detector:D-9", in_a_row, detectors, t(until) if until else None)


@pytest.mark.parametrize(
    ("failure", "verdict"),
    [
        (failed_on("2026-03-02 06:00"), Verdict.MAY_GO_OUT),
        (failed_on("2026-03-02 06:00", in_a_row=2), Verdict.NOT_YET),
        (failed_on("2026-03-02 06:00", detectors=2), Verdict.NOT_YET),
        (failed_on("2026-03-02 06:41", in_a_row=2), Verdict.NOT_YET),
        (failed_on("2026-03-02 06:42", in_a_row=2), Verdict.MAY_GO_OUT),
        (failed_on("2026-03-02 06:00", in_a_row=2, until="2026-03-02 06:30"), Verdict.MAY_GO_OUT),
        (failed_on("2026-03-02 06:00", in_a_row=2, until="2026-03-02 06:50"), Verdict.NOT_YET),
    ],
)
def test_a_test_on_a_cylinder_in_question_does_not_count(failure: FailedOn, verdict: Verdict) -> None:
    """The detector's own test is at 06:41; an answer that came after it does not help that test."""
    surroundings = around(rule_set(DAILY, QUESTION), cylinders=(cylinder(failures=(failure,)),))
    decision = ask(detector(), surroundings)
    assert decision.verdict is verdict
    expected = "cylinder-in-question" if verdict is Verdict.NOT_YET else "cylinder-not-in-question"
    assert found(decision, "cylinder-not-in-question").code == expected


def test_nought_asks_for_neither() -> None:
    quiet = rule("cylinder-not-in-question", in_a_row=0, detectors=0)
    gas = cylinder(failures=(failed_on("2026-03-02 06:00", in_a_row=5, detectors=4),))
    assert ask(detector(), around(rule_set(DAILY, quiet), cylinders=(gas,))).verdict is Verdict.MAY_GO_OUT


def test_a_detector_that_failed_on_such_gas_stays_out_and_the_gas_is_asked_first() -> None:
    failed = test_fact("2026-03-02 06:41", outcome="failed", entry="failed-1")
    reason = ReasonOut("failed-1", t("2026-03-02 06:41"), "test-failed", ("CO",))
    gas = cylinder(failures=(failed_on("2026-03-02 06:41", in_a_row=2, detectors=2),))
    surroundings = around(rule_set(DAILY, QUESTION), cylinders=(gas,))
    decision = ask(detector(tests=(failed,), open_reasons=(reason,)), surroundings)
    assert decision.verdict is Verdict.OUT_OF_SERVICE
    finding = found(decision, "in-service")
    assert (finding.code, finding.remedy) == ("failed-on-gas-in-question", "ask-gas-first")
    assert "before you ask about the detectors" in words.remedy(finding, gettext=str)
    damaged = ReasonOut("out-1", t("2026-03-02 06:50"), "damaged")
    both = ask(detector(tests=(failed,), open_reasons=(damaged, reason)), surroundings)
    assert found(both, "in-service").code == "taken-out-of-service", "the gas explains not every reason"


def test_an_incident_is_told_before_any_other_reason_and_asks_to_leave_it_alone() -> None:
    reasons = (
        ReasonOut("failed-1", t("2026-03-02 06:50"), "test-failed"),
        ReasonOut("out-1", t("2026-03-02 06:45"), "incident"),
    )
    decision = ask(detector(open_reasons=reasons), around(rule_set(DAILY)))
    finding = found(decision, "in-service")
    assert decision.verdict is Verdict.OUT_OF_SERVICE
    assert (finding.code, finding.entries) == ("held-for-investigation", ("out-1",))
    assert "Do not test, zero, charge or repair it" in words.remedy(finding, gettext=str)


@pytest.mark.parametrize("withdrawn", ["quarantined", "emptied"])
def test_once_such_gas_is_withdrawn_the_detector_is_what_is_left_to_answer(withdrawn: str) -> None:
    failed = test_fact("2026-03-02 06:41", outcome="failed", entry="failed-1")
    reason = ReasonOut("failed-1", t("2026-03-02 06:41"), "test-failed", ("CO",))
    away: dict[str, object] = {"emptied_at": t("2026-03-02 07:00")}
    if withdrawn == "quarantined":
        away = {"withdrawn": (Span(t("2026-03-02 07:00"), None, "q-1", "suspect-contents"),)}
    gas = cylinder(failures=(failed_on("2026-03-02 06:41", in_a_row=2),), **away)
    surroundings = around(rule_set(DAILY, QUESTION), cylinders=(gas,))
    state = detector(tests=(failed,), open_reasons=(reason,))
    before, after = ask(state, surroundings, at="2026-03-02 06:59"), ask(state, surroundings)
    assert found(before, "in-service").code == "failed-on-gas-in-question"
    assert (after.verdict, found(after, "in-service").code) == (
        Verdict.OUT_OF_SERVICE,
        "failed-on-withdrawn-gas",
    )


def test_gas_that_is_not_known_or_not_named_is_never_out_of_question() -> None:
    rules = rule_set(DAILY, QUESTION)
    nowhere = ask(detector(), around(rules, cylinders=()))
    assert nowhere.verdict is Verdict.CANNOT_TELL
    assert found(nowhere, "cylinder-not-in-question").code == "cylinder-not-known"
    strange = cylinder(not_understood=("strange",))
    assert ask(detector(), around(rules, cylinders=(strange,))).verdict is Verdict.CANNOT_TELL
    unnamed = detector(tests=(test_fact(cylinders=()),))
    assert found(ask(unnamed, around(rules)), "cylinder-not-in-question").code == "no-cylinder-named"


def test_of_more_failures_than_are_kept_no_question_can_be_told() -> None:
    """What the bound cuts off may be a question still open: less known never makes a yes."""
    many = tuple(failed_on("2026-03-02 06:00", until="2026-03-02 06:01") for _ in range(FAILURES_KEPT))
    rules = rule_set(DAILY, QUESTION)
    full = ask(detector(), around(rules, cylinders=(cylinder(failures=many),)))
    assert full.verdict is Verdict.CANNOT_TELL
    assert found(full, "cylinder-not-in-question").code == "questions-no-longer-kept"
    almost = ask(detector(), around(rules, cylinders=(cylinder(failures=many[1:]),)))
    assert almost.verdict is Verdict.MAY_GO_OUT


def test_a_row_longer_than_what_is_looked_at_is_refused_since_it_would_never_ask() -> None:
    document = {"id": "far", "version": 1, "title": "Far"}
    for name in ("in_a_row", "detectors"):
        far = {**QUESTION, "parameters": {"in_a_row": 2, "detectors": 2, name: TESTS_ON_KEPT + 1}}
        rules, faults = parse_rules({**document, "rule": [DAILY, far]})
        assert rules is None
        assert f"{name} must be from 0 to {TESTS_ON_KEPT}" in str(faults[0])


def test_while_it_is_held_nothing_asks_for_a_test_or_a_calibration() -> None:
    """A bump test, a zero or a calibration would wipe out what the investigation looks for."""
    held = ReasonOut("out-1", t("2026-03-02 06:45"), "incident")
    bare = detector(open_reasons=(held,), tests=(), calibrations=())
    without = ask(changed(bare, open_reasons=()), around())
    assert {"test", "calibrate"} <= {finding.remedy for finding in without.findings}
    decision = ask(bare, around())
    assert decision.verdict is Verdict.OUT_OF_SERVICE
    assert {finding.remedy for finding in decision.findings} == {"keep-as-it-is", ""}
    assert [f.code for f in decision.findings if f.decisive] == ["held-for-investigation"]
    assert decision.findings[0].code == "held-for-investigation"
