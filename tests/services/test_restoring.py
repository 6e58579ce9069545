"""A restored copy that is behind begins a new epoch; another book is refused; phones send again."""

from __future__ import annotations

import pytest

from pitbird.services.knowing import Now
from pitbird.services.restoring import AnotherBook, restored, root_at
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import at, bump, ms


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


def test_what_a_phone_sends_again_after_a_restore_is_written_once(fleet: Actor) -> None:
    test = bump(at("07:00"), by="person:P-07")
    restored(book.head().size + 1, b"\7" * 32, fleet, now=ms("08:00"))
    first = write(test, fleet, now=ms("08:05"))
    again = write(test, fleet, now=ms("08:06"))
    assert (first.again, again.again) == (False, True)
    assert first.index == again.index
