"""The entries of a bundle: each by itself, their numbers, and the tree that leads to each from the root."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from pitbird.record.blob import open_blobs
from pitbird.record.bundle.frame import Frame
from pitbird.record.bundle.report import Desk
from pitbird.record.canonical import Codec, parse_canonical
from pitbird.record.checkpoint import Checkpoint
from pitbird.record.cover import read_cover
from pitbird.record.errors import BadArchive, BadSeal, BadSignature, RecordError
from pitbird.record.leaf import Leaf, leaf_of
from pitbird.record.merkle import HASH_SIZE, leaf_hash
from pitbird.record.signature import verify_signature

ENTRIES = "entries.jsonl"
TREE = "tree.txt"


@dataclass(slots=True)
class Entries:
    """The entries as they are read: 8 + 32 bytes for each, their ids, and the last number of each subject."""

    desk: Desk
    frame: Frame
    codec: Codec
    indices: array[int] = field(default_factory=lambda: array("q"))
    first_id: str | None = None
    _hashes: bytearray = field(default_factory=bytearray)
    _last: dict[str, int] = field(default_factory=dict)
    _begun: dict[str, str] = field(default_factory=dict)
    _gaps: set[str] = field(default_factory=set)
    _ids: set[int] = field(default_factory=set)
    _opened: set[bytes] = field(default_factory=set)
    _closed: set[bytes] = field(default_factory=set)

    def check(self) -> None:
        """Read every entry, then see that nothing is missing, then hold each against the tree."""
        readable = self.read()
        self.complete()
        if self.frame.checkpoint:
            self.tree(self.frame.checkpoint, readable=readable)

    def hash_at(self, index: int) -> bytes | None:
        """The leaf hash of the entry at an index of the book; None where it is not here."""
        with suppress(ValueError):
            return self.hash_of(self.indices.index(index))
        return None

    def hash_of(self, at: int) -> bytes:
        """The leaf hash of the entry on a line, counted from 0."""
        return bytes(self._hashes[at * HASH_SIZE : (at + 1) * HASH_SIZE])

    def read(self) -> bool:
        """Read every entry; False where the indices are not known or do not rise."""
        readable, at = True, 0
        try:
            for at, line in enumerate(self.desk.lines(ENTRIES), start=1):
                try:
                    readable = self.line(line) and readable
                except RecordError as error:
                    readable = False
                    self.desk.fault("entry", ENTRIES, f"line {at}: {error.what}")
        except BadArchive as error:
            readable = False
            self.desk.fault("entry", ENTRIES, f"line {at + 1}: {error.what}")
        self.desk.report.entries = len(self.indices)
        self.desk.report.withheld = len(self._closed - self._opened)
        if not self.indices:
            self.desk.fault("entry", ENTRIES, "no entry is here")
        return readable

    def line(self, line: bytes) -> bool:
        """Read one entry; False where its index does not rise. Raises RecordError where it has none."""
        value = parse_canonical(line, self.codec)
        if type(value) is not dict or not {"index", "leaf"} <= value.keys() <= {"index", "leaf", "sealed"}:
            raise BadArchive("not an object of index, leaf and sealed")
        index = value["index"]
        if type(index) is not int or index < 0:
            raise BadArchive(f"{index!a} is not an index")
        if self.indices and index <= self.indices[-1]:
            self.desk.fault("entry", ENTRIES, "the index does not rise", index)
            return False
        front = b'{"index":%d,"leaf":' % index
        plain = "sealed" not in value and line.startswith(front)
        raw = line[len(front) : -1] if plain else self.codec.encode(value["leaf"])
        self.indices.append(index)
        self._hashes += leaf_hash(raw)
        try:
            leaf = leaf_of(value["leaf"], self.codec, raw=raw)
        except RecordError as error:
            self.desk.fault("entry", ENTRIES, error.what, index)
            return True
        self.entry(index, leaf, value)
        return True

    def entry(self, index: int, leaf: Leaf, value: dict[str, Any]) -> None:
        number = int(leaf.body["id"].replace("-", ""), 16)
        if number in self._ids:
            self.desk.fault("entry", ENTRIES, f"the id {leaf.body['id']} comes twice", index)
        self._ids.add(number)
        if index == 0:
            self.first_id = leaf.body["id"]
        self.numbers(index, leaf)
        if leaf.signature is not None:
            self.desk.report.signed += 1
            try:
                verify_signature(leaf.body, leaf.signature)
            except BadSignature as error:
                self.desk.fault("signature", ENTRIES, error.what, index)
        try:
            if "sealed" in value and value["sealed"] is None:
                raise BadSeal("sealed is not an object with at least one blob")
            opened, closed = open_blobs(leaf, value.get("sealed"))
        except BadSeal as error:
            self.desk.fault("seal", ENTRIES, error.what, index)
            return
        self._opened.update(bytes.fromhex(name[7:]) for name in opened)
        self._closed.update(bytes.fromhex(name[7:]) for name in closed)

    def numbers(self, index: int, leaf: Leaf) -> None:
        for subject, number in leaf.nth.items():
            before = self._last.get(subject, 0)
            if number <= before:
                self.desk.fault("entry", ENTRIES, f"number {number} of {subject} does not rise", index)
                continue
            self._last[subject] = number
            first = self.frame.first.get(subject)
            if first is None or number < first:
                continue  # of this one nothing is claimed
            wanted = before + 1 if subject in self._begun else first
            self._begun.setdefault(subject, leaf.recorded_at)
            if number != wanted:
                self._gaps.add(subject)
                self.desk.fault(
                    "incomplete", ENTRIES, f"{wanted} of {subject} is missing before entry {index}"
                )

    def complete(self) -> None:
        """See that of each subject in the scope nothing is missing, up to what the census counts."""
        census, since = self.frame.census, self.frame.since
        for subject, first in self.frame.first.items():
            last = self._last.get(subject)
            counted = None if census is None else census.get(subject, 0)
            if subject not in self._begun:
                what = f"nothing about {subject} from {first} on is here"
            elif counted is not None and last != counted:
                what = f"{subject} ends with {last}, the census counts {counted}"
            elif first > 1 and (since is None or self._begun[subject] >= since):
                what = f"what came before {first} of {subject} may be of the time asked for"
            else:
                self.desk.report.subjects += counted is not None and subject not in self._gaps
                continue
            self.desk.fault("incomplete", ENTRIES, what)

    def tree(self, checkpoint: Checkpoint, *, readable: bool) -> None:
        """Hold each entry against the leaf hash to which the tree leads from the signed root."""
        if not readable:
            self.desk.fault("tree", TREE, "not read, since the indices of the entries are not known")
            return
        inside = bisect_left(self.indices, checkpoint.size)
        for index in self.indices[inside:]:
            self.desk.fault("leaf", ENTRIES, "it stands behind the end of the book", index)
        lines = self.desk.lines(TREE)
        read, lost = 0, array("q")
        try:
            for index, claimed, established in read_cover(
                lines, checkpoint.size, self.indices[:inside], checkpoint.root
            ):
                if not established:
                    lost.append(index)
                elif self.hash_of(read) != claimed:
                    self.desk.fault("leaf", ENTRIES, "not the entry that stands in the book there", index)
                read += 1
        except RecordError as error:
            self.desk.fault("tree", TREE, error.what)
            return
        if lost:
            what = f"its lines do not lead from the root to {len(lost)} entries, the first of them {lost[0]}"
            self.desk.fault("tree", TREE, what)
        if read != inside:
            self.desk.fault("tree", TREE, "it does not lead to every entry")
