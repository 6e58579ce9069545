"""The export of a whole book, as JSON Lines, and its verifier.

First line   {"book": id of the first entry, "format": "pitbird-book/1"}
then, each   {"index": n, "leaf": {...}[, "sealed": {commitment: blob, ...}]}
last line    {"root": 64 hex digits, "size": n}

A blob is {"salt": ..., "text": ...} or {"base64": ..., "salt": ..., "type": ...}; salts and files are base64
with padding (RFC 4648 section 4). A blob that was erased is simply absent: the verifier counts its commitment
as withheld. Every line is canonical JSON and ends with a line feed.

The verifier shows that the file is whole and unchanged since its root was made. That the root is the true one
only a checkpoint shows that somebody else holds: give it as ``known_roots``.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import islice
from typing import Any, NoReturn

from pitbird.record.blob import Blob, blob_to_json, open_blobs
from pitbird.record.canonical import STANDARD, Codec, canonical, parse_canonical
from pitbird.record.errors import BadSeal, BookBroken, RecordError
from pitbird.record.leaf import ENTRY_ID, Leaf, leaf_of
from pitbird.record.merkle import grow, root_of_full, root_over
from pitbird.record.signature import verify_signature

FORMAT = "pitbird-book/1"
GENESIS = "genesis"
_ROOT = re.compile(r"[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True, slots=True)
class BookEntry:
    """One entry of an export, with the blobs that were not withheld."""

    index: int
    leaf: Leaf
    sealed: dict[str, Blob]
    withheld: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BookReport:
    """What a verified export holds.

    ``subjects`` counts the entries about each subject, ``withheld`` names every commitment that no blob in
    the file opens, ``opened`` counts the others, ``signed`` the entries with a device's signature (each was
    verified against its own key; whose key that is, is decided elsewhere).
    """

    book: str
    size: int
    root: bytes
    subjects: dict[str, int]
    withheld: tuple[str, ...]
    opened: int
    signed: int


def header_line(book: str) -> bytes:
    """Return the first line of an export; ``book`` is the id of the first entry."""
    if type(book) is not str or not ENTRY_ID.fullmatch(book):
        raise RecordError(
            f"{book!a} is not the id of an entry", where="book", remedy="Give the id of the first entry."
        )
    return canonical({"book": book, "format": FORMAT}) + b"\n"


def export_line(index: int, leaf_raw: bytes, sealed: Mapping[str, Blob] | None = None) -> bytes:
    """Return the line of one entry. ``leaf_raw`` is copied as it stands; every blob must open its commitment.

    Raises BadSeal when a blob does not, or is a text that is not UTF-8.
    """
    line = b'{"index":%d,"leaf":%b' % (index, leaf_raw)
    if sealed:
        line += b',"sealed":' + canonical({name: blob_to_json(name, blob) for name, blob in sealed.items()})
    return line + b"}\n"


def trailer_line(size: int, root: bytes) -> bytes:
    """Return the last line of an export."""
    return canonical({"root": root.hex(), "size": size}) + b"\n"


def read_book(
    lines: Iterable[bytes | str],
    *,
    known_roots: Mapping[int, bytes] | None = None,
    codec: Codec = STANDARD,
) -> Iterator[BookEntry]:
    """Give the entries of an export one after another, each checked against all before it.

    Only when the iterator ends without BookBroken is the book whole: the last line stands at the end. Give
    lines as a file opened in binary mode gives them; ``str.splitlines`` also cuts inside text and must not be
    used.
    ``known_roots`` maps sizes to roots from checkpoints that the caller trusts.
    """
    return _Reader(known_roots or {}, codec).entries(lines)


def verify_book(
    lines: Iterable[bytes | str],
    *,
    known_roots: Mapping[int, bytes] | None = None,
    codec: Codec = STANDARD,
) -> BookReport:
    """Verify an export from the first line to the last and tell what it holds.

    Checked: header; canonical form; indices from 0 without a gap; the first entry is of kind genesis and is
    the one the header names; every id once; ``nth`` of every subject from 1 without a gap; every signature
    against its own key; every blob against a commitment in the body beside it; size and root; known roots.
    Reads as a stream; memory grows only with ids, subjects and commitments. Raises BookBroken with the line.
    """
    reader = _Reader(known_roots or {}, codec)
    for _ in reader.entries(lines):
        pass
    return reader.report()


def hash_book(lines: Iterable[bytes], *, known_roots: Mapping[int, bytes] | None = None) -> tuple[int, bytes]:
    """Check the hashes of an export alone, many times sooner than ``verify_book``: size and root.

    Shows that the leaves, cut out of their lines without reading them, make the root on the last line and the
    known roots. It shows no more than that: not that a line means what its leaf says, nor ids, numbers, texts
    or signatures. Raises BookBroken with the line.
    """
    hasher = _Hasher(known_roots or {})
    return hasher.run(iter(lines))


_UNCHANGED = "Get the export again from the keeper and do not edit it; if it stays so, the book was changed."
_WHOLE = "The file was cut short or lines were lost; get the export again, whole."


@dataclass(slots=True)
class _Reader:
    """What has to be remembered between the lines of an export."""

    known_roots: Mapping[int, bytes]
    codec: Codec = STANDARD
    line: int = 0
    text: bytes | str = b""
    book: str = ""
    size: int = 0
    edge: list[bytes] = field(default_factory=list)
    root: bytes = b""
    subjects: dict[str, int] = field(default_factory=dict)
    ids: set[int] = field(default_factory=set)
    opened: set[bytes] = field(default_factory=set)
    withheld: dict[str, None] = field(default_factory=dict)
    signed: int = 0

    def entries(self, lines: Iterable[bytes | str]) -> Iterator[BookEntry]:
        ended = False
        self.check_known_root()
        for self.line, text in enumerate(lines, start=1):
            if ended:
                self.broken("there is more after the last line of the book", _UNCHANGED)
            value = self.value(text)
            if self.line == 1:
                self.header(value)
            elif value.keys() == {"root", "size"}:
                self.trailer(value)
                ended = True
            else:
                yield self.entry(value)
        if not ended:
            self.line += 1
            self.broken("the file ends without the line of root and size", _WHOLE)

    def broken(self, what: str, remedy: str) -> NoReturn:
        raise BookBroken(what, line=self.line, remedy=remedy)

    def value(self, text: bytes | str) -> dict[str, Any]:
        self.text = _without_line_end(text)
        try:
            value = parse_canonical(self.text, self.codec)
        except RecordError as error:
            raise BookBroken(f"{error.where}: {error.what}", line=self.line, remedy=_UNCHANGED) from error
        if type(value) is not dict:
            self.broken("not a JSON object", _UNCHANGED)
        return value

    def header(self, value: dict[str, Any]) -> None:
        if value.keys() != {"book", "format"}:
            self.broken(
                "the first line is not that of a book", "Give the file that the export wrote, from its start."
            )
        if value["format"] != FORMAT:
            self.broken(
                f"the format is {value['format']!a}, not {FORMAT}",
                "Use a version that reads this format.",
            )
        if type(value["book"]) is not str or not ENTRY_ID.fullmatch(value["book"]):
            self.broken("the book is not named by the id of its first entry", _UNCHANGED)
        self.book = value["book"]

    def entry(self, value: dict[str, Any]) -> BookEntry:
        index = self.size
        if not {"index", "leaf"} <= value.keys() <= {"index", "leaf", "sealed"}:
            self.broken("the line is neither an entry nor the last line", _UNCHANGED)
        if type(value["index"]) is not int or value["index"] != index:
            self.broken(f"the entry stands at index {index} but says {value['index']!a}", _UNCHANGED)
        try:
            leaf = leaf_of(value["leaf"], self.codec, raw=self.leaf_bytes(value))
            if leaf.signature is not None:
                verify_signature(leaf.body, leaf.signature)
                self.signed += 1
        except RecordError as error:
            raise BookBroken(f"{error.where}: {error.what}", line=self.line, remedy=_UNCHANGED) from error
        self.check_identity(leaf)
        self.check_numbers(leaf)
        sealed, withheld = self.seals(leaf, value.get("sealed"), "sealed" in value)
        grow(self.edge, self.size, leaf.hash)
        self.size += 1
        self.check_known_root()
        return BookEntry(index, leaf, sealed, withheld)

    def leaf_bytes(self, value: dict[str, Any]) -> bytes | None:
        """The leaf as it stands in the line, which is canonical as a whole; None if more stands behind it."""
        if "sealed" in value:
            return None
        line = self.text.encode("utf-8") if isinstance(self.text, str) else self.text
        return line[len(b'{"index":%d,"leaf":' % self.size) : -1]

    def check_identity(self, leaf: Leaf) -> None:
        name = leaf.body["id"]
        if not self.ids:
            if leaf.body["kind"] != GENESIS:
                self.broken(f"the first entry is of kind {leaf.body['kind']}, not {GENESIS}", _WHOLE)
            if name != self.book:
                self.broken(f"the first entry is {name}, but the header names {self.book}", _UNCHANGED)
        number = int(name.replace("-", ""), 16)
        if number in self.ids:
            self.broken(f"the id {name} stands in the book twice", _UNCHANGED)
        self.ids.add(number)

    def check_numbers(self, leaf: Leaf) -> None:
        for subject, number in leaf.nth.items():
            wanted = self.subjects.get(subject, 0) + 1
            if number != wanted:
                self.broken(
                    f"entry {number} about {subject} stands where its entry {wanted} belongs", _UNCHANGED
                )
            self.subjects[subject] = wanted

    def seals(self, leaf: Leaf, given: Any, present: bool) -> tuple[dict[str, Blob], tuple[str, ...]]:
        try:
            sealed, missing = open_blobs(leaf, {} if present and given is None else given)
        except BadSeal as error:
            self.broken(error.what, _UNCHANGED)
        for name in sealed:
            self.opened.add(bytes.fromhex(name[7:]))
            self.withheld.pop(name, None)
        self.withheld.update((name, None) for name in missing if bytes.fromhex(name[7:]) not in self.opened)
        return sealed, missing

    def trailer(self, value: dict[str, Any]) -> None:
        size, root = self.size, root_over(self.edge)
        if size == 0:
            self.broken("the book has no entries", _WHOLE)
        if type(value["size"]) is not int or value["size"] != size:
            self.broken(f"the last line counts {value['size']!a} entries, the file holds {size}", _WHOLE)
        if type(value["root"]) is not str or not _ROOT.fullmatch(value["root"]):
            self.broken("the root is not 64 hexadecimal digits in lower case", _UNCHANGED)
        if value["root"] != root.hex():
            self.broken(
                f"the root of the entries is {root.hex()}, the last line says {value['root']}", _UNCHANGED
            )
        beyond = [known for known in self.known_roots if known > size]
        if beyond:
            self.broken(f"a checkpoint counts {max(beyond)} entries, the book holds {size}", _BEHIND)
        self.root = root

    def check_known_root(self) -> None:
        known = self.known_roots.get(self.size) if self.known_roots else None
        if known is not None and known != root_over(self.edge):
            self.broken(f"at {self.size} entries the book has another root than the checkpoint", _BEHIND)

    def report(self) -> BookReport:
        return BookReport(
            book=self.book,
            size=self.size,
            root=self.root,
            subjects=self.subjects,
            withheld=tuple(self.withheld),
            opened=len(self.opened),
            signed=self.signed,
        )


@dataclass(slots=True)
class _Hasher:
    """The tree over leaves that are cut out of their lines; ``edge`` holds its right edge above 2^10 leaves,
    ``rest`` the leaf hashes that do not fill such a sub-tree yet."""

    known_roots: Mapping[int, bytes]
    size: int = 0
    edge: list[bytes] = field(default_factory=list)
    rest: list[bytes] = field(default_factory=list)

    def run(self, lines: Iterator[bytes]) -> tuple[int, bytes]:
        if not next(lines, b"").startswith(b'{"book":"'):
            raise BookBroken("the first line is not that of a book", line=1, remedy=_UNCHANGED)
        self.check_known()
        stops, last = sorted(self.known_roots), None
        while last is None:
            # So many that the leaf stands at the same place in each line, and that no known size is passed.
            front = len(b'{"index":%d,"leaf":' % self.size)
            ends = (10 ** (front - _FRONT), (self.size // _FULL + 1) * _FULL)
            width = min(*ends, *(each for each in stops if each > self.size)) - self.size
            batch = list(islice(lines, width))
            if len(batch) < width or batch[-1].startswith(b'{"root":'):
                last = batch.pop() if batch else b""
            self.add(batch, front)
            self.check_known()
        root = self.ended(last)
        if next(lines, None) is not None:
            what = "there is more after the last line of the book"
            raise BookBroken(what, line=self.size + 3, remedy=_UNCHANGED)
        return self.size, root

    def add(self, batch: list[bytes], front: int) -> None:
        self.rest += [
            # A plain leaf ends with its time; where more follows, its end is looked for.
            sha256(b"\x00" + (line[front:-2] if line.endswith(_PLAIN) else _cut(line, front))).digest()
            for line in batch
        ]
        self.size += len(batch)
        if len(self.rest) == _FULL:
            grow(self.edge, self.size // _FULL - 1, root_of_full(self.rest))
            self.rest = []

    def root(self) -> bytes:
        inner: list[bytes] = []
        for size, leaf in enumerate(self.rest):
            grow(inner, size, leaf)
        return root_over([*self.edge, *inner])

    def check_known(self) -> None:
        known = self.known_roots.get(self.size)
        if known is not None and known != self.root():
            raise BookBroken(
                f"at {self.size} entries the book has another root than the checkpoint",
                line=self.size + 1,
                remedy=_BEHIND,
            )

    def ended(self, last: bytes) -> bytes:
        root, line = self.root(), self.size + 2
        if not last:
            raise BookBroken("the file ends without the line of root and size", line=line, remedy=_WHOLE)
        if not self.size:
            raise BookBroken("the book has no entries", line=line, remedy=_WHOLE)
        if _bare(last) != trailer_line(self.size, root)[:-1]:
            what = f"the hashes of the {self.size} lines above it do not make this size and root"
            raise BookBroken(what, line=line, remedy=_UNCHANGED)
        beyond = max(self.known_roots, default=0)
        if beyond > self.size:
            what = f"a checkpoint counts {beyond} entries, the book holds {self.size}"
            raise BookBroken(what, line=line, remedy=_BEHIND)
        return root


def _cut(line: bytes, front: int) -> bytes:
    """The leaf in a line that may hold texts behind it; inside a string every quote would be escaped."""
    text = _bare(line)
    sealed = text.rfind(b'},"sealed":{"sha256:', front)
    return text[front : sealed + 1] if sealed >= 0 else text[front:-1]


def _bare(line: bytes) -> bytes:
    return line.removesuffix(b"\n").removesuffix(b"\r")


_FULL = 1024
_FRONT = len(b'{"index":,"leaf":')
_PLAIN = b'Z"}}\n'
_BEHIND = "This is not the book the checkpoint was made of, or an older copy of it; ask the keeper why."


def _without_line_end(text: bytes | str) -> bytes | str:
    """Take off one line end; a carriage return may have come in when the file was carried about."""
    if isinstance(text, str):
        return text.removesuffix("\n").removesuffix("\r")
    return bytes(text).removesuffix(b"\n").removesuffix(b"\r")
