"""The verdict, the search for the counted test, the end of a yes, and what never gives one."""

from __future__ import annotations

import time

import pytest

from pitbird.fleet.state import DetectorState, UntestedIssue
from pitbird.fleet.times import text_of
from pitbird.rules.deciding import EASE, GATE, decide
from pitbird.rules.decision import Outcome, Rule, RuleSet, Surroundings, Verdict
from pitbird.rules.loading import load_shipped
from pitbird.rules.predicates import PREDICATES
from tests.rules.builders import (
    DAILY,
    NOW,
    around,
    ask,
    calibration,
    changed,
    codes,
    cylinder,
    detector,
    event,
    failure,
    found,
    reason,
    rule,
    rule_set,
    shown,
    spoiled,
    t,
    test_fact,
)


def test_a_detector_tested_this_morning_may_go_out_until_the_end_of_the_working_day() -> None:
    decision = ask()
    assert decision.verdict is Verdict.MAY_GO_OUT
    assert decision.until is not None
    assert text_of(decision.until) == "2026-03-03T04:00:00.000Z"
    assert decision.until_because == "daily-test"
    assert decision.test == "test-1"
    assert decision.decisive is None


def test_a_decision_names_site_wearer_and_rules() -> None:
    decision = ask(wearer="person:P-12")
    rules = load_shipped("strict")
    assert (decision.detector, decision.site, decision.wearer, decision.as_of) == (
        "detector:D-017", "site:north-works", "person:P-12", t(NOW),
    )  # fmt: skip
    assert (decision.rules_id, decision.rules_version, decision.rules_digest) == ("strict", 1, rules.digest)


def test_every_rule_of_the_set_has_its_finding() -> None:
    asked = {rule.id for rule in load_shipped("strict").rules}
    assert {finding.rule for finding in ask().findings} >= asked


def test_the_same_question_has_the_same_answer() -> None:
    assert ask() == ask()


# --- the order of the verdict ------------------------------------------------------------


def test_an_open_reason_comes_before_all_else() -> None:
    state = detector(open_reasons=(reason("2026-03-01 10:00", "damaged"),), not_understood=("x",), tests=())
    decision = ask(state)
    assert decision.verdict is Verdict.OUT_OF_SERVICE
    assert decision.findings[0].code == "taken-out-of-service"


def test_an_open_reason_counts_even_if_it_is_dated_later() -> None:
    assert ask(detector(open_reasons=(reason("2026-03-02 10:00"),))).verdict is Verdict.OUT_OF_SERVICE


def test_an_entry_that_is_not_understood_comes_before_what_is_not_met() -> None:
    decision = ask(detector(not_understood=("entry-9",), tests=()))
    assert decision.verdict is Verdict.CANNOT_TELL
    assert decision.findings[0].code == "entries-not-understood"
    assert decision.findings[0].entries == ("entry-9",)


def test_what_is_not_met_comes_before_what_is_unknown() -> None:
    rules = rule_set(DAILY, rule("wearer-trained", topic="wearing"))
    decision = ask(detector(tests=()), around(rules), wearer="person:P-99")
    assert decision.verdict is Verdict.NOT_YET
    assert [finding.code for finding in decision.findings if finding.decisive] == ["no-test"]


def test_what_is_unknown_stops() -> None:
    rules = rule_set(DAILY, rule("wearer-trained", topic="wearing"))
    decision = ask(detector(), around(rules), wearer="person:P-99")
    assert decision.verdict is Verdict.CANNOT_TELL
    assert decision.findings[0].code == "person-not-known"


@pytest.mark.parametrize(
    "state", [DetectorState("detector:D-1"), detector(channels=())], ids=["never", "bare"]
)
def test_a_detector_that_is_not_described_cannot_be_judged(state: DetectorState) -> None:
    decision = ask(state)
    assert decision.verdict is Verdict.CANNOT_TELL
    assert decision.findings[0].remedy == "describe-detector"


