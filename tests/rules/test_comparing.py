"""The difference between two rule sets, and which way it goes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitbird.rules.comparing import Tendency, change_words, compare, tendency_words
from pitbird.rules.decision import RuleSet
from pitbird.rules.loading import load_shipped, shipped
from tests.rules.builders import rule, rule_set


def test_a_set_does_not_differ_from_itself() -> None:
    for name in shipped():
        assert compare(load_shipped(name), load_shipped(name)) == ()


DAYS = "gas-test-within-days"
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
]


@pytest.mark.parametrize(("old", "new", "tendency"), PARAMETERS)
def test_a_changed_parameter_says_which_way_it_goes(
    old: dict[str, Any], new: dict[str, Any], tendency: Tendency
) -> None:
    (change,) = compare(rule_set(old), rule_set(new))
    assert change.tendency is tendency
    assert change.old
    assert change.new


def test_rules_added_and_removed_and_their_strength() -> None:
    one, two = rule(DAYS, days=30), rule("in-service")
    (added,) = compare(rule_set(one), rule_set(one, two))
    assert (added.what, added.tendency) == ("added", Tendency.STRICTER)
    (removed,) = compare(rule_set(one, two), rule_set(one))
    assert (removed.what, removed.tendency) == ("removed", Tendency.LOOSER)
    soft = with_strength(rule_set(one), "warns")
    (weaker,) = compare(rule_set(one), soft)
    assert (weaker.what, weaker.tendency) == ("strength", Tendency.LOOSER)
    (silent,) = compare(soft, with_strength(rule_set(rule(DAYS, days=5)), "warns"))
    assert silent.tendency is Tendency.NEITHER, "what only warns decides nothing"


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
