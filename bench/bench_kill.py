"""Does the book survive being killed? At least 200 kills at random moments, on SQLite files."""

from __future__ import annotations

import os
import random
import time

from bench.killing import run

KILLS = int(os.environ.get("PITBIRD_BENCH_KILLS", "200"))


def main() -> None:
    """Kill, check, and say what was found; a fault ends the measurement with an error."""
    seed, begun = random.SystemRandom().randrange(2**32), time.perf_counter()
    found = run(KILLS, seed)
    print(f"seed {seed}, {time.perf_counter() - begun:.0f} s; connection: {found.settings}")
    print(f"{found.kills} kills, {found.inside} of them within an act that was not acknowledged yet")
    print(f"{found.acknowledged} entries acknowledged, {found.entries} in the books")
    print(f"faults: {len(found.faults)}; acts half written: {found.half_written}")
    for fault in found.faults[:20]:
        print("  " + fault)
    assert found.kills >= KILLS
    assert not found.faults
