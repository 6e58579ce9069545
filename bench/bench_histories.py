"""Ten thousand random histories, each checked after every act against the literal reading of the rules.

Not a timing: it looks for one yes that the rules forbid. PITBIRD_BENCH_HISTORIES says how many (default
10,000), PITBIRD_BENCH_SEED where the seeds begin.
"""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from random import Random

ACTS = 30
PIECE = 50


def live(seeds: range) -> tuple[int, int]:
    """Live the histories of some seeds, each in its own book; (acts, decisions). Raises on a difference."""
    _ready()
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


def _ready() -> None:
    if "django.conf" in sys.modules and "PITBIRD_BENCH_READY" in os.environ:
        return
    os.environ["PITBIRD_HOME"] = tempfile.mkdtemp(prefix="pitbird-bench-")
    atexit.register(shutil.rmtree, os.environ["PITBIRD_HOME"], ignore_errors=True)
    os.environ["DJANGO_SETTINGS_MODULE"] = "pitbird.app.settings"
    os.environ["PITBIRD_BENCH_READY"] = "1"
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)


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
