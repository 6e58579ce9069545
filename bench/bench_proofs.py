"""Checking a large export against reading the same bytes and hashing them twice; proofs from a large book.

Each check runs in a process of its own, whose peak of memory is told; times are those of the processor, since
they hang less on what else the machine does. The export and the book (entries, mentions, tree; no states) are
kept in the system's temp folder between runs, a folder ``pitbird-bench-proofs-...``.
PITBIRD_BENCH_PROOFS says how many entries (default 1,000,000).
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from hashlib import sha256
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

from bench import homes, making

ENTRIES = int(os.environ.get("PITBIRD_BENCH_PROOFS", "1000000"))
VERSION = 1
SITES, PER_SITE = 20, 50
PIECE = 5000
ROUNDS = 3
PROOFS = 400
HASHES_TARGET, FULL_TARGET, PROOF_TARGET_MS = 1.5, 15, 5


def bodies() -> Iterator[dict[str, Any]]:
    """A fleet of 1,000 and its daily tests, without end."""
    from pitbird.fleet.times import DAY, HOUR, Ms

    yield from making.beginnings(SITES, PER_SITE)
    random, day = Random(5), 0
    while True:
        yield from making.tests_of_a_day(Ms(making.START + day * DAY + 2 * HOUR), SITES, PER_SITE, random)
        day += 1


def make(folder: Path) -> float:
    """Write the export and the rows of its book."""
    homes.set_up(folder)
    homes.migrate()
    from pitbird.record.book import export_line, header_line, trailer_line
    from pitbird.services.quick import uncollected
    from pitbird.store import book

    begun, stream = time.perf_counter(), bodies()
    counts: dict[str, int] = {}
    with (folder / "making.jsonl").open("wb") as file, uncollected():
        for first in range(0, ENTRIES, PIECE):
            rows, mentions = _rows(first, islice(stream, min(PIECE, ENTRIES - first)), counts)
            if first == 0:
                file.write(header_line(rows[0].entry_id))
            file.writelines(export_line(row.index, row.leaf.encode()) for row in rows)
            _keep(rows, mentions)
        file.write(trailer_line(ENTRIES, book.head().root()))
    homes.close()
    (folder / "making.jsonl").rename(folder / "book.jsonl")
    return time.perf_counter() - begun


def _rows(first: int, some: Iterator[dict[str, Any]], counts: dict[str, int]) -> tuple[list[Any], list[Any]]:
    from pitbird.fleet.times import ms_of
    from pitbird.record.leaf import make_leaf
    from pitbird.services.quick import QUICK
    from pitbird.store.book import Mention, Row

    rows: list[Row] = []
    mentions: list[Mention] = []
    for index, body in enumerate(some, start=first):
        nth = {subject: counts.get(subject, 0) + 1 for subject in body["about"]}
        counts.update(nth)
        leaf, at = make_leaf(body, recorded_at=body["at"], nth=nth, codec=QUICK), ms_of(body["at"])
        raw = leaf.raw.decode()
        rows.append(Row(index, body["id"], body["kind"], at, at, body["by"], body["where"], raw, leaf.hash))
        mentions += [(subject, number, index, at, False) for subject, number in nth.items()]
    return rows, mentions


def _keep(rows: list[Any], mentions: list[Any]) -> None:
    from django.db import transaction

    from pitbird.store import book, subtrees

    with transaction.atomic():
        book.insert(rows, mentions)
        head, full = book.head().extend_noting([row.leaf_hash for row in rows], subtrees.LEVELS)
        subtrees.put(full)
        book.set_head(head)


# --- What is measured, each in a process of its own


def twice_in_blocks(path: Path) -> None:
    """Read the file by the megabyte and hash it twice."""
    one, two = sha256(), sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            one.update(block)
            two.update(block)


def twice_by_line(path: Path) -> None:
    """Read the file line by line and hash each line twice."""
    with path.open("rb", buffering=1 << 20) as lines:
        for line in lines:
            sha256(line).digest()
            sha256(line).digest()


def hashes_alone(path: Path) -> None:
    """Size and root."""
    from pitbird.record.book import hash_book

    with path.open("rb", buffering=1 << 20) as lines:
        assert hash_book(lines)[0] == ENTRIES


def full_check(path: Path) -> None:
    """Everything, as `pitbird book check` does it."""
    from pitbird.record.book import verify_book
    from pitbird.services.quick import QUICK, uncollected

    with path.open("rb", buffering=1 << 20) as lines, uncollected():
        assert verify_book(lines, codec=QUICK).size == ENTRIES


def full_check_plain(path: Path) -> None:
    """Everything, by the standard library's JSON."""
    from pitbird.record.book import verify_book

    with path.open("rb", buffering=1 << 20) as lines:
        assert verify_book(lines).size == ENTRIES


