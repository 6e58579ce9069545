"""Several failures on one cylinder ask about the gas before they ask about the detectors."""

from __future__ import annotations

import pytest

from pitbird.fleet.state import FailedOn, ReasonOut
from pitbird.rules import words
from pitbird.rules.decision import Verdict
from tests.rules.builders import DAILY, around, ask, cylinder, detector, found, rule, rule_set, t, test_fact

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
