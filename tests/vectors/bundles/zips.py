"""ZIP files written byte by byte (APPNOTE 6.3.10, sections 4.3.7, 4.3.12, 4.3.16): each can be forged."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field

DATE = 0x0021  # 1980-01-01


@dataclass
class Member:
    """One file in a ZIP. ``local`` overrides what its local header says; ``here`` are bytes put before it."""

    name: bytes
    data: bytes
    method: int = 0
    flags: int = 0
    crc: int = -1
    extra: bytes = b""
    comment: bytes = b""
    packed: bytes | None = None
    size: int = -1
    local: dict[str, int | bytes] = field(default_factory=dict)
    here: bytes = b""

    def __post_init__(self) -> None:
        if self.crc < 0:
            self.crc = zlib.crc32(self.data)
        if self.size < 0:
            self.size = len(self.data)
        if self.packed is None:
            self.packed = deflated(self.data) if self.method == 8 else self.data


def deflated(data: bytes) -> bytes:
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    return packer.compress(data) + packer.flush()


def deflated_plainly(data: bytes) -> bytes:
    """Deflate without packing (RFC 1951, section 3.2.4), which every library writes alike."""
    assert len(data) < 65536
    return b"\1" + struct.pack("<HH", len(data), len(data) ^ 0xFFFF) + data


def members(files: dict[str, bytes], method: int = 0) -> list[Member]:
    names = sorted(files, key=lambda name: (name != "MANIFEST.note", name))
    return [Member(name.encode(), files[name], method) for name in names]


def write(
    parts: list[Member], *, before: bytes = b"", after: bytes = b"", gap: bytes = b"", comment: bytes = b"",
    count: int | None = None, disk: int = 0,
) -> bytes:  # fmt: skip
    """The ZIP file of these members, with what a forger would put before, between and behind."""
    out, central = before, b""
    for part in parts:
        assert part.packed is not None
        out += part.here
        values: dict[str, int | bytes] = {
            "flags": part.flags, "method": part.method, "crc": part.crc, "packed": len(part.packed),
            "size": part.size, "name": part.name, "extra": part.extra, **part.local,
        }  # fmt: skip
        name, extra = values["name"], values["extra"]
        assert isinstance(name, bytes)
        assert isinstance(extra, bytes)
        at = len(out)
        out += struct.pack(
            "<4sHHHHHIIIHH", b"PK\3\4", 20, values["flags"], values["method"], 0, DATE, values["crc"],
            values["packed"], values["size"], len(name), len(extra),
        )  # fmt: skip
        out += name + extra + part.packed
        central += struct.pack(
            "<4sHHHHHHIIIHHHHHII", b"PK\1\2", 20, 20, part.flags, part.method, 0, DATE, part.crc,
            len(part.packed), part.size, len(part.name), len(part.extra), len(part.comment), 0, 0, 0, at,
        )  # fmt: skip
        central += part.name + part.extra + part.comment
    out += gap
    number = len(parts) if count is None else count
    end = struct.pack("<4sHHHHIIH", b"PK\5\6", disk, 0, number, number, len(central), len(out), len(comment))
    return out + central + end + comment + after