def alone(work: Callable[..., Any], path: Path) -> tuple[float, float]:
    """Seconds of the processor, and the peak of memory in MB, of one check."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(_measured, work, path).result()


def _measured(work: Callable[..., Any], path: Path) -> tuple[float, float]:
    import pitbird.record.book
    import pitbird.services.quick  # noqa: F401 (loading them is not measured)

    begun = time.process_time()
    work(path)
    took = time.process_time() - begun
    status = Path("/proc/self/status").read_text()
    peak = next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM"))
    return took, int(peak) / 1024


def proofs(folder: Path) -> None:
    """Proofs of random entries in the book as it stands and at random sizes, and covers."""
    homes.set_up(folder)
    from pitbird.record.cover import cover_lines
    from pitbird.services import proofs as made
    from pitbird.store import book

    random, size = Random(3), book.head().size
    indices = [random.randrange(size) for _ in range(PROOFS)]
    sizes = [random.randrange(index + 1, size + 1) for index in indices]
    questions: dict[str, Callable[[int], Any]] = {
        "inclusion under the head": lambda n: made.inclusion(indices[n], size),
        "inclusion at some size": lambda n: made.inclusion(indices[n], sizes[n]),
        "consistency to the head": lambda n: made.consistency(sizes[n], size),
    }
    for name, ask in questions.items():
        times = []
        for n in range(PROOFS):
            begun = time.perf_counter()
            ask(n)
            times.append((time.perf_counter() - begun) * 1e3)
        times.sort()
        print(
            f"{name:<25} median {median(times):.2f} ms, 99 % below {times[-PROOFS // 100]:.2f}, slowest "
            f"{times[-1]:.2f} (target: {PROOF_TARGET_MS} ms)",
            flush=True,
        )
    detector = [row.index for row in book.about(making.detector_of("site:S-3", 7))]
    part = min(200_000, size)
    dense = [index for index in range(part) if index % 10]
    for name, wanted, of in (("one detector", detector, size), ("nine in ten", dense, part)):
        begun = time.perf_counter()
        lines = sum(1 for _ in cover_lines(of, wanted, made.Tree(of).node))
        took = time.perf_counter() - begun
        print(
            f"cover of {name}: {len(wanted):,} of {of:,} entries, {lines:,} lines, {took:.2f} s", flush=True
        )
    homes.close()


def main() -> None:
    """Make the book where it is not kept, check its export, prove entries of it."""
    folder = Path(tempfile.gettempdir()) / f"pitbird-bench-proofs-{VERSION}-{ENTRIES}"
    folder.mkdir(exist_ok=True)
    path = folder / "book.jsonl"
    if not path.exists():
        (folder / "book.sqlite3").unlink(missing_ok=True)
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            print(f"made in {pool.submit(make, folder).result():.0f} s", flush=True)
    print(f"{ENTRIES:,} entries, {path.stat().st_size / 1e6:,.0f} MB; seconds of the processor")
    twice_in_blocks(path)  # so that the file is in memory
    quick = [
        [alone(work, path) for work in (twice_in_blocks, twice_by_line, hashes_alone)] for _ in range(ROUNDS)
    ]
    blocks, lines, hashes = (median(each[place][0] for each in quick) for place in range(3))
    print(f"read and hashed twice by the megabyte   {blocks:7.2f} s, by line {lines:.2f} s")

    def tell(name: str, took: float, peak: float, target: str) -> None:
        ratio = f"ratio {took / blocks:5.2f} ({took / lines:.2f} by line)"
        print(f"{name:<39} {took:7.2f} s, {ratio}, peak {peak:.0f} MB{target}", flush=True)

    tell("hashes alone", hashes, max(each[2][1] for each in quick), f" (target: at most {HASHES_TARGET})")
    tell("full check", *alone(full_check, path), f" (target: at most {FULL_TARGET})")
    tell("full check by the standard library", *alone(full_check_plain, path), "")
    proofs(folder)
