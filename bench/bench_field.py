"""A thousand random lives of phones in the field, over the API, against the literal reading of the rules.

Not a timing: every act of every phone has to end once, as written, waiting, settled, or refused and kept on
the phone; nothing may stand twice; states and verdicts have to be what the book amounts to.
PITBIRD_BENCH_LIVES says how many (default 1,000), PITBIRD_BENCH_SEED where the seeds begin.
"""

from __future__ import annotations

import os
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import cache

from bench.homes import home_of_process

ACTS = 90
PIECE = 25


def live(seeds: range) -> tuple[Counter[str], int]:
    """Live some lives, each on the same small book; how the acts of the phones ended, and how many decisions
    were compared. Raises on a difference, with the seed."""
    _ready()
    from django.db import transaction

    from tests import field_life

    ended: Counter[str] = Counter()
    compared = 0
    for seed in seeds:
        with transaction.atomic():
            try:
                found, decisions = field_life.live(seed, ACTS)
            except AssertionError as differs:
                raise AssertionError(f"seed {seed}: {differs}") from differs
            transaction.set_rollback(True)
        ended += found
        compared += decisions
    return ended, compared


@cache
def _ready() -> None:
    home_of_process()
    import logging

    from django.conf import settings

    from tests.field_life import begin

    settings.ALLOWED_HOSTS = ["testserver"]
    logging.disable(logging.CRITICAL)  # the server breaks on purpose
    begin()


def main() -> None:
    """Live them all on all cores and say what became of the acts."""
    count = int(os.environ.get("PITBIRD_BENCH_LIVES", "1000"))
    first = int(os.environ.get("PITBIRD_BENCH_SEED", "0"))
    pieces = [range(at, min(at + PIECE, first + count)) for at in range(first, first + count, PIECE)]
    began = time.perf_counter()
    ended: Counter[str] = Counter()
    with ProcessPoolExecutor() as pool:
        done = list(pool.map(live, pieces))
    for found, _ in done:
        ended += found
    took = time.perf_counter() - began
    print(
        f"{count:,} lives of {ACTS} acts, {took:.0f} s: {ended.total():,} entries made on phones, "
        f"{sum(decisions for _, decisions in done):,} decisions compared"
    )
    print(", ".join(f"{name} {many:,}" for name, many in ended.most_common()))
    print("None lost, none twice; every verdict and state is what the book amounts to.")


if __name__ == "__main__":
    main()
