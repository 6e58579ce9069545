"""Rule sets from documents: every fault at once, nothing filled in, the same digest for the same rules."""

from __future__ import annotations

import copy
import hashlib
import json
import tomllib
from typing import Any

import pytest

from pitbird.rules.decision import RuleSet
from pitbird.rules.loading import digest_of, document_of, load_shipped, parse_rules, read_rules, shipped
from pitbird.rules.predicates import PREDICATES

DOCUMENT: dict[str, Any] = {
    "id": "north-works",
    "version": 3,
    "title": "North works",
    "rule": [
        {
            "id": "daily",
            "predicate": "gas-test-current",
            "strength": "stops",
            "source": "made up",
            "known": "common-practice",
            "parameters": {"lasts": "working-day"},
        }
    ],
}


def _with(**changes: Any) -> dict[str, Any]:
    return {**copy.deepcopy(DOCUMENT), **changes}


def _rule(**changes: Any) -> dict[str, Any]:
    changed = {**DOCUMENT["rule"][0], **changes}
    return _with(rule=[{key: value for key, value in changed.items() if value is not ...}])


def _parsed(document: dict[str, Any]) -> RuleSet:
    rules, faults = parse_rules(document)
    assert rules is not None, faults
    assert faults == ()
    return rules


def test_a_document_becomes_a_rule_set() -> None:
    rules = _parsed(DOCUMENT)
    assert (rules.id, rules.version, rules.title, rules.about) == ("north-works", 3, "North works", "")
    (rule,) = rules.rules
    assert (rule.id, rule.predicate, rule.strength, rule.edition) == (
        "daily",
        "gas-test-current",
        "stops",
        "",
    )
    assert dict(rule.parameters) == {"lasts": "working-day"}


IN = "rule 1 (daily), "

