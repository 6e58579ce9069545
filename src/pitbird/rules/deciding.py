"""The decision: may this detector go out, by which rules, on which test, until when.

The order in which the answer is worked out, and everything that each predicate means, stands in
docs/rules.md.
"""

from __future__ import annotations

from operator import attrgetter
from typing import Any, Final

from msgspec.structs import replace

from pitbird.fleet.folding.item import runs_ahead
from pitbird.fleet.state import DetectorState, TestFact
from pitbird.fleet.times import Ms
from pitbird.rules.decision import Decision, Finding, Rule, RuleSet, Surroundings, Verdict
from pitbird.rules.loading import ALWAYS_STOPS, ALWAYS_WARNS, parameter_faults
from pitbird.rules.predicates import PREDICATES, Code, Predicate, Scope
from pitbird.rules.predicates.base import (
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Judged,
    Moment,
    at,
)
from pitbird.rules.predicates.service import failure_in_play

#: What the gate itself finds, beside the rules.
GATE: Final = Predicate(
    "gate",
    Scope.MOMENT,
    (),
    {
        "no-rules-in-force": Code(UNKNOWN, "adopt-rules"),
        "no-rules-in-set": Code(UNKNOWN, "adopt-rules"),
        "no-gas-test-rule": Code(UNKNOWN, "adopt-rules"),
        "no-rules-at-test": Code(UNKNOWN, "test"),
        "clock-behind-book": Code(UNKNOWN, "set-clock"),
        "predicate-not-known": Code(UNKNOWN, "adopt-rules"),
        "parameters-not-usable": Code(UNKNOWN, "adopt-rules"),
        "outcome-not-understood": Code(UNKNOWN, "test"),
        "test-after-moment": Code(NOT_APPLICABLE, "correct-entry"),
        "test-clock-in-doubt": Code(NOT_APPLICABLE, "correct-entry"),
        "test-before-failure": Code(NOT_APPLICABLE),
        "test-spoiled": Code(NOT_APPLICABLE),
        "newer-test-does-not-count": Code(NOT_APPLICABLE),
        "entries-left-out": Code(NOT_APPLICABLE, "correct-entry"),
    },
    lambda moment, rule: rule.finds("no-rules-in-force"),
    False,
)

#: Remedies from the one a person at the store can do at once to the one that takes longest.
EASE: Final = (
    "test", "test-every-channel", "test-signals", "test-with-checks", "test-with-clean-air",
    "test-longer", "test-warmer", "test-with-temperature", "test-with-gauge", "fresh-air-and-test",
    "clear-and-test", "put-right-and-test", "hand-over", "hand-back-and-test", "test-by-trained",
    "show-methane", "test-other-cylinder", "fit-regulator", "correct-entry", "describe-detector",
    "describe-cylinder", "describe-regulator", "describe-person", "describe-site", "look-at-gas",
    "go-by-vol", "ask-gas-first", "look-at-sensor", "calibrate",
    "set-alarm-lower", "keep-as-it-is", "return-to-service", "train", "adopt-rules", "set-clock",
    "replace", "",
)  # fmt: skip
_RANK: Final = {remedy: rank for rank, remedy in enumerate(EASE)}

_BUILT_IN: Final = "built into the gate: no gas, no yes"
_GATE: Final = Bound(Rule("gate", "gate", "stops", {}, _BUILT_IN, "", "common-practice"), GATE, {})
_PLAN_LIMIT: Final = 64


class Plan:
    """A rule set made ready for judging: rules joined to their predicates, those that always hold added."""

    __slots__ = ("gas", "moment", "rules", "test", "unusable")

    def __init__(self, rules: RuleSet) -> None:
        self.rules = rules  # kept, so that its id() stays its own
        self.moment: list[tuple[Bound, Any]] = []
        self.gas: list[int] = []  # which of those about the moment ask for a gas test and stop
        self.test: list[tuple[Bound, Any]] = []
        self.unusable: list[Finding] = []
        named = {rule.predicate for rule in rules.rules if rule.strength == "stops" and not _unusable(rule)}
        built_in = [
            Rule(name, name, "stops", _always(name), _BUILT_IN, "", "common-practice")
            for name in ALWAYS_STOPS
            if name not in named
        ]
        if not any(rule.predicate in ALWAYS_WARNS for rule in rules.rules):
            built_in += [
                Rule(name, name, "warns", {}, _BUILT_IN, "", "common-practice") for name in ALWAYS_WARNS
            ]
        for rule in (*built_in, *rules.rules):
            self._add(rule)

    def _add(self, rule: Rule) -> None:
        code = _unusable(rule)
        if code:
            found = _GATE.finds(code, (("rule", rule.id), ("predicate", rule.predicate)))
            self.unusable.append(replace(found, rule=rule.id, predicate=rule.predicate))
            return
        predicate = PREDICATES[rule.predicate]
        values = {
            parameter.name: parameter.prepared(rule.parameters[parameter.name])
            for parameter in predicate.parameters
            if parameter.name in rule.parameters
        }
        bound = Bound(rule, predicate, values)
        if predicate.scope is Scope.TEST:
            self.test.append((bound, predicate.judge))
        else:
            if predicate.gas_test and bound.strength == "stops":
                self.gas.append(len(self.moment))
            self.moment.append((bound, predicate.judge))


