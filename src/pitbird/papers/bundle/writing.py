"""Writing an audit bundle: its files one after another on a pile, then the ZIP of docs/bundle.md.

``MANIFEST.note`` stands first in the ZIP although it lists all others, so these are packed into buffers of
the caller's and put together when the manifest is signed. Memory is that of one buffer and one compressor for
each file open at a time. The same files give the same bytes wherever the same zlib packs them: another
version of that library, or another one in its place, may pack to other bytes that unpack to the same.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from types import TracebackType
from typing import IO, Any, Final, Self

from pitbird.record.archive import MAX_FILES, MAX_SIZE, NAME
from pitbird.record.canonical import canonical

FORMAT: Final = "pitbird-bundle/1"
MANIFEST: Final = "MANIFEST.note"
LEVEL: Final = 6
#: What is packed already, so that packing it again gains nothing.
STORED: Final = (".pdf", ".jpg", ".png")
PIECE: Final = 1 << 18

#: PKWARE APPNOTE.TXT 6.3.10, sections 4.3.7 (local), 4.3.12 (central) and 4.3.16 (end).
_LOCAL: Final = struct.Struct("<4sHHHHHIIIHH")
_CENTRAL: Final = struct.Struct("<4sHHHHHHIIIHHHHHII")
_END: Final = struct.Struct("<4sHHHHIIH")
_FIRST_OF_1980: Final = 0x0021
#: 2.0 of the format, made on Unix; a plain file that everybody may read.
_VERSION, _MADE_BY, _MODE = 20, 3 << 8 | 20, 0o100644 << 16

#: Gives an empty file to write to and read back; it is closed when it is done with.
NewBuffer = Callable[[], IO[bytes]]


class BundleRefused(ValueError):
    """A bundle cannot be made as asked; the sentence says why and what to do."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A file as the manifest lists it."""

    name: str
    digest: str
    size: int


@dataclass(slots=True)
class Member:
    """A file of the bundle that is being written; packed on the way into its buffer."""

    name: str
    buffer: IO[bytes]
    size: int = 0
    packed: int = 0
    crc: int = 0
    _digest: Any = field(default_factory=sha256)
    _packer: Any = None

    def __post_init__(self) -> None:
        if not self.name.endswith(STORED):
            self._packer = zlib.compressobj(LEVEL, zlib.DEFLATED, -15)

    def write(self, data: bytes) -> None:
        """Put more bytes behind those that are there. Raises BundleRefused where a ZIP cannot hold more."""
        self.size += len(data)
        if self.size > MAX_SIZE:
            raise BundleRefused(f"{self.name} grows beyond 4 GiB; ask for a shorter period or fewer things")
        self.crc = zlib.crc32(data, self.crc)
        self._digest.update(data)
        self._put(data if self._packer is None else self._packer.compress(data))

    def end(self) -> None:
        """No more bytes follow."""
        if self._packer is not None:
            self._put(self._packer.flush())
            self._packer = None

    def _put(self, packed: bytes) -> None:
        self.packed += len(packed)
        self.buffer.write(packed)

    @property
    def listed(self) -> Listed:
        """The file as the manifest lists it."""
        return Listed(self.name, self._digest.hexdigest(), self.size)

    @property
    def method(self) -> int:
        """How it is packed: 0 stored, 8 deflated (APPNOTE.TXT, section 4.4.5)."""
        return 0 if self.name.endswith(STORED) else 8

    def header(self) -> bytes:
        """Its local header."""
        named = self.name.encode("ascii")
        fields = (self.method, 0, _FIRST_OF_1980, self.crc, self.packed, self.size, len(named), 0)
        return _LOCAL.pack(b"PK\x03\x04", _VERSION, 0, *fields) + named

    def central(self, start: int) -> bytes:
        """Its entry in the central directory, its header being at ``start``."""
        named = self.name.encode("ascii")
        fields = (self.method, 0, _FIRST_OF_1980, self.crc, self.packed, self.size, len(named), 0, 0, 0, 0)
        return _CENTRAL.pack(b"PK\x01\x02", _MADE_BY, _VERSION, 0, *fields, _MODE, start) + named

    def pieces(self) -> Iterator[bytes]:
        """Its packed bytes."""
        self.buffer.seek(0)
        while piece := self.buffer.read(PIECE):
            yield piece


class Pile:
    """The files of a bundle, before they are put together. Use it in a ``with``: it closes its buffers."""

    def __init__(self, new_buffer: NewBuffer) -> None:
        self._new = new_buffer
        self._members: dict[str, Member] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        for member in self._members.values():
            member.buffer.close()

    def begin(self, name: str) -> Member:
        """Begin a file, which the caller ends. Raises ValueError for a name that a bundle cannot have."""
        if not NAME.fullmatch(name) or len(name) > 200 or name == MANIFEST or name in self._members:
            raise ValueError(f"{name!a} cannot be the name of a file here, or stands already")
        if len(self._members) == MAX_FILES - 1:
            raise BundleRefused(f"more than {MAX_FILES} files; ask for fewer things")
        self._members[name] = Member(name, self._new())
        return self._members[name]

    @contextmanager
    def file(self, name: str) -> Iterator[Member]:
        """A file to write to until the block ends."""
        member = self.begin(name)
        yield member
        member.end()

    def add(self, name: str, pieces: bytes | Iterable[bytes]) -> None:
        """Put a whole file on the pile."""
        with self.file(name) as member:
            for piece in (pieces,) if isinstance(pieces, bytes) else pieces:
                member.write(piece)

    def listed(self) -> list[Listed]:
        """All files in the order of their names' bytes."""
        return [member.listed for _, member in sorted(self._members.items())]

    def manifest(self, origin: str) -> str:
        """The text of the manifest, to be signed by the book's key."""
        return manifest_text(origin, self.listed())

    def put_together(self, out: IO[bytes], manifest: bytes, new_buffer: NewBuffer) -> int:
        """Write the ZIP with the signed manifest first; its length. Nothing is added to the pile after."""
        with new_buffer() as buffer:
            first = Member(MANIFEST, buffer)
            first.write(manifest)
            first.end()
            members = [first, *(member for _, member in sorted(self._members.items()))]
            return _zip(out, members)


def _zip(out: IO[bytes], members: Sequence[Member]) -> int:
    at, directory = 0, bytearray()
    for member in members:
        if at > MAX_SIZE - member.packed - PIECE:
            raise BundleRefused("the bundle grows beyond 4 GiB; ask for a shorter period or fewer things")
        directory += member.central(at)
        header = member.header()
        out.write(header)
        for piece in member.pieces():
            out.write(piece)
        at += len(header) + member.packed
    out.write(directory)
    count = len(members)
    out.write(_END.pack(b"PK\x05\x06", 0, 0, count, count, len(directory), at, 0))
    return at + len(directory) + _END.size


def manifest_text(origin: str, files: Iterable[Listed]) -> str:
    """The text under the signature of ``MANIFEST.note``: the form, the book, and a line for each file."""
    lines = [f"{each.digest} {each.size} {each.name}\n" for each in sorted(files, key=lambda each: each.name)]
    return f"{FORMAT}\n{origin}\n{''.join(lines)}"


def scope_json(
    asked: Mapping[str, str | Sequence[str]], *, since: str | None, subjects: Mapping[str, int]
) -> bytes:
    """``scope.json``: what was asked for, and the first number of each subject whose entries are all here."""
    plain = {key: value if isinstance(value, str) else list(value) for key, value in asked.items()}
    return canonical({"asked": plain, "format": FORMAT, "since": since, "subjects": dict(subjects)})