def test_a_rule_that_warns_does_not_stop() -> None:
    rules = rule_set(
        DAILY, rule("calibrated-within-days", "warns", days=1, gases=[], calibrated_by_maker="exempt")
    )
    decision = ask(detector(), around(rules))
    assert decision.verdict is Verdict.MAY_GO_OUT
    finding = found(decision, "calibrated-within-days")
    assert (finding.outcome, finding.strength, finding.decisive) == (Outcome.NOT_MET, "warns", False)


def test_the_end_of_a_rule_that_warns_does_not_end_a_yes() -> None:
    rules = rule_set(
        DAILY, rule("calibrated-within-days", "warns", days=10, gases=[], calibrated_by_maker="exempt")
    )
    state = detector(
        calibrations=tuple(calibration(name, "2026-02-20 10:00") for name in ("LEL", "O2", "CO", "H2S"))
    )
    assert ask(state, around(rules)).until == t("2026-03-03 04:00")


def test_the_earliest_end_holds_and_is_named() -> None:
    rules = rule_set(DAILY, rule("calibrated-within-days", days=11, gases=[], calibrated_by_maker="exempt"))
    state = detector(
        calibrations=tuple(calibration(c, "2026-02-19 12:00") for c in ("LEL", "O2", "CO", "H2S"))
    )
    decision = ask(state, around(rules))
    assert (decision.until, decision.until_because) == (t("2026-03-02 12:00"), "calibrated-within-days")


def test_what_a_person_can_mend_soonest_stands_first() -> None:
    rules = rule_set(rule("calibrated-within-days", days=1, gases=[], calibrated_by_maker="exempt"), DAILY)
    decision = ask(detector(tests=()), around(rules))
    assert [f.code for f in decision.findings if f.decisive] == ["no-test", "calibration-overdue"]
    assert decision.decisive is not None
    assert decision.decisive.remedy == "test"


# --- no yes without rules ------------------------------------------------------------


def _made_by_hand(*rules: Rule) -> RuleSet:
    return RuleSet("by-hand", 1, "By hand", rules, "sha256:" + "0" * 64)


GOOD = Rule("daily", "gas-test-current", "stops", {"lasts": "working-day"}, "made up", "", "common-practice")

NO_YES: dict[str, tuple[Surroundings, str]] = {
    "no rules were ever adopted": (around(rules_over_time=()), "no-rules-in-force"),
    "the rules begin later": (
        around(rules_over_time=((t("2026-03-02 10:00"), load_shipped("strict")),)),
        "no-rules-in-force",
    ),
    "the rule set is empty": (around(_made_by_hand()), "no-rules-in-set"),
    "no rule asks for a gas test": (around(rule_set(rule("described"))), "no-gas-test-rule"),
    "the only gas test rule warns": (
        around(rule_set(rule("gas-test-current", "warns", lasts="working-day"))),
        "no-gas-test-rule",
    ),
    "a predicate is not known": (
        around(_made_by_hand(GOOD, Rule("new", "feels-right", "warns", {}, "made up", "", "seen"))),
        "predicate-not-known",
    ),
    "a parameter is missing": (
        around(_made_by_hand(GOOD, Rule("r", "gas-test-within-days", "stops", {}, "made up", "", "seen"))),
        "parameters-not-usable",
    ),
    "a parameter is no number": (
        around(_made_by_hand(Rule("r", "gas-test-within-days", "stops", {"days": "30"}, "x", "", "seen"))),
        "parameters-not-usable",
    ),
    "no rules were in force at the test": (
        around(rules_over_time=((t("2026-03-02 08:00"), load_shipped("strict")),)),
        "no-rules-at-test",
    ),
    "the rules at the test were empty": (
        around(
            rules_over_time=(
                (t("2026-03-02 08:00"), load_shipped("strict")),
                (t("2026-01-01 00:00"), _made_by_hand()),
            )
        ),
        "no-rules-in-set",
    ),
    "the site has no clock": (around(zone=None), "no-site-clock"),
    "the site's zone is none": (around(zone="Atlantis/Central"), "no-site-clock"),
    "the site has no change-over": (around(change_overs=()), "no-site-clock"),
}


