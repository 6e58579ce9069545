"""One durable append (leaf, tree, mentions, states) against a bare durable insert of the same bytes."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path
from random import Random
from statistics import median

from bench import homes, making

ROUNDS = 400
TARGET = 3.0


def bare(path: Path) -> sqlite3.Connection:
    """A plain SQLite file that commits as durably as the book does: WAL, FULL."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE entry (id INTEGER PRIMARY KEY, leaf TEXT NOT NULL)")
    return connection


def main() -> None:
    """Interleave the two, entry by entry, and compare their medians."""
    with homes.empty_book() as home:
        from pitbird.fleet.times import MINUTE, Ms
        from pitbird.services.appending import append, writing
        from pitbird.store import book

        with writing() as ledger:
            for body in making.beginnings(1, 50):
                ledger.add(body, recorded_at=making.START)
        plain, random = bare(home / "bare.sqlite3"), Random(7)
        book_times, bare_times = [], []
        row: book.Row | None = None
        for number in range(ROUNDS):
            at = Ms(making.START + (number + 1) * MINUTE)
            detector = making.detector_of("site:S-0", random.randrange(50))
            body = making.bump(at, detector, making.cylinder_of("site:S-0"), "site:S-0")
            begun = time.perf_counter()
            appended = append(body, recorded_at=at)
            book_times.append(time.perf_counter() - begun)
            row = book.by_id(appended.entry_id)
            assert row is not None
            begun = time.perf_counter()
            plain.execute("INSERT INTO entry (leaf) VALUES (?)", [row.leaf])
            bare_times.append(time.perf_counter() - begun)
        plain.close()
    ratio = median(book_times) / median(bare_times)
    assert row is not None
    print(f"{ROUNDS} bump tests of four-gas detectors, leaf of {len(row.leaf)} bytes; medians")
    print(f"append with its fold   {median(book_times) * 1e3:7.3f} ms")
    print(f"bare durable insert    {median(bare_times) * 1e3:7.3f} ms")
    print(f"ratio {ratio:.2f} (target: at most {TARGET})")