FAULTY: dict[str, tuple[dict[str, Any], str, str]] = {
    "no rules": (_with(rule=[]), "rule", "no rule"),
    "rules that are no list": (_with(rule="all"), "rule", "no rule"),
    "an unknown field": (_with(colour="grey"), "colour", "no such field"),
    "no id": (_with(id=None), "id", "no identifier"),
    "an id with spaces": (_with(id="North works"), "id", "no identifier"),
    "a version in words": (_with(version="3"), "version", "no version"),
    "a version below one": (_with(version=0), "version", "no version"),
    "a version that is true": (_with(version=True), "version", "no version"),
    "an empty title": (_with(title=" "), "title", "no text"),
    "an about that is no text": (_with(about=7), "about", "no text"),
    "a title that has no bytes": (_with(title="\ud800"), "title", "no text"),
    "a rule that is no table": (_with(rule=["daily"]), "rule 1", "not a table"),
    "an unknown predicate": (_rule(predicate="feels-right"), IN + "predicate", "not known"),
    "a predicate that is no word": (_rule(predicate=["gas-test-current"]), IN + "predicate", "not known"),
    "an unknown strength": (_rule(strength="hints"), IN + "strength", "not known"),
    "a strength that is no word": (_rule(strength=["stops"]), IN + "strength", "not known"),
    "an unknown mark": (_rule(known="sure"), IN + "known", "how well"),
    "a mark that is no word": (_rule(known=["seen"]), IN + "known", "how well"),
    "no source": (_rule(source=...), IN + "source", "no text"),
    "an empty source": (_rule(source=""), IN + "source", "no text"),
    "an edition in figures": (_rule(edition=2013), IN + "edition", "no text"),
    "an unknown field of a rule": (_rule(mood="good"), IN + "mood", "no such field"),
    "parameters that are no table": (_rule(parameters=[1]), IN + "parameters", "not a table"),
    "a missing parameter": (_rule(parameters={}), IN + "parameters", "lasts is missing"),
    "an unknown parameter": (
        _rule(parameters={"lasts": "shift", "until": 4}), IN + "parameters", "no parameter 'until'",
    ),
    "a word that is none of the choices": (
        _rule(parameters={"lasts": "a while"}), IN + "parameters", "must be one of",
    ),
    "hours that are missing": (
        _rule(parameters={"lasts": "hours"}), IN + "parameters", "hours is missing",
    ),
    "hours that have no place": (
        _rule(parameters={"lasts": "shift", "hours": 4}), IN + "parameters", "stands only with",
    ),
    "hours with a decimal": (
        _rule(parameters={"lasts": "hours", "hours": 4.5}), IN + "parameters", "whole number",
    ),
    "hours that are true": (
        _rule(parameters={"lasts": "hours", "hours": True}), IN + "parameters", "whole number",
    ),
    "no hours at all": (
        _rule(parameters={"lasts": "hours", "hours": 0}), IN + "parameters", "must be from 1",
    ),
    "more hours than a year has": (
        _rule(parameters={"lasts": "hours", "hours": 8785}), IN + "parameters", "must be from 1 to 8784",
    ),
    "a gas without a name": (
        _rule(
            predicate="calibrated-this-shift",
            parameters={"gases": ["oxygen", ""], "calibrated_by_maker": "exempt"},
        ),
        IN + "parameters", "list of words",
    ),
    "no events": (
        _rule(predicate="no-event-since-test", parameters={"events": []}), IN + "parameters", "empty",
    ),
    "an unknown event": (
        _rule(predicate="no-event-since-test", parameters={"events": ["eclipse"]}), IN + "parameters",
        "knows no 'eclipse'",
    ),
    "an event twice": (
        _rule(predicate="no-event-since-test", parameters={"events": ["drop", "drop"]}),
        IN + "parameters", "twice",
    ),
    "events that are no list": (
        _rule(predicate="no-event-since-test", parameters={"events": "drop"}), IN + "parameters", "list",
    ),
    "a parameter where none is taken": (
        _rule(predicate="signals-seen", parameters={"sound": "yes"}), IN + "parameters", "takes none",
    ),
    "a built-in rule that only warns": (
        _rule(predicate="in-service", strength="warns", parameters={}), IN + "strength", "always stops",
    ),
    "a warning that stops": (
        _rule(predicate="untested-issue-noted", parameters={}), IN + "strength", "never stops",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", FAULTY)
def test_a_fault_says_where_what_and_what_to_do(case: str) -> None:
    document, where, what = FAULTY[case]
    rules, faults = parse_rules(document)
    assert rules is None
    fault = next(fault for fault in faults if fault.where == where)
    assert what in f"{fault.what}. {fault.todo}"
    assert fault.todo
    assert str(fault).startswith(where)


@pytest.mark.parametrize(
    ("value", "what"),
    [
        ("1,2", "decimal number in quotes"),
        (1.2, "decimal number in quotes"),
        ("0", "above 0"),
        ("NaN", "decimal"),
    ],
)
def test_a_decimal_is_a_string_above_zero(value: object, what: str) -> None:
    window = next(rule for rule in document_of(load_shipped("strict"))["rule"] if rule["id"] == "gas-window")
    window["parameters"]["low"] = value
    _, faults = parse_rules(_with(rule=[window]))
    assert [what in fault.what for fault in faults] == [True]


def test_the_largest_number_allowed_is_allowed() -> None:
    assert _parsed(_rule(parameters={"lasts": "hours", "hours": 8784})).rules[0].parameters["hours"] == 8784


def test_every_fault_is_told_at_once() -> None:
    bad = {"id": "daily", "predicate": "?", "strength": "?", "known": "?", "parameters": {}}
    _, faults = parse_rules({"id": "", "version": None, "rule": [DOCUMENT["rule"][0], bad, bad]})
    told = [fault.where for fault in faults]
    assert told[:3] == ["id", "version", "title"]
    for number in (2, 3):
        for field in ("id", "predicate", "strength", "source", "known"):
            assert f"rule {number} (daily), {field}" in told


def test_the_document_of_a_rule_set_gives_the_same_rule_set() -> None:
    for name in shipped():
        rules = load_shipped(name)
        document = document_of(rules)
        assert _parsed(document) == rules
        assert _parsed(json.loads(json.dumps(document))) == rules


def test_the_digest_is_over_the_canonical_document() -> None:
    """RFC 8785 for this document: keys sorted, no spaces. SHA-256 by hashlib."""
    text = (
        '{"id":"north-works","rule":[{"id":"daily","known":"common-practice",'
        '"parameters":{"lasts":"working-day"},"predicate":"gas-test-current","source":"made up",'
        '"strength":"stops"}],"title":"North works","version":3}'
    )
    assert _parsed(DOCUMENT).digest == "sha256:" + hashlib.sha256(text.encode()).hexdigest()


@pytest.mark.parametrize(
    "other",
    [
        _with(version=4),
        _with(title="North"),
        _with(about="why"),
        _rule(strength="warns"),
        _rule(parameters={"lasts": "shift"}),
        _rule(source="also made up"),
        _rule(edition="2"),
    ],
)
def test_whatever_changes_changes_the_digest(other: dict[str, Any]) -> None:
    assert digest_of(_parsed(other)) != digest_of(_parsed(DOCUMENT))


def test_the_order_of_keys_does_not_change_the_digest() -> None:
    turned = dict(reversed(list(DOCUMENT.items())))
    assert _parsed(turned).digest == _parsed(DOCUMENT).digest


def test_a_rule_set_keeps_its_parameters_when_the_document_changes() -> None:
    document = _rule(predicate="no-event-since-test", parameters={"events": ["drop"]})
    rules = _parsed(document)
    document["rule"][0]["parameters"]["events"].append("water")
    assert rules.rules[0].parameters["events"] == ["drop"]


def test_a_rule_set_that_does_not_come_with_the_package_is_named_with_those_that_do() -> None:
    with pytest.raises(LookupError, match=r"no rule set 'lax'.*mining, strict, us"):
        load_shipped("lax")


def test_documents_come_from_toml() -> None:
    document = tomllib.loads(
        'id = "a"\nversion = 1\ntitle = "A"\n[[rule]]\nid = "d"\npredicate = "gas-test-within-days"\n'
        'strength = "stops"\nsource = "common practice, no source"\nknown = "common-practice"\n'
        "[rule.parameters]\ndays = 30\n"
    )
    assert dict(_parsed(document).rules[0].parameters) == {"days": 30}


def test_every_predicate_can_be_asked_for() -> None:
    assert len(PREDICATES) >= 20
    assert all(predicate.about for predicate in PREDICATES.values())


# --- from the text of a file, with lines ----------------------------------------

TEXT = """\
id = "north-works"
version = 3
title = "North works"

[[rule]]
id = "daily"
predicate = "gas-test-current"
strength = "stops"
source = "made up"
known = "common-practice"
[rule.parameters]
lasts = "working-day"

[[rule]]
id = "four-weeks"
predicate = "gas-test-within-days"
strength = "stops"
source = "made up"
known = "common-practice"
[rule.parameters]
days = 28
"""


def _lines(text: str) -> dict[str, int]:
    """The fields at fault and their lines."""
    rules, faults = read_rules(text)
    assert rules is None
    return {fault.field: fault.line for fault in faults}


def test_the_text_of_a_file_becomes_the_same_rule_set_as_its_document() -> None:
    rules, faults = read_rules(TEXT)
    assert (rules, faults) == parse_rules(tomllib.loads(TEXT))
    assert rules is not None
    assert read_rules("\ufeff" + TEXT.replace("\n", "\r\n"))[0] == rules, "as some editors save it"


def test_every_fault_names_its_line() -> None:
    wrong = TEXT.replace("version = 3", "version = 0").replace('"working-day"', '"a-week"')
    wrong = wrong.replace("days = 28", 'days = "28"').replace('id = "four-weeks"', 'id = "daily"')
    assert _lines(wrong) == {"version": 2, "lasts": 12, "id": 15, "days": 21}
    assert "line 21, rule 2 (daily), parameters: days must be a whole number" in str(read_rules(wrong)[1][-1])


def test_what_is_missing_is_told_at_the_head_of_its_rule() -> None:
    assert _lines(TEXT.replace("days = 28", "weeks = 4")) == {"weeks": 21, "days": 14}
    assert _lines(TEXT.replace('title = "North works"', "")) == {"title": 0}


def test_rules_written_another_way_have_faults_without_a_line_that_could_be_wrong() -> None:
    inline = TEXT.split("[[rule]]", 1)[0] + 'rule = [{id = "daily", predicate = "eclipse"}]\n'
    assert set(_lines(inline).values()) == {0}
    quoted = TEXT.replace('title = "North works"', 'title = "North"\nabout = """\n[[rule]]\n"""')
    assert set(_lines(quoted.replace("days = 28", "days = 0")).values()) == {0}


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        (TEXT.replace("version = 3", "version = 3\nversion = 4"), 3, "a name stands twice"),
        (TEXT.replace("days = 28", "days = 28\ndays = 7"), 22, "a name stands twice"),
        (TEXT + "[rule.parameters]\ndays = 7\n", 22, "a table stands twice"),
        (TEXT.replace("version = 3", "version = three"), 2, "is not TOML"),
        (TEXT.replace('"made up"', '"made up', 1), 9, "is not TOML"),
    ],
)
def test_what_the_toml_reader_refuses_is_told_with_its_line(text: str, line: int, what: str) -> None:
    """TOML v1.0.0: defining a key multiple times is invalid; a table cannot be defined more than once."""
    rules, (fault,) = read_rules(text)
    assert rules is None
    assert fault.line == line
    assert what in str(fault)
    assert str(fault).startswith(f"line {line}, the file: ")
