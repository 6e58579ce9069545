"""One byte after another changed in a small bundle, for every verifier: none may be answered with a yes.

The bundle has all evidence files: a chain of keys, from the first of which the auditor has the fingerprint,
and a proof of consistency from a checkpoint that the auditor holds. In the first set of changes the list of
files is made anew and signed by the keeper, so that it is the evidence itself that must tell; in the second
the ZIP is changed.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from functools import lru_cache

from tests.vectors.bundles import zips
from tests.vectors.bundles.book import (
    FIRST,
    FORMER,
    KEEPER,
    Files,
    change_of_key,
    checkpoint_text,
    consistency_json,
    listed,
    note,
    small_book,
    unsigned,
)

FINGERPRINT = FIRST.fingerprint
EVIDENCE = (
    "MANIFEST.note", "census.json", "checkpoint.note", "consistency.json", "entries.jsonl", "key.txt",
    "keys/0001.note", "keys/0002.note", "scope.json", "tree.txt",
)  # fmt: skip


@lru_cache(maxsize=1)
def known() -> bytes:
    """The checkpoint that the auditor holds."""
    return note(checkpoint_text(small_book().until(5)), FORMER)


@lru_cache(maxsize=1)
def plain_files() -> Files:
    """The files of the bundle, as they should be, but for the list of files."""
    book = small_book()
    return {
        **unsigned(book, {"detector:D-01": 1}),
        "consistency.json": consistency_json(book, 5),
        "keys/0001.note": change_of_key(1, FIRST, FORMER),
        "keys/0002.note": change_of_key(2, FORMER, KEEPER),
    }


def packed(files: Files) -> bytes:
    """The files as a bundle, all stored."""
    return zips.write(zips.members(files))


def changes(data: bytes, step: int, start: int = 0) -> Iterator[tuple[str, bytes]]:
    """The bytes with every ``step``-th one changed: its lowest bit, its highest bit, and to nothing."""
    for place in range(start, len(data), step):
        for name, new in (("^1", data[place] ^ 1), ("^128", data[place] ^ 128), ("0", 0)):
            if new != data[place]:
                yield f"byte {place} {name}", data[:place] + bytes([new]) + data[place + 1 :]


def changed_evidence(file: str, step: int = 1, start: int = 0) -> Iterator[tuple[str, bytes]]:
    """Bundles in which one byte of an evidence file is another: what was done, and the ZIP file."""
    good = listed(plain_files())
    for what, data in changes(good[file], step, start):
        if file == "MANIFEST.note":
            yield f"{file}: {what}", packed({**good, file: data})
        elif file != "scope.json" or claims(data) != claims(good[file]):
            yield f"{file}: {what}", packed(listed({**plain_files(), file: data}))


def claims(scope: bytes) -> object:
    """What a scope claims; what was asked is for people, and a time without a fence says nothing."""
    try:
        value = json.loads(scope)
        return value["format"], value["subjects"], sorted(value), value["since"] is None
    except (ValueError, KeyError, TypeError):
        return None


def changed_zip(step: int = 1, start: int = 0) -> Iterator[tuple[str, bytes, bool]]:
    """ZIP files with one byte changed: what was done, the bytes, and whether the files are still the same."""
    files = listed(plain_files())
    for what, data in changes(packed(files), step, start):
        yield what, data, contents(data) == files


def contents(data: bytes) -> Files | None:
    """The files of a ZIP file as the standard library reads them; None where it cannot."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as opened:
            return {item.filename: opened.read(item) for item in opened.infolist()}
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError, EOFError, RuntimeError):
        return None
