"""One run of the demo's two years, shared by the tests that look at it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import pytest

from pitbird.demo import Simulated, World, run
from pitbird.fleet.times import DAY, Ms, ms_of

SEED: Final = 20_260_301
RULES: Final[dict[str, Any]] = {"id": "strict", "version": 1, "rule": []}


@dataclass(frozen=True)
class Told:
    """A world after its last entry, with all entries."""

    world: World
    entries: tuple[Simulated, ...]

    def of(self, kind: str) -> list[Simulated]:
        """The entries of a kind, in order."""
        return [entry for entry in self.entries if entry.body["kind"] == kind]


def tell(end: str, *, days: int = 730, seed: int = SEED, size: float = 1.0) -> Told:
    """A world that ends at an instant, run to its end."""
    until = ms_of(end)
    world = World(seed=seed, start=Ms(until - days * DAY), end=until, size=size)
    return Told(world, tuple(run(world, RULES, "strict")))


@pytest.fixture(scope="session")
def two_years() -> Told:
    """The demo's history, ended on a Tuesday morning."""
    return tell("2026-03-03T09:10:00.000Z")
