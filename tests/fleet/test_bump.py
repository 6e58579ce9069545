"""The bump test's logic: the shared cases, and what no flip of a single fact may bring about."""

import copy
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet import bump, state

VECTORS: dict[str, Any] = json.loads(
    Path(bump.__file__).with_name("bump_vectors.json").read_text(encoding="ascii")
)
PLANS = VECTORS["plans"]
CASES = VECTORS["cases"]
PASSES = [case for case in CASES if case["outcome"] == "passed"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_every_shared_case_comes_out_as_written(case: dict[str, Any]) -> None:
    assert bump.outcome(PLANS[case["plan"]], case["facts"]) == (case["outcome"], tuple(case["reasons"]))


def test_the_shared_cases_reach_every_reason_and_bear_distinct_names() -> None:
    codes = {reason.partition(":")[0] for case in CASES for reason in case["reasons"]}
    assert codes == {
        "check-failed", "clean-air-wrong", "not-reached", "signal-silent", "not-cleared",
        "spoiled", "nothing-to-show", "no-signal-fitted", "check-missing", "gas-check-failed",
        "clean-air-missing", "not-exposed", "not-counted", "unknown-channel", "signal-missing",
        "cleared-missing",
    }  # fmt: skip
    assert len({case["name"] for case in CASES}) == len(CASES) >= 40


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_remembered_outcome_is_the_outcome(case: dict[str, Any]) -> None:
    plan = PLANS[case["plan"]]
    detector = state.DetectorState(
        subject="detector:D-1",
        signals=tuple(plan["signals"]),
        channels=tuple(
            state.ChannelFact(
                channel["name"], channel["gas"], "other", channel["unit"], "100",
                channel["clean_air"], channel["tolerance"],
                (state.AlarmFact(**channel["must_show"], shown_by="gas"),) if channel["must_show"] else (),
            )
            for channel in plan["channels"]
        ),
    )  # fmt: skip
    own = bump.plan(detector)
    for stated in ("passed", "spoiled", "failed"):
        for footing in ({}, {"footing": "reported"}):
            facts = {**copy.deepcopy(case["facts"]), "outcome": stated, **footing}
            assert bump.settled(detector, facts) == bump.settle(own, facts)
            for application in facts.get("applications") or ():
                application["gas_on"] = application.get("gas_off")
            assert bump.settled(detector, facts) == bump.settle(own, facts), "gas that was on for no time"


# --- The plan -----------------------------------------------------------------------------------------------


def channel(name: str, gas: str, unit: str, clean: str, tolerance: str, *alarms: tuple[str, ...]) -> Any:
    return state.ChannelFact(
        name=name,
        gas=gas,
        principle="other",
        unit=unit,
        range_high="100",
        clean_air=clean,
        clean_air_tolerance=tolerance,
        alarms=tuple(state.AlarmFact(*alarm) for alarm in alarms),
    )


QUARTET = state.DetectorState(
    subject="detector:D-004",
    signals=("vibration", "sound", "light"),
    channels=(
        channel(
            "Flammable", "methane", "pct_lfl", "0", "2",
            ("high", "20", "rising", "gas"), ("low", "10", "rising", "gas"),
        ),
        channel(
            "O2", "oxygen", "vol_pct", "20.9", "0.3",
            ("low", "19.5", "falling", "gas"), ("low-low", "18", "falling", "gas"),
            ("rich", "23.5", "rising", "self-check"),
        ),
        channel(
            "CO", "carbon monoxide", "ppm", "0", "3",
            ("low", "30", "rising", "gas"), ("high", "60", "rising", "gas"), ("twa", "20", "rising", "none"),
        ),
        channel("H2S", "hydrogen sulfide", "ppm", "0", "1", ("high", "10", "rising", "gas")),
    ),
)  # fmt: skip
CO2 = channel("CO2", "carbon dioxide", "vol_pct", "0.04", "0.02", ("high", "1.5", "rising", "self-check"))


def test_a_plan_asks_of_each_channel_its_highest_alarm_by_gas_and_of_oxygen_the_lowest() -> None:
    assert bump.plan(QUARTET) == PLANS["four-gas"]


def test_a_channel_whose_alarms_gas_does_not_show_has_clean_air_but_no_gas_in_its_plan() -> None:
    only_self_check = state.DetectorState(
        subject="detector:D-040", signals=("sound", "light"), channels=(CO2,)
    )
    assert bump.plan(only_self_check) == PLANS["self-check-only"]


def test_a_detector_that_was_never_described_gets_a_plan_that_nothing_passes() -> None:
    plan = bump.plan(state.DetectorState(subject="detector:D-099"))
    assert plan["channels"] == []
    for case in PASSES:
        assert bump.outcome(plan, case["facts"])[0] != "passed"


def test_a_plan_is_plain_json() -> None:
    plan = bump.plan(QUARTET)
    assert json.loads(json.dumps(plan)) == plan


# --- No flip of a single fact gives a yes -------------------------------------------------------------------


def places(facts: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every *yes* and every time of gas in the facts."""
    if isinstance(facts, dict):
        return [place for key, item in facts.items() for place in places(item, (*path, key))]
    if isinstance(facts, list):
        return [place for index, item in enumerate(facts) for place in places(item, (*path, index))]
    return [path] if facts == "yes" or path[-1] in ("gas_on", "gas_off") else []


def changed(facts: Any, path: tuple[Any, ...], value: Any) -> Any:
    copied = copy.deepcopy(facts)
    inner = copied
    for step in path[:-1]:
        inner = inner[step]
    if value is None:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return copied


# A channel that was shown twice is still shown when one of the two showings is lost, so only its *no* counts.
SINGLE = [case for case in PASSES if "twice" not in case["name"]]
MUST_HAVE = [(case, place) for case in SINGLE for place in places(case["facts"])]


@given(
    chosen=st.sampled_from(MUST_HAVE), value=st.sampled_from([None, "no", "maybe", "", "YES", "not-fitted"])
)
def test_a_pass_with_any_one_fact_flipped_or_lost_is_no_pass(
    chosen: tuple[dict[str, Any], tuple[Any, ...]], value: str | None
) -> None:
    case, place = chosen
    if place[-1] in ("gas_on", "gas_off") and value is not None:
        value = "2026-03-02T23:00:00.000Z" if place[-1] == "gas_on" else "2026-03-02T01:00:00.000Z"
    facts = changed(case["facts"], place, value)
    worked_out, reasons = bump.outcome(PLANS[case["plan"]], facts)
    assert worked_out != "passed"
    assert reasons
    if value == "no" and place[:2] not in {("checks", check) for check in bump.GAS_CHECKS}:
        assert worked_out == "failed"


@given(
    case=st.sampled_from(CASES),
    because=st.sampled_from(
        ["hood-slipped", "gas-ran-out", "broken-off", "wrong-gas", "not-every-channel", "other"]
    ),
)
def test_a_test_of_which_the_tester_says_why_it_is_spoiled_never_passes(
    case: dict[str, Any], because: str
) -> None:
    facts = {**case["facts"], "spoiled_because": because}
    assert bump.outcome(PLANS[case["plan"]], facts)[0] != "passed"


@given(case=st.sampled_from(CASES), more=st.sampled_from(["signals", "checks", "cleared", "earlier gas"]))
def test_one_more_no_never_betters_an_outcome(case: dict[str, Any], more: str) -> None:
    plan, facts = PLANS[case["plan"]], copy.deepcopy(case["facts"])
    if more == "earlier gas":
        silent = {"channels": [{"channel": "H2S", "reached": "no"}]}
        facts["applications"] = [silent, *facts.get("applications", [{}])]
    else:
        key = {"signals": "sound", "checks": "inlets_clear", "cleared": "readings"}[more]
        facts.setdefault(more, {})[key] = "no"
    assert bump.outcome(plan, facts)[0] == "failed"


@given(
    case=st.sampled_from(CASES),
    drop=st.sampled_from(["checks", "clean_air", "applications", "signals", "cleared"]),
)
def test_leaving_out_a_whole_part_never_passes(case: dict[str, Any], drop: str) -> None:
    facts = {key: value for key, value in case["facts"].items() if key != drop}
    assert bump.outcome(PLANS[case["plan"]], facts)[0] != "passed"


DECIMALS = st.decimals(min_value=-999999999, max_value=999999999, places=6, allow_nan=False)


@given(reading=DECIMALS, expected=DECIMALS, tolerance=DECIMALS.map(abs))
def test_clean_air_is_compared_exactly(reading: Decimal, expected: Decimal, tolerance: Decimal) -> None:
    """Held against the decimal module of the standard library."""
    plan = copy.deepcopy(PLANS["one-gas"])
    plan["channels"][0] |= {"clean_air": f"{expected:f}", "tolerance": f"{tolerance:f}"}
    facts = {
        **PASSES[0]["facts"],
        "clean_air": [{"channel": "H2S", "reading": f"{reading:f}", "right": "yes"}],
    }
    passes = bump.outcome(plan, facts)[0] == "passed"
    assert passes == (abs(reading - expected) <= tolerance)


# --- Stated and worked out ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stated", "worked_out", "worse"),
    [
        ("passed", "passed", "passed"),
        ("passed", "spoiled", "spoiled"),
        ("passed", "failed", "failed"),
        ("spoiled", "passed", "spoiled"),
        ("spoiled", "spoiled", "spoiled"),
        ("spoiled", "failed", "failed"),
        ("failed", "passed", "failed"),
        ("failed", "spoiled", "failed"),
        ("failed", "failed", "failed"),
    ],
)
def test_the_worse_outcome_wins(stated: bump.Outcome, worked_out: bump.Outcome, worse: str) -> None:
    assert bump.worst(stated, worked_out) == worse


def test_a_stated_pass_settles_as_what_its_facts_say() -> None:
    plan = PLANS["one-gas"]
    whole = {**PASSES[0]["facts"], "outcome": "passed"}
    assert bump.settle(plan, whole) == "passed"
    assert bump.settle(plan, {**whole, "applications": []}) == "spoiled"
    assert bump.settle(plan, {**whole, "signals": {"sound": "no"}}) == "failed"


def test_a_stated_fail_stays_a_fail_whatever_its_facts_say() -> None:
    assert bump.settle(PLANS["one-gas"], {**PASSES[0]["facts"], "outcome": "failed"}) == "failed"


def test_a_reported_pass_has_no_gaps_but_a_recorded_no_fails_it() -> None:
    plan = PLANS["one-gas"]
    bare = {"footing": "reported", "outcome": "passed"}
    assert bump.settle(plan, bare) == "passed"
    assert bump.settle(plan, {**bare, "outcome": "failed"}) == "failed"
    assert bump.settle(plan, {**bare, "checks": {"inlets_clear": "no"}}) == "failed"


@pytest.mark.parametrize(
    ("facts", "reasons", "written"),
    [
        ({"spoiled_because": "gas-ran-out"}, ["not-exposed:H2S"], "gas-ran-out"),
        ({}, ["check-missing:battery", "not-exposed:H2S"], "not-every-channel"),
        ({}, ["check-missing:battery"], "other"),
    ],
)
def test_a_spoiled_test_says_why(facts: dict[str, Any], reasons: list[str], written: str) -> None:
    assert bump.spoiled_because(facts, reasons) == written


@given(case=st.sampled_from([case for case in CASES if case["outcome"] == "spoiled"]))
def test_writing_down_why_it_is_spoiled_leaves_it_spoiled(case: dict[str, Any]) -> None:
    because = bump.spoiled_because(case["facts"], case["reasons"])
    assert bump.outcome(PLANS[case["plan"]], {**case["facts"], "spoiled_because": because})[0] == "spoiled"
