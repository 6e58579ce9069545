"""Reading a ZIP file that has one meaning only (APPNOTE.TXT of the ZIP format, sections 4.3 and 4.4).

A reader that goes by the central directory and one that goes by the local headers can be shown two different
contents. So both are read and have to agree, and no byte may lie between, before or behind what they name.
"""

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Final

from pitbird.record.errors import BadArchive

PIECE: Final = 1 << 18
MAX_FILES: Final = 0xFFFE
MAX_SIZE: Final = 0xFFFF_FFFE
NAME: Final = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]*(?:/[A-Za-z0-9_-][A-Za-z0-9._-]*)*", re.ASCII)
"""Names of files that every system takes and none reads as a way out of its folder; use ``fullmatch``."""

_LOCAL: Final = struct.Struct("<4sHHHHHIIIHH")
_CENTRAL: Final = struct.Struct("<4sHHHHHHIIIHHHHHII")
_END: Final = struct.Struct("<4sHHHHIIH")
_FIRST_OF_1980: Final = 0x0021
_STORED, _DEFLATED = 0, 8


@dataclass(frozen=True, slots=True)
class Member:
    """A file in the archive as both headers describe it; ``start`` is where its bytes begin."""

    name: str
    method: int
    crc: int
    packed: int
    size: int
    header: int
    start: int


class Archive:
    """The files of a ZIP file, each read as a stream and held to its length and checksum."""

    def __init__(self, file: BinaryIO) -> None:
        """Read the directory and every local header. Raises BadArchive."""
        self._file = file
        self._members = {member.name: member for member in _members(file)}

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the files, in the order in which they lie in the archive."""
        return tuple(self._members)

    def read(self, name: str) -> Iterator[bytes]:
        """The bytes of a file in pieces. Raises BadArchive where they do not fit; KeyError for no file."""
        member = self._members[name]
        crc, size = 0, 0
        for piece in _unpacked(self._file, member):
            crc, size = zlib.crc32(piece, crc), size + len(piece)
            if size > member.size:
                break
            yield piece
        if (crc, size) != (member.crc, member.size):
            raise _bad(f"{name}: length or checksum do not fit")


def _members(file: BinaryIO) -> Iterator[Member]:
    whole = file.seek(0, 2)
    if whole < _END.size:
        raise _bad("too short to be one")
    end = _END.unpack(_exactly(file, whole - _END.size, _END.size))
    mark, disk, first_disk, here, count, length, start, comment = end
    if mark != b"PK\x05\x06" or (disk, first_disk, comment) != (0, 0, 0) or here != count:
        raise _bad("it does not end as a ZIP file of one part without a comment")
    if count > MAX_FILES or start + length != whole - _END.size:
        raise _bad("its directory is not where its end says")
    directory = _exactly(file, start, length)
    at, expected, seen = 0, 0, set[str]()
    for _ in range(count):
        member, at = _central(directory, at)
        if member.name in seen:
            raise _bad(f"the name {member.name} comes twice")
        seen.add(member.name)
        if member.header != expected:
            raise _bad(f"{member.name}: bytes lie between the files")
        placed = _placed(file, member)
        expected = placed.start + placed.packed
        yield placed
    if at != length or expected != start:
        raise _bad("there are bytes that belong to no file")


def _central(directory: bytes, at: int) -> tuple[Member, int]:
    if len(directory) - at < _CENTRAL.size:
        raise _bad("its directory is cut short")
    fields = _CENTRAL.unpack_from(directory, at)
    mark, _made, needed, flags, method, time, date, crc, packed, size, named, extra, comment, disk = fields[
        :14
    ]
    header = fields[16]
    at += _CENTRAL.size
    name = _name(directory[at : at + named])
    plain = (extra, comment, disk, flags, time, date) == (0, 0, 0, 0, 0, _FIRST_OF_1980)
    if mark != b"PK\x01\x02" or not plain or needed > 20:
        raise _bad(f"{name}: packed in a way that a bundle does not use")
    if method not in (_STORED, _DEFLATED) or (method == _STORED and packed != size):
        raise _bad(f"{name}: neither stored nor deflated")
    return Member(name, method, crc, packed, size, header, 0), at + named


def _placed(file: BinaryIO, member: Member) -> Member:
    found = _LOCAL.unpack(_exactly(file, member.header, _LOCAL.size))
    named = member.name.encode("ascii")
    described = (member.method, 0, _FIRST_OF_1980, member.crc, member.packed, member.size, len(named), 0)
    start = member.header + _LOCAL.size + len(named)
    if found[0] != b"PK\x03\x04" or found[1] > 20 or found[2] != 0 or found[3:] != described:
        raise _bad(f"{member.name}: its two headers differ")
    if _exactly(file, member.header + _LOCAL.size, len(named)) != named:
        raise _bad(f"{member.name}: its two headers differ in the name")
    return Member(member.name, member.method, member.crc, member.packed, member.size, member.header, start)


def _unpacked(file: BinaryIO, member: Member) -> Iterator[bytes]:
    unpack = zlib.decompressobj(-15) if member.method == _DEFLATED else None
    at, end = member.start, member.start + member.packed
    try:
        while at < end:
            piece = _exactly(file, at, min(PIECE, end - at))
            at += len(piece)
            while piece and unpack is not None:
                if made := unpack.decompress(piece, PIECE):
                    yield made
                piece = unpack.unconsumed_tail
                if unpack.unused_data or (unpack.eof and at < end):
                    raise _bad(f"{member.name}: there are bytes behind its end")
            if unpack is None:
                yield piece
        if unpack is not None:
            if made := unpack.flush():
                yield made
            if not unpack.eof:
                raise _bad(f"{member.name}: cut short")
    except zlib.error:
        raise _bad(f"{member.name}: cannot be unpacked") from None


def _exactly(file: BinaryIO, at: int, count: int) -> bytes:
    file.seek(at)
    data = file.read(count)
    if len(data) != count:
        raise _bad("cut short")
    return data


def _name(data: bytes) -> str:
    name = data.decode("latin-1")
    if not NAME.fullmatch(name) or len(name) > 200:
        raise BadArchive(f"the name {name!a} is not one that a bundle uses", where="name", remedy=_AGAIN)
    return name


def _bad(what: str) -> BadArchive:
    return BadArchive(what, where="zip", remedy=_AGAIN)


_AGAIN = "Get the file again from where it came; do not unpack and pack it anew."
