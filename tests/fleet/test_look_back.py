"""Uses, showings and happenings of a detector, and what a failed or suspect trial puts in question."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.folding import fold
from pitbird.fleet.look_back import WHOLE, Part, failed_trials, failings, history, resting
from pitbird.fleet.state import TESTS_KEPT, DetectorState
from tests.bodies import at, body, bump, detector, ms

D = "detector:D-017"
SECOND, THIRD = "2026-03-03", "2026-03-04"
Listed = list[tuple[int, dict[str, Any], str]]
H2S, CO = Part("channel", "H2S"), Part("channel", "CO")


def entries(*bodies: dict[str, Any]) -> Listed:
    """Bodies as entries that were recorded when they happened."""
    return [(index, made, made["at"]) for index, made in enumerate((detector(), *bodies))]


def out(when: str, to: str = "person:P-12", **fields: Any) -> dict[str, Any]:
    return body("handed-out", when, to=to, due_back=None, **fields)


def back(when: str) -> dict[str, Any]:
    return body("handed-back", when)


def test_a_use_runs_from_the_hand_out_to_the_hand_back_or_to_the_next_wearer() -> None:
    seen = history(D, entries(
        out(at("07:00"), permit="PTW-1"), out(at("12:00"), "person:P-13"), back(at("16:00")),
        body("issued-untested", at("17:00"), to="person:P-14"),
    ))  # fmt: skip
    told = [(use.wearer, use.start, use.end, use.permit, use.authority) for use in seen.uses]
    assert told == [
        ("person:P-12", ms("07:00"), ms("12:00"), "PTW-1", None),
        ("person:P-13", ms("12:00"), ms("16:00"), "PTW-1184", None),
        ("person:P-14", ms("17:00"), None, None, "person:P-01"),
    ]
    assert [use.where for use in seen.uses] == ["site:north-works"] * 3


def test_a_hand_back_dated_after_it_was_recorded_ends_no_use() -> None:
    listed = entries(out(at("07:00")), back(at("16:00")))
    listed[-1] = (2, listed[-1][1], at("08:00"))
    assert history(D, listed).uses[0].end is None


def test_a_test_is_told_also_where_the_state_keeps_only_newer_ones() -> None:
    """Fails of a phone a day behind count up to when they came in, later than the pass that follows them."""
    phone = {"device": "device:PH-01", "known_by": "pin", "contact": at("06:00"), "ahead_s": "-86400"}
    fails = [{**bump(at(f"06:{n:02}"), missed="H2S"), "phone": phone} for n in range(TESTS_KEPT)]
    good = bump(at("07:00"))
    recorded = [at("05:00"), *[at("09:00")] * TESTS_KEPT, at("07:00")]
    listed = [(n, b, recorded[n]) for n, b in enumerate([detector(), *fails, good])]
    seen = history(D, listed)
    assert {each.entry for each in seen.of(CO)} == {each["id"] for each in (*fails, good)}
    assert [each.entry for each in seen.of(H2S)] == [each["id"] for each in (*fails, good)]


def test_the_last_good_showing_of_a_failed_channel_is_that_of_the_folded_lives() -> None:
    first = bump(at("07:00"))
    failed = bump(at("07:00", SECOND), missed="H2S")
    listed = entries(first, failed)
    (found,) = failings(history(D, listed), failed["id"])
    state = fold(D, listed)
    assert isinstance(state, DetectorState)
    (life,) = [life for life in state.lives if life.channel == "H2S"]
    assert (found.part, found.since, found.failed.at) == (H2S, life.good_until, life.failed_at)
    assert (found.failed.entry, life.failed_by) == (failed["id"], failed["id"])
    assert found.last_good is not None
    assert (found.last_good.entry, found.last_good.cylinders) == (first["id"], ("cylinder:C-112",))


def test_a_spoiled_test_is_no_good_showing_and_no_failure() -> None:
    good, failed = bump(at("07:00")), bump(at("08:00", SECOND), missed="CO")
    spoiled = bump(at("07:00", SECOND), outcome="spoiled", spoiled_because="hood-slipped")
    seen = history(D, entries(good, spoiled, failed))
    (found,) = failings(seen, failed["id"])
    assert found.last_good is not None
    assert found.last_good.entry == good["id"]
    assert failings(seen, spoiled["id"]) == ()


def test_a_pass_whose_clock_is_in_doubt_shows_nothing_good() -> None:
    listed = entries(bump(at("07:00")), bump(at("12:00")), bump(at("13:00"), missed="CO"))
    listed[2] = (2, listed[2][1], at("08:00"))
    (found,) = failings(history(D, listed), listed[3][1]["id"])
    assert found.since == ms("07:00")


def test_a_channel_that_came_in_a_test_that_failed_was_shown_to_be_good() -> None:
    listed = entries(
        bump(at("07:00")),
        bump(at("07:00", SECOND), missed="H2S"),
        bump(at("07:00", THIRD), missed="CO"),
    )
    seen = history(D, listed)
    (co,) = failings(seen, listed[3][1]["id"])
    assert (co.part, co.since) == (CO, ms("07:00", SECOND))
    (h2s,) = failings(seen, listed[2][1]["id"])
    assert h2s.again is not None
    assert h2s.again.at == ms("07:00", THIRD)


def test_a_silent_signal_fails_as_itself_and_looks_back_to_when_it_last_came() -> None:
    good = bump(at("07:00"))
    silent = bump(at("08:00"), signals={"sound": "no", "light": "yes", "vibration": "yes"}, outcome="failed")
    (found,) = failings(history(D, entries(good, silent)), silent["id"])
    assert (found.part, found.since) == (Part("signal", "sound"), ms("07:00"))


def test_a_bare_fail_from_elsewhere_is_of_the_whole_detector() -> None:
    good = bump(at("07:00"))
    bare = body(
        "bump-test", at("08:00"), footing="reported", outcome="failed", applications=None, checks=None,
        clean_air=None, signals=None, cleared=None, temperature_c=None,
    )  # fmt: skip
    (found,) = failings(history(D, entries(good, bare)), bare["id"])
    assert (found.part, found.since) == (WHOLE, ms("07:00"))


def test_without_any_good_showing_before_there_is_no_last_one() -> None:
    failed = bump(at("07:00"), missed="CO")
    (found,) = failings(history(D, entries(failed)), failed["id"])
    assert (found.last_good, found.since, found.first) == (None, None, found.failed)


def test_a_second_fail_looks_back_to_the_same_good_test_and_names_the_first_fail() -> None:
    listed = entries(bump(at("07:00")), bump(at("08:00"), missed="CO"), bump(at("08:10"), missed="CO"))
    seen = history(D, listed)
    (again,) = failings(seen, listed[3][1]["id"])
    assert (again.since, again.first.entry) == (ms("07:00"), listed[2][1]["id"])
    assert [each.entry for each in failed_trials(seen)] == [listed[2][1]["id"], listed[3][1]["id"]]


def test_a_good_showing_that_is_not_accepted_is_passed_over_and_named() -> None:
    listed = entries(bump(at("06:00")), bump(at("07:00")), bump(at("08:00"), missed="CO"))
    refused = listed[2][1]["id"]
    (found,) = failings(history(D, listed), listed[3][1]["id"], lambda showing: showing.entry != refused)
    assert found.since == ms("06:00")
    assert [each.entry for each in found.passed_over] == [refused]


def test_a_calibration_that_found_a_channel_outside_is_a_failure_and_good_again_as_left() -> None:
    listed = entries(
        bump(at("07:00")),
        body("calibration", at("09:00"), tolerance_pct="10", channels=[
            {"channel": "CO", "applied": "100", "as_found": "80", "as_left": "100", "result": "within"},
            {"channel": "H2S", "applied": "20", "as_found": "19", "as_left": "20", "result": "within"},
        ]),
    )  # fmt: skip
    (found,) = failings(history(D, listed), listed[2][1]["id"])
    assert (found.part, found.since, found.failed.trial) == (CO, ms("07:00"), "calibration")
    assert found.again is not None
    assert found.again.entry == listed[2][1]["id"]


def test_a_voided_fail_is_no_failure_and_a_voided_pass_no_good_showing() -> None:
    good, failed = bump(at("07:00")), bump(at("08:00"), missed="CO")
    void = body("correction", at("09:00"), corrects=good["id"], of_about=good["about"])
    listed = entries(good, failed, void)
    (found,) = failings(history(D, listed), failed["id"])
    assert found.last_good is None
    gone = body("correction", at("09:00"), corrects=failed["id"], of_about=failed["about"])
    assert failings(history(D, entries(good, failed, gone)), failed["id"]) == ()


def on(cylinder: str, when: str, **fields: Any) -> dict[str, Any]:
    """A full pass on one cylinder."""
    made = bump(when, **fields)
    del made["about"]
    made["applications"][0]["cylinder"] = cylinder
    return body("bump-test", when, **{k: v for k, v in made.items() if k not in {"kind", "at"}})


@given(steps=st.lists(st.sampled_from(["out", "other", "back", "pass", "fail", "spoil"]), max_size=14))
def test_the_uses_in_doubt_are_those_of_a_literal_reading(steps: list[str]) -> None:
    """Something happens on every hour and the detector fails at the end. Half past each hour somebody looks
    who has it: whoever has it at such a time after the last pass before the fail had it while in doubt."""
    made: list[dict[str, Any]] = []
    for hour, step in enumerate(steps):
        when = at(f"{6 + hour:02d}:00")
        made.append(
            {
                "out": lambda when=when: out(when),
                "other": lambda when=when: out(when, "person:P-13"),
                "back": lambda when=when: back(when),
                "pass": lambda when=when: bump(when),
                "fail": lambda when=when: bump(when, missed="CO"),
                "spoil": lambda when=when: bump(when, outcome="spoiled", spoiled_because="hood-slipped"),
            }[step]()
        )
    made.append(bump(at(f"{6 + len(steps):02d}:00"), missed="CO"))
    holder: str | None = None
    last_pass, in_doubt = -1, dict[str, int]()
    for place, (step, entry) in enumerate(zip(steps, made, strict=False)):
        if step in {"out", "other"}:
            holder = entry["id"]
        elif step == "back":
            holder = None
        elif step == "pass":
            last_pass, in_doubt = place, {}
        if holder is not None:
            in_doubt[holder] = place
    seen = history(D, entries(*made))
    (found,) = failings(seen, made[-1]["id"])
    since = found.since if found.since is not None else ms("00:00")
    assert (found.since is None) == (last_pass < 0)
    assert [use.entry for use in seen.uses_in(since, found.failed.at)] == list(in_doubt)


def test_a_detector_rests_on_suspect_gas_until_a_test_on_other_gas() -> None:
    listed = entries(
        on("cylinder:C-1", at("06:00")),
        on("cylinder:C-9", at("07:00")),
        out(at("07:30")),
        on("cylinder:C-9", at("07:00", SECOND)),
        on("cylinder:C-1", at("07:00", THIRD)),
    )
    (rest,) = resting(history(D, listed), lambda showing: showing.cylinders == ("cylinder:C-9",))
    assert (rest.since, rest.until) == (ms("07:00"), ms("07:00", THIRD))
    assert {Part("channel", name) for name in ("CH4", "O2", "CO", "H2S")} <= set(rest.parts)
    assert {each.entry for each in rest.trials} == {listed[2][1]["id"], listed[4][1]["id"]}


def test_what_suspect_gas_calibrated_rests_on_it_until_calibrated_anew() -> None:
    def calibrated(when: str, cylinder: str) -> dict[str, Any]:
        return body("calibration", when, cylinders=[cylinder])

    listed = entries(
        calibrated(at("06:00"), "cylinder:C-9"),
        on("cylinder:C-1", at("07:00")),
        calibrated(at("09:00", SECOND), "cylinder:C-1"),
    )
    (rest,) = resting(history(D, listed), lambda showing: "cylinder:C-9" in showing.cylinders)
    assert (rest.parts, rest.since, rest.until) == ((H2S,), ms("06:00"), ms("09:00", SECOND))


def test_a_detector_not_tested_since_rests_on_suspect_gas_still() -> None:
    seen = history(D, entries(on("cylinder:C-9", at("07:00")), out(at("07:30"))))
    (rest,) = resting(seen, lambda showing: "cylinder:C-9" in showing.cylinders)
    assert rest.until is None
    assert [use.wearer for use in seen.uses_in(rest.since, rest.until)] == ["person:P-12"]


def test_a_test_that_failed_on_suspect_gas_lets_nothing_rest_on_it() -> None:
    seen = history(D, entries(bump(at("07:00"), missed="CO")))
    found = resting(seen, lambda showing: "cylinder:C-112" in showing.cylinders)
    assert CO not in {part for rest in found for part in rest.parts}
