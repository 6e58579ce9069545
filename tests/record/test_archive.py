"""The strict reading of ZIP files, against those that the standard library writes."""

import io
import struct
import zipfile
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.archive import Archive
from pitbird.record.errors import BadArchive

FILES = {"MANIFEST.note": b"a text\n" * 40, "pages/tests.csv": b"", "keys/0001.note": b"x"}


def packed(files: dict[str, bytes], *, method: int = zipfile.ZIP_DEFLATED, comment: bytes = b"") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name)
            entry.compress_type = method
            archive.writestr(entry, data)
        archive.comment = comment
    return out.getvalue()


def unpacked(data: bytes) -> dict[str, bytes]:
    archive = Archive(io.BytesIO(data))
    return {name: b"".join(archive.read(name)) for name in archive.names}


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_files_are_read_as_they_were_packed(method: int) -> None:
    assert unpacked(packed(FILES, method=method)) == FILES


@given(st.binary(max_size=2000), st.integers(0, 9))
def test_whatever_the_standard_library_packs_is_read_back(data: bytes, repeat: int) -> None:
    files = {"a": data * (10**repeat if repeat < 4 else 1), "b": data}
    assert unpacked(packed(files)) == files


def test_no_byte_of_the_archive_can_be_changed_to_give_other_contents() -> None:
    data = packed(FILES)
    told = 0
    for at in range(len(data)):
        for mask in (0x01, 0x80, 0xFF):
            changed = bytearray(data)
            changed[at] ^= mask
            try:
                assert unpacked(bytes(changed)) == FILES, at
            except BadArchive:
                told += 1
    assert told > 2 * len(data)


@pytest.mark.parametrize(
    ("what", "data"),
    [
        ("too short", b"PK"),
        ("behind the end", packed(FILES) + b"\n"),
        ("in front", b"\n" + packed(FILES)),
        ("a comment", packed(FILES, comment=b"hello")),
        ("another method", packed(FILES, method=zipfile.ZIP_BZIP2)),
        ("cut short", packed(FILES)[:-30]),
        ("nothing at all", b""),
    ],
)
def test_what_is_not_plainly_one_archive_is_refused(what: str, data: bytes) -> None:
    with pytest.raises(BadArchive):
        unpacked(data)


@pytest.mark.parametrize(
    "name",
    ["../a", "/a", "a/../b", "a//b", "a/", ".a", "a b", "C:a", "a\\b", "\N{LATIN SMALL LETTER E WITH ACUTE}"],
)
def test_a_name_that_leads_elsewhere_is_refused(name: str) -> None:
    with pytest.raises(BadArchive) as error:
        unpacked(packed({name: b"x"}))
    assert error.value.where in {"name", "zip"}


def test_a_name_that_comes_twice_is_refused() -> None:
    data = packed({"a": b"one", "b": b"two"}).replace(b"b", b"a")
    with pytest.raises(BadArchive, match="twice"):
        unpacked(data)


def test_bytes_between_two_files_are_refused() -> None:
    data = packed({"a": b"one", "b": b"two"}, method=zipfile.ZIP_STORED)
    second = data.index(b"PK\x03\x04", 4)
    moved = bytearray(data[:second] + b"hidden" + data[second:])
    entry = moved.index(b"PK\x01\x02", moved.index(b"PK\x01\x02") + 1)
    struct.pack_into("<I", moved, entry + 42, second + 6)
    struct.pack_into("<I", moved, len(moved) - 6, moved.index(b"PK\x01\x02"))
    with pytest.raises(BadArchive, match="between"):
        unpacked(bytes(moved))


def test_bytes_behind_the_end_of_a_deflated_file_are_refused() -> None:
    packer = zlib.compressobj(wbits=-15)
    stream = packer.compress(b"one") + packer.flush()
    data = bytearray(packed({"a": b"x" * (len(stream) + 4)}, method=zipfile.ZIP_STORED))
    start = 30 + 1
    data[start : start + len(stream) + 4] = stream + b"more"
    directory = data.index(b"PK\x01\x02")
    for at in (8, directory + 10):
        struct.pack_into("<H", data, at, 8)
    for at in (14, directory + 16):
        struct.pack_into("<I", data, at, zlib.crc32(b"one"))
    for at in (22, directory + 24):
        struct.pack_into("<I", data, at, 3)
    with pytest.raises(BadArchive, match="behind its end"):
        unpacked(bytes(data))
