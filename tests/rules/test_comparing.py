"""The difference between two rule sets, and which way it goes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitbird.rules.comparing import Tendency, change_words, compare, overall, tendency_words
from pitbird.rules.decision import RuleSet
from pitbird.rules.loading import load_shipped, shipped
from tests.rules.builders import rule, rule_set


def test_a_set_does_not_differ_from_itself() -> None:
    for name in shipped():
        assert compare(load_shipped(name), load_shipped(name)) == ()


DAYS = "gas-test-within-days"


def calibrated(*gases: str) -> dict[str, Any]:
    return rule("calibrated-within-days", days=30, gases=list(gases), calibrated_by_maker="exempt")


def window(**other: Any) -> dict[str, Any]:
    usual = {
        "low": "1.2", "high": "2.0", "flammable_max_pct_lfl": "60", "oxygen": "0.9", "oxygen_spread": "0.05",
        "flammable_s": 45, "toxic_s": 90, "oxygen_s": 60,
    }  # fmt: skip
    return rule("gas-in-window", **{**usual, **other})


PARAMETERS: list[tuple[dict[str, Any], dict[str, Any], Tendency]] = [
    (rule(DAYS, days=30), rule(DAYS, days=14), Tendency.STRICTER),
    (rule(DAYS, days=14), rule(DAYS, days=30), Tendency.LOOSER),
    (rule("gas-on-at-least", seconds=10), rule("gas-on-at-least", seconds=20), Tendency.STRICTER),
    (
        rule("no-event-since-test", events=["drop"]),
        rule("no-event-since-test", events=["drop", "water"]),
        Tendency.STRICTER,
    ),
    (
        rule("no-event-since-test", events=["drop"]),
        rule("no-event-since-test", events=["water"]),
        Tendency.CANNOT_TELL,
    ),
    (
        rule("returned-properly", remedies=["calibration"]),
        rule("returned-properly", remedies=["calibration", "repaired"]),
        Tendency.LOOSER,
    ),
    (
        rule("cylinder-not-in-question", in_a_row=2, detectors=2),
        rule("cylinder-not-in-question", in_a_row=0, detectors=2),
        Tendency.LOOSER,
    ),
    (
        rule("gas-test-current", lasts="working-day"),
        rule("gas-test-current", lasts="shift"),
        Tendency.STRICTER,
    ),
    (
        rule("gas-test-current", lasts="hours", hours=8),
        rule("gas-test-current", lasts="hours", hours=9),
        Tendency.LOOSER,
    ),
    (calibrated(), calibrated("methane"), Tendency.LOOSER),
    (calibrated("methane"), calibrated(), Tendency.STRICTER),
    (calibrated("methane"), calibrated("methane", "oxygen"), Tendency.STRICTER),
    (calibrated("methane"), calibrated("oxygen"), Tendency.CANNOT_TELL),
    (window(), window(low="1.3"), Tendency.STRICTER),
    (window(), window(high="2.5"), Tendency.LOOSER),
    (window(), window(flammable_max_pct_lfl="50"), Tendency.STRICTER),
    (window(), window(oxygen_spread="0.10"), Tendency.LOOSER),
    (window(), window(high="2.00"), Tendency.NEITHER),
    (window(), window(oxygen="0.8"), Tendency.CANNOT_TELL),
    (window(), window(toxic_s=60), Tendency.STRICTER),
]


@pytest.mark.parametrize(("old", "new", "tendency"), PARAMETERS)
def test_a_changed_parameter_says_which_way_it_goes(
    old: dict[str, Any], new: dict[str, Any], tendency: Tendency
) -> None:
    (change,) = compare(rule_set(old), rule_set(new))
    assert change.tendency is tendency
    assert change.old
    assert change.new


DAILY_30 = rule(DAYS, days=30)


def test_rules_added_and_removed_and_their_strength() -> None:
    one, two = DAILY_30, rule("signals-seen")
    (added,) = compare(rule_set(one), rule_set(one, two))
    assert (added.what, added.tendency) == ("added", Tendency.STRICTER)
    (removed,) = compare(rule_set(one, two), rule_set(one))
    assert (removed.what, removed.tendency) == ("removed", Tendency.LOOSER)
    both = rule_set(one, rule("gas-test-current", lasts="shift"))
    (weaker,) = compare(both, rule_set(one, {**rule("gas-test-current", lasts="shift"), "strength": "warns"}))
    assert (weaker.what, weaker.tendency) == ("strength", Tendency.LOOSER)
    soft = with_strength(rule_set(one), "warns")
    (silent,) = compare(soft, with_strength(rule_set(rule(DAYS, days=5)), "warns"))
    assert silent.tendency is Tendency.NEITHER, "what only warns decides nothing"


def test_the_first_gas_test_rule_lets_something_out_and_taking_the_last_lets_nothing_out() -> None:
    """A set without a stopping gas-test rule never gives a yes."""
    seen = rule("signals-seen")
    (first,) = compare(rule_set(seen), rule_set(seen, DAILY_30))
    assert (first.what, first.tendency) == ("added", Tendency.LOOSER)
    (last,) = compare(rule_set(seen, DAILY_30), rule_set(seen))
    assert (last.what, last.tendency) == ("removed", Tendency.STRICTER)
    (weaker,) = compare(rule_set(DAILY_30), with_strength(rule_set(DAILY_30), "warns"))
    assert weaker.tendency is Tendency.STRICTER


def test_naming_a_built_in_rule_changes_no_answer() -> None:
    """described, understood and in-service are asked whether a set names them or not."""
    for name in ("described", "understood", "in-service"):
        (added,) = compare(rule_set(DAILY_30), rule_set(DAILY_30, rule(name)))
        assert (added.what, added.tendency) == ("added", Tendency.NEITHER), name


def test_bare_reports_go_by_what_holds_in_the_end() -> None:
    """Where no rule says otherwise a bare report does not count; of two rules the stricter holds."""
    yes = rule("footing-accepted", reported="counts")
    no = {**rule("footing-accepted", reported="does-not-count"), "id": "no-reports"}
    sets = {"": rule_set(DAILY_30), "yes": rule_set(DAILY_30, yes), "no": rule_set(DAILY_30, no)}
    sets["both"] = rule_set(DAILY_30, yes, no)
    expected = {
        ("", "yes"): Tendency.LOOSER,
        ("yes", ""): Tendency.STRICTER,
        ("", "no"): Tendency.NEITHER,
        ("yes", "both"): Tendency.STRICTER,
        ("both", "yes"): Tendency.LOOSER,
        ("no", "both"): Tendency.NEITHER,
    }
    for (old, new), tendency in expected.items():
        (change,) = compare(sets[old], sets[new])
        assert change.tendency is tendency, (old, new)


def test_where_the_strength_changes_that_alone_says_which_way_it_goes() -> None:
    strict = rule_set(DAILY_30, rule("gas-on-at-least", seconds=10))
    soft = rule_set(DAILY_30, {**rule("gas-on-at-least", seconds=20), "strength": "warns"})
    ways = {change.what: change.tendency for change in compare(strict, soft)}
    assert ways == {"strength": Tendency.LOOSER, "seconds": Tendency.NEITHER}


def test_all_changes_together_go_one_way_or_cannot_be_told() -> None:
    base = rule_set(DAILY_30)
    assert overall(compare(base, base)) is Tendency.NEITHER
    assert overall(compare(base, rule_set(DAILY_30, rule("signals-seen")))) is Tendency.STRICTER
    mixed = rule_set(rule(DAYS, days=60), rule("signals-seen"))
    assert overall(compare(base, mixed)) is Tendency.CANNOT_TELL


def with_strength(rules: RuleSet, strength: str) -> RuleSet:
    """The same set with every rule of another strength."""
    return replace(rules, rules=tuple(replace(each, strength=strength) for each in rules.rules))


def test_shipped_sets_differ_in_words_that_can_be_read() -> None:
    changes = compare(load_shipped("strict"), load_shipped("us"))
    assert changes
    for change in changes:
        words = change_words(change, gettext=str)
        assert change.rule in words
        assert "{" not in words
        assert tendency_words(change.tendency, gettext=str)
