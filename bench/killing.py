"""Kill what writes to a book at random moments, and see after each kill whether the book is whole.

`python -m bench.killing KILLS [SEED]` makes a book in a temp folder (or in the PostgreSQL that
PITBIRD_DATABASE names), lets `bench.killing_worker` write to it, sends SIGKILL, and holds the book against
everything that the worker had told. A kill of the process shows that a commit is whole or absent and
that what was acknowledged is in the file; that it also outlives a loss of power rests on the settings of the
connection, which are looked at as well.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from bench import homes

ROOT = Path(__file__).parent.parent
#: A worker is killed at the latest so many seconds after its first word.
LONGEST = 0.5
#: A new book after so many kills: checking one grows with its size.
KILLS_PER_BOOK = 20
DURABLE = (
    {"synchronous": 2, "journal_mode": "wal"},
    {"synchronous_commit": "on", "fsync": "on"},
)


@dataclass
class Told:
    """What a worker said before it was killed."""

    settings: dict[str, Any] = field(default_factory=dict)
    acknowledged: list[str] = field(default_factory=list)
    open: list[str] | None = None
    wrong: list[str] = field(default_factory=list)

    def hear(self, line: bytes) -> None:
        """Take in one line; one that was cut off by the kill says nothing."""
        if not line.endswith(b"\n"):
            return
        said = json.loads(line)
        self.settings = said.get("ready", self.settings)
        if "begin" in said:
            self.open = said["begin"]
        if "done" in said:
            self.acknowledged += said["done"]
            self.open = None
            self.wrong += [f"folding anew found another state of {each}" for each in said.get("rebuilt", ())]


@dataclass
class Report:
    """What many kills amount to. ``inside`` is how many fell into an act that was not acknowledged yet."""

    kills: int = 0
    inside: int = 0
    half_written: int = 0
    acknowledged: int = 0
    entries: int = 0
    settings: dict[str, Any] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def start_worker(home: Path, seed: int) -> subprocess.Popen[bytes]:
    """Start a worker; it touches the book only when told to."""
    return subprocess.Popen(
        [sys.executable, "-m", "bench.killing_worker", str(home), str(seed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'src'}"},
    )


def kill(worker: subprocess.Popen[bytes], after: float) -> Told:
    """Let a worker write for so many seconds, kill it, and give what it had said."""
    assert worker.stdin is not None
    assert worker.stdout is not None
    told = Told()
    assert json.loads(worker.stdout.readline()) == {"up": True}
    worker.stdin.write(b"go\n")
    worker.stdin.flush()
    told.hear(worker.stdout.readline())
    time.sleep(after)
    alive = worker.poll() is None
    worker.kill()
    for line in worker.stdout:
        told.hear(line)
    worker.wait()
    worker.stdin.close()
    worker.stdout.close()
    if not alive:
        told.wrong.append("the worker ended by itself")
    return told


def faults_of_book(acknowledged: Iterable[str]) -> list[str]:
    """What is wrong with the present book, given the ids that it acknowledged; empty for a whole one."""
    from django.db import connection

    from pitbird.store import book, guards

    if connection.vendor == "postgresql":
        _until_alone()
    rows = list(book.all_rows())
    faults = [f"the trigger {name} is gone" for name in guards.missing(connection)]
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA integrity_check")
            faults += [str(said) for (said,) in cursor.fetchall() if said != "ok"]
        cursor.execute('SELECT "subject", "nth", "index" FROM store_mention')
        mentions = {tuple(found) for found in cursor.fetchall()}
    standing = {row.entry_id for row in rows}
    faults += [f"acknowledged but not in the book: {each}" for each in acknowledged if each not in standing]
    return [*faults, *_faults_of_rows(rows, mentions), *_faults_of_states(mentions)]


def _until_alone() -> None:
    """Of a client that was killed the server may still be at the commit: look once that has ended."""
    from django.db import connection

    others = (
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    for _ in range(200):
        with connection.cursor() as cursor:
            cursor.execute(others)
            if cursor.fetchone()[0] == 0:
                return
        time.sleep(0.05)


def _faults_of_rows(rows: list[Any], mentions: set[tuple[Any, ...]]) -> Iterator[str]:
    from pitbird.fleet.times import ms_of
    from pitbird.record.leaf import read_leaf
    from pitbird.record.merkle import Frontier, leaf_hash
    from pitbird.record.seal import commitments_in
    from pitbird.store import blobs, book

    if [row.index for row in rows] != list(range(len(rows))):
        yield "the indices have a gap"
    tree, counts = Frontier(0, ()), Counter[str]()
    wanted: set[tuple[Any, ...]] = set()
    sealed: list[str] = []
    for row in rows:
        leaf = read_leaf(row.leaf.encode())
        body = leaf.body
        if row.leaf_hash != leaf_hash(row.leaf.encode()):
            yield f"entry {row.index} has another hash than its leaf"
        columns = (row.entry_id, row.kind, row.at, row.recorded_at, row.by, row.site)
        times = ms_of(body["at"]), ms_of(leaf.recorded_at)
        if columns != (body["id"], body["kind"], *times, body["by"], body.get("where")):
            yield f"entry {row.index} has other columns than its leaf"
        for subject, nth in leaf.nth.items():
            counts[subject] += 1
            if nth != counts[subject]:
                yield f"entry {row.index} is number {nth} about {subject}, not {counts[subject]}"
            wanted.add((subject, nth, row.index))
        tree = tree.append(row.leaf_hash)
        if body["kind"] in {"note", "correction", "bump-test"}:
            sealed += commitments_in(body)
    if mentions != wanted:
        yield f"mentions and leaves differ: {sorted(mentions ^ wanted)[:3]}"
    if book.census() != dict(counts):
        yield "the census is not what the leaves say"
    if book.head() != tree:
        yield f"the head is at {book.head().size} and not the tree over the {tree.size} leaves"
    lost = set(sealed) - blobs.get(sealed).keys()
    if lost:
        yield f"{len(lost)} commitments without their blob, such as {min(lost)}"


def _faults_of_states(mentions: set[tuple[Any, ...]]) -> Iterator[str]:
    from pitbird.fleet.folding import fold
    from pitbird.services.knowing import Now
    from pitbird.services.refolding import entries_about, refold
    from pitbird.store import book

    subjects = sorted({subject for subject, _, _ in mentions})
    states = Now().some(subjects)
    for subject in subjects:
        anew = fold(subject, entries_about(subject))
        if states.get(subject) != anew:
            yield f"the state of {subject} is not what its entries fold to"
        if refold(subject) != anew:
            yield f"{subject} folded from its last fold point is not what its entries fold to"
    known = {subject for sort in {s.partition(":")[0] for s in subjects} for subject in book.subjects(sort)}
    if known != set(subjects):
        yield f"states of subjects that no entry is about: {sorted(known - set(subjects))}"


def begin() -> None:
    """Tables, guards and a fleet of five detectors in the present, empty home."""
    from bench import making
    from pitbird.services.appending import writing

    homes.migrate()
    with writing() as ledger:
        if ledger.size == 0:
            for body in making.beginnings(1, 5):
                ledger.add(body, recorded_at=making.START)


def rounds(kills: int, seed: int, home: Path) -> Report:
    """Kill so many workers on one book, and check it after each."""
    from django.db import connection

    from pitbird.store import book

    random, report = Random(seed), Report()
    homes.set_up(home)
    begin()
    connection.close()
    acknowledged: list[str] = []
    following = start_worker(home, random.randrange(2**32))
    for number in range(kills):
        worker, following = following, start_worker(home, random.randrange(2**32))
        told = kill(worker, random.uniform(0.0, LONGEST))
        acknowledged += told.acknowledged
        report.kills += 1
        report.settings = told.settings
        found = list(told.wrong)
        if told.settings not in DURABLE:
            found.append(f"commits are not made durable: {told.settings}")
        found += faults_of_book(acknowledged)
        if told.open is not None:
            report.inside += 1
            there = book.known_ids(told.open)
            if there and len(there) < len(told.open):
                report.half_written += 1
                found.append(f"{len(there)} of {len(told.open)} entries of one act are in the book")
        report.faults += [f"kill {number + 1}: {each}" for each in found]
        report.entries = book.head().size
        connection.close()
    following.kill()
    following.communicate()
    report.acknowledged = len(acknowledged)
    return report


def run(kills: int, seed: int) -> Report:
    """Kill so many workers, on a new book after every few."""
    whole = Report()
    while whole.kills < kills:
        with homes.folder() as home:
            if os.environ.get("PITBIRD_DATABASE"):
                part = rounds(kills - whole.kills, seed, home)
            else:
                part = rounds(min(KILLS_PER_BOOK, kills - whole.kills), seed, home)
        seed += 1
        whole = Report(
            kills=whole.kills + part.kills,
            inside=whole.inside + part.inside,
            half_written=whole.half_written + part.half_written,
            acknowledged=whole.acknowledged + part.acknowledged,
            entries=whole.entries + part.entries,
            settings=part.settings,
            faults=whole.faults + part.faults,
        )
    return whole


def main(kills: str, seed: str = "1") -> None:
    """Print the report as JSON."""
    print(json.dumps(asdict(run(int(kills), int(seed)))))


if __name__ == "__main__":
    main(*sys.argv[1:])
