"""What the newest checkpoint shows: of one entry that it stands in the book, of a subject that nothing about
it was left out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pitbird.record.checkpoint import Checkpoint, read_census
from pitbird.record.completeness import Complete, check_complete, subject_value
from pitbird.record.cover import cover_lines
from pitbird.record.errors import RecordError
from pitbird.record.merkle import node_hash
from pitbird.services.checkpoints import CheckpointRefused, Kept, kept
from pitbird.services.proofs import NoCheckpoint, NoProof, Tree
from pitbird.store import book

#: More entries about a subject are proved by a bundle, which need not fit in memory.
MOST: Final = 5000
_REWRITTEN: Final = "the book no longer has the root of its newest checkpoint; run `pitbird doctor`"


@dataclass(frozen=True)
class Step:
    """One step up the tree: the left and the right hash, what the two make, and which of them came so far."""

    left: str
    right: str
    made: str
    from_left: bool


@dataclass(frozen=True)
class EntryProof:
    """The way of an entry to the root of a checkpoint; hashes in hexadecimal."""

    index: int
    leaf_hash: str
    checkpoint: Checkpoint
    steps: tuple[Step, ...]

    def as_json(self) -> dict[str, Any]:
        """As docs/proofs.md describes it."""
        return {
            "index": self.index,
            "leaf_hash": self.leaf_hash,
            "origin": self.checkpoint.origin,
            "proof": [step.right if step.from_left else step.left for step in self.steps],
            "root": self.checkpoint.root.hex(),
            "size": self.checkpoint.size,
        }


@dataclass(frozen=True)
class SubjectProof:
    """That a subject's entries are complete: what was shown, as JSON, and how many were written later."""

    complete: Complete
    value: dict[str, Any]
    later: int


def entry_proof(index: int, home: Path) -> EntryProof:
    """The way of an entry to the root of the newest checkpoint. Raises NoProof where that does not cover it,
    or there is none that holds."""
    held = newest(home)
    if index >= held.checkpoint.size:
        raise NoProof(
            f"entry {index} was written after the newest checkpoint, which counts "
            f"{held.checkpoint.size} entries; the next one covers it",
            "index",
        )
    tree = _tree(held)
    leaf, proof = tree.leaf(index), tree.inclusion(index)
    made, steps = leaf, []
    here, last = index, held.checkpoint.size - 1
    for beside in proof:
        from_left = not here & 1 and here != last
        left, right = (made, beside) if from_left else (beside, made)
        made = node_hash(left, right)
        steps.append(Step(left.hex(), right.hex(), made.hex(), from_left))
        here, last = here >> 1, last >> 1
    return EntryProof(index, leaf.hex(), held.checkpoint, tuple(steps))


def subject_proof(subject: str, home: Path) -> SubjectProof:
    """All entries about a subject under the newest checkpoint, verified before it is given.

    Raises NoProof where there is no checkpoint, no entry under it, more than MOST, or something is missing.
    """
    held = newest(home)
    size = held.checkpoint.size
    known = book.count_about(subject)[0]
    if known == 0:
        raise NoProof(f"the book has no entry about {subject[:80]}", "subject")
    if known > MOST:
        raise NoProof(
            f"{known} entries are about {subject}, more than {MOST} that are proved at once; "
            "make a bundle of them (`pitbird bundle`)",
            "subject",
        )
    entries = [(row.index, row.leaf.encode()) for row in book.about(subject, below=size)]
    if not entries:
        raise NoProof(
            f"what is about {subject} was written after the newest checkpoint, which counts {size} "
            "entries; the next one covers it",
            "subject",
        )
    lines = list(cover_lines(size, [index for index, _ in entries], _tree(held).node))
    try:
        census = read_census(held.census_path.read_bytes(), held.checkpoint)
        complete = check_complete(subject, entries, lines, held.checkpoint, census)
    except (RecordError, OSError) as fault:
        raise NoProof(
            f"{subject} cannot be shown to be complete ({fault}); run `pitbird doctor`", "subject"
        ) from fault
    value = subject_value(subject, entries, lines, held.path.read_bytes(), census)
    return SubjectProof(complete, value, known - complete.count)


def newest(home: Path) -> Kept:
    """The newest checkpoint kept beside the book. Raises NoProof where there is none that holds."""
    try:
        held = kept(home) if book.head().size else None
    except (RecordError, CheckpointRefused, OSError) as fault:
        raise NoProof(f"the newest checkpoint cannot be relied on ({fault})") from fault
    if held is None:
        raise NoCheckpoint("there is no checkpoint yet; make one with `pitbird checkpoint make`")
    return held


def _tree(held: Kept) -> Tree:
    tree = Tree(held.checkpoint.size)
    if tree.root != held.checkpoint.root:
        raise NoProof(_REWRITTEN)
    return tree
