"""The demo's decisions about earlier work: valid, in place, and none for the newest failures."""

from __future__ import annotations

from pitbird.demo.looking_back import LEFT_OPEN, decided
from pitbird.fleet.times import ms_of
from tests.demo.conftest import SEED, Told
from tests.demo.test_simulator import check


def test_a_failure_that_was_answered_is_decided_about_but_for_the_last_weeks(two_years: Told) -> None:
    end = two_years.world.end
    listed = list(decided(two_years.entries, seed=SEED, end=end))
    made = [(place, each) for place, each in enumerate(listed) if each.body["kind"] == "look-back"]
    answered = {
        answer
        for entry in two_years.of("returned-to-service")
        if entry.recorded_at <= end - LEFT_OPEN
        for answer in entry.body["answers"]
    }
    failed = {
        entry.body["id"]
        for kind in ("bump-test", "calibration")
        for entry in two_years.of(kind)
        if "failed" in (entry.body.get("outcome"), entry.body.get("result"))
    }
    assert len(made) > 50
    assert {each.body["failed"] for _, each in made} == answered & failed
    assert all(each.body["book_size"] == place for place, each in made)
    for _, each in made:
        check(each)


def test_the_entries_stay_in_the_order_in_which_they_are_recorded(two_years: Told) -> None:
    listed = list(decided(two_years.entries, seed=SEED, end=two_years.world.end))
    recorded = [each.recorded_at for each in listed]
    assert recorded == sorted(recorded)
    assert [each for each in listed if each.body["kind"] != "look-back"] == list(two_years.entries)
    ids = [each.body["id"] for each in listed]
    assert len(set(ids)) == len(ids)
    assert all(ms_of(each.body["at"]) <= each.recorded_at for each in listed)
