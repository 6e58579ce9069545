"""The fold: entries to states, in any order of arrival, with clocks and corrections."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.folding import advance, apply, empty, fold, item_of
from pitbird.fleet.state import (
    EVENTS_KEPT,
    SPANS_KEPT,
    TESTS_KEPT,
    CylinderState,
    DetectorState,
    PersonState,
    SiteState,
)
from pitbird.fleet.times import ms_of
from tests.bodies import CHANNELS, at, body, bump, detector, ms

D = "detector:D-017"


def folded(*bodies: dict[str, Any], subject: str = D, recorded: dict[str, str] | None = None) -> Any:
    """Fold bodies in the order given; each recorded when it happened unless said otherwise."""
    late = recorded or {}
    return fold(subject, [(n, b, late.get(b["id"], b["at"])) for n, b in enumerate(bodies)])


def test_a_description_gives_channels_and_the_alarm_that_gas_must_show() -> None:
    state = folded(detector())
    assert isinstance(state, DetectorState)
    shown = {channel.name: channel.must_show for channel in state.channels}
    assert {name: alarm.at for name, alarm in shown.items() if alarm} == {
        "CH4": "20",
        "O2": "18",
        "CO": "60",
        "H2S": "10",
    }


def test_a_passed_test_is_a_fact_and_opens_no_reason() -> None:
    state = folded(detector(), bump(at("06:30")))
    assert [test.outcome for test in state.tests] == ["passed"]
    assert state.open_reasons == ()
    assert {shown.channel: shown.gas_on_s for shown in state.tests[0].shown} == dict.fromkeys(
        ["CH4", "O2", "CO", "H2S"], 20.0
    )


def test_a_failed_test_takes_the_detector_out_at_once_and_names_the_channel() -> None:
    state = folded(detector(), bump(at("06:30"), missed="CO"))
    assert [(reason.because, reason.channels) for reason in state.open_reasons] == [("test-failed", ("CO",))]
    assert state.last_failure is not None
    assert state.last_failure.channels == ("CO",)


def test_a_later_pass_does_not_put_it_back() -> None:
    state = folded(detector(), bump(at("06:30"), missed="CO"), bump(at("06:40")))
    assert len(state.open_reasons) == 1


def test_a_pass_that_its_own_facts_contradict_is_a_fail() -> None:
    lie = {**bump(at("06:30"), missed="CO"), "outcome": "passed"}
    assert folded(detector(), lie).tests[0].outcome == "failed"


def test_before_the_first_description_facts_still_contradict_a_pass() -> None:
    lie = {**bump(at("04:30"), missed="CO"), "outcome": "passed"}
    state = folded(lie, detector())
    assert [(reason.because, reason.channels) for reason in state.open_reasons] == [("test-failed", ("CO",))]
    assert folded(bump(at("04:30")), detector()).tests[0].outcome == "passed"


def test_a_return_clears_only_the_reasons_that_it_names() -> None:
    fail, decision = bump(at("06:30"), missed="CO"), body("out-of-service", at("06:35"))
    back = body("returned-to-service", at("09:00"), answers=[fail["id"]], tested=None)
    state = folded(detector(), fail, decision, back)
    assert [reason.entry for reason in state.open_reasons] == [decision["id"]]
    assert state.last_failure.answered_by == back["id"]


def test_an_open_reason_is_never_forgotten_for_newer_ones() -> None:
    held = body("out-of-service", at("05:30"), because="incident")
    fails = [bump(at(f"{6 + n // 60:02}:{n % 60:02}"), missed="CO") for n in range(130)]
    answers = [fail["id"] for fail in fails]
    returned = [
        body("returned-to-service", at("09:00"), answers=answers[start : start + 32])
        for start in range(0, len(answers), 32)
    ]
    state = folded(detector(), held, *fails, *returned)
    assert [reason.entry for reason in state.open_reasons] == [held["id"]]


def test_a_fail_that_arrives_after_the_return_stays_open() -> None:
    first, unsent = bump(at("06:30"), missed="CO"), bump(at("06:20"), missed="H2S")
    back = body("returned-to-service", at("09:00"), answers=[first["id"]], tested=None)
    state = folded(detector(), first, back, unsent, recorded={unsent["id"]: at("10:00")})
    assert [reason.entry for reason in state.open_reasons] == [unsent["id"]]


def test_at_the_same_instant_the_fail_wins() -> None:
    fail, passed = bump(at("06:30"), missed="CO"), bump(at("06:30"))
    for order in ((fail, passed), (passed, fail)):
        state = folded(detector(), *order)
        assert state.tests[0].outcome == "failed", "the fail is folded last, as the newest"
        assert state.open_reasons


def test_a_pass_dated_more_than_two_minutes_ahead_does_not_count() -> None:
    ahead = bump(at("08:03"))
    state = folded(detector(), ahead, recorded={ahead["id"]: at("08:00")})
    assert [test.counts for test in state.tests] == [False]
    assert state.doubtful == (ahead["id"],)
    near = bump(at("08:02"))
    assert folded(detector(), near, recorded={near["id"]: at("08:00")}).tests[0].counts


def test_a_fail_dated_ahead_counts_from_when_it_arrived() -> None:
    ahead = bump(at("12:00"), missed="CO")
    state = folded(detector(), ahead, recorded={ahead["id"]: at("08:00")})
    assert [reason.at for reason in state.open_reasons] == [ms("08:00")]


def test_a_return_dated_ahead_returns_nothing() -> None:
    fail = bump(at("06:30"), missed="CO")
    back = body("returned-to-service", at("12:00"), answers=[fail["id"]], tested=None)
    state = folded(detector(), fail, back, recorded={back["id"]: at("08:00")})
    assert state.open_reasons
    assert state.doubtful == (back["id"],)


def test_issue_from_the_store_is_no_hand_over_but_wearer_to_wearer_is() -> None:
    out = body("handed-out", at("07:00"), to="person:P-12", from_store=True)
    over = body("handed-out", at("11:00"), to="person:P-13", from_store=False)
    back = body("handed-back", at("15:00"), back_from="person:P-13")
    again = body("handed-out", at("16:00"), to="person:P-14", from_store=True)
    assert folded(detector(), out).custody.handed_over_at is None
    assert folded(detector(), out, over).custody.handed_over_at == ms("11:00")
    assert folded(detector(), out, over, back, again).custody.handed_over_at == ms("11:00")


def test_out_of_the_store_while_somebody_holds_it_is_taken_as_a_hand_over() -> None:
    out = body("handed-out", at("07:00"), to="person:P-12", from_store=True)
    odd = body("handed-out", at("11:00"), to="person:P-13", from_store=True)
    assert folded(detector(), out, odd).custody.handed_over_at == ms("11:00")


def test_new_set_points_are_an_event_but_the_same_description_again_is_not() -> None:
    same = detector(at("09:00"))
    changed = detector(at("09:00"), signals=["sound", "light"])
    assert folded(detector(), same).events == ()
    assert [event.what for event in folded(detector(), changed).events] == ["described-anew"]


def test_an_unknown_kind_is_kept_and_makes_the_subject_not_understood() -> None:
    odd = {**body("note", at("07:00")), "kind": "levitated"}
    assert folded(detector(), odd).not_understood == (odd["id"],)


def test_a_voided_test_is_gone_from_the_state_and_a_later_correction_wins() -> None:
    test = bump(at("06:30"), missed="CO")
    void = body("correction", at("07:00"), corrects=test["id"], of_about=test["about"])
    assert folded(detector(), test, void).open_reasons == ()
    kept = body(
        "correction",
        at("07:10"),
        corrects=test["id"],
        of_about=test["about"],
        how="replace",
        replacement=test,
    )
    assert folded(detector(), test, void, kept).open_reasons != ()
    assert folded(detector(), test, void, kept).count == 4


def test_a_correction_moves_a_test_to_another_detector() -> None:
    wrong = bump(at("06:30"), missed="CO")
    right = {**bump(at("06:30"), missed="CO", detector="detector:D-018"), "id": wrong["id"]}
    moved = body(
        "correction",
        at("07:00"),
        corrects=wrong["id"],
        of_about=wrong["about"],
        how="replace",
        replacement=right,
    )
    assert "detector:D-018" in moved["about"]
    assert folded(detector(), wrong, moved).tests == ()
    there = folded(detector(detector="detector:D-018"), moved, subject="detector:D-018")
    assert [reason.entry for reason in there.open_reasons] == [wrong["id"]]


def corrected(
    original: dict[str, Any], when: str, *, by: str = "person:K-1", **replacement: Any
) -> dict[str, Any]:
    """A correction that puts the same entry with some fields changed in place of the first."""
    return body(
        "correction", when, by=by, corrects=original["id"], of_about=original["about"], how="replace",
        replacement={**original, **replacement},
    )  # fmt: skip


def test_a_clock_corrected_by_a_second_person_makes_a_pass_count() -> None:
    ahead = bump(at("18:00"))
    fix = corrected(ahead, at("09:00"), at=at("08:00"))
    state = folded(detector(), ahead, fix, recorded={ahead["id"]: at("08:01")})
    assert [(test.counts, test.at) for test in state.tests] == [(True, ms("08:00"))]


def test_a_doubtful_pass_does_not_count_because_its_correction_came_after_its_time() -> None:
    ahead = bump(at("11:00"))
    warmer = corrected(ahead, at("11:30"), temperature_c="14")
    state = folded(detector(), ahead, warmer, recorded={ahead["id"]: at("08:00")})
    assert [(test.counts, test.temperature_c) for test in state.tests] == [(False, "14")]
    assert state.doubtful == (ahead["id"],)


def test_no_correction_says_that_a_pass_happened_after_it_was_recorded() -> None:
    passed = bump(at("07:00"))
    later = corrected(passed, at("16:00"), at=at("15:30"))
    near = corrected(passed, at("16:00"), at=at("07:03"))
    recorded = {passed["id"]: at("07:01")}
    assert [test.counts for test in folded(detector(), passed, later, recorded=recorded).tests] == [False]
    assert [test.counts for test in folded(detector(), passed, near, recorded=recorded).tests] == [True]


def test_whoever_wrote_a_doubtful_pass_does_not_say_when_it_was() -> None:
    ahead = bump(at("18:00"), by="person:P-07")
    own = corrected(ahead, at("09:00"), by="person:P-07", at=at("08:00"))
    again = corrected(ahead, at("09:10"), by="person:K-1", at=at("08:00"))
    recorded = {ahead["id"]: at("08:01")}
    assert [test.counts for test in folded(detector(), ahead, own, recorded=recorded).tests] == [False]
    assert [test.counts for test in folded(detector(), ahead, own, again, recorded=recorded).tests] == [True]
    undone = folded(detector(), ahead, again, own, recorded=recorded)
    assert [test.counts for test in undone.tests] == [False], "the last correction is the one that counts"


def test_a_fail_that_a_correction_dates_later_still_forbids() -> None:
    failed = bump(at("07:00"), missed="CO")
    later = corrected(failed, at("16:00"), at=at("15:30"))
    state = folded(detector(), failed, later, recorded={failed["id"]: at("07:01")})
    assert [reason.at for reason in state.open_reasons] == [ms("15:30")]


MENDING: dict[str, dict[str, Any]] = {
    "repaired": {"replaced": []},
    "happened": {"what": "sensor-changed", "channels": ["CO"]},
    "sensor": {"fitted_in": D, "channel": "CO"},
}


@pytest.mark.parametrize("kind", MENDING)
def test_a_mending_whose_clock_cannot_be_right_ends_a_pass_and_mends_nothing(kind: str) -> None:
    mending = body(kind, at("18:00"), **MENDING[kind])
    state = folded(detector(), mending, recorded={mending["id"]: at("08:00")})
    assert [event.at for event in state.events] == [ms("08:00")]
    assert state.repairs == ()
    assert folded(detector(), body(kind, at("08:00"), **MENDING[kind])).repairs[0].at == ms("08:00")


@pytest.mark.parametrize("kind", MENDING)
def test_no_correction_says_that_a_mending_came_after_it_was_recorded(kind: str) -> None:
    """A repair of 07:00 does not mend the failure of 10:00 because a correction dates it 10:30."""
    mending = body(kind, at("07:00"), **MENDING[kind])
    later = corrected(mending, at("11:00"), at=at("10:30"))
    near = corrected(mending, at("11:00"), at=at("07:02"))
    state = folded(detector(), mending, later)
    assert ([event.at for event in state.events], state.repairs) == ([ms("10:30")], ())
    assert [act.at for act in folded(detector(), mending, near).repairs] == [ms("07:02")]


def test_another_kind_of_event_does_not_become_a_mending_after_it_was_recorded() -> None:
    drop = body("happened", at("07:00"), what="drop", channels=[])
    turned = corrected(drop, at("11:00"), at=at("10:30"), what="sensor-changed")
    assert folded(detector(), drop, turned).repairs == ()


def test_a_calibration_whose_clock_cannot_be_right_ends_a_pass_all_the_same() -> None:
    ahead = body("calibration", at("18:00"))
    state = folded(detector(), bump(at("06:30")), ahead, recorded={ahead["id"]: at("08:00")})
    assert state.calibrations == ()
    assert [(event.what, event.at) for event in state.events] == [("calibration", ms("08:00"))]


def test_a_calibration_that_a_correction_dates_later_ends_what_passed_before() -> None:
    early = body("calibration", at("07:00"))
    later = corrected(early, at("11:00"), at=at("10:30"))
    state = folded(detector(), early, later)
    assert state.calibrations == ()
    assert [(event.what, event.at) for event in state.events] == [("calibration", ms("10:30"))]


def test_a_note_does_not_become_a_pass() -> None:
    note = body("note", at("07:00"), subject=D, about=[D])
    turned = {**bump(at("07:00")), "id": note["id"]}
    fix = body(
        "correction", at("07:30"), corrects=note["id"], of_about=[D], how="replace", replacement=turned
    )
    assert [test.counts for test in folded(detector(), note, fix).tests] == [False]


def test_a_pass_moved_from_another_detector_is_judged_by_where_it_came_from() -> None:
    there = "detector:D-018"
    ahead = bump(at("11:00"))
    moved = corrected(ahead, at("11:30"), detector=there, about=[there, "cylinder:C-112"])
    entries = [detector(detector=there), ahead, moved]

    def tests_of(listed: list[dict[str, Any]], recorded: str) -> list[bool]:
        return [
            test.counts for test in folded(*listed, subject=there, recorded={ahead["id"]: recorded}).tests
        ]

    assert tests_of(entries, at("11:00")) == [True]
    assert tests_of(entries, at("08:00")) == [False]
    assert tests_of([entries[0], moved], at("11:00")) == [False], "nobody knows when it was recorded"
    assert folded(*entries, subject=there).count == 2, "the original is not about it"


def test_a_cylinder_counts_its_tests_gas_and_readings() -> None:
    subject = "cylinder:C-112"
    opened = body("cylinder-opened", at("05:30"), gauge_bar="68")
    tests = [bump(at("06:30")), bump(at("06:40"), missed="CO")]
    state = folded(body("cylinder", at("05:00")), opened, *tests, subject=subject)
    assert isinstance(state, CylinderState)
    assert (state.tests, state.gas_on_ms, state.fails) == (2, 40_000, 1)
    assert [gauge.bar for gauge in state.gauges] == ["68"]


def _behind(entry: dict[str, Any], seconds: str) -> dict[str, Any]:
    phone = {"device": "device:PH-01", "known_by": "pin", "contact": at("06:00"), "ahead_s": seconds}
    return {**entry, "phone": phone}


def test_what_a_phone_known_to_be_behind_says_against_a_detector_counts_up_to_when_it_can_have_been() -> None:
    """By a clock four hours behind, 08:00 was 12:00: a pass of 10:00 does not outlive a drop or a fail."""
    drop = _behind(body("happened", at("08:00"), what="drop", channels=[]), "-14400")
    fail = _behind(bump(at("08:00"), missed="CO"), "-14400")
    recorded = {drop["id"]: at("13:00"), fail["id"]: at("11:30")}
    assert [event.at for event in folded(detector(), drop, recorded=recorded).events] == [ms("12:00")]
    state = folded(detector(), fail, bump(at("10:00")), recorded=recorded)
    assert state.last_failure is not None
    assert state.last_failure.at == ms("11:30"), "when it was recorded, at the latest"
    assert [test.at for test in state.tests if test.outcome == "failed"] == [ms("11:30")]
    near = _behind(body("happened", at("08:00"), what="drop", channels=[]), "-90")
    assert [event.at for event in folded(detector(), near).events] == [ms("08:00")]


def test_a_failed_test_by_a_good_clock_lies_where_its_gas_began() -> None:
    late = {**bump(at("08:00"), missed="CO"), "at": at("08:05")}
    assert [test.at for test in folded(detector(), late).tests] == [ms_of(late["applications"][0]["gas_on"])]


def test_a_pass_and_a_mending_by_a_phone_known_to_be_behind_are_not_moved_later() -> None:
    good = _behind(bump(at("08:00")), "-14400")
    changed = _behind(body("happened", at("08:00"), what="sensor-changed", channels=["CO"]), "-14400")
    recorded = {good["id"]: at("13:00"), changed["id"]: at("13:00")}
    state = folded(detector(), good, changed, recorded=recorded)
    assert [test.at for test in state.tests] == [ms("08:00")]
    assert [act.at for act in state.repairs] == [ms("08:00")]


def test_hand_overs_by_a_phone_known_to_be_behind_count_up_to_when_they_can_have_been() -> None:
    out = body("handed-out", at("06:00"), from_store=True)
    over = _behind(body("handed-out", at("08:00"), to="person:K-1", from_store=False), "-14400")
    back = _behind(body("handed-back", at("08:30"), back_from="person:K-1"), "-14400")
    recorded = {over["id"]: at("13:00"), back["id"]: at("13:00")}
    state = folded(detector(), out, over, back, recorded=recorded)
    assert state.custody is not None
    assert (state.custody.handed_over_at, state.custody.since) == (ms("12:00"), ms("12:30"))


def test_what_counts_up_to_now_is_not_pushed_out_by_what_happened_since_by_the_phones_clock() -> None:
    """A phone a day behind tells of yesterday 06:00 what may have been at 08:30 today, among much else."""
    drop = _behind(body("happened", at("04:00"), what="drop", channels=[]), "-86400")
    fail = _behind(bump(at("04:10"), missed="CO"), "-86400")
    much = [body("alarm-in-use", at(f"05:{n:02}")) for n in range(EVENTS_KEPT)]
    much += [bump(at(f"06:{n:02}")) for n in range(TESTS_KEPT)]
    newest = bump(at("07:00"), missed="H2S")
    late = {drop["id"]: at("08:30"), fail["id"]: at("08:30")}
    told = [detector(at("03:00")), drop, fail, *much, newest]
    state = folded(*told, recorded=late)
    assert (state.events[0].entry, state.events[0].at) == (drop["id"], ms("08:30"))
    assert (state.tests[0].entry, state.tests[0].at) == (fail["id"], ms("08:30"))
    assert (state.last_failure.entry, state.last_failure.at) == (fail["id"], ms("08:30"))
    assert [reason.entry for reason in state.open_reasons] == [newest["id"], fail["id"]]
    assert [len(state.events), len(state.tests)] == [EVENTS_KEPT, TESTS_KEPT]
    for facts in (state.events, state.tests):
        assert list(facts) == sorted(facts, key=lambda fact: -fact.at)


def test_of_failures_of_one_time_the_one_told_last_is_the_last() -> None:
    first = _behind(bump(at("06:00"), missed="CO"), "-7200")
    second = bump(at("08:00"), missed="H2S")
    state = folded(detector(), first, second, recorded={first["id"]: at("09:00")})
    assert (state.last_failure.entry, state.last_failure.at) == (second["id"], ms("08:00"))


READ: dict[str, Any] = {
    "in a failed test": lambda when, bar: _with_gauge(bump(when, missed="CO"), bar),
    "on its own": lambda when, bar: body("gauge-read", when, gauge_bar=bar),
    "when it was opened": lambda when, bar: body("cylinder-opened", when, gauge_bar=bar),
}


def _with_gauge(test: dict[str, Any], bar: str) -> dict[str, Any]:
    gas = [{**application, "gauge_bar": bar} for application in test["applications"]]
    return {**test, "applications": gas}


@pytest.mark.parametrize("how", READ)
def test_a_needle_read_by_a_clock_that_cannot_be_right_tells_only_that_too_little_was_left(how: str) -> None:
    """Enough gas at 12:00 by a clock four hours ahead says nothing of 12:00; too little counts on arrival."""
    for bar, told in (("50", []), ("1", [("1", ms("08:00"))])):
        read = READ[how](at("12:00"), bar)
        state = folded(
            body("cylinder", at("05:00"), minimum_pressure_bar="2"), read,
            subject="cylinder:C-112", recorded={read["id"]: at("08:00")},
        )  # fmt: skip
        assert [(gauge.bar, gauge.at) for gauge in state.gauges] == told


def test_gas_on_later_than_its_test_was_recorded_dates_no_needle() -> None:
    test = _with_gauge(bump(at("12:00")), "50")
    early = {**test, "at": at("08:00"), "outcome": "failed"}
    described = body("cylinder", at("05:00"), minimum_pressure_bar="2")
    assert folded(described, early, subject="cylinder:C-112").gauges == ()


def test_an_open_quarantine_is_never_forgotten_for_newer_ones() -> None:
    first = body("cylinder-quarantined", at("06:00"), since=None)
    entries = [body("cylinder", at("05:00")), first]
    for minute in range(SPANS_KEPT + 4):
        held = body("cylinder-quarantined", at(f"07:{2 * minute:02}"), since=None)
        entries += [held, body("cylinder-released", at(f"07:{2 * minute + 1:02}"), answers=[held["id"]])]
    state = folded(*entries, subject="cylinder:C-112")
    assert len(state.withdrawn) == SPANS_KEPT
    assert state.withdrawn_at(ms("09:00")) is not None
    freed = folded(
        *entries, body("cylinder-released", at("08:30"), answers=[first["id"]]), subject="cylinder:C-112"
    )
    assert freed.withdrawn_at(ms("09:00")) is None


def test_of_the_quarantines_that_ended_the_latest_to_end_are_kept() -> None:
    long = body("cylinder-quarantined", at("06:00"), since=None)
    entries = [body("cylinder", at("05:00")), long]
    for minute in range(SPANS_KEPT + 4):
        held = body("cylinder-quarantined", at(f"07:{2 * minute:02}"), since=None)
        entries += [held, body("cylinder-released", at(f"07:{2 * minute + 1:02}"), answers=[held["id"]])]
    entries += [body("cylinder-released", at("08:30"), answers=[long["id"]])]
    entries += [body("cylinder-quarantined", at("08:40"), since=None)]
    state = folded(*entries, subject="cylinder:C-112")
    assert state.withdrawn_at(ms("08:20")) is not None


def test_quarantine_holds_from_its_since_until_released() -> None:
    held = body("cylinder-quarantined", at("10:00"), since=at("06:00"))
    free = body("cylinder-released", at("12:00"), answers=[held["id"]])
    state = folded(body("cylinder", at("05:00")), held, free, subject="cylinder:C-112")
    moments = ["05:59", "06:00", "11:59", "12:00"]
    assert [state.withdrawn_at(ms(clock)) is not None for clock in moments] == [False, True, True, False]


def test_training_and_roles_stand_in_a_persons_state() -> None:
    state = folded(body("person", at("05:00")), body("training", at("06:00")), subject="person:P-07")
    assert isinstance(state, PersonState)
    assert [(fact.topic, fact.until) for fact in state.trainings] == [("bump-test", "2028-03-02")]


def test_rules_cannot_be_adopted_for_the_past() -> None:
    adopted = body("rules-adopted", at("12:00"), effective=at("06:00"))
    state = folded(body("site", at("05:00")), adopted, subject="site:north-works")
    assert isinstance(state, SiteState)
    assert state.adopted_at(ms("11:59")) is None
    found = state.adopted_at(ms("12:00"))
    assert found is not None
    assert found.entry == adopted["id"]


def test_until_leaves_out_what_happened_later() -> None:
    bodies = [detector(), bump(at("06:30")), bump(at("09:00"), missed="CO")]
    state = fold(D, [(n, b, b["at"]) for n, b in enumerate(bodies)], until=ms("08:00"))
    assert isinstance(state, DetectorState)
    assert [test.outcome for test in state.tests] == ["passed"]
    assert state.open_reasons == ()


HISTORY = st.lists(
    st.tuples(st.integers(360, 1200), st.sampled_from(["pass", "fail", "drop", "out", "back", "return"])),
    min_size=1,
    max_size=10,
)


def history(acts: list[tuple[int, str]]) -> list[dict[str, Any]]:
    """Bodies for a list of (minute of the day, act)."""
    made: list[dict[str, Any]] = [detector()]
    for minute, act in acts:
        when = at(f"{minute // 60:02d}:{minute % 60:02d}")
        reasons = [b["id"] for b in made if b["kind"] == "bump-test" and b["outcome"] == "failed"]
        if act in {"pass", "fail"}:
            made.append(bump(when, missed="CO" if act == "fail" else None))
        elif act == "drop":
            made.append(body("happened", when))
        elif act == "out":
            made.append(body("handed-out", when))
        elif act == "back":
            made.append(body("handed-back", when))
        elif reasons:
            made.append(body("returned-to-service", when, answers=reasons, tested=None))
    return made


@given(HISTORY, st.randoms(use_true_random=False))
def test_any_order_of_the_same_leaves_gives_one_state(acts: list[tuple[int, str]], random: Any) -> None:
    """Whichever way the same leaves are handed to the fold, the state is one."""
    leaves = [(n, b, b["at"]) for n, b in enumerate(history(acts))]
    shuffled = list(leaves)
    random.shuffle(shuffled)
    assert fold(D, shuffled) == fold(D, leaves)


@given(HISTORY, st.lists(st.integers(0, 40), min_size=16), st.randoms(use_true_random=False))
def test_any_order_gives_one_state_also_of_phones_that_were_behind(
    acts: list[tuple[int, str]], behind: list[int], random: Any
) -> None:
    """Recorded the day after, so that what each says counts for as long as its phone was behind."""
    made = history(acts)
    late = [_behind(b, str(-h * 3600)) for b, h in zip(made, [0, *behind], strict=False)] + made[17:]
    leaves = [(n, b, at("23:00", "2026-03-03")) for n, b in enumerate(late)]
    shuffled = list(leaves)
    random.shuffle(shuffled)
    state = fold(D, shuffled)
    assert state == fold(D, leaves)
    assert isinstance(state, DetectorState)
    for facts in (state.events, state.tests):
        assert list(facts) == sorted(facts, key=lambda fact: -fact.at)
    fails = [test.at for test in state.tests if test.outcome == "failed"]
    assert state.last_failure is None or state.last_failure.at == max(fails)


@given(HISTORY)
def test_one_entry_at_a_time_gives_what_folding_anew_gives(acts: list[tuple[int, str]]) -> None:
    """Where ``apply`` answers, it answers as ``fold`` would; where it cannot, it says so."""
    bodies = history(acts)
    state = empty(D)
    for n, entry in enumerate(bodies):
        anew = fold(D, [(k, b, b["at"]) for k, b in enumerate(bodies[: n + 1])])
        stepped = apply(state, item_of(n, entry, entry["at"]))
        if stepped is not None:
            assert stepped == anew
        state = anew


@given(HISTORY, st.integers(0, 12), st.randoms(use_true_random=False))
def test_several_entries_at_once_give_what_folding_anew_gives(
    acts: list[tuple[int, str]], known: int, random: Any
) -> None:
    """In whatever order they arrive; only what happened no later than what is known is folded anew."""
    leaves = [(n, b, b["at"]) for n, b in enumerate(history(acts))]
    before, more = leaves[: known + 1], leaves[known + 1 :]
    random.shuffle(more)
    start = fold(D, before)
    states = advance(start, [item_of(*leaf) for leaf in more])
    late = any(ms_of(leaf[2]) <= start.last_at for leaf in more)
    assert (states is None) is late
    if states is not None:
        assert [start, *states][-1] == fold(D, leaves)


def test_a_correction_among_several_entries_is_folded_anew_with_all() -> None:
    test = bump(at("06:30"))
    void = body("correction", at("07:00"), corrects=test["id"], of_about=test["about"])
    items = [item_of(n, b, b["at"]) for n, b in enumerate([test, void])]
    assert advance(empty(D), items) is None


def test_a_test_across_a_change_over_serves_the_day_in_which_it_began() -> None:
    late = bump(at("04:01"))
    late["applications"][0]["gas_on"] = at("03:59")
    assert folded(detector(), late).tests[0].at == ms("03:59")


def test_failed_tests_on_one_cylinder_are_counted_in_a_row_and_by_detector() -> None:
    gas = "cylinder:C-112"
    fails = [
        bump(at("06:00"), missed="CO"),
        bump(at("06:10")),
        bump(at("06:20"), missed="CO"),
        bump(at("06:30"), missed="CO", detector="detector:D-018"),
    ]
    state = folded(body("cylinder", at("05:00")), *fails, subject=gas)
    assert [(f.in_a_row, f.detectors) for f in state.failures] == [(2, 2), (1, 1), (1, 1)]
    answer = body("cylinder-released", at("08:00"), answers=[fails[3]["id"]])
    state = folded(body("cylinder", at("05:00")), *fails, answer, subject=gas)
    assert [f.until for f in state.failures] == [ms("08:00"), None, None]


def test_a_doubtful_pass_ends_no_row_and_a_pass_that_says_no_is_a_failure() -> None:
    first, ahead = bump(at("06:00"), missed="CO"), bump(at("23:00"))
    lie = {**bump(at("06:20"), missed="CO"), "outcome": "passed"}
    state = folded(
        body("cylinder", at("05:00")),
        first,
        ahead,
        lie,
        subject="cylinder:C-112",
        recorded={ahead["id"]: at("06:10")},
    )
    assert [failure.in_a_row for failure in state.failures] == [2, 1]


def test_spoiled_attempts_are_counted_but_ask_nothing_of_the_gas() -> None:
    spoiled = bump(at("06:05"), outcome="spoiled", spoiled_because="hood-slipped")
    fails = [bump(at("06:00"), missed="CO"), spoiled, bump(at("06:10"), missed="CO")]
    state = folded(body("cylinder", at("05:00")), *fails, subject="cylinder:C-112")
    assert state.spoiled == 1
    assert [f.in_a_row for f in state.failures] == [2, 1]


@pytest.mark.parametrize("kind", ["gauge-read", "calibration"])
def test_what_adds_up_in_any_order_is_not_folded_anew(kind: str) -> None:
    first, second = body(kind, at("09:00")), body(kind, at("08:00"))
    state = apply(empty("cylinder:C-112"), item_of(0, first, first["at"]))
    assert state is not None
    stepped = apply(state, item_of(1, second, at("10:00")))
    assert stepped is not None
    anew = fold("cylinder:C-112", [(0, first, first["at"]), (1, second, at("10:00"))])
    assert stepped == anew


def test_times_cross_a_daylight_saving_night_and_a_day_that_never_was() -> None:
    from pitbird.fleet.times import end_of_working_day, local, text_of

    spring = ms_of("2026-03-29T00:30:00.000Z")
    assert text_of(end_of_working_day(spring, "Europe/Lisbon", "01:30")) == "2026-03-29T01:00:00.000Z"
    autumn = ms_of("2026-10-24T20:00:00.000Z")
    assert text_of(end_of_working_day(autumn, "Europe/Lisbon", "01:30")) == "2026-10-25T00:30:00.000Z"
    skipped = ms_of("2011-12-30T09:00:00.000Z")  # 29 December 23:00 at Apia; the 30th never was
    end = end_of_working_day(skipped, "Pacific/Apia", "04:00")
    assert local(end, "Pacific/Apia").isoformat() == "2011-12-31T00:00:00+14:00"


def test_a_channel_whose_alarms_gas_must_show_both_ways_is_refused() -> None:
    """A test says once of a channel that it was reached; that would leave the other direction unshown."""
    both = [{"name": "low", "at": "19.5", "direction": "falling"}, {"name": "high", "at": "23.5"}]
    with pytest.raises(ValueError, match="channel of their own"):
        detector(channels=[{**CHANNELS[1], "alarms": both}])


def test_what_is_dated_ahead_by_a_phone_known_to_be_behind_forbids_from_when_it_was_recorded() -> None:
    """Else it would lie in the future and hide who has the detector now."""
    body = {"id": "x", "kind": "handed-out", "at": "2026-03-03T21:00:00.000Z", "phone": {"ahead_s": "-7200"}}
    item = item_of(0, body, "2026-03-02T15:00:00.000Z")
    assert item.order_at == item.latest == item.recorded_at
