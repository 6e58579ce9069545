"""Does the gate get slower as the book gets older? One fleet tested daily for one year and for five.

The five-year book takes minutes to make; it and its first year are kept in the system's temp folder between
runs (a folder ``pitbird-bench-age-...``; take it away when it is no longer wanted).
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

from bench import homes, making

SITES, PER_SITE = 20, int(os.environ.get("PITBIRD_BENCH_AGE_DETECTORS", "1000")) // 20
YEARS = (1, 5)
VERSION = 1
ROUNDS = 9
TARGET = 1.2
#: So many days in one transaction; a year is a multiple of it.
FLUSH_DAYS = 5
CALIBRATE_DAYS = 150


def end_of(years: int) -> int:
    """How many days of tests."""
    return years * 365


def make(folder: Path) -> None:
    """Make the older book through the ledger, and set a copy aside when the younger age is reached."""
    from django.db import connection

    from pitbird.fleet.times import DAY, HOUR, Ms

    home = folder / "making"
    home.mkdir(parents=True)
    homes.set_up(home)
    homes.migrate()
    random, begun = Random(5), time.perf_counter()
    with making.quickly() as add:
        add(making.beginnings(SITES, PER_SITE), making.START)
    for first in range(0, end_of(YEARS[-1]), FLUSH_DAYS):
        with making.quickly() as add:
            for day in range(first, first + FLUSH_DAYS):
                at = Ms(making.START + day * DAY + HOUR)
                if day % CALIBRATE_DAYS == 0:
                    add(making.calibrations(at, SITES, PER_SITE), at)
                add(making.tests_of_a_day(Ms(at + HOUR), SITES, PER_SITE, random), Ms(at + 2 * HOUR))
        for years in YEARS:
            if end_of(years) == first + FLUSH_DAYS:
                connection.close()
                _copy(home / "book.sqlite3", folder / f"{years}")
                print(f"{years} year(s) made after {time.perf_counter() - begun:.0f} s", flush=True)

    homes.close()
    shutil.rmtree(home)


def _copy(source: Path, home: Path) -> None:
    home.mkdir()
    with sqlite3.connect(source) as old, sqlite3.connect(home / "book.sqlite3") as new:
        old.backup(new)


def ask(home: Path, years: int) -> dict[str, float]:
    """The median seconds of each question on one book."""
    from pitbird.fleet.times import DAY, HOUR, Ms
    from pitbird.services import clock
    from pitbird.services.gate import gate, gate_one
    from pitbird.store import book

    homes.set_up(home)
    homes.migrate()  # a kept book may be older than the tables
    now = Ms(making.START + (end_of(years) - 1) * DAY + 5 * HOUR)
    clock.now = lambda: now  # the page asks as of this moment
    client, site = making.signed_in(), "site:S-3"
    detector = making.detector_of(site, 1)
    assert len(gate(now=now).rows) == SITES * PER_SITE
    questions: dict[str, Callable[[], Any]] = {
        "whole-fleet gate": lambda: gate(now=now),
        "gate_one": lambda: gate_one(detector, now=now),
        "page /detectors/<code>": lambda: client.get(f"/detectors/{detector[9:]}"),
        "an append, rolled back": lambda: append_and_roll_back(
            making.bump(Ms(now + HOUR), detector, making.cylinder_of(site), site), Ms(now + HOUR)
        ),
        "a late drop, rolled back": lambda: append_and_roll_back(
            making.whole("happened", Ms(now - 30 * HOUR), site, detector=detector, what="drop"),
            Ms(now + HOUR),
        ),
        "a late test, rolled back": lambda: append_and_roll_back(
            making.bump(Ms(now - 30 * HOUR), detector, making.cylinder_of(site), site), Ms(now + HOUR)
        ),
    }
    found: dict[str, list[float]] = {name: [] for name in questions}
    for _ in range(ROUNDS):
        for name, question in questions.items():
            begun = time.perf_counter()
            answer: Any = question()
            found[name].append(time.perf_counter() - begun)
            assert getattr(answer, "status_code", 200) == 200
            del answer  # letting go of a thousand states is not part of the next question
    print(f"{years} year(s): {book.head().size} entries")
    homes.close()
    return {name: median(times) for name, times in found.items()}


def append_and_roll_back(body: dict[str, Any], at: Any) -> None:
    """Everything of an append but the commit, so that the kept book stays as it is."""
    from django.db import transaction

    from pitbird.services.appending import append

    with transaction.atomic():
        append(body, recorded_at=at)
        transaction.set_rollback(True)


def main() -> None:
    """Make the books where they are not kept from an earlier run, ask both, and compare."""
    folder = Path(tempfile.gettempdir()) / f"pitbird-bench-age-{VERSION}-{SITES * PER_SITE}"
    if not all((folder / str(years) / "book.sqlite3").exists() for years in YEARS):
        make(folder)
    rounds = [{years: ask(folder / str(years), years) for years in YEARS} for _ in range(3)]
    print(f"The late test is also about a cylinder that {PER_SITE} detectors used every day of its years;")
    print("what arrives late is folded from the last fold point, up to 128 entries before it.")
    for name in rounds[0][YEARS[0]]:
        young, old = (median(each[years][name] for each in rounds) for years in YEARS)
        line = f"{name:<27} {young * 1e3:8.2f} ms {old * 1e3:8.2f} ms, ratio {old / young:.2f}"
        print(f"{line} (target: at most {TARGET})")
