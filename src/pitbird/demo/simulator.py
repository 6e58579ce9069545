"""The seeded simulation: the invented undertaking's entries in the order in which they are recorded. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from pitbird.demo import days, morning, setup, stories
from pitbird.demo.entries import Simulated
from pitbird.demo.fleet import SITES
from pitbird.demo.world import World
from pitbird.fleet.times import DAY, HOUR, Ms


def simulate(
    *,
    seed: int,
    start: Ms,
    end: Ms,
    rules_document: dict[str, Any],
    rules_id: str,
    size: float = 1.0,
) -> Iterator[Simulated]:
    """The entries from ``start`` to ``end``, in the order in which they are recorded.

    The same arguments give the same entries, byte for byte. ``size`` is the share of the sixty detectors
    that exist (each type at each site at least once). ``rules_document`` is adopted at all sites as
    ``rules_id``. Whatever hour ``end`` is, about half of the fleet is tested in the hours
    before it. Raises ValueError where the story is shorter than two days or the size is not in (0, 1].
    """
    if end - start < 2 * DAY:
        raise ValueError("the story needs at least two days between 'start' and 'end'")
    if not 0 < size <= 1:
        raise ValueError("'size' is a share of the fleet: above 0, at most 1")
    world = World(seed=seed, start=start, end=end, size=size)
    return run(world, rules_document, rules_id)


def run(world: World, rules_document: dict[str, Any], rules_id: str) -> Iterator[Simulated]:
    """Run a world from its first entry to its last; afterwards it can be asked for the hidden truth."""
    setup.begin(world, rules_document, rules_id)
    morning.spare_the_parts(world)
    calendar = world.calendar
    day = min(calendar.first_day(place.zone) for place in SITES)
    last = max(calendar.today(place.zone) for place in SITES)
    while day < last:
        for place in SITES:
            if calendar.first_day(place.zone) <= day < calendar.today(place.zone):
                morning.prepare(world, place, day)
                stories.tell(world, place, day)
                days.work(world, place, day)
        day += timedelta(days=1)
        # No site's day begins before its change-over: what was recorded by then is in its final order.
        yield from world.desk.until(min(calendar.base(day, place.zone) for place in SITES) - HOUR)
    for place in SITES:
        morning.last_morning(world, place)
    world.wear.close(world.end)
    yield from world.desk.until(world.end + 1)