def _unusable(rule: Rule) -> str:
    """The code of what makes a rule unusable, empty if nothing does."""
    predicate = PREDICATES.get(rule.predicate)
    if predicate is None:
        return "predicate-not-known"
    return "parameters-not-usable" if parameter_faults(predicate, rule.parameters) else ""


def _always(name: str) -> dict[str, object]:
    return {"reported": "does-not-count"} if name == "footing-accepted" else {}


_plans: dict[int, Plan] = {}


def _plan(rules: RuleSet) -> Plan:
    """The plan for a rule set, kept by identity: equal digests are not trusted to mean equal rules."""
    plan = _plans.get(id(rules))
    if plan is None or plan.rules is not rules:
        if len(_plans) >= _PLAN_LIMIT:
            _plans.clear()
        plan = _plans[id(rules)] = Plan(rules)
    return plan


def decide(
    detector: DetectorState, surroundings: Surroundings, *, as_of: Ms, wearer: str | None = None
) -> Decision:
    """May this detector go out at ``as_of`` (with ``wearer``)? The verdict, until when, and every finding.

    Pure: the same facts give the same decision. Facts dated after ``as_of`` are not used, save failures and
    open reasons whose clock is in doubt: there the fail wins. The states are what was known when they were
    folded, so that a decision about the past is as good as the facts that the states still hold.
    """
    rules = surroundings.rules_at(as_of)
    if rules is None:
        return _answer(detector, surroundings, as_of, wearer, None, None, [_GATE.finds("no-rules-in-force")])
    plan = _plan(rules)
    moment = Moment(detector, surroundings, as_of, wearer)
    of_test, notes = _search(moment)
    findings: list[Finding] = [judge(moment, bound) for bound, judge in plan.moment]
    gas_shown = moment.counted is not None and any(findings[place].outcome is MET for place in plan.gas)
    findings += plan.unusable
    if not rules.rules:
        findings.append(_GATE.finds("no-rules-in-set"))
    elif not plan.gas:
        findings.append(_GATE.finds("no-gas-test-rule"))
    recorded = surroundings.recorded_to
    if recorded is not None and runs_ahead(recorded, as_of):
        findings.append(
            _GATE.finds("clock-behind-book", (at("recorded_at", recorded), at("asked_at", as_of)))
        )
    return _answer(
        detector, surroundings, as_of, wearer, rules, moment, findings, of_test, notes, gas_shown=gas_shown
    )


_NOT_UNDERSTOOD: Final = ("described", "understood")


def _verdict(findings: list[Finding], *, gas_shown: bool) -> tuple[Verdict, list[Finding]]:
    """The verdict that findings about the moment lead to, and those of them that decided it."""
    against = []
    unknown = []
    for found in findings:
        if found.outcome is not MET and found.strength == "stops":
            if found.outcome is NOT_MET:
                against.append(found)
            elif found.outcome is UNKNOWN:
                unknown.append(found)
    out = [found for found in against if found.predicate == "in-service"]
    if out:
        return Verdict.OUT_OF_SERVICE, out
    strange = [found for found in unknown if found.predicate in _NOT_UNDERSTOOD]
    if strange:
        return Verdict.CANNOT_TELL, strange
    if against:
        return Verdict.NOT_YET, against
    if unknown or not gas_shown:
        return Verdict.CANNOT_TELL, unknown
    return Verdict.MAY_GO_OUT, []


