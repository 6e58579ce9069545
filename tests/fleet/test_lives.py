"""Between which instants a sensor failed, as gas showed it: after its last good test, by its first bad."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.folding import fold
from pitbird.fleet.folding.lives import found_within, handed_out_ms
from pitbird.fleet.state import DetectorState, LifeFact
from pitbird.fleet.times import DAY, HOUR
from tests.bodies import at, body, bump, detector, ms

D = "detector:D-017"


def folded(*bodies: dict[str, Any]) -> DetectorState:
    state = fold(D, [(n, b, b["at"]) for n, b in enumerate(bodies)])
    assert isinstance(state, DetectorState)
    return state


def lives(state: DetectorState, channel: str) -> list[LifeFact]:
    return [life for life in state.lives if life.channel == channel]


def calibration(when: str, **channel: Any) -> dict[str, Any]:
    made = {
        "channel": "CO",
        "applied": "100",
        "as_found": "98",
        "as_left": "100",
        "result": "within",
        **channel,
    }
    shown = {name: value for name, value in made.items() if value is not None}
    result = "failed" if shown["result"] == "outside" else "passed"
    return body("calibration", when, channels=[shown], tolerance_pct="10", result=result)


def test_a_sensor_failed_after_its_last_good_test_and_by_its_first_bad_one() -> None:
    state = folded(detector(), bump(at("06:00")), bump(at("07:00")), bump(at("08:00"), missed="CO"))
    (life,) = lives(state, "CO")
    assert (life.since, life.good_until, life.failed_at) == (ms("06:00"), ms("07:00"), ms("08:00"))
    assert life.failed_at_a == "test"
    (other,) = lives(state, "H2S")
    assert (other.good_until, other.failed_at) == (ms("08:00"), None)


def test_before_gas_showed_it_to_be_good_nothing_is_known_of_it() -> None:
    state = folded(detector(), bump(at("06:00"), missed="CO"), bump(at("07:00"), missed="CO"))
    assert lives(state, "CO") == []


@pytest.mark.parametrize("outcome", ["spoiled"])
def test_a_spoiled_attempt_says_nothing_of_a_sensor(outcome: str) -> None:
    spoiled = bump(at("08:00"), missed="CO", outcome=outcome, spoiled_because="hood-slipped")
    (life,) = lives(folded(detector(), bump(at("06:00")), spoiled), "CO")
    assert (life.good_until, life.failed_at) == (ms("06:00"), None)


def test_a_pass_dated_ahead_of_its_record_says_nothing_either() -> None:
    ahead = bump(at("09:00"))
    state = fold(
        D, [(0, detector(), at("05:00")), (1, bump(at("06:00")), at("06:00")), (2, ahead, at("08:00"))]
    )
    assert isinstance(state, DetectorState)
    assert {life.good_until for life in state.lives} == {ms("06:00")}


def test_a_replaced_sensor_begins_anew_with_the_next_test_and_the_others_go_on() -> None:
    state = folded(
        detector(), bump(at("06:00")), body("repaired", at("07:00"), replaced=["CO"]), bump(at("08:00")),
        bump(at("09:00")),
    )  # fmt: skip
    new, old = lives(state, "CO")
    assert (old.good_until, old.failed_at, old.ended_at) == (ms("06:00"), None, ms("07:00"))
    assert (new.since, new.good_until) == (ms("08:00"), ms("09:00"))
    assert len(lives(state, "H2S")) == 1


def test_a_repair_that_names_no_channel_ends_every_life() -> None:
    state = folded(detector(), bump(at("06:00")), body("repaired", at("07:00"), replaced=None))
    assert {life.ended_at for life in state.lives} == {ms("07:00")}


def test_a_sensor_found_outside_has_failed_by_its_calibration_and_begins_anew_when_adjusted() -> None:
    state = folded(detector(), bump(at("06:00")), calibration(at("08:00"), as_found="85"))
    new, old = lives(state, "CO")
    assert (old.good_until, old.failed_at, old.failed_at_a) == (ms("06:00"), ms("08:00"), "calibration")
    assert (new.since, new.failed_at) == (ms("08:00"), None)


def test_a_sensor_found_within_was_good_then_and_an_adjusted_one_begins_anew() -> None:
    state = folded(detector(), bump(at("06:00")), calibration(at("08:00")))
    new, old = lives(state, "CO")
    assert (old.good_until, old.failed_at, old.ended_at) == (ms("08:00"), None, ms("08:00"))
    assert new.since == ms("08:00")


def test_a_sensor_found_within_and_left_as_it_was_goes_on() -> None:
    state = folded(detector(), bump(at("06:00")), calibration(at("08:00"), adjusted="no"))
    (life,) = lives(state, "CO")
    assert (life.since, life.good_until) == (ms("06:00"), ms("08:00"))


@pytest.mark.parametrize(
    ("as_found", "tolerance", "result", "within"),
    [
        ("90", "10", "within", True),
        ("89.9", "10", "within", False),
        ("110.1", "10", "within", False),
        ("98", None, "within", None),
        (None, "10", "within", None),
        (None, None, "outside", False),
    ],
)
def test_found_within_is_told_from_reading_applied_and_tolerance(
    as_found: str | None, tolerance: str | None, result: str, within: bool | None
) -> None:
    channel = {"channel": "CO", "applied": "100", "as_found": as_found, "result": result}
    assert found_within(channel, tolerance) is within


def test_the_cause_that_the_return_names_stands_with_the_failure() -> None:
    failed = bump(at("08:00"), missed="CO")
    back = body("returned-to-service", at("09:00"), answers=[failed["id"]], cause="gas-at-fault")
    (life,) = lives(folded(detector(), bump(at("06:00")), failed, back), "CO")
    assert (life.failed_by, life.cause) == (failed["id"], "gas-at-fault")


def test_time_handed_out_is_counted_from_hand_out_to_hand_back() -> None:
    state = folded(
        detector(), bump(at("06:00")),
        body("handed-out", at("07:00"), due_back=None), body("handed-back", at("15:00")),
        bump(at("16:00")),
        body("handed-out", at("17:00"), due_back=None),
        body("handed-out", at("19:00"), to="person:P-09", from_store=False, due_back=None),
    )  # fmt: skip
    (life,) = lives(state, "CO")
    assert (life.used_since, life.used_good) == (0, 8 * HOUR)
    assert handed_out_ms(state, ms("20:00")) == 11 * HOUR


def test_time_handed_out_is_not_lost_where_the_phone_was_known_to_be_behind() -> None:
    phone = {"device": "device:PH-01", "known_by": "pin", "contact": at("06:00"), "ahead_s": "-14400"}
    out = {**body("handed-out", at("07:00"), due_back=None), "phone": phone}
    listed = [detector(), bump(at("06:00")), out, body("handed-back", at("15:00"))]
    recorded = {out["id"]: at("13:00")}
    running = fold(
        "detector:D-017", [(n, b, recorded.get(b["id"], b["at"])) for n, b in enumerate(listed[:3])]
    )
    back = fold("detector:D-017", [(n, b, recorded.get(b["id"], b["at"])) for n, b in enumerate(listed)])
    assert isinstance(running, DetectorState)
    assert isinstance(back, DetectorState)
    assert running.custody is not None
    assert (running.custody.begun, running.custody.since) == (ms("07:00"), ms("11:00"))
    assert handed_out_ms(running, ms("12:00")) == 5 * HOUR
    assert back.handed_out_ms == 8 * HOUR


def test_lives_are_bounded() -> None:
    made: list[dict[str, Any]] = [detector()]
    for day in range(1, 21):
        made.append(bump(at("06:00", f"2026-03-{day:02d}")))
        made.append(body("repaired", at("07:00", f"2026-03-{day:02d}"), replaced=None))
    state = folded(*made)
    assert len(state.lives) == 48
    assert state.lives[0].since - state.lives[-1].since == 11 * DAY
