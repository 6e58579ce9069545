"""The gate: the main job on a small book, now and in the past, as known now and as known then."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.conf import settings

from pitbird.fleet.times import text_of
from pitbird.record.merkle import Frontier
from pitbird.rules.decision import Outcome, Verdict
from pitbird.services.gate import UnknownSubject, gate, gate_one, size_known_at
from pitbird.services.moving import rebuild
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import at, body, bump, ms

D = "detector:D-017"


def gas_shown(when: str, **fields: Any) -> dict[str, Any]:
    """A bump test by the trained tester."""
    return bump(at(when), by="person:P-07", **fields)


def verdict(now: str, **asked: Any) -> Verdict:
    """The gate's answer for the detector."""
    return gate_one(D, now=ms(now), **asked).decision.verdict


def test_without_gas_there_is_no_yes(fleet: Actor) -> None:
    row = gate_one(D, now=ms("06:00"))
    assert row.decision.verdict is Verdict.NOT_YET
    assert row.decision.decisive is not None
    assert row.decision.decisive.remedy == "test"


def test_a_test_that_meets_the_rules_is_a_yes_until_the_change_over(fleet: Actor) -> None:
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    decision = gate_one(D, now=ms("07:02")).decision
    assert decision.verdict is Verdict.MAY_GO_OUT
    assert decision.until is not None
    assert text_of(decision.until) == "2026-03-03T04:00:00.000Z"
    assert all(finding.source for finding in decision.findings)
    assert decision.rules_id == "strict"


def test_the_yes_ends_with_the_working_day(fleet: Actor) -> None:
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    assert gate_one(D, now=ms("03:59", "2026-03-03")).decision.verdict is Verdict.MAY_GO_OUT
    assert gate_one(D, now=ms("04:00", "2026-03-03")).decision.verdict is Verdict.NOT_YET


def test_a_fail_takes_it_out_and_the_way_back_leads_in_again(fleet: Actor) -> None:
    failed = write(gas_shown("07:00", missed="CO"), fleet, now=ms("07:01"))
    assert verdict("07:02") is Verdict.OUT_OF_SERVICE
    write(gas_shown("07:10"), fleet, now=ms("07:11"))
    assert verdict("07:12") is Verdict.OUT_OF_SERVICE, "a pass alone does not bring it back"
    channels = [{"channel": c, "applied": "20", "result": "within"} for c in ("CH4", "O2", "CO", "H2S")]
    write(
        {"kind": "calibration", "detector": D, "result": "passed", "channels": channels},
        fleet,
        now=ms("08:00"),
    )
    passed = write(gas_shown("08:10"), fleet, now=ms("08:11"))
    assert verdict("08:12") is Verdict.OUT_OF_SERVICE, "nobody has answered the failure yet"
    returned = {
        "kind": "returned-to-service",
        "detector": D,
        "answers": [failed.entry_id],
        "cause": "drifted",
        "tested": passed.entry_id,
    }
    write(returned, fleet, now=ms("08:20"))
    assert verdict("08:21") is Verdict.MAY_GO_OUT


def test_returned_without_being_mended_is_not_yet(fleet: Actor) -> None:
    failed = write(gas_shown("07:00", missed="CO"), fleet, now=ms("07:01"))
    write(gas_shown("07:10"), fleet, now=ms("07:11"))
    returned = {
        "kind": "returned-to-service",
        "detector": D,
        "answers": [failed.entry_id],
        "cause": "not-found",
    }
    write(returned, fleet, now=ms("07:20"))
    decision = gate_one(D, now=ms("07:21")).decision
    assert decision.verdict is Verdict.NOT_YET
    assert decision.decisive is not None
    assert decision.decisive.rule == "returned-properly"


def test_from_wearer_to_wearer_ends_the_pass_but_out_of_the_store_does_not(fleet: Actor) -> None:
    for person in ("person:P-12", "person:P-13"):
        write({"kind": "person", "person": person, "name": f"Name of {person}"}, fleet, now=ms("05:30"))
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    out = {"kind": "handed-out", "detector": D, "to": "person:P-12", "from_store": True}
    write(out, fleet, now=ms("07:30"))
    assert verdict("07:31") is Verdict.MAY_GO_OUT
    assert verdict("07:31", wearer="person:P-13") is Verdict.NOT_YET
    write({**out, "to": "person:P-13", "from_store": False}, fleet, now=ms("11:00"))
    assert verdict("11:01") is Verdict.NOT_YET


def test_quarantined_gas_undoes_the_tests_made_with_it(fleet: Actor) -> None:
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    held = {
        "kind": "cylinder-quarantined",
        "cylinder": "cylinder:C-112",
        "because": "suspect-contents",
        "since": at("06:00"),
    }
    write(held, fleet, now=ms("09:00"))
    assert verdict("09:01") is Verdict.NOT_YET


