"""The keeper's look-backs: once a failed detector is back in service, somebody decides about earlier work."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from random import Random
from typing import Final

from pitbird.demo.entries import Body, Simulated, instant, uuid7
from pitbird.demo.people import KEEPER, competent
from pitbird.fleet.times import DAY, MINUTE, Ms

#: The failures of the last days still await a decision.
LEFT_OPEN: Final = 21 * DAY
_OUTCOMES: Final = (
    ("no-work-affected", "Wearers asked, permits read; the second detector on site showed clean air."),
    ("no-work-affected", "Used in the open yard only, nobody entered a pit or a chamber with it."),
    ("no-work-affected", "A tested detector of the same kind was in the same place and was silent."),
    ("cannot-be-told", "One entry without a second detector. Its wearer is well; the shift leader knows."),
    ("work-affected", "Entry to the pump pit relied on it. Measured anew, permit form changed, crew told."),
)  # fmt: skip


def decided(entries: Iterable[Simulated], *, seed: int, end: Ms) -> Iterator[Simulated]:
    """The same entries in the same order, with a decision some hours after each return to service that
    answers a failed test or calibration, but for those of the last three weeks."""
    rng = Random(f"{seed}:look-back")  # noqa: S311 - a simulation, nothing is guarded by it
    failed: dict[str, Body] = {}
    waiting: list[tuple[int, int, Simulated]] = []
    size = made_so_far = 0
    for entry in entries:
        while waiting and waiting[0][0] <= entry.recorded_at:
            made = heapq.heappop(waiting)[2]
            made.body["book_size"] = size
            yield made
            size += 1
        yield entry
        size += 1
        body = entry.body
        if "failed" in (body.get("outcome"), body.get("result")):
            failed[body["id"]] = body
        if body["kind"] != "returned-to-service" or entry.recorded_at > end - LEFT_OPEN:
            continue
        for answer in body["answers"]:
            if answer in failed:
                made = _decision(rng, failed[answer], body, entry.recorded_at)
                made_so_far += 1
                heapq.heappush(waiting, (made.recorded_at, made_so_far, made))


def _decision(rng: Random, failed: Body, returned: Body, at: Ms) -> Simulated:
    when = Ms(at + rng.randrange(20, 600) * MINUTE)
    outcome, done = rng.choice(_OUTCOMES)
    body: Body = {
        "kind": "look-back",
        "v": 1,
        "id": uuid7(rng, when),
        "at": instant(when),
        "zone": returned["zone"],
        "by": KEEPER,
        "where": returned["where"],
        "about": [failed["detector"]],
        "of": [failed["detector"]],
        "failed": failed["id"],
        "book_size": 1,
        "assessed_by": competent(returned["where"]),
        "outcome": outcome,
    }
    return Simulated(body, {"done": done}, when)
