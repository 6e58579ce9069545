"""Papers of the small book of the use cases, with a home folder of their own for the book's key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pitbird.fleet.state import PersonState
from pitbird.fleet.times import Ms
from pitbird.services.knowing import Now
from pitbird.services.papers.making import Order
from pitbird.services.writing import Actor, write
from pitbird.store import blobs, book
from tests.bodies import ms

Say = Callable[..., int]


@pytest.fixture
def order(tmp_path: Path) -> Order:
    """A paper asked for at noon."""
    return Order(tmp_path / "home", now=ms("12:00"))


@pytest.fixture
def say(fleet: Actor) -> Say:
    """Write an entry of the small book; its place in it."""

    def put(draft: dict[str, Any], *, now: Ms | None = None, by: str = "person:P-07") -> int:
        actor = Actor(by, "site:north-works", "Europe/Lisbon")
        write(draft, actor, now=ms("08:00") if now is None else now)
        return book.head().size - 1

    return put


def erase_name(person: str) -> None:
    """Take a person's name out of the blobs, as an erasure does."""
    state = Now().state(person)
    assert isinstance(state, PersonState)
    assert state.name is not None
    assert blobs.erase([state.name]) == 1
