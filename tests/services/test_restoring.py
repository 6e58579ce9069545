"""A restored copy that is behind begins a new epoch; another book is refused; phones send again."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from pitbird.fleet.folding.others import LOST_BEFORE, lost_before
from pitbird.fleet.state import OtherState
from pitbird.rules.decision import Verdict
from pitbird.services.gate import gate, gate_one
from pitbird.services.knowing import Now
from pitbird.services.moving import rebuild
from pitbird.services.restoring import AnotherBook, put_back, restored, root_at
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import at, bump, ms

D = "detector:D-017"


def test_a_copy_that_reaches_the_known_root_lacks_nothing(fleet: Actor) -> None:
    known = book.head()
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    found = restored(known.size, known.root(), fleet, now=ms("08:00"))
    assert found.epoch is None
    assert root_at(known.size) == known.root()


def test_a_copy_behind_begins_an_epoch_that_names_what_was_known(fleet: Actor) -> None:
    head = book.head()
    found = restored(head.size + 40, b"\7" * 32, fleet, now=ms("08:00"))
    assert found.epoch is not None
    first = book.at_index(0)
    assert first is not None
    state = Now().state(f"book:{first.entry_id}")
    assert state is not None
    assert state.count == 2
    assert getattr(state, "description")["known_size"] == str(head.size + 40)  # noqa: B009
    assert getattr(state, "description")["title"] == "Portable gas detectors"  # noqa: B009


def test_a_book_with_another_root_is_refused_and_nothing_is_written(fleet: Actor) -> None:
    head = book.head()
    with pytest.raises(AnotherBook, match="another book"):
        restored(head.size, b"\7" * 32, fleet, now=ms("08:00"))
    assert book.head() == head


def test_after_entries_were_lost_each_detector_is_tested_again_first(fleet: Actor) -> None:
    """Among what was lost may be a fail: a pass from before it came out is no yes, one from after is."""
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    assert gate_one(D, now=ms("07:59")).decision.verdict is Verdict.MAY_GO_OUT
    restored(book.head().size + 40, b"\7" * 32, fleet, now=ms("08:00"))

    for row in (gate_one(D, now=ms("08:01")), gate(now=ms("08:01")).rows[0]):
        assert row.decision.verdict is Verdict.NOT_YET
        assert row.decision.decisive is not None
        assert row.decision.decisive.code == "book-restored-since-test"
        assert row.decision.decisive.remedy == "test"
    rebuild()
    assert gate_one(D, now=ms("08:01")).decision.verdict is Verdict.NOT_YET

    # From a phone that kept it: made before, hence still no yes.
    write(bump(at("07:50"), by="person:P-07"), fleet, now=ms("08:02"))
    assert gate_one(D, now=ms("08:03")).decision.verdict is Verdict.NOT_YET
    write(bump(at("08:05"), by="person:P-07"), fleet, now=ms("08:06"))
    assert gate_one(D, now=ms("08:07")).decision.verdict is Verdict.MAY_GO_OUT


def test_what_was_lost_later_is_no_matter_for_a_moment_before(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    restored(book.head().size + 40, b"\7" * 32, fleet, now=ms("08:00"))
    assert gate_one(D, now=ms("09:00"), at=ms("07:30")).decision.verdict is Verdict.MAY_GO_OUT


def test_the_latest_of_several_losses_counts_and_one_folded_before_the_instant_was_kept_still_does(
    fleet: Actor,
) -> None:
    restored(book.head().size + 40, b"\7" * 32, fleet, now=ms("08:00"))
    restored(book.head().size + 40, b"\7" * 32, fleet, now=ms("09:00"))
    first = book.at_index(0)
    assert first is not None
    state = Now().state(f"book:{first.entry_id}")
    assert isinstance(state, OtherState)
    assert lost_before(state) == ms("09:00")
    older = {name: value for name, value in state.description.items() if name != LOST_BEFORE}
    assert lost_before(replace(state, description=older)) == ms("09:00")
    assert lost_before(replace(state, description={"title": "Portable gas detectors"})) is None


def test_what_a_phone_sends_again_after_a_restore_is_written_once(fleet: Actor) -> None:
    test = bump(at("07:00"), by="person:P-07")
    restored(book.head().size + 1, b"\7" * 32, fleet, now=ms("08:00"))
    first = write(test, fleet, now=ms("08:05"))
    again = write(test, fleet, now=ms("08:06"))
    assert (first.again, again.again) == (False, True)
    assert first.index == again.index


def test_a_copy_that_was_put_back_begins_a_new_epoch_unless_nothing_was_written_since(fleet: Actor) -> None:
    head = book.head()
    assert put_back(None, fleet, nothing_since=True, now=ms("08:00")).epoch is None
    assert put_back((head.size, head.root()), fleet, nothing_since=True, now=ms("08:00")).epoch is None
    # That the copy reaches as far as others know shows nothing of what came after.
    for number, known in enumerate((None, (head.size, head.root()), (head.size + 40, b"\7" * 32))):
        assert put_back(known, fleet, now=ms(f"08:0{number}")).epoch is not None
    with pytest.raises(AnotherBook):
        put_back((head.size, b"\7" * 32), fleet, nothing_since=True, now=ms("08:00"))
