"""When sensors were put in: known from entries and descriptions, else not known; never wrong."""

from __future__ import annotations

from random import Random
from typing import Any

import msgspec
import pytest

from pitbird.fleet.folding import advance, empty, fold, item_of
from pitbird.fleet.folding.fitting import put_in
from pitbird.fleet.state import FITTED_KEPT, DetectorState
from pitbird.fleet.times import DAY, HOUR, Ms, ms_of, text_of
from pitbird.services.decoding import decode_detector, encode_state
from tests.bodies import CHANNELS, at, body, bump, detector, ms

D = "detector:D-017"
NAMES = [channel["name"] for channel in CHANNELS]


def folded(*bodies: dict[str, Any]) -> DetectorState:
    state = fold(D, [(n, b, b["at"]) for n, b in enumerate(bodies)])
    assert isinstance(state, DetectorState)
    return state


def told(state: DetectorState, channel: str = "CO") -> Ms | None:
    """When the sensor of the newest life of a channel was put in."""
    life = next(life for life in state.lives if life.channel == channel)
    found = put_in(state, life)
    return None if found is None else found.fitted


def with_day(day: str | None, channel: str = "CO", when: str = at("05:00"), **fields: Any) -> dict[str, Any]:
    """A description that gives the day on which the sensor of a channel was put in."""
    channels = [{**c, "sensor_fitted": day} if day and c["name"] == channel else c for c in CHANNELS]
    return detector(when, channels=channels, **fields)


def changed(when: str, *channels: str) -> dict[str, Any]:
    return body("happened", when, what="sensor-changed", channels=list(channels))


def midnight(day: str) -> Ms:
    return ms_of(f"{day}T00:00:00.000Z")


def test_a_detector_that_is_only_described_has_sensors_of_no_known_age() -> None:
    assert told(folded(detector(), bump(at("06:00")))) is None


def test_a_changed_sensor_is_new_and_the_others_are_not() -> None:
    state = folded(detector(), bump(at("06:00")), changed(at("07:00"), "CO"), bump(at("08:00")))
    assert (told(state), told(state, "H2S")) == (ms("07:00"), None)


def test_a_change_that_names_no_channel_is_of_all() -> None:
    state = folded(detector(), changed(at("07:00")), bump(at("08:00")))
    assert {told(state, name) for name in NAMES} == {ms("07:00")}


def test_a_repair_makes_only_the_sensors_new_that_it_replaced() -> None:
    repairs = body("repaired", at("07:00"), replaced=["CO"]), body("repaired", at("07:30"), replaced=None)
    state = folded(detector(), *repairs, bump(at("08:00")))
    assert (told(state), told(state, "H2S")) == (ms("07:00"), None)


def test_a_sensor_fitted_in_a_channel_is_new_there_and_the_same_one_written_again_is_not() -> None:
    fitted = body("sensor", at("07:00"), channel="CO"), body("sensor", at("09:00"), channel="CO", serial="X")
    assert told(folded(detector(), *fitted, bump(at("10:00")))) == ms("07:00")
    other = body("sensor", at("09:30"), channel="CO", sensor="sensor:S-9")
    assert told(folded(detector(), *fitted, other, bump(at("10:00")))) == ms("09:30")


def test_a_sensor_fitted_nobody_says_where_leaves_every_age_unknown() -> None:
    state = folded(with_day("2025-03-02"), body("sensor", at("07:00"), channel=None), bump(at("08:00")))
    assert {told(state, name) for name in NAMES} == {None}


def test_the_day_that_a_description_gives_is_the_sensors() -> None:
    assert told(folded(with_day("2024-05-06"), bump(at("06:00")))) == midnight("2024-05-06")
    # Also where it is told later than the tests it bears on.
    late = folded(detector(), bump(at("06:00")), with_day("2024-05-06", when=at("07:00")))
    assert told(late) == midnight("2024-05-06")


def test_a_description_copied_after_a_change_does_not_make_the_sensor_old() -> None:
    state = folded(
        with_day("2024-05-06"), changed(at("07:00"), "CO"), bump(at("08:00")),
        with_day("2024-05-06", when=at("09:00")), bump(at("10:00")),
    )  # fmt: skip
    assert told(state) == ms("07:00")


def test_an_earlier_day_told_later_takes_the_place_of_the_one_before() -> None:
    state = folded(with_day("2025-05-06"), with_day("2024-05-06", when=at("05:30")), bump(at("06:00")))
    assert told(state) == midnight("2024-05-06")


def test_a_later_description_that_gives_no_day_takes_none_back() -> None:
    state = folded(with_day("2025-05-06"), detector(at("05:30")), bump(at("06:00")))
    assert told(state) == midnight("2025-05-06")


def test_a_day_that_has_not_come_is_no_age() -> None:
    assert told(folded(with_day("2026-05-06"), bump(at("06:00")))) is None


@pytest.mark.parametrize(("activated", "known"), [("2026-02-20", True), ("2025-12-01", False)])
def test_first_switched_on_counts_only_where_the_book_has_known_the_detector_since(
    activated: str, known: bool
) -> None:
    state = folded(detector(activated=activated), bump(at("06:00")))
    assert told(state) == (midnight(activated) if known else None)


def test_another_serial_number_is_another_detector_with_other_sensors() -> None:
    before = with_day("2024-05-06"), bump(at("06:00"))
    # One life runs on over both in the fold.
    assert told(folded(*before, detector(at("07:00"), serial="Q-9"), bump(at("08:00")))) is None
    anew = body("repaired", at("07:30"), replaced=None)
    assert told(folded(*before, detector(at("07:00"), serial="Q-9"), anew, bump(at("08:00")))) is None
    dated = with_day("2026-01-02", when=at("07:00"), serial="Q-9")
    assert told(folded(*before, dated, anew, bump(at("08:00")))) == midnight("2026-01-02")