@pytest.mark.parametrize("case", NO_YES)
def test_without_usable_rules_or_clock_it_cannot_be_told(case: str) -> None:
    surroundings, code = NO_YES[case]
    decision = ask(detector(), surroundings)
    assert decision.verdict is Verdict.CANNOT_TELL
    assert code in [finding.code for finding in decision.findings if finding.decisive]
    assert decision.until is None


def test_a_strength_that_is_no_word_stops() -> None:
    rules = _made_by_hand(GOOD, Rule("r", "gas-test-within-days", "hints", {"days": 1}, "x", "", "seen"))
    state = detector(tests=(test_fact("2026-03-01 08:00"),))
    assert ask(state, around(rules), at="2026-03-02 09:00").verdict is Verdict.NOT_YET


def test_rule_sets_with_equal_digests_are_not_confused() -> None:
    lenient = _made_by_hand(GOOD)
    stern = _made_by_hand(
        GOOD,
        Rule(
            "r",
            "calibrated-since",
            "stops",
            {"events": ["drop"], "calibrated_by_maker": "exempt"},
            "x",
            "",
            "seen",
        ),
    )
    state = detector(events=(event("drop", "2026-03-01 10:00"),), calibrations=())
    assert ask(state, around(lenient)).verdict is Verdict.MAY_GO_OUT
    assert ask(state, around(stern)).verdict is Verdict.NOT_YET


def test_a_built_in_rule_that_a_set_names_wrongly_holds_all_the_same() -> None:
    wrong = Rule("r", "in-service", "stops", {"unless": "urgent"}, "x", "", "seen")
    state = detector(open_reasons=(reason("2026-03-01 10:00"),))
    assert ask(state, around(_made_by_hand(GOOD, wrong))).verdict is Verdict.OUT_OF_SERVICE


def test_built_in_rules_hold_though_a_set_does_not_name_them() -> None:
    rules = rule_set(DAILY)
    assert (
        ask(detector(open_reasons=(reason("2026-03-01 10:00"),)), around(rules)).verdict
        is Verdict.OUT_OF_SERVICE
    )
    assert ask(detector(not_understood=("x",)), around(rules)).verdict is Verdict.CANNOT_TELL
    bare = detector(tests=(test_fact(footing="reported"),))
    assert ask(bare, around(rules)).verdict is Verdict.NOT_YET
    no_gas = detector(tests=(test_fact(shown=(), cylinders=()),))
    assert ask(no_gas, around(rules)).verdict is Verdict.NOT_YET


# --- which test counts ------------------------------------------------------------

OLD_GAS = cylinder(expires="2026-03-01")
OTHER_GAS = "cylinder:C-113"
WITH_OTHER = tuple(changed(s, cylinder=OTHER_GAS) for s in test_fact().shown)


def test_spoiled_attempts_show_nothing_and_withdraw_nothing() -> None:
    state = detector(
        tests=(spoiled("2026-03-02 08:00", "sp-2"), test_fact(), spoiled("2026-03-02 06:00", "sp-1"))
    )
    decision = ask(state)
    assert decision.verdict is Verdict.MAY_GO_OUT
    assert decision.test == "test-1"
    assert codes(decision).count("test-spoiled") == 1


def test_only_spoiled_attempts_are_no_test() -> None:
    decision = ask(detector(tests=(spoiled("2026-03-02 08:00", "sp-1"),)))
    assert (decision.verdict, decision.findings[0].code) == (Verdict.NOT_YET, "no-test")


def test_the_newest_valid_pass_counts_and_the_newer_one_that_does_not_is_named() -> None:
    newer = test_fact("2026-03-02 08:00", "test-2", shown=WITH_OTHER, cylinders=(OTHER_GAS,))
    gas = (cylinder(), cylinder(subject=OTHER_GAS, expires="2026-03-01"))
    decision = ask(detector(tests=(newer, test_fact())), around(cylinders=gas))
    assert (decision.verdict, decision.test) == (Verdict.MAY_GO_OUT, "test-1")
    assert "newer-test-does-not-count" in codes(decision)