def _answer(
    detector: DetectorState,
    surroundings: Surroundings,
    as_of: Ms,
    wearer: str | None,
    rules: RuleSet | None,
    moment: Moment | None,
    findings: list[Finding],
    of_test: tuple[Finding, ...] = (),
    notes: tuple[Finding, ...] = (),
    *,
    gas_shown: bool = False,
) -> Decision:
    """Put a decision together from what was found."""
    verdict, deciding = _verdict(findings, gas_shown=gas_shown)
    until: Ms | None = None
    because = ""
    if verdict is Verdict.MAY_GO_OUT:
        until, because = _end(findings, surroundings, as_of)
        if until is None:  # cannot be: a gas test that is met has an end; yet no end is no yes
            verdict = Verdict.CANNOT_TELL
    else:
        if moment is not None:
            of_test, why = _about_refused(moment, deciding, of_test)
            deciding += why
        # The sort is stable: within one remedy the order of the rules stays.
        deciding.sort(key=lambda found: (found.code in _GENERAL, _RANK.get(found.remedy, len(EASE))))
    everything = (*findings, *of_test, *notes)
    if any(found.code == _HELD for found in deciding):
        # What is held as it is must not be tested, calibrated or mended because another rule asks for it.
        everything = tuple(
            found if found.code == _HELD or not found.remedy else replace(found, remedy="")
            for found in everything
        )
        deciding = [found for found in everything if found.code == _HELD]
    if deciding:
        chosen = {id(found) for found in deciding}
        rest = [found for found in everything if id(found) not in chosen]
        everything = (*[replace(found, decisive=True) for found in deciding], *rest)
    return Decision(
        detector=detector.subject,
        verdict=verdict,
        as_of=as_of,
        until=until,
        until_because=because,
        site=surroundings.site,
        wearer=wearer,
        rules_id=rules.id if rules else None,
        rules_version=rules.version if rules else None,
        rules_digest=rules.digest if rules else None,
        test=moment.counted.entry if moment is not None and moment.counted is not None else None,
        findings=everything,
    )


_HELD: Final = "held-for-investigation"
#: Codes that only say that there is no counted test; what was wrong with the newest one stands before them.
_GENERAL: Final = frozenset({"no-pass-that-counts", "pass-cannot-be-judged"})


def _about_refused(
    moment: Moment, deciding: list[Finding], of_test: tuple[Finding, ...]
) -> tuple[tuple[Finding, ...], list[Finding]]:
    """Where a test was refused or cannot be judged: what was found about it, and which of that decided."""
    codes = {found.code for found in deciding}
    if "pass-cannot-be-judged" in codes and moment.unknown:
        of_test, outcome = moment.unknown[0].findings, UNKNOWN
    elif "no-pass-that-counts" in codes and moment.refused is not None:
        of_test, outcome = moment.refused.findings, NOT_MET
    else:
        return of_test, []
    return of_test, [found for found in of_test if found.strength == "stops" and found.outcome is outcome]


def _end(findings: list[Finding], surroundings: Surroundings, as_of: Ms) -> tuple[Ms | None, str]:
    """The earliest end among the stopping rules that are met, or the next change of the rules, and which it
    is."""
    until: Ms | None = None
    because = ""
    for found in findings:
        end = found.until if found.outcome is MET and found.strength == "stops" else None
        if end is not None and (until is None or end < until):
            until, because = end, found.rule
    if until is not None:
        for since, _ in surroundings.rules_over_time:
            if as_of < since < until:
                until, because = since, "gate"
    return until, because


_BY_AT: Final = attrgetter("at")


