"""Questions about a cylinder: tests that failed on it ask about the gas before they ask about detectors."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pitbird.fleet.state import CylinderState, FailedOn
from pitbird.fleet.times import Ms
from pitbird.rules.decision import RuleSet
from pitbird.rules.predicates.gas_question import MAY_BE_GAS, question_at
from pitbird.services.rule_sets import in_force


@dataclass(frozen=True)
class GasQuestion:
    """One cylinder in question: the newest failed test by which it is, and every one that is not answered.

    ``stops`` says whether the rules in force at its site refuse tests on it until a release names them.
    """

    cylinder: str
    failure: FailedOn
    unanswered: tuple[FailedOn, ...]
    stops: bool


def gas_questions(cylinders: Iterable[CylinderState], now: Ms) -> dict[str, GasQuestion]:
    """The cylinders in question, by subject: two failed tests in a row on one, two detectors that failed on
    one, or fewer where the site rules ask sooner. One that was given up as empty is asked about no more."""
    held = {site: each.rules for each in in_force(now) for site in each.sites}
    found = {}
    for state in cylinders:
        if state.emptied_at is not None and state.emptied_at <= now:
            continue
        asked = _asked(held.get(state.site or ""))
        by_rule = [
            failure
            for in_a_row, detectors in asked
            if (failure := question_at(state, now, in_a_row=in_a_row, detectors=detectors))
        ]
        failure = question_at(state, now, in_a_row=MAY_BE_GAS, detectors=MAY_BE_GAS)
        failure = failure or next(iter(by_rule), None)
        if failure is not None:
            found[state.subject] = GasQuestion(state.subject, failure, unanswered(state), bool(by_rule))
    return found


def unanswered(state: CylinderState) -> tuple[FailedOn, ...]:
    """The failed tests on a cylinder that no release has named, the newest first."""
    return tuple(failure for failure in state.failures if failure.until is None)


def _asked(rules: RuleSet | None) -> list[tuple[int, int]]:
    """From how many in a row and how many detectors the rules in force refuse tests on a cylinder."""
    asked = []
    for rule in rules.rules if rules else ():
        if rule.predicate == "cylinder-not-in-question" and rule.strength == "stops":
            values = [rule.parameters.get(name) for name in ("in_a_row", "detectors")]
            in_a_row, detectors = (value if isinstance(value, int) else 0 for value in values)
            asked.append((in_a_row, detectors))
    return asked
