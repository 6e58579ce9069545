"""A slip is taken back at once by the one who made it; a fail only by a keeper; nothing is deleted."""

from __future__ import annotations

from typing import Any

from django.test import Client

from pitbird.fleet.state import DetectorState
from pitbird.services.knowing import Now
from pitbird.store import book
from tests.web.conftest import NOON, Cast, passed

NOTE = {"kind": "note", "subject": "detector:D-017", "text": "wrong one"}


def index_of(entry_id: str) -> int:
    """Where an entry stands."""
    row = book.by_id(entry_id)
    assert row is not None
    return row.index


def test_an_entry_just_written_is_taken_back_and_both_stay(cast: Cast, keeper: Client) -> None:
    index = index_of(cast.write(NOTE, minutes_ago=2))
    size = book.head().size
    assert "take it back" in keeper.get(f"/book/{index}/slip").content.decode()
    assert book.head().size == size, "asking writes nothing"
    answer = keeper.post(f"/book/{index}/slip", follow=True)
    assert "is taken back" in answer.content.decode()
    assert book.head().size == size + 1
    assert "counts for nothing" in keeper.get(f"/book/{index}").content.decode()
    again = keeper.post(f"/book/{index}/slip")
    assert again.status_code == 409
    assert book.head().size == size + 1


def test_not_what_another_wrote_nor_what_is_older_than_ten_minutes(cast: Cast, keeper: Client) -> None:
    other = index_of(cast.write(NOTE, minutes_ago=2, by=cast.tester))
    old = index_of(cast.write(NOTE, minutes_ago=11))
    for index, words in ((other, "Only the one who wrote"), (old, "ten minutes ago")):
        answer = keeper.post(f"/book/{index}/slip")
        assert answer.status_code == 409
        assert words in answer.content.decode()


def test_a_tester_does_not_make_a_fail_disappear(cast: Cast, tester: Client) -> None:
    failed: dict[str, Any] = passed("D-017", NOON, outcome="failed", missed="CO")
    index = index_of(cast.write(failed, minutes_ago=1, by=cast.tester))
    answer = tester.post(f"/book/{index}/slip")
    assert answer.status_code == 409
    assert "by a keeper only" in answer.content.decode()
    state = Now().state("detector:D-017")
    assert isinstance(state, DetectorState)
    assert state.open_reasons


def test_a_pass_ticked_by_mistake_is_taken_back_and_withdraws_the_yes(cast: Cast, tester: Client) -> None:
    index = index_of(cast.write(passed("D-017", NOON), minutes_ago=0, by=cast.tester))
    before = Now().state("detector:D-017")
    assert isinstance(before, DetectorState)
    assert tester.post(f"/book/{index}/slip").status_code == 302
    after = Now().state("detector:D-017")
    assert isinstance(after, DetectorState)
    assert len(after.tests) == len(before.tests) - 1
