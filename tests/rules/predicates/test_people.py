"""Training: the tester's at the time of the test, the wearer's now."""

from __future__ import annotations

import pytest

from pitbird.fleet.state import PersonState
from pitbird.rules.decision import Verdict
from tests.rules.builders import (
    DAILY,
    around,
    ask,
    detector,
    found,
    person,
    rule,
    rule_set,
    t,
    test_fact,
    training,
)

YES, NO, DOUBT = Verdict.MAY_GO_OUT, Verdict.NOT_YET, Verdict.CANNOT_TELL
TESTER = rule_set(DAILY, rule("tester-trained", topic="bump-test"))
WEARER = rule_set(DAILY, rule("wearer-trained", topic="wearing"))


def _with(*trainings: tuple[str, str | None, bool], topic: str = "bump-test") -> PersonState:
    return person(trainings=tuple(training(topic, at, until, passed) for at, until, passed in trainings))


# The test was on 2 March at 06:41.
TESTERS: dict[str, tuple[PersonState, tuple[str, Verdict]]] = {
    "trained without end": (_with(("2025-03-02 09:00", None, True)), ("tester-trained", YES)),
    "on the last day": (_with(("2025-03-02 09:00", "2026-03-02", True)), ("tester-trained", YES)),
    "the day after the last": (_with(("2025-03-02 09:00", "2026-03-01", True)), ("training-run-out", NO)),
    "trained later": (_with(("2026-03-02 08:00", None, True)), ("never-trained", NO)),
    "never trained": (_with(), ("never-trained", NO)),
    "trained in something else": (
        _with(("2025-03-02 09:00", None, True), topic="wearing"),
        ("never-trained", NO),
    ),
    "not passed": (_with(("2025-03-02 09:00", None, False)), ("training-failed", NO)),
    "passed, then not passed": (
        _with(("2025-03-02 09:00", None, True), ("2026-01-02 09:00", None, False)),
        ("training-failed", NO),
    ),
    "not passed, then passed": (
        _with(("2025-03-02 09:00", None, False), ("2026-01-02 09:00", None, True)),
        ("tester-trained", YES),
    ),
    "passed, listed before the failed one that it followed": (
        _with(("2026-01-02 09:00", None, True), ("2025-03-02 09:00", None, False)),
        ("tester-trained", YES),
    ),
    "trained as the test began": (_with(("2026-03-02 06:41", None, True)), ("tester-trained", YES)),
    "passed and not passed at once": (
        _with(("2025-03-02 09:00", None, True), ("2025-03-02 09:00", None, False)),
        ("training-failed", NO),
    ),
    "an end that is no day": (_with(("2025-03-02 09:00", "soon", True)), ("training-not-readable", DOUBT)),
    "left the day before": (person(left="2026-03-01"), ("person-had-left", NO)),
    "left on the day": (person(left="2026-03-02"), ("tester-trained", YES)),
    "not described": (person(described_by=None), ("person-not-known", DOUBT)),
    "not understood": (person(not_understood=("x",)), ("person-not-known", DOUBT)),
    "somebody else": (person("person:P-99"), ("person-not-known", DOUBT)),
}


@pytest.mark.parametrize("case", TESTERS)
def test_the_tester_was_trained_at_the_time_of_the_test(case: str) -> None:
    tester, expected = TESTERS[case]
    decision = ask(detector(), around(TESTER, people=(tester,)))
    assert (found(decision, "tester-trained").code, decision.verdict) == expected


def test_training_that_ran_out_since_the_test_does_not_matter() -> None:
    rules = rule_set(rule("gas-test-within-days", days=30), rule("tester-trained", topic="bump-test"))
    surroundings = around(rules, people=(_with(("2025-03-02 09:00", "2026-03-05", True)),))
    assert ask(detector(), surroundings, at="2026-03-20 09:00").verdict is YES


def test_without_the_sites_clock_a_last_day_cannot_be_judged() -> None:
    rules = rule_set(rule("gas-test-within-days", days=30), rule("tester-trained", topic="bump-test"))
    decision = ask(detector(), around(rules, zone=None))
    assert (found(decision, "tester-trained").code, decision.verdict) == ("no-site-clock", DOUBT)


def test_the_wearer_is_judged_only_if_one_is_asked_for() -> None:
    assert found(ask(detector(), around(WEARER)), "wearer-trained").code == "no-wearer-asked"
    assert ask(detector(), around(WEARER), wearer="person:P-12").verdict is YES
    assert ask(detector(), around(WEARER), wearer="person:P-07").verdict is NO
    assert ask(detector(), around(WEARER), wearer="person:P-99").verdict is DOUBT


def test_a_yes_for_a_wearer_ends_with_the_last_day_of_the_training() -> None:
    """In Lisbon's winter a day ends at 24:00 UTC."""
    wearer = person("person:P-12", trainings=(training("wearing", "2025-03-02 09:00", "2026-03-02"),))
    decision = ask(detector(), around(WEARER, people=(person(), wearer)), wearer="person:P-12")
    assert (decision.until, decision.until_because) == (t("2026-03-03 00:00"), "wearer-trained")


def test_a_yes_for_a_wearer_ends_when_the_wearer_leaves() -> None:
    trainings = (training("wearing", "2025-03-02 09:00", None),)
    wearer = person("person:P-12", trainings=trainings, left="2026-03-02")
    decision = ask(
        detector(tests=(test_fact(),)), around(WEARER, people=(person(), wearer)), wearer="person:P-12"
    )
    assert decision.until == t("2026-03-03 00:00")
