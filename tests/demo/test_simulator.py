"""The invented history: repeatable, valid, in order, and with everything that goes wrong in a real one."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from typing import Any
from uuid import RFC_4122, UUID

import pytest

from pitbird.demo import Simulated, simulate
from pitbird.fleet.kinds import KINDS
from pitbird.fleet.times import DAY, HOUR, Ms, ms_of
from tests.demo.conftest import RULES, Told, tell

NOTHING = "sha256:" + "0" * 64


def sealed(entry: Simulated) -> dict[str, Any]:
    """The body with something in the place of its commitments."""
    return {**entry.body, **dict.fromkeys(entry.texts, NOTHING)}


def fingerprint(entries: tuple[Simulated, ...]) -> str:
    rows = [(entry.body, entry.texts, entry.recorded_at) for entry in entries]
    return hashlib.sha256(json.dumps(rows).encode()).hexdigest()


def test_the_same_arguments_give_the_same_entries_byte_for_byte() -> None:
    once, again = (tell("2026-03-03T09:10:00.000Z", days=40, size=0.4) for _ in range(2))
    assert fingerprint(once.entries) == fingerprint(again.entries)
    other = tell("2026-03-03T09:10:00.000Z", days=40, size=0.4, seed=8)
    assert fingerprint(once.entries) != fingerprint(other.entries)


def test_two_years_are_a_history_of_the_size_that_was_meant(two_years: Told) -> None:
    counts = Counter(entry.body["kind"] for entry in two_years.entries)
    assert 35_000 < len(two_years.entries) < 70_000
    assert 15_000 < counts["bump-test"] < 30_000
    assert len(two_years.world.units) == 60
    assert (counts["person"], counts["site"], counts["genesis"], counts["rules-adopted"]) == (25, 4, 1, 1)
    assert set(KINDS) - set(counts) == {
        "erasure",
        "epoch",
        "key-changed",
        "look-back",
        "audit-opened",
        "audit-closed",
        "device",
        "device-ended",
    }


def test_the_first_entry_is_the_genesis_and_the_rules_are_those_handed_in(two_years: Told) -> None:
    assert two_years.entries[0].body["kind"] == "genesis"
    adopted = two_years.of("rules-adopted")[0].body
    assert adopted["rules"] == "rules:strict"
    assert adopted["document"] == RULES


def test_every_id_is_unique_and_a_uuid_of_version_seven_of_its_own_time(two_years: Told) -> None:
    """RFC 9562, section 5.7: 48 bits of Unix milliseconds, version 7, variant 10."""
    ids = [entry.body["id"] for entry in two_years.entries]
    assert len(set(ids)) == len(ids)
    for entry in two_years.entries[::37]:
        number = UUID(entry.body["id"])
        assert (number.version, number.variant) == (7, RFC_4122)
        assert number.int >> 80 == max(ms_of(entry.body["at"]), two_years.world.start)


def test_nothing_is_recorded_before_it_happened_nor_after_the_end_and_all_in_order(two_years: Told) -> None:
    recorded = [entry.recorded_at for entry in two_years.entries]
    assert recorded == sorted(recorded)
    assert two_years.world.start <= recorded[0]
    assert recorded[-1] <= two_years.world.end
    assert all(ms_of(entry.body["at"]) <= entry.recorded_at for entry in two_years.entries)


def check(entry: Simulated) -> None:
    kind = KINDS[entry.body["kind"]]
    assert set(entry.texts) <= set(kind.SEALED)
    assert not set(entry.texts) & set(entry.body)
    body = kind.model_validate(sealed(entry))
    assert body.as_body()["about"] == entry.body["about"]
    if "replacement" in entry.body:
        replacement = entry.body["replacement"]
        KINDS[replacement["kind"]].model_validate(replacement)


def test_a_sample_of_every_kind_is_valid(two_years: Told) -> None:
    for kind in {entry.body["kind"] for entry in two_years.entries}:
        entries = two_years.of(kind)
        for entry in entries[:: max(1, len(entries) // 40)]:
            check(entry)


@pytest.mark.slow
def test_every_entry_is_valid(two_years: Told) -> None:
    for entry in two_years.entries:
        check(entry)


def test_entries_name_only_what_was_recorded_before(two_years: Told) -> None:
    seen: set[str] = set()
    for entry in two_years.entries:
        body = entry.body
        named = [*body.get("answers", ()), *(body[key] for key in ("tested", "corrects") if key in body)]
        assert set(named) <= seen, body
        seen.add(body["id"])


def test_things_are_described_before_anything_is_said_about_them(two_years: Told) -> None:
    described: set[str] = {"book"}
    for entry in two_years.entries:
        kind = entry.body["kind"]
        if kind in {"detector", "cylinder", "person", "site", "regulator", "sensor"}:
            described.add(entry.body[kind])
        if kind in {"bump-test", "calibration", "handed-out", "happened", "cylinder-opened", "training"}:
            assert set(entry.body["about"]) <= described, entry.body


def test_what_is_spoiled_late_corrected_or_done_with_old_gas_all_occurs(two_years: Told) -> None:
    tests = two_years.of("bump-test")
    because = {entry.body.get("spoiled_because") for entry in tests}
    assert {"hood-slipped", "gas-ran-out", "broken-off"} <= because
    assert sum(entry.recorded_at - ms_of(entry.body["at"]) > 2 * HOUR for entry in two_years.entries) > 100
    assert {entry.body["how"] for entry in two_years.of("correction")} == {"void", "replace"}
    moved = [e for e in two_years.of("correction") if "replacement" in e.body]
    assert any(e.body["replacement"]["detector"] not in e.body["of_about"] for e in moved)
    assert any(e.body["replacement"]["detector"] in e.body["of_about"] for e in moved)
    expires = {e.body["cylinder"]: e.body["expires"] for e in two_years.of("cylinder")}
    old = [
        e for e in tests for a in e.body.get("applications", ()) if e.body["at"][:10] > expires[a["cylinder"]]
    ]
    assert len(old) > 3
    assert any(entry.body.get("footing") == "reported" for entry in tests)


def test_custody_events_and_the_ways_of_gas_all_occur(two_years: Told) -> None:
    happened = {entry.body["what"] for entry in two_years.of("happened")}
    assert {"drop", "water", "over-range", "suspected-poison", "flat-battery", "filter-changed"} <= happened
    assert "firmware-changed" in happened
    assert any(not entry.body["from_store"] for entry in two_years.of("handed-out"))
    assert len(two_years.of("issued-untested")) >= 3
    assert {e.body["because"] for e in two_years.of("cylinder-quarantined")} == {"leak", "suspect-contents"}
    assert len(two_years.of("cylinder-released")) == 1
    assert {e.body["because"] for e in two_years.of("out-of-service")} >= {"failed", "damaged", "life-ended"}
    causes = {entry.body["cause"] for entry in two_years.of("returned-to-service")}
    assert {"gas-at-fault", "sensor-worn", "sensor-poisoned", "alarm-dead", "other"} <= causes


def test_a_tester_tests_while_their_training_has_lapsed(two_years: Told) -> None:
    until: dict[str, str] = {}
    lapsed: Counter[str] = Counter()
    for entry in two_years.entries:
        body = entry.body
        if body["kind"] == "training" and body["topic"] == "bump-test":
            until[body["person"]] = body["valid_until"]
        elif body["kind"] == "bump-test" and body["at"][:10] > until[body["by"]]:
            lapsed[body["by"]] += 1
    assert lapsed["person:P-07"] > 3
    assert lapsed["person:P-17"] > 0


def test_a_bead_is_poisoned_while_the_other_channels_look_fine(two_years: Told) -> None:
    poisoned = [
        entry
        for entry in two_years.of("bump-test")
        if entry.body["outcome"] == "failed" and [fault.cause for fault in entry.truth] == ["sensor-poisoned"]
    ]
    shown = {c["channel"]: c["reached"] for a in poisoned[0].body["applications"] for c in a["channels"]}
    assert shown.pop("CH4") == "no"
    assert set(shown.values()) == {"yes"}


def test_a_test_fails_only_where_something_is_wrong_with_detector_gas_or_pen(two_years: Told) -> None:
    corrected = {entry.body["corrects"] for entry in two_years.of("correction")}
    excused = {
        answer
        for entry in two_years.of("returned-to-service")
        if entry.body["cause"] == "gas-at-fault"
        for answer in entry.body["answers"]
    }
    failed = [entry for entry in two_years.of("bump-test") if entry.body["outcome"] == "failed"]
    assert len(failed) > 30
    for entry in failed:
        assert entry.truth or entry.body["id"] in corrected | excused, entry.body


def test_a_test_that_shows_everything_never_passes_a_part_that_does_not_work(two_years: Told) -> None:
    for entry in two_years.of("bump-test"):
        if entry.body["outcome"] == "passed":
            assert not entry.truth, entry.body


def test_faults_that_no_test_has_found_are_hidden_at_the_end(two_years: Told) -> None:
    world = two_years.world
    hidden = [e for e in world.episodes if e.found_by is None and e.until is None]
    assert len(hidden) >= 3
    for episode in hidden:
        fault = episode.fault
        assert world.truth(fault.detector, fault.part, world.end) == fault
        assert world.truth(fault.detector, fault.part, fault.since - 1) != fault
    found = [e for e in world.episodes if e.found_by is not None]
    assert len(found) > 30
    ids = {entry.body["id"] for entry in two_years.entries}
    assert all(e.found_by in ids for e in found)


def test_a_story_shorter_than_two_days_or_a_fleet_of_no_size_is_refused() -> None:
    start = ms_of("2026-03-01T00:00:00.000Z")
    with pytest.raises(ValueError, match="two days"):
        simulate(seed=1, start=start, end=Ms(start + DAY), rules_document=RULES, rules_id="strict")
    with pytest.raises(ValueError, match="share"):
        simulate(
            seed=1, start=start, end=Ms(start + 9 * DAY), rules_document=RULES, rules_id="strict", size=0
        )


def test_gas_is_drawn_only_from_cylinders_that_are_open_and_not_given_up(two_years: Told) -> None:
    opened = {e.body["cylinder"]: e.body["at"] for e in two_years.of("cylinder-opened")}
    emptied = {e.body["cylinder"]: e.body["at"] for e in two_years.of("cylinder-emptied")}
    for entry in two_years.of("bump-test"):
        for application in entry.body.get("applications", ()):
            cylinder = application["cylinder"]
            assert opened[cylinder] < application["gas_on"], entry.body
            assert application["gas_off"] < emptied.get(cylinder, "9999"), entry.body