def _search(moment: Moment) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Look for the counted test from the newest backwards; fills in ``moment``.

    Returns what the rules found about the counted test (or, if none counts, about the newest pass that was
    judged), and notes on tests that were passed over.
    """
    tests = moment.detector.tests
    if len(tests) > 1:
        tests = tuple(sorted(tests, key=_BY_AT, reverse=True))
    moment.attempts = tests
    moment.floor = _floor(moment, tests)
    notes: list[Finding] = []
    if moment.detector.doubtful:
        notes.append(_GATE.finds("entries-left-out", entries=moment.detector.doubtful, strength="warns"))
    unknown: list[Judged] = []
    refused_by: _Refusing = (None, [])
    for test in tests:
        passed_over = _passed_over(moment, test)
        if passed_over is not None:
            if passed_over:
                facts = (at("tested_at", test.at),)
                notes.append(_GATE.finds(passed_over, facts, (test.entry,), strength="warns"))
            continue
        # Behind a refused test only one that counts is looked for: one rule against it is enough.
        if moment.refused is not None and _refused_likewise(moment, test, refused_by):
            continue
        judged = _judge(moment, test)
        if judged.standing == "not":
            refused_by = _refusing(moment, judged)
        if judged.standing == "counts":
            moment.counted = test
            if moment.refused is not None:
                newer = moment.refused.test
                facts = (at("tested_at", newer.at),)
                notes.append(
                    _GATE.finds("newer-test-does-not-count", facts, (newer.entry,), strength="warns")
                )
            moment.unknown = tuple(unknown)
            return judged.findings, tuple(notes)
        if judged.standing == "unknown":
            unknown.append(judged)
        if moment.refused is None:
            moment.refused = judged
    moment.unknown = tuple(unknown)
    return (moment.refused.findings if moment.refused is not None else ()), tuple(notes)


_Refusing = tuple[RuleSet | None, list[tuple[Bound, Any]]]


def _refusing(moment: Moment, judged: Judged) -> _Refusing:
    """The stopping rules by which a test was refused, and the set that they stand in."""
    rules = moment.surroundings.rules_at(judged.test.at)
    if rules is None:
        return None, []
    against = {
        found.rule for found in judged.findings if found.strength == "stops" and found.outcome is NOT_MET
    }
    return rules, [(bound, judge) for bound, judge in _plan(rules).test if bound.rule.id in against]


def _refused_likewise(moment: Moment, test: TestFact, refused_by: _Refusing) -> bool:
    """Whether a rule that refused a newer test under the same set refuses this one too."""
    rules, against = refused_by
    if rules is None or test.outcome != "passed" or moment.surroundings.rules_at(test.at) is not rules:
        return False
    attempt = Attempt(test, moment)
    for bound, judge in against:
        found = judge(attempt, bound)
        if found.strength == "stops" and found.outcome is NOT_MET:
            return True
    return False


def _floor(moment: Moment, tests: tuple[TestFact, ...]) -> Ms | None:
    """The latest failure: no pass at or before it counts."""
    failure = failure_in_play(moment.detector, moment.horizon)
    floor = failure.at if failure is not None else None
    for test in tests:
        if test.outcome == "failed" and test.at <= moment.horizon and (floor is None or test.at > floor):
            floor = test.at
    return floor


def _passed_over(moment: Moment, test: TestFact) -> str | None:
    """None if a test is to be judged; else the code of the note about it, empty where none is needed."""
    if test.outcome == "failed":
        return ""
    if test.outcome == "spoiled":
        return "" if test.at > moment.as_of else "test-spoiled"
    if not test.counts:
        return "test-clock-in-doubt"
    if test.at > moment.as_of:
        return "test-after-moment"
    if moment.floor is not None and test.at <= moment.floor:
        return "test-before-failure"
    return None


def _judge(moment: Moment, test: TestFact) -> Judged:
    """Judge one passed test by the rules in force at its time."""
    if test.outcome != "passed":
        return Judged(test, "unknown", (_GATE.finds("outcome-not-understood", entries=(test.entry,)),))
    rules = moment.surroundings.rules_at(test.at)
    if rules is None:
        facts = (at("tested_at", test.at),)
        return Judged(test, "unknown", (_GATE.finds("no-rules-at-test", facts, (test.entry,)),))
    if not rules.rules:
        return Judged(test, "unknown", (_GATE.finds("no-rules-in-set", entries=(test.entry,)),))
    plan = _plan(rules)
    attempt = Attempt(test, moment)
    standing = "unknown" if plan.unusable else "counts"
    findings = [judge(attempt, bound) for bound, judge in plan.test]
    for found in findings:
        if found.outcome is not MET and found.strength == "stops":
            if found.outcome is NOT_MET:
                standing = "not"
            elif found.outcome is UNKNOWN and standing == "counts":
                standing = "unknown"
    return Judged(test, standing, (*plan.unusable, *findings))


# --- The tester alone


def tester_topics(surroundings: Surroundings) -> frozenset[str]:
    """The trainings without which a site's rules, at any time, refuse a test."""
    rules = (rules for _, rules in surroundings.rules_over_time)
    return frozenset(bound.values["topic"] for each in rules for bound, _ in _of_tester(each))


def against_tester(test: TestFact, surroundings: Surroundings) -> Finding | None:
    """What a stopping rule about the tester, in force at the time of a test, finds against it: not trained,
    or not known to be. None where no such rule does."""
    rules = surroundings.rules_at(test.at)
    if rules is None:
        return None
    attempt = Attempt(test, Moment(DetectorState(""), surroundings, test.at, None))
    found = (judge(attempt, bound) for bound, judge in _of_tester(rules))
    return next((each for each in found if each.outcome is not MET), None)


def _of_tester(rules: RuleSet) -> list[tuple[Bound, Any]]:
    return [
        (bound, judge)
        for bound, judge in _plan(rules).test
        if bound.rule.predicate == "tester-trained" and bound.strength == "stops"
    ]
