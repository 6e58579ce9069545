"""ZIP files that could be read in two ways, or not at all."""

from __future__ import annotations

from tests.vectors.bundles import zips
from tests.vectors.bundles.book import (
    listed,
    small_book,
    unsigned,
)
from tests.vectors.bundles.forging.gathering import (
    D1,
    ENTRIES,
    REFUSED,
    Cases,
)


def containers(to: Cases) -> None:
    good = listed(unsigned(small_book(), {D1: 1}))
    paper = "papers/certificate.txt"

    def parts() -> list[zips.Member]:
        return zips.members(good)

    def one_of(name: str = paper) -> tuple[list[zips.Member], zips.Member]:
        made = parts()
        return made, next(part for part in made if part.name == name.encode())

    def bad(name: str, what: str, data: bytes) -> None:
        to.case(f"zip-{name}", what, data, REFUSED, ("zip", None, None))

    plain = zips.write(parts())
    bad("none", "not a ZIP file", b"pitbird-bundle/1\n")
    bad("empty", "an empty file", b"")
    bad("cut", "cut off at its end", plain[:-30])
    bad("cut-byte", "its last byte is missing", plain[:-1])
    bad("cut-half", "only its first half", plain[: len(plain) // 2])
    bad("trailing", "a byte behind the end", zips.write(parts(), after=b"x"))
    bad("leading", "a byte before the beginning", zips.write(parts(), before=b"x"))
    bad("gap", "bytes between files and directory", zips.write(parts(), gap=b"between"))
    bad("comment", "a comment", zips.write(parts(), comment=b"a comment"))
    bad("count", "a file too few counted", zips.write(parts(), count=len(good) - 1))
    bad("disk", "a second disk", zips.write(parts(), disk=1))
    end, first = plain.rindex(b"PK\5\6"), plain.index(b"PK\1\2")
    for name, what, place, other in (
        ("end-sign", "no end of a directory", end, b"PK\6\6"),
        ("end-here", "fewer files on this disk than in all", end + 8, b"\1\0"),
        ("end-length", "a directory that is said to be shorter", end + 12, b"\1\0"),
        ("central-sign", "an entry of the directory with another sign", first, b"PK\1\3"),
        ("central-date", "a file with a date", first + 14, b"\x22\0"),
        ("central-time", "a file with a time of day", first + 12, b"\1\0"),
        ("central-disk", "a file that begins on another disk", first + 34, b"\1\0"),
    ):
        bad(name, what, plain[:place] + other + plain[place + len(other) :])
    far = b"PK\1\2" + bytes(20)
    longer = (
        plain[:end]
        + far
        + plain[end : end + 12]
        + (end - first + 24).to_bytes(4, "little")
        + plain[end + 16 :]
    )
    bad("directory-long", "bytes behind the last entry of the directory", longer)
    more = len(good) + 1
    bad("directory-cut", "a file more counted than the directory has", zips.write(parts(), count=more))
    bad("directory-far", "a directory that lies elsewhere", plain[: end + 16] + bytes(4) + plain[end + 20 :])
    made, part = one_of()
    bad("twice", "a name that stands twice", zips.write([*made, zips.Member(part.name, b"Another paper\n")]))
    hidden = zips.Member(ENTRIES.encode(), b"other entries\n")
    bad(
        "hidden",
        "a file before another that the directory does not name",
        plain_with(parts(), zips.write([hidden])[: 30 + len(hidden.name) + len(hidden.data)]),
    )
    for key, value in (
        ("name", b"papers/certificate.TXT"),
        ("crc", 1),
        ("size", 1),
        ("packed", 1),
        ("method", 8),
        ("flags", 2048),
        ("extra", b"\x01\x00\x00\x00"),
    ):
        made, part = one_of()
        part.local = {key: value}
        bad(f"local-{key}", f"a local header with another {key}", zips.write(made))
    for name, what, field, new in (
        ("crc", "a CRC that does not fit", "crc", 1),
        ("encrypted", "an encrypted file", "flags", 1),
        ("descriptor", "a file with its sizes behind it", "flags", 8),
        ("method", "an unknown method", "method", 12),
        ("extra", "an extra field", "extra", b"\x01\x00\x00\x00"),
        ("file-comment", "a comment of a file", "comment", b"x"),
        ("size", "a stored file of another size", "size", 1),
    ):
        made, part = one_of()
        setattr(part, field, new)
        bad(name, what, zips.write(made))
    plainly = zips.deflated_plainly
    text = good[paper]
    for name, what, packed in (
        ("deflate-trailing", "a byte behind a deflated file", plainly(text) + b"x"),
        ("deflate-cut", "a deflated file that is cut off", plainly(text)[:-1]),
        ("deflate-long", "a deflated file that is longer than it says", plainly(text + b"x")),
        ("deflate-short", "a deflated file that is shorter than it says", plainly(text[:-1])),
        ("deflate-junk", "a deflated file that is none", b"\xff\xff\xff"),
    ):
        made, part = one_of()
        part.method, part.packed = 8, packed
        bad(name, what, zips.write(made))
    bad("overlap", "two names for one file", overlapping(parts()))


def plain_with(parts: list[zips.Member], data: bytes) -> bytes:
    parts[3].here = data
    return zips.write(parts)


def overlapping(parts: list[zips.Member]) -> bytes:
    """The directory's last file is said to begin where the one before it begins."""
    data = zips.write(parts)
    second = data.rindex(b"PK\1\2")
    first = data.rindex(b"PK\1\2", 0, second)
    return data[: second + 42] + data[first + 42 : first + 46] + data[second + 46 :]
