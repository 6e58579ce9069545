"""Failed tests on one cylinder ask about the gas before they ask about the detectors."""

from __future__ import annotations

from typing import Final

from pitbird.fleet.state import FAILURES_KEPT, TESTS_ON_KEPT, CylinderState, FailedOn
from pitbird.fleet.times import Ms
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    MET,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Facts,
    Kind,
    Parameter,
    Scope,
    at,
    predicate,
)
from pitbird.rules.predicates.cylinder import GAS, none_named, unknown_gas
from pitbird.rules.predicates.met import once

#: From how many failed tests in a row, or detectors, a failure is told as one that may lie with the gas.
MAY_BE_GAS: Final = 2


def question_at(cylinder: CylinderState, instant: Ms, *, in_a_row: int, detectors: int) -> FailedOn | None:
    """The failed test by which a cylinder is in question at an instant: it failed by then with so many tests
    in a row or so many detectors (0 asks for neither), and no release has answered it yet."""
    for failure in _asking(cylinder.failures, in_a_row, detectors):
        if failure.at <= instant and (failure.until is None or instant < failure.until):
            return failure
    return None


@once
def _asking(failures: tuple[FailedOn, ...], in_a_row: int, detectors: int) -> tuple[FailedOn, ...]:
    """The failed tests that ask about the cylinder at all."""
    return tuple(
        failure
        for failure in failures
        if 0 < in_a_row <= failure.in_a_row or 0 < detectors <= failure.detectors
    )


@once
def facts_of(cylinder: str, failure: FailedOn) -> Facts:
    """The facts of a question about a cylinder."""
    return (
        ("cylinder", cylinder),
        ("in_a_row", str(failure.in_a_row)),
        ("detectors", str(failure.detectors)),
        at("failed_at", failure.at),
    )


@predicate(
    "cylinder-not-in-question",
    Scope.TEST,
    parameters=(
        Parameter(
            "in_a_row",
            Kind.WHOLE,
            "how many failed tests in a row on a cylinder ask about it (0: none)",
            least=0,
            most=TESTS_ON_KEPT,
        ),
        Parameter(
            "detectors",
            Kind.WHOLE,
            "how many different detectors failing among its last ten tests ask about it (0: none)",
            least=0,
            most=TESTS_ON_KEPT,
        ),
    ),
    codes={
        **GAS,
        "cylinder-not-in-question": Code(MET),
        "cylinder-in-question": Code(NOT_MET, "ask-gas-first"),
        "questions-no-longer-kept": Code(UNKNOWN, "test-other-cylinder"),
    },
)
def cylinder_not_in_question(attempt: Attempt, rule: Bound) -> Finding:
    """No cylinder used was in question at the time of the test. A cylinder is in question from a failed test
    on it by which so many failed in a row, or so many different detectors, until a release names that test.
    Spoiled attempts neither ask nor answer; a pass in between ends a row but answers nothing. Where so many
    tests failed on a cylinder that not all of them are kept, it cannot be told."""
    if found := none_named(attempt, rule):
        return found
    in_a_row, detectors = rule.values["in_a_row"], rule.values["detectors"]
    missing = None
    for name, cylinder, entries in attempt.gas:
        if not cylinder.failures:
            continue
        failure = question_at(cylinder, attempt.test.at, in_a_row=in_a_row, detectors=detectors)
        if failure is not None:
            return rule.finds("cylinder-in-question", facts_of(name, failure), (*entries, failure.entry))
        if len(cylinder.failures) >= FAILURES_KEPT and (in_a_row or detectors):
            missing = missing or rule.finds("questions-no-longer-kept", (("cylinder", name),), entries)
    if found := unknown_gas(attempt, rule) or missing:
        return found
    return rule.finds("cylinder-not-in-question", (), attempt.relied)
