"""Ten thousand random histories, each checked after every act against the literal reading of the rules.

Not a timing: it looks for one yes that the rules forbid. PITBIRD_BENCH_HISTORIES says how many (default
10,000), PITBIRD_BENCH_SEED where the seeds begin.
"""

from __future__ import annotations

import os
import time
from concurrent.futures import ProcessPoolExecutor
from random import Random

from bench.homes import home_of_process

ACTS = 30
PIECE = 50


def live(seeds: range) -> tuple[int, int]:
    """Live the histories of some seeds, each in its own book; (acts, decisions). Raises on a difference."""
    home_of_process()
    from django.db import transaction

    from tests.histories import random_act, run

    acts = decisions = 0
    for seed in seeds:
        random = Random(seed)
        with transaction.atomic():
            history = run([random_act(random) for _ in range(ACTS)])
            transaction.set_rollback(True)
        acts += ACTS
        decisions += history.decisions
    return acts, decisions


def main() -> None:
    """Live them all on all cores and say how many decisions were compared."""
    count = int(os.environ.get("PITBIRD_BENCH_HISTORIES", "10000"))
    first = int(os.environ.get("PITBIRD_BENCH_SEED", "0"))
    pieces = [range(at, min(at + PIECE, first + count)) for at in range(first, first + count, PIECE)]
    began = time.perf_counter()
    with ProcessPoolExecutor() as pool:
        done = list(pool.map(live, pieces))
    acts, decisions = sum(a for a, _ in done), sum(d for _, d in done)
    took = time.perf_counter() - began
    print(
        f"{count:,} histories of {ACTS} acts: {acts:,} acts, {decisions:,} decisions compared, {took:.0f} s"
    )
    print("No yes that the rules forbid; no no that they allow, save where a clock ran ahead.")


if __name__ == "__main__":
    main()