def test_the_order_in_which_tests_are_listed_does_not_matter() -> None:
    newer = test_fact("2026-03-02 08:00", "test-2")
    assert ask(detector(tests=(test_fact(), newer))).test == "test-2"
    assert ask(detector(tests=(newer, test_fact()))).test == "test-2"


def test_a_pass_that_does_not_count_says_why_first() -> None:
    decision = ask(detector(), around(cylinders=(OLD_GAS,)))
    assert decision.verdict is Verdict.NOT_YET
    assert decision.test is None
    assert [f.code for f in decision.findings if f.decisive] == [
        "cylinder-out-of-date",
        "no-pass-that-counts",
        "no-pass-that-counts",
    ]


def test_a_pass_that_cannot_be_judged_says_what_is_missing() -> None:
    decision = ask(detector(), around(cylinders=()))
    assert decision.verdict is Verdict.CANNOT_TELL
    assert {"pass-cannot-be-judged", "cylinder-not-known"} <= {
        f.code for f in decision.findings if f.decisive
    }


def test_a_pass_that_cannot_be_judged_and_would_have_ended_anyway_is_not_yet() -> None:
    decision = ask(detector(), around(cylinders=()), at="2026-03-03 09:00")
    assert decision.verdict is Verdict.NOT_YET


def test_a_newer_pass_that_cannot_be_judged_after_one_that_ended_cannot_be_told() -> None:
    newer = test_fact("2026-03-03 06:00", "test-2", shown=WITH_OTHER, cylinders=(OTHER_GAS,))
    decision = ask(detector(tests=(newer, test_fact())), at="2026-03-03 09:00")
    assert decision.verdict is Verdict.CANNOT_TELL
    assert decision.test == "test-1"
    assert "cylinder-not-known" in [f.code for f in decision.findings if f.decisive]


def test_a_failed_test_takes_away_every_pass_before_it_and_at_its_own_time() -> None:
    for failed_at in ("2026-03-02 07:00", "2026-03-02 06:41"):
        failed = test_fact(failed_at, "fail-1", outcome="failed")
        decision = ask(detector(tests=(failed, test_fact())), around(rule_set(DAILY)))
        assert decision.verdict is Verdict.NOT_YET
        assert decision.findings[0].code == "no-pass-since-failure"


def test_the_latest_failure_takes_away_passes_even_where_no_rule_asks() -> None:
    state = detector(
        last_failure=failure("2026-03-02 08:00", answered_by="r", answered_at="2026-03-02 08:30")
    )
    assert ask(state, around(rule_set(DAILY))).verdict is Verdict.NOT_YET


def test_a_failure_dated_later_that_was_already_answered_wins() -> None:
    state = detector(
        last_failure=failure("2026-03-02 10:00", answered_by="r", answered_at="2026-03-02 08:30")
    )
    assert ask(state, around(rule_set(DAILY))).verdict is Verdict.NOT_YET


def test_a_failure_that_came_and_was_answered_after_the_moment_is_not_used() -> None:
    state = detector(
        last_failure=failure("2026-03-02 10:00", answered_by="r", answered_at="2026-03-02 11:00")
    )
    assert ask(state, around(rule_set(DAILY))).verdict is Verdict.MAY_GO_OUT


def test_a_test_after_the_moment_is_not_used_and_named() -> None:
    decision = ask(detector(), at="2026-03-02 06:00")
    assert decision.verdict is Verdict.NOT_YET
    assert "test-after-moment" in codes(decision)


def test_a_pass_with_its_clock_in_doubt_is_not_used_and_named() -> None:
    decision = ask(detector(tests=(test_fact(counts=False),), doubtful=("test-1",)))
    assert decision.verdict is Verdict.NOT_YET
    assert {"test-clock-in-doubt", "entries-left-out"} <= set(codes(decision))


