"""Bulk import and bulk append against a bare ``executemany`` of the same rows into the same tables."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

from bench import homes

ENTRIES = int(os.environ.get("PITBIRD_BENCH_ENTRIES", "12000"))
ROUNDS = 5
TARGET = 6.0
#: Entries for each commit; the import makes one commit of all.
PIECE = 4000


class Took(NamedTuple):
    """Seconds on the clock, and of those the processor's for this process: the latter hang less on what else
    the machine does, and leave out waiting for the disk."""

    clock: float
    cpu: float


def timed(work: Callable[[], Any]) -> Took:
    """What a piece of work takes."""
    begun, cpu = time.perf_counter(), time.process_time()
    work()
    return Took(time.perf_counter() - begun, time.process_time() - cpu)


def schema() -> list[str]:
    """The book's tables of entries and mentions with their indexes, without the triggers."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT sql FROM sqlite_master WHERE tbl_name IN ('store_entry', 'store_mention') "
            "AND type IN ('table', 'index') AND sql IS NOT NULL ORDER BY type DESC"
        )
        return [sql for (sql,) in cursor.fetchall()]


def rows_of_book() -> tuple[list[Any], list[Any]]:
    """The rows of the present book as they are stored."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute('SELECT * FROM store_entry ORDER BY "index"')
        entries = cursor.fetchall()
        cursor.execute(
            'SELECT "subject", "nth", "index", "at", "correction" FROM store_mention ORDER BY "index"'
        )
        return entries, cursor.fetchall()


def bare(path: Path, tables: list[str], entries: list[Any], mentions: list[Any], piece: int) -> Took:
    """Seconds for the same rows by ``executemany`` alone, as durable, with as many commits."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA cache_size=-16000")
    for sql in tables:
        connection.execute(sql)
    marks = ", ".join("?" * len(entries[0]))
    place = 0

    def insert() -> None:
        nonlocal place
        for start in range(0, len(entries), piece):
            last = entries[min(start + piece, len(entries)) - 1][0]
            first = place
            while place < len(mentions) and mentions[place][2] <= last:
                place += 1
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany(
                f"INSERT INTO store_entry VALUES ({marks})", entries[start : start + piece]
            )
            connection.executemany(
                'INSERT INTO store_mention ("subject", "nth", "index", "at", "correction") '
                "VALUES (?, ?, ?, ?, ?)",
                mentions[first:place],
            )
            connection.execute("COMMIT")

    took = timed(insert)
    connection.close()
    return took


def main() -> None:
    """Interleave history, import and the bare inserts, several rounds, each on fresh files."""
    with homes.empty_book():
        from pitbird.demo.start import history
        from pitbird.fleet.times import ms_of
        from pitbird.services.bulk import append_history
        from pitbird.services.moving import export_book, import_book

        made = list(islice(history(now=ms_of("2026-03-02T06:00:00.000Z"), years=2), ENTRIES))
        for _ in append_history(made):
            pass
        lines, tables, (entries, mentions) = list(export_book()), schema(), rows_of_book()
    found: dict[str, list[Took]] = {"history": [], "import": [], "bare, pieces": [], "bare, one piece": []}
    for _ in range(ROUNDS):
        with homes.empty_book() as home:
            found["history"].append(timed(lambda: list(append_history(made))))
            found["bare, pieces"].append(bare(home / "bare-1", tables, entries, mentions, PIECE))
        with homes.empty_book() as home:
            found["import"].append(timed(lambda: import_book(lines)))
            found["bare, one piece"].append(bare(home / "bare-2", tables, entries, mentions, len(entries)))
    print(f"{len(entries)} entries, {len(mentions)} mentions; medians of {ROUNDS} rounds, per entry")
    clock = {name: median(took.clock for took in times) for name, times in found.items()}
    cpu = {name: median(took.cpu for took in times) for name, times in found.items()}
    for name in found:
        one, its = clock[name] / len(entries) * 1e6, cpu[name] / len(entries) * 1e6
        print(f"{name:<16} {one:7.1f} us, of the processor {its:7.1f} us")
    for name, against in (("history", "bare, pieces"), ("import", "bare, one piece")):
        ratio, of_cpu = clock[name] / clock[against], cpu[name] / cpu[against]
        print(f"{name} against {against}: {ratio:.2f}, of the processor {of_cpu:.2f} (at most {TARGET})")
