"""The last morning, whatever hour it is: half of the fleet tested, and every reason why not to be seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import pytest

from pitbird.demo import Simulated
from pitbird.fleet.folding import fold
from pitbird.fleet.state import CylinderState, DetectorState, PersonState
from pitbird.fleet.times import HOUR, MINUTE, Ms, ms_of, text_of
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, Surroundings, Verdict
from pitbird.rules.loading import load_shipped
from tests.demo.conftest import Told, tell
from tests.demo.test_simulator import check, sealed

LAST_HOURS = (
    "2026-03-03T03:50:00.000Z",  # Lisbon and the Azores keep UTC and UTC-1 in winter: both before 04:00
    "2026-03-03T04:05:00.000Z",  # just after Lisbon's change-over
    "2026-03-03T04:00:30.000Z",
    "2026-03-03T05:04:00.000Z",  # just after the Azores'
    "2026-03-01T15:00:00.000Z",  # a Sunday
    "2026-03-29T01:30:00.000Z",  # clocks go forward at 01:00Z
    "2025-10-26T01:10:00.000Z",  # clocks go back at 01:00Z
    "2026-08-09T22:31:00.000Z",
)


def decisions(told: Told) -> Iterator[tuple[str, Decision]]:
    """What the shipped strict rules say about every detector at the end, with its part."""
    entries: dict[str, list[tuple[int, dict[str, object], str]]] = {}
    for index, entry in enumerate(told.entries):
        for subject in entry.body["about"]:
            entries.setdefault(subject, []).append((index, sealed(entry), text_of(entry.recorded_at)))
    states = {subject: fold(subject, listed) for subject, listed in entries.items()}
    cylinders = {s: state for s, state in states.items() if isinstance(state, CylinderState)}
    people = {s: state for s, state in states.items() if isinstance(state, PersonState)}
    rules = load_shipped("strict")
    for unit in told.world.units:
        place = unit.place
        around = Surroundings(place.id, place.zone, ("04:00",), ((Ms(0), rules),), cylinders, people)
        state = states[unit.id]
        assert isinstance(state, DetectorState)
        assert state.not_understood == ()
        yield unit.role, decide(state, around, as_of=told.world.end)


def test_the_gate_under_the_strict_rules_shows_every_reason(two_years: Told) -> None:
    found = list(decisions(two_years))
    by_part = {role: decision for role, decision in found if role}
    verdicts = Counter(decision.verdict for _, decision in found)
    assert 15 <= verdicts[Verdict.MAY_GO_OUT] <= 35
    assert 2 <= verdicts[Verdict.OUT_OF_SERVICE] <= 4

    def against(role: str) -> set[str]:
        stops = [f for f in by_part[role].findings if f.strength == "stops"]
        return {f.code for f in stops if f.outcome.value in {"not-met", "unknown"}}

    for role in ("fails-today", "out-failed", "out-damaged"):
        assert by_part[role].verdict is Verdict.OUT_OF_SERVICE, role
    assert "event-since-test" in against("dropped-today")
    assert "handed-over-since-test" in against("handed-over")
    assert "calibration-overdue" in against("calibration-overdue")
    assert "life-ended" in against("life-ended")
    assert "pass-older-than-days" in against("long-in-store")
    for role in ("lapsed-tester", "expired-gas", "not-every-channel", "spoiled-only", "issued-untested"):
        assert by_part[role].verdict is Verdict.NOT_YET, role
    assert by_part["dies-after-test"].verdict is Verdict.MAY_GO_OUT


def this_morning(told: Told) -> list[Simulated]:
    end = told.world.end
    return [e for e in told.of("bump-test") if ms_of(e.body["at"]) >= end - 3 * HOUR - MINUTE]


@pytest.mark.slow
@pytest.mark.parametrize("end", LAST_HOURS)
def test_whatever_hour_it_ends_at_about_half_of_the_fleet_was_tested_shortly_before(end: str) -> None:
    told = tell(end, days=60)
    tests = this_morning(told)
    assert 22 <= len({e.body["detector"] for e in tests}) <= 45
    for entry in told.entries:
        assert ms_of(entry.body["at"]) <= entry.recorded_at <= told.world.end
    for entry in told.entries[-400:]:
        check(entry)
    assert {e.body["outcome"] for e in tests} == {"passed", "failed", "spoiled"}


@pytest.mark.slow
def test_minutes_after_a_change_over_the_tests_still_belong_to_the_new_day() -> None:
    told = tell("2026-03-03T04:06:00.000Z", days=30)
    change_over = ms_of("2026-03-03T04:00:00.000Z")
    today = [e for e in this_morning(told) if e.body["zone"] == "Europe/Lisbon"]
    assert len(today) > 15
    assert all(ms_of(a["gas_on"]) > change_over for e in today for a in e.body["applications"])


def test_a_small_fleet_of_a_few_days_can_be_told_too() -> None:
    told = tell("2026-03-03T09:10:00.000Z", days=3, size=0.2)
    assert len(this_morning(told)) >= 8
    for entry in told.entries:
        check(entry)