def test_an_outcome_that_is_no_word_cannot_be_judged() -> None:
    decision = ask(detector(tests=(test_fact(outcome="fine"),)))
    assert decision.verdict is Verdict.CANNOT_TELL


def test_whether_a_test_counts_is_judged_by_the_rules_of_its_time() -> None:
    lax, strict = rule_set(DAILY, name="lax"), load_shipped("strict")
    state = detector(tests=(test_fact(signals=()),))
    then_lax = around(rules_over_time=((t("2026-03-02 08:00"), strict), (t("2026-01-01 00:00"), lax)))
    then_strict = around(rules_over_time=((t("2026-03-02 08:00"), lax), (t("2026-01-01 00:00"), strict)))
    assert ask(state, then_lax).verdict is Verdict.MAY_GO_OUT
    assert ask(state, then_strict).verdict is Verdict.NOT_YET


def test_how_long_a_test_lasts_is_judged_by_the_rules_of_the_moment() -> None:
    hours = rule_set(rule("gas-test-current", lasts="hours", hours=2))
    days = rule_set(rule("gas-test-within-days", days=30))
    over_time = ((t("2026-03-02 08:00"), hours), (t("2026-01-01 00:00"), days))
    assert (
        ask(detector(), around(rules_over_time=over_time), at="2026-03-02 09:00").verdict is Verdict.NOT_YET
    )
    assert (
        ask(detector(), around(rules_over_time=over_time), at="2026-03-02 07:59").verdict
        is Verdict.MAY_GO_OUT
    )


def test_a_yes_ends_when_other_rules_take_effect() -> None:
    over_time = ((t("2026-03-02 18:00"), rule_set(DAILY)), (t("2026-01-01 00:00"), load_shipped("strict")))
    decision = ask(detector(), around(rules_over_time=over_time))
    assert (decision.until, decision.until_because) == (t("2026-03-02 18:00"), "gate")


def test_rules_that_take_effect_at_the_moment_do_not_end_a_yes_at_once() -> None:
    strict = load_shipped("strict")
    decision = ask(detector(), around(rules_over_time=((t(NOW), strict), (t("2026-01-01 00:00"), strict))))
    assert decision.until == t("2026-03-03 04:00")


def test_an_issue_without_a_test_is_loud_and_makes_no_yes() -> None:
    issue = UntestedIssue("iss-1", t("2026-03-02 08:00"), "person:P-12", "person:P-01", t("2026-03-02 12:00"))
    tested = ask(detector(untested=issue), around(rule_set(DAILY)))
    assert tested.verdict is Verdict.MAY_GO_OUT
    assert found(tested, "untested-issue-noted").code == "issued-untested"
    assert found(tested, "untested-issue-noted").strength == "warns"
    assert ask(detector(untested=issue, tests=())).verdict is Verdict.NOT_YET
    assert (
        found(ask(detector(untested=issue), at="2026-03-02 12:00"), "untested-issue-noted").code
        == "no-untested-issue"
    )


def test_a_fleet_of_thousands_is_judged_in_seconds() -> None:
    """Meant: 10,000 detectors in less than a second. Asserted with room for a busy machine: five."""
    state, surroundings, moment = detector(), around(), t(NOW)
    begun = time.process_time()
    for _ in range(500):
        decide(state, surroundings, as_of=moment)
    assert (time.process_time() - begun) * 20 < 5


def test_every_remedy_has_its_place_in_the_order() -> None:
    remedies = {
        code.remedy for predicate in (*PREDICATES.values(), GATE) for code in predicate.codes.values()
    }
    assert remedies <= set(EASE)


def test_a_channel_that_was_added_since_makes_the_test_incomplete() -> None:
    fewer = test_fact(shown=tuple(shown(name) for name in ("LEL", "O2", "CO")))
    decision = ask(detector(tests=(fewer,)))
    assert decision.verdict is Verdict.NOT_YET
    assert "alarm-not-shown" in [f.code for f in decision.findings if f.decisive]