def test_as_known_then_uses_only_what_the_book_held(fleet: Actor) -> None:
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    before = book.head().size
    write(gas_shown("07:30", missed="CO"), fleet, now=ms("10:00"))
    assert verdict("10:01") is Verdict.OUT_OF_SERVICE
    assert verdict("10:01", at=ms("08:00")) is Verdict.OUT_OF_SERVICE, "as known now, it had failed by then"
    assert verdict("10:01", at=ms("08:00"), known_below=before) is Verdict.MAY_GO_OUT
    assert size_known_at(ms("08:00")) == before


def test_rules_and_training_of_that_day_are_used(fleet: Actor) -> None:
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    assert verdict("07:02", at=ms("04:20")) is Verdict.CANNOT_TELL, "no rules had been adopted"
    other = bump(at("07:05"), by="person:K-1")
    write(other, fleet, now=ms("07:06"))
    untrained = {"kind": "training", "person": "person:K-1", "topic": "bump-test", "result": "failed"}
    write(untrained, fleet, now=ms("07:20"))
    assert verdict("07:30") is Verdict.MAY_GO_OUT, "training that lapsed later does not undo the test"


def test_an_unknown_kind_makes_it_cannot_tell(fleet: Actor) -> None:
    from pitbird.services.appending import append

    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    append({**body("note", at("07:30")), "kind": "levitated"}, recorded_at=ms("07:30"))
    assert verdict("07:31") is Verdict.CANNOT_TELL


def test_the_whole_fleet_is_answered_worst_first(fleet: Actor) -> None:
    for code in ("D-018", "D-019"):
        description = body("detector", detector=f"detector:{code}", serial=code)
        write(
            {k: v for k, v in description.items() if k not in ("id", "at", "about", "by")},
            fleet,
            now=ms("05:40"),
        )
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    write(
        {"kind": "out-of-service", "detector": "detector:D-019", "because": "damaged"}, fleet, now=ms("07:02")
    )
    answer = gate(now=ms("07:03"), site="site:north-works")
    assert [(row.state.subject, row.decision.verdict) for row in answer.rows] == [
        ("detector:D-019", Verdict.OUT_OF_SERVICE),
        ("detector:D-018", Verdict.NOT_YET),
        ("detector:D-017", Verdict.MAY_GO_OUT),
    ]
    assert gate(now=ms("07:03"), at=ms("06:00")).count(Verdict.MAY_GO_OUT) == 0


@pytest.mark.parametrize("asked", [{"site": "site:nowhere"}, {"wearer": "person:P-99"}])
def test_an_unknown_site_or_wearer_is_not_answered(fleet: Actor, asked: dict[str, str]) -> None:
    with pytest.raises(UnknownSubject):
        gate(now=ms("07:00"), **asked)  # type: ignore[arg-type]


def test_an_unknown_detector_is_not_answered(fleet: Actor) -> None:
    with pytest.raises(UnknownSubject):
        gate_one("detector:D-999", now=ms("07:00"))


def test_what_could_not_be_met_is_told_with_its_entries(fleet: Actor) -> None:
    drop = write({"kind": "happened", "detector": D, "what": "drop"}, fleet, now=ms("06:30"))
    write(gas_shown("06:00"), fleet, now=ms("06:01"))
    decision = gate_one(D, now=ms("06:40")).decision
    found = [finding for finding in decision.findings if drop.entry_id in finding.entries]
    assert [finding.outcome for finding in found] == [Outcome.NOT_MET]


def test_the_tree_and_the_states_agree_after_all_of_it(fleet: Actor) -> None:
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    write(gas_shown("06:30", missed="CO"), fleet, now=ms("07:30"))
    tree = Frontier(0, ())
    for row in book.all_rows():
        tree = tree.append(row.leaf_hash)
    assert tree == book.head()
    assert rebuild().differed == ()


def test_by_a_clock_that_is_behind_the_book_nothing_is_a_yes(fleet: Actor) -> None:
    """A machine that starts with yesterday's time would take yesterday's tests for today's."""
    write(gas_shown("07:00"), fleet, now=ms("07:01"))
    assert verdict("08:00") is Verdict.MAY_GO_OUT
    write({"kind": "note", "subject": "site:north-works", "text": "swept"}, fleet, now=ms("09:00"))
    assert verdict("08:58") is Verdict.MAY_GO_OUT  # within what clocks may differ
    for row in (gate_one(D, now=ms("08:00")), gate(now=ms("08:00")).rows[0]):
        assert row.decision.verdict is Verdict.CANNOT_TELL
        assert row.decision.decisive is not None
        assert row.decision.decisive.code == "clock-behind-book"
        assert row.decision.decisive.remedy == "set-clock"
    # What is written by that clock does not make it right.
    write({"kind": "note", "subject": "site:north-works", "text": "swept"}, fleet, now=ms("08:01"))
    assert verdict("08:02") is Verdict.CANNOT_TELL
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(settings, "CONFIG", replace(settings.CONFIG, clock_is_right=True))
        assert verdict("08:02") is Verdict.MAY_GO_OUT
    # About a past moment no clock of now is asked.
    assert verdict("10:00", at=ms("08:00")) is Verdict.MAY_GO_OUT
    assert verdict("10:00", at=ms("08:00"), known_below=book.head().size - 1) is Verdict.MAY_GO_OUT
