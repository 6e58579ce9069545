"""The list of look-backs that await a decision, against reading each detector's whole history for it.

Both give the same failures, which is asserted.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median
from typing import Any

from bench import homes

ROUNDS = 3
TARGET_S = 0.4


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Median seconds on the clock and of the processor, and what the last run gave."""
    clock, cpu, result = [], [], None
    for _ in range(ROUNDS):
        begun, used = time.perf_counter(), time.process_time()
        result = work()
        clock.append(time.perf_counter() - begun)
        cpu.append(time.process_time() - used)
    return median(clock), median(cpu), result


def plainly() -> set[str]:
    """Failures that await a decision, each detector's whole history folded: what the list must say."""
    from pitbird.fleet.state import DetectorState
    from pitbird.services.knowing import Now
    from pitbird.services.look_back import Ground, Looker
    from pitbird.services.look_back_decisions import decisions

    made = decisions()
    decided = {each.body["failed"]: each for each in reversed(made) if "failed" in each.body}
    ground, found = Ground(made), set()
    for state in Now().all_of(DetectorState):
        looker = Looker(state.subject, ground)
        for failed in looker.failures:
            look = looker.at(failed.entry)
            if look is None or not look.begins_anew:
                continue
            decision = decided.get(failed.entry)
            if decision is None or look.newer(decision.book_size):
                found.add(failed.entry)
    return found


def main() -> None:
    """The demonstration with its decisions and without any: the list both ways."""
    from pitbird.fleet.times import ms_of

    for decided in (True, False):
        with homes.empty_book():
            from pitbird.demo.start import history
            from pitbird.services.bulk import append_history

            made = history(now=ms_of("2026-03-02T06:00:00.000Z"))
            for _ in append_history(each for each in made if decided or each.body["kind"] != "look-back"):
                pass
            print("decided but for the last weeks:" if decided else "nothing decided:")
            measure()


def measure() -> None:
    """The list of the present book, on the whole and a page of it, and the plain way."""
    from pitbird.services.look_back_list import awaiting
    from pitbird.services.look_back_testers import untrained_tests
    from pitbird.store import book

    clock, cpu, listed = timed(awaiting)
    page, _, _ = timed(lambda: awaiting(limit=26))
    plain, plain_cpu, expected = timed(plainly)
    testers, _, tests = timed(untrained_tests)
    assert {each.entry.entry_id for each in listed if each.sort == "failure"} == expected
    print(
        f"  {book.head().size:,} entries, {len(listed)} on the list: {clock:.2f} s, {cpu:.2f} of the"
        f" processor (target {TARGET_S}); a page of 25 {page:.2f} s; {1000 * testers:.0f} ms of it"
        f" untrained testers, {len(tests)} tests"
    )
    print(
        f"  each detector's whole history: {plain:.2f} s, {plain_cpu:.2f} of the processor;"
        f" ratio {plain / clock:.1f}, of the processor {plain_cpu / cpu:.1f}",
        flush=True,
    )
