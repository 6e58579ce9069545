"""The bump test's logic in the page: held to the same cases as the Python module, in a real browser."""

import base64
import copy
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import pitbird
from pitbird.fleet import bump

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

PACKAGE = Path(pitbird.__file__).parent
VECTORS: dict[str, Any] = json.loads((PACKAGE / "fleet" / "bump_vectors.json").read_text(encoding="ascii"))
MODULE = "data:text/javascript;base64," + base64.b64encode(
    (PACKAGE / "web" / "static" / "pitbird" / "bump-test.js").read_bytes()
).decode("ascii")

WITH_MODULE = "async ([address, given]) => ({})(await import(address), given)"


def run(page: "Page", function: str, given: object) -> Any:
    """What a JavaScript function of the module and plain data returns."""
    return page.evaluate(WITH_MODULE.format(function), [MODULE, given])


def test_the_page_agrees_with_every_shared_case(page: "Page") -> None:
    given = [[VECTORS["plans"][case["plan"]], case["facts"]] for case in VECTORS["cases"]]
    results = run(page, "(bump, given) => given.map(([plan, facts]) => bump.outcome(plan, facts))", given)
    differing = [
        (case["name"], result)
        for case, result in zip(VECTORS["cases"], results, strict=True)
        if result != {"outcome": case["outcome"], "reasons": case["reasons"]}
    ]
    assert differing == []


def test_page_and_python_agree_when_any_answer_of_any_case_is_changed(page: "Page") -> None:
    given = [
        [VECTORS["plans"][case["plan"]], facts]
        for case in VECTORS["cases"]
        for facts in variants(case["facts"])
    ]
    results = run(page, "(bump, given) => given.map(([plan, facts]) => bump.outcome(plan, facts))", given)
    wanted = [bump.outcome(plan, facts) for plan, facts in given]
    assert len(given) > 1000
    assert [(result["outcome"], tuple(result["reasons"])) for result in results] == wanted


def variants(facts: dict[str, Any]) -> list[dict[str, Any]]:
    """The facts with each of their leaves in turn set to *no*, *yes*, or taken out."""
    made = []
    for path in leaves(facts):
        for value in ("no", "yes", None):
            copied = copy.deepcopy(facts)
            inner: Any = copied
            for step in path[:-1]:
                inner = inner[step]
            if value is None:
                del inner[path[-1]]
            else:
                inner[path[-1]] = value
            made.append(copied)
    return made


def leaves(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(value, dict):
        items = [(key, item) for key, item in value.items() if key != "channel"]
        return [leaf for key, item in items for leaf in leaves(item, (*path, key))]
    if isinstance(value, list):
        return [leaf for index, item in enumerate(value) for leaf in leaves(item, (*path, index))]
    return [path]


def test_the_steps_come_one_after_another_until_none_is_left(page: "Page") -> None:
    plan = VECTORS["plans"]["four-gas"]
    [whole] = [
        case["facts"]
        for case in VECTORS["cases"]
        if case["name"] == "everything came on four gases from one cylinder"
    ]
    begun = {"gas_on": "2026-03-02T06:40:10.000Z", "channels": [{"channel": "O2", "reached": "yes"}]}
    partly = [
        {},
        {"checks": whole["checks"]},
        {"checks": whole["checks"], "clean_air": whole["clean_air"]},
        {
            **{key: whole[key] for key in ("checks", "clean_air", "signals")},
            "applications": [begun],
        },
        {key: whole[key] for key in ("checks", "clean_air", "applications", "signals")},
        whole,
    ]
    next_step = "(bump, [plan, each]) => each.map((facts) => bump.nextStep(plan, facts))"
    steps = run(page, next_step, [plan, partly])
    assert steps == [
        {"step": "check", "what": "whole_and_clean"},
        {"step": "clean-air", "what": "Flammable"},
        {"step": "gas-on", "what": ""},
        {"step": "reached", "what": "Flammable"},
        {"step": "cleared", "what": "readings"},
        None,
    ]


def test_the_helpers_say_whether_gas_is_on_and_what_is_still_to_be_shown(page: "Page") -> None:
    plan = VECTORS["plans"]["four-gas"]
    on = {"gas_on": "2026-03-02T06:40:10.000Z", "channels": [{"channel": "O2", "reached": "yes"}]}
    off = {**on, "gas_off": "2026-03-02T06:40:32.000Z"}
    given = [plan, [{}, {"applications": [on]}, {"applications": [off]}]]
    assert run(page, "(bump, [plan, each]) => each.map(bump.gasIsOn)", given) == [False, True, False]
    assert run(page, "(bump, [plan, each]) => each.map((facts) => bump.notExposed(plan, facts))", given) == [
        ["Flammable", "O2", "CO", "H2S"],
        ["Flammable", "CO", "H2S"],
        ["Flammable", "CO", "H2S"],
    ]


def test_outcomes_and_reasons_are_joined_as_in_python(page: "Page") -> None:
    outcomes: list[bump.Outcome] = ["passed", "spoiled", "failed"]
    pairs = [[one, other] for one in outcomes for other in outcomes]
    assert run(page, "(bump, pairs) => pairs.map(([a, b]) => bump.worst(a, b))", pairs) == [
        bump.worst(one, other) for one in outcomes for other in outcomes
    ]
    reasons: list[tuple[dict[str, str], list[str]]] = [
        ({"spoiled_because": "gas-ran-out"}, ["not-exposed:H2S"]),
        ({}, ["check-missing:battery", "not-exposed:H2S"]),
        ({}, ["check-missing:battery"]),
    ]
    assert run(page, "(bump, each) => each.map(([f, r]) => bump.spoiledBecause(f, r))", reasons) == [
        bump.spoiled_because(facts, given) for facts, given in reasons
    ]
