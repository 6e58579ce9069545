"""A state held in memory is used only while it is the one that stands; whatever changes it, the next answer
knows."""

from __future__ import annotations

import msgspec
import pytest
from django.db import transaction

from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.rules.decision import Verdict
from pitbird.services import held
from pitbird.services.gate import gate
from pitbird.services.knowing import Now
from pitbird.services.moving import rebuild
from pitbird.services.writing import Actor, write
from pitbird.store import book
from pitbird.store.models import Standing
from tests.bodies import at, bump, ms

D = "detector:D-017"


@pytest.fixture(autouse=True)
def _nothing_held_before() -> None:
    held.let_go()


def verdict(now: str) -> Verdict:
    """The whole-fleet gate's answer for its one detector."""
    (row,) = gate(now=ms(now)).rows
    return row.decision.verdict


def count() -> int:
    """How many entries the state counts that the gate would use."""
    (state,) = Now().all_of(DetectorState)
    return state.count


def test_an_unchanged_state_is_not_read_again(fleet: Actor, monkeypatch: pytest.MonkeyPatch) -> None:
    (first,) = Now().all_of(DetectorState)
    read: list[str] = []
    really = book.standings_marked

    def watched(subjects: list[str]) -> dict[str, tuple[str, bytes]]:
        read.extend(subjects)
        return really(subjects)

    monkeypatch.setattr(book, "standings_marked", watched)
    (second,) = Now().all_of(DetectorState)
    assert second is first
    assert read == []
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    (third,) = Now().all_of(DetectorState)
    assert third.count == first.count + 1
    assert read == [D]


def test_a_pass_and_then_a_fail_change_the_answer_at_once(fleet: Actor) -> None:
    assert verdict("06:00") is Verdict.NOT_YET
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    assert verdict("07:02") is Verdict.MAY_GO_OUT
    write(bump(at("07:10"), by="person:P-07", missed="CO"), fleet, now=ms("07:11"))
    assert verdict("07:12") is Verdict.OUT_OF_SERVICE


def test_a_pass_that_was_taken_back_is_forgotten_even_at_an_equal_count(fleet: Actor) -> None:
    before = count()
    with transaction.atomic():
        write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
        assert verdict("07:02") is Verdict.MAY_GO_OUT
        transaction.set_rollback(True)
    assert verdict("07:02") is Verdict.NOT_YET
    write(bump(at("07:00"), by="person:P-07", missed="CO"), fleet, now=ms("07:01"))
    assert count() == before + 1
    assert verdict("07:02") is Verdict.OUT_OF_SERVICE


def test_a_state_folded_anew_is_the_one_that_is_used(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07", missed="CO"), fleet, now=ms("07:01"))
    assert verdict("07:02") is Verdict.OUT_OF_SERVICE
    forget_the_failure()
    assert verdict("07:02") is not Verdict.OUT_OF_SERVICE, "what stands in the database is used"
    assert rebuild().differed == (D,)
    assert verdict("07:02") is Verdict.OUT_OF_SERVICE


def forget_the_failure() -> None:
    """Store the detector's state without its failure, as another writer would: text and digest together."""
    state = msgspec.json.decode(Standing.objects.get(subject=D).state, type=DetectorState)
    text = msgspec.json.encode(
        msgspec.structs.replace(state, open_reasons=(), last_failure=None, tests=())
    ).decode()
    site = "site:north-works"
    book.put_standings([book.StandingRow(D, "detector", site, state.count, text)])


def test_a_state_whose_digest_is_not_its_own_is_never_held(fleet: Actor) -> None:
    Standing.objects.filter(subject=D).update(digest=b"\2" * 32)
    (first,) = Now().all_of(DetectorState)
    (second,) = Now().all_of(DetectorState)
    assert first == second
    assert first is not second
    assert D not in held._held


def test_a_detector_that_is_gone_from_the_table_is_gone_from_the_answer(fleet: Actor) -> None:
    assert count() > 0
    book.drop_standings()
    assert Now().all_of(DetectorState) == []
    assert gate(now=ms("07:00")).rows == ()


def test_a_site_is_asked_by_where_the_detector_belongs_now(fleet: Actor) -> None:
    assert [state.subject for state in Now().all_of(DetectorState, "site:north-works")] == [D]
    assert Now().all_of(DetectorState, "site:south-works") == []


def test_what_is_held_is_bounded_and_still_right(fleet: Actor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(held, "KEPT", 1)
    Now().all_of(CylinderState)
    Now().all_of(DetectorState)
    assert len(held._held) == 1
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    assert verdict("07:02") is Verdict.MAY_GO_OUT
