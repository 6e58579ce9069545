"""How the cases are put together: their names, what has been made so far, and small changes to files."""

from __future__ import annotations

from typing import Any

from tests.vectors.bundles import zips
from tests.vectors.bundles.book import (
    KEEPER,
    ORIGIN,
    Book,
    Files,
    Key,
    root,
    sha,
)

HOLDS, ITSELF, BROKEN, REFUSED = "holds", "consistent in itself", "does not hold", "refused"
D1, D2, C11 = "detector:D-01", "detector:D-02", "cylinder:C-11"
ENTRIES, TREE, CENSUS, SCOPE = "entries.jsonl", "tree.txt", "census.json", "scope.json"
HEAD, LIST, KNOWN = "checkpoint.note", "MANIFEST.note", "consistency.json"
Fault = tuple[str, str | None, int | None]


class Cases:
    """What has been made so far: the files by name, and the cases."""

    def __init__(self) -> None:
        self.files: Files = {}
        self.cases: list[dict[str, Any]] = []

    def case(
        self,
        name: str,
        what: str,
        made: Files | bytes,
        answer: str,
        *faults: Fault,
        may: str = "",
        fingerprint: str | None = KEEPER.fingerprint,
        known: bytes | None = None,
        papers: list[tuple[str, str]] | None = None,
        report: dict[str, Any] | None = None,
    ) -> None:
        """Add a case; its ZIP is stored (not deflated), so that every library makes the same bytes."""
        data = made if isinstance(made, bytes) else zips.write(zips.members(made))
        path = f"{name}.zip"
        assert path not in self.files, path
        self.files[path] = data
        # Libraries deflate differently; what one wrote once is kept.
        digest = None if name == "good-deflated" else sha(data).hex()
        held = None
        if known is not None:
            held = f"known/{sha(known).hex()[:16]}.note"
            self.files[held] = known
        value: dict[str, Any] = {
            "name": name,
            "what": what,
            "file": path,
            "sha256": digest,
            "fingerprint": fingerprint,
            "known": held,
            "papers": [{"text": text, "says": says} for text, says in papers or []],
            "answer": answer,
            "faults": [list(item) for item in faults],
            "may": sorted(may.split()),
        }
        if report is not None:
            value["report"] = report
        self.cases.append(value)

    def good(
        self,
        name: str,
        what: str,
        made: Files | bytes,
        book: Book,
        *,
        answer: str = HOLDS,
        key: Key = KEEPER,
        counts: tuple[int, int, int, int],
        witnesses: tuple[str, ...] = (),
        **more: Any,
    ) -> None:
        entries, subjects, withheld, signed = counts
        report = {
            "origin": ORIGIN,
            "size": len(book.leaves),
            "root": root(book.hashes()).hex(),
            "fingerprint": key.fingerprint,
            "entries": entries,
            "subjects": subjects,
            "withheld": withheld,
            "signed": signed,
            "witnesses": list(witnesses),
        }
        self.case(name, what, made, answer, report=report, **more)


def changed(files: Files, **new: bytes | None) -> Files:
    """The files with some replaced, added or (None) taken away; __ stands for a dot, and ___ for a slash."""
    made = dict(files)
    for name, data in new.items():
        name = name.replace("___", "/").replace("__", ".")
        if data is None:
            del made[name]
        else:
            made[name] = data
    return made


def lines_of(files: Files) -> list[bytes]:
    return files[ENTRIES].split(b"\n")[:-1]


def joined(lines: list[bytes]) -> bytes:
    return b"".join(line + b"\n" for line in lines)
