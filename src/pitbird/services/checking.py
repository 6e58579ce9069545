"""Whether the book is guarded, whole and folded right: in full, or quickly at every start."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Final

from django.conf import settings
from django.db import connection, transaction

from pitbird.fleet.folding.item import runs_ahead
from pitbird.fleet.state import State
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.record.errors import RecordError
from pitbird.record.leaf import Leaf, read_leaf
from pitbird.record.merkle import Frontier, root_of
from pitbird.services import clock
from pitbird.services.decoding import decode_state
from pitbird.services.refolding import refold, refold_in_full
from pitbird.store import book, subtrees
from pitbird.store.guards import missing

#: The quick check looks at so many of the newest entries, and at the states of what they are about.
NEWEST: Final = 50
#: The quick check hashes the tree's youngest branches as far back as this.
BRANCHES: Final = 20_000
_TOLD: Final = 3
_CHANGED: Final = (
    "the book was changed or damaged: do not rely on it, compare it with an export or a checkpoint that "
    "somebody else holds, and restore a copy"
)


@dataclass(frozen=True)
class Check:
    """One thing looked at; ``complaint`` is empty where it is right, ``remedy`` says what to do where not.

    ``grave`` marks what may let a detector out wrongly or hides a change of the book.
    """

    what: str
    complaint: str = ""
    remedy: str = ""
    grave: bool = True


def full_check() -> tuple[Check, ...]:
    """Guards, durability, every entry, the tree, every number and every state; reads the whole book."""
    return (_guards(), _durable(), _clock(), *_everything())


def quick_check() -> tuple[Check, ...]:
    """Guards, durability, the newest entries with the tree's youngest branches, and their states.

    Its cost does not grow with the age of the book. What it cannot see (an old entry changed) the full check
    and every checkpoint do.
    """
    return (_guards(), _durable(), _clock(), *_newest())


def _guards() -> Check:
    gone = missing(connection)
    return Check(
        "the database refuses to change or remove entries",
        f"{', '.join(gone)} missing" if gone else "",
        "whoever removed them could change the book: compare with an export or a checkpoint that somebody "
        "else holds, then run `pitbird doctor --put-guards-back`",
    )


def _durable() -> Check:
    what = "every commit reaches the disk"
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA synchronous")
            level = cursor.fetchone()[0]
            wrong = "" if level in {2, 3} else f"PRAGMA synchronous is {level}, not 2 (FULL)"
            return Check(what, wrong, "take your own settings out")
        off = []
        for name in ("fsync", "synchronous_commit"):
            cursor.execute(f"SHOW {name}")
            if cursor.fetchone()[0] == "off":
                off.append(name)
    return Check(what, f"{' and '.join(off)} off in PostgreSQL" if off else "", "switch it on")


def _clock() -> Check:
    now, recorded = clock.now(), book.recorded_to()
    right = settings.CONFIG.clock_is_right
    behind = recorded is not None and not right and runs_ahead(Ms(recorded), now)
    return Check(
        "the clock goes on from the newest entries",
        f"it is {text_of(now)} by the clock, and an entry was recorded at {text_of(Ms(recorded))}"
        if behind and recorded is not None
        else "",
        "set the clock of this machine: by one that is behind, yesterday's tests are today's. Where it is"
        " right and was ahead then, start with `pitbird serve --clock-is-right`",
    )


def entry_faults(row: book.Row) -> Iterator[str]:
    """What is wrong with one stored entry: its leaf, its hash, or a column that says something else."""
    try:
        leaf = read_leaf(row.leaf.encode())
    except RecordError as fault:
        yield f"entry {row.index}: {fault.what}"
        return
    if leaf.hash != row.leaf_hash:
        yield f"entry {row.index} is not what its hash says"
    columns = (row.entry_id, row.kind, row.at, row.recorded_at, row.by, row.site)
    if columns != _columns(leaf):
        yield f"entry {row.index} is searched by something else than what it says"


def _columns(leaf: Leaf) -> tuple[object, ...]:
    body = leaf.body
    return (
        body["id"], body["kind"], ms_of(body["at"]), ms_of(leaf.recorded_at), body.get("by", ""),
        body.get("where"),
    )  # fmt: skip


def _everything() -> tuple[Check, ...]:
    tree, broken, count = Frontier(0, ()), [], 0
    full: set[subtrees.Full] = set()
    numbered: dict[str, list[int]] = {}
    with transaction.atomic():
        head = book.head()
        for row in book.all_rows():
            if row.index != count:
                broken.append(f"entry {count} is missing")
            count = row.index + 1
            broken.extend(entry_faults(row))
            tree, completed = tree.extend_noting([row.leaf_hash], subtrees.LEVELS)
            full.update(completed)
            _number(row, numbered)
        if tree != head:
            broken.append(f"the head is not the root of these {tree.size} entries")
        mentions = book.mentions_agree(numbered)
        other = full ^ subtrees.all_kept()
        subjects = sorted(numbered)
        stored = _states(subjects)
        differ = [subject for subject in subjects if stored.get(subject) != refold_in_full(subject)]
    return (
        Check(f"the {count} entries make the root that the head holds", _some(broken), _CHANGED),
        Check("the numbers of the entries about each subject have no gap", _some(mentions), _CHANGED),
        Check(
            f"the {len(subjects)} states are what the entries amount to",
            f"{len(differ)} differ, first {', '.join(differ[:_TOLD])}" if differ else "",
            "run `pitbird book rebuild`",
        ),
        Check(
            "the hashes kept to make proofs quickly are those of the entries",
            f"{len({place[:2] for place in other})} differ or are missing" if other else "",
            "run `pitbird book rebuild`",
            grave=False,
        ),
    )


def _number(row: book.Row, numbered: dict[str, list[int]]) -> None:
    try:
        nth = read_leaf(row.leaf.encode()).nth
    except RecordError:
        return
    for subject, number in nth.items():
        numbered.setdefault(subject, []).append(number)


def _some(faults: list[str]) -> str:
    more = f" (and {len(faults) - _TOLD} more)" if len(faults) > _TOLD else ""
    return "; ".join(faults[:_TOLD]) + more


def _newest() -> tuple[Check, ...]:
    broken: list[str] = []
    with transaction.atomic():
        head = book.head()
        rows = book.newest(NEWEST)
        if [row.index for row in rows] != list(range(head.size - 1, head.size - 1 - len(rows), -1)):
            broken.append(
                f"the head counts {head.size} entries, the newest is {rows[0].index if rows else '-'}"
            )
        for row in rows:
            broken.extend(entry_faults(row))
        broken.extend(_young_branches(head))
        subjects = sorted({subject for row in rows for subject in _about(row)})
        stored = _states(subjects)
        differ = [subject for subject in subjects if stored.get(subject) != refold(subject)]
    return (
        Check(
            f"the newest {len(rows)} entries and the tree's youngest branches agree", _some(broken), _CHANGED
        ),
        Check(
            "the states of what they are about are what the entries amount to",
            f"{len(differ)} differ, first {', '.join(differ[:_TOLD])}" if differ else "",
            "run `pitbird book rebuild`",
        ),
    )


def _states(subjects: list[str]) -> dict[str, State]:
    """The states as stored, read anew; one whose digest is not that of its text counts as none."""
    return {
        subject: decode_state(subject, text)
        for subject, (text, digest) in book.standings_marked(subjects).items()
        if digest == book.digest_of(text)
    }


def _about(row: book.Row) -> list[str]:
    try:
        return list(read_leaf(row.leaf.encode()).nth)
    except RecordError:
        return []


def _young_branches(head: Frontier) -> Iterator[str]:
    """The frontier's hashes from the youngest, each against the leaf hashes below it."""
    end, done = head.size, 0
    for peak in reversed(head.hashes):
        width = (end & -end) if end else 0
        done += width
        if done > BRANCHES:
            return
        hashes = list(islice(book.leaf_hashes(end - width, end), width))
        if len(hashes) != width or root_of(hashes) != peak:
            yield f"the branch over entries {end - width} to {end - 1} has another hash"
        end -= width