def test_a_life_in_which_a_sensor_was_changed_without_an_entry_is_of_no_age() -> None:
    state = folded(
        with_day("2024-05-06", when=at("05:00", "2026-01-01")), bump(at("06:00", "2026-01-01")),
        bump(at("06:00", "2026-03-01")), with_day("2026-02-01", when=at("05:00")), bump(at("06:00")),
    )  # fmt: skip
    assert told(state) is None


def test_on_its_day_the_sensor_before_may_still_have_been_tested() -> None:
    state = folded(
        with_day("2024-05-06", when=at("05:00", "2026-01-01")), bump(at("06:00", "2026-01-01")),
        bump(at("06:00")), changed(at("11:00"), "CO"), with_day("2026-03-02", when=at("11:30")),
        bump(at("12:00")),
    )  # fmt: skip
    new, old = (life for life in state.lives if life.channel == "CO")
    assert [found.fitted for found in (put_in(state, life) for life in (new, old)) if found] == [
        ms("11:00"), midnight("2024-05-06")
    ]  # fmt: skip


def test_what_is_kept_is_bounded_and_what_is_cut_off_is_not_known() -> None:
    days = [f"2025-{month:02d}-{day:02d}" for month in range(1, 13) for day in (3, 13, 23)]
    made = [detector(at("05:00", "2025-01-01"))]
    for day in days:
        made += [changed(at("07:00", day), "CO"), bump(at("08:00", day))]
    state = folded(*made)
    assert state.fitted is not None
    assert len(state.fitted) == FITTED_KEPT
    ages = [put_in(state, life) for life in state.lives if life.channel == "CO"]
    known = [found for found in ages if found is not None]
    assert len(known) == min(FITTED_KEPT, len(ages))
    assert [found.fitted for found in known] == [ms("07:00", day) for day in reversed(days)][: len(known)]


def test_a_state_folded_before_this_was_kept_knows_no_age_until_it_is_folded_anew() -> None:
    """Its changes before are not in it: what is told now must not pass for the newest."""
    bodies = [detector(), changed(at("06:00"), "CO"), bump(at("07:00"))]
    old = msgspec.structs.replace(folded(*bodies), fitted=None)
    text = encode_state(old).replace(',"fitted":null', "")
    assert '"fitted"' not in text
    read = decode_detector(text)
    assert read == old
    more = [with_day("2026-03-01", when=at("08:00")), changed(at("09:00"), "CO"), bump(at("10:00"))]
    states = advance(read, [item_of(n + 3, b, b["at"]) for n, b in enumerate(more)])
    assert states is not None
    *_, last = states
    assert isinstance(last, DetectorState)
    assert (last.fitted, told(last)) == (None, None)
    assert told(folded(*bodies, *more)) == ms("09:00")


def test_the_state_comes_back_from_its_stored_form() -> None:
    state = folded(with_day("2025-05-06"), changed(at("07:00"), "CO"), bump(at("08:00")))
    assert decode_detector(encode_state(state)) == state
    assert decode_detector(encode_state(empty(D))) == empty(D)


def plainly(entries: list[dict[str, Any]], channel: str, since: Ms, ends: Ms) -> Ms | None:
    """Another reading of when the sensor of a life was put in: straight from the entries that stand."""
    changes = [
        ms_of(entry["at"]) for entry in entries
        if (entry["kind"] == "happened" and entry["what"] == "sensor-changed"
            and channel in entry.get("channels", NAMES))
        or (entry["kind"] == "repaired" and channel in entry.get("replaced", ()))
    ]  # fmt: skip
    assert not any(since < change < ends for change in changes), "an entry ends a life"
    before = [change for change in changes if change <= since]
    return max(before) if before else None


@pytest.mark.parametrize("seed", range(60))
def test_late_corrected_and_voided_changes_refold_to_what_the_entries_plainly_say(seed: int) -> None:
    random = Random(seed)
    start = ms("05:00", "2025-01-01")
    standing: dict[str, dict[str, Any]] = {}
    written: list[tuple[int, dict[str, Any], str]] = []

    def write(made: dict[str, Any]) -> None:
        written.append((len(written), made, text_of(Ms(start + 900 * DAY))))

    write(detector(text_of(start)))
    for step in range(1, 40):
        # Entries arrive in any order; no two at one instant.
        when = text_of(Ms(start + random.randrange(400) * DAY + step * HOUR // 4))
        named = random.sample(NAMES, random.randrange(1, 3))
        made = random.choice([
            bump(when), bump(when), changed(when, *named), body("repaired", when, replaced=named),
            body("repaired", when, replaced=None), body("happened", when),
        ])  # fmt: skip
        if standing and random.random() < 0.25:
            original = random.choice(list(standing.values()))
            fields: dict[str, Any] = {"corrects": original["id"], "of_about": original["about"]}
            if random.random() < 0.5:
                write(body("correction", when, how="void", **fields))
                del standing[original["id"]]
            else:
                moved = {**original, "at": when}
                if original["kind"] == "bump-test":
                    moved = {**bump(when), "id": original["id"]}
                write(body("correction", when, how="replace", replacement=moved, **fields))
                standing[original["id"]] = moved
            continue
        write(made)
        standing[made["id"]] = made
    random.shuffle(written)
    state = fold(D, written)
    assert isinstance(state, DetectorState)
    assert state.lives
    for life in state.lives:
        found = put_in(state, life)
        ends = life.good_until if life.failed_at is None else life.failed_at
        plain = plainly(list(standing.values()), life.channel, life.since, ends)
        assert (None if found is None else found.fitted) == plain, f"seed {seed}, {life.channel}"
