"""Making an audit bundle (docs/bundle.md): the entries about what was asked for, and what shows that they are
the book's and that none is missing.

It is a generator that tells how far it is; memory stays flat however large the book is, for the files are
packed into temporary ones on the way. The same question to the same book under the same checkpoint makes the
same bytes, on the same machine: no clock is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import IO, Final

from pitbird.papers.bundle.offline_page import offline_page
from pitbird.papers.bundle.readme import Told, readme
from pitbird.papers.bundle.tables import TABLES
from pitbird.papers.bundle.writing import BundleRefused, Pile, scope_json
from pitbird.record.book import export_line
from pitbird.record.checkpoint import read_census
from pitbird.record.cover import cover_lines
from pitbird.record.leaf import read_leaf
from pitbird.record.merkle import leaf_hash
from pitbird.record.note import Note, VerifierKey, sign_note
from pitbird.services import bundle_pages, bundle_papers
from pitbird.services.book_keys import changes, origin, public_key, signing_key
from pitbird.services.bundle_scope import Asked, Scope, scope_of
from pitbird.services.checkpoints import Kept, make_checkpoint, proof_file
from pitbird.services.proofs import Tree
from pitbird.store import book, selecting

_PIECE: Final = 500
#: Buffers larger than this lie on the disk.
_IN_MEMORY: Final = 1 << 16


@dataclass(frozen=True)
class Progress:
    """So many of so many ``what`` ("entries", "papers") are in."""

    count: int
    total: int
    what: str = "entries"


@dataclass(frozen=True)
class Made:
    """What the finished bundle holds; ``length`` in bytes, ``size`` that of the book."""

    entries: int
    subjects: int
    size: int
    length: int


def make_bundle(
    asked: Asked,
    out: IO[bytes],
    home: Path,
    passphrase: bytes | None = None,
    *,
    progress: Callable[[Progress], None] = lambda _: None,
) -> Made:
    """Write a bundle; tells how far it is. As ``bundle_steps``."""
    steps = bundle_steps(asked, out, home, passphrase)
    while True:
        try:
            progress(next(steps))
        except StopIteration as end:
            made: Made = end.value
            return made


def bundle_steps(
    asked: Asked, out: IO[bytes], home: Path, passphrase: bytes | None = None
) -> Generator[Progress, None, Made]:
    """Write a bundle step by step, under a checkpoint made now; ``out`` is whole only when this has ended.

    Raises BundleRefused with every fault of the question, CheckpointRefused, or BookEmpty.
    """
    held = make_checkpoint(home, passphrase)
    key = signing_key(home, passphrase)
    size = held.checkpoint.size
    census = read_census(held.census_path.read_bytes(), held.checkpoint)
    scope = scope_of(asked, census, size)

    def buffer() -> IO[bytes]:
        return SpooledTemporaryFile(_IN_MEMORY, "w+b", dir=str(home))

    with Pile(buffer) as pile:
        _frame(pile, asked, scope, held, home)
        yield from _entries(pile, asked, scope)
        left_out = yield from _papers(pile, asked, scope, home, passphrase)
        pile.add("tree.txt", cover_lines(size, scope.indices, Tree(size).node))
        if asked.since_size is not None:
            pile.add("consistency.json", proof_file(asked.since_size, size))
        pile.add("README.txt", readme(_told(asked, scope, left_out)))
        if public_key(home) != VerifierKey(origin(), key.public_key().public_bytes_raw()):
            raise BundleRefused("key: the book's key was changed while the bundle was made; make it again")
        text = pile.manifest(origin())
        note = Note(text, (sign_note(text, origin(), key),))
        length = pile.put_together(out, note.to_bytes(), buffer)
    return Made(len(scope.indices), len(scope.first), size, length)


def _frame(pile: Pile, asked: Asked, scope: Scope, held: Kept, home: Path) -> None:
    """Everything but the entries, the proofs and what is for reading."""
    pile.add("checkpoint.note", held.path.read_bytes())
    pile.add("census.json", held.census_path.read_bytes())
    pile.add("key.txt", f"{public_key(home).text()}\n".encode())
    pile.add("scope.json", scope_json(_asked(asked), since=scope.since, subjects=scope.first))
    for number, note in enumerate(changes(home), start=1):
        pile.add(f"keys/{number:04d}.note", note)
    for name, end in (("checkpoint.tsr", ".tsr"), ("checkpoint.tsa.pem", ".tsa.pem")):
        if (path := held.path.with_suffix(end)).is_file():
            pile.add(name, path.read_bytes())
    for name, data in verifiers().items():
        pile.add(name, data)


def _asked(asked: Asked) -> dict[str, str | list[str]]:
    def codes(subjects: Sequence[str]) -> list[str]:
        return sorted({subject.partition(":")[2] for subject in subjects})

    return {
        "detectors": codes(asked.detectors),
        "from": asked.first.isoformat() if asked.first else "",
        "people": codes(asked.people),
        "sites": codes(asked.sites),
        "texts": "given" if asked.texts else "left out",
        "until": asked.last.isoformat() if asked.last else "",
    }


def _entries(pile: Pile, asked: Asked, scope: Scope) -> Iterator[Progress]:
    """``entries.jsonl`` and the tables, in one go through the entries."""
    total = len(scope.indices)
    tables = bundle_pages.Tables(pile, bundle_pages.desk_of(asked, scope))
    tables.add_older(bundle_pages.older_descriptions(asked, scope))
    with pile.file("entries.jsonl") as member:
        for start in range(0, total, _PIECE):
            listed = list(selecting.rows_at(scope.indices[start : start + _PIECE]))
            lines = bytearray()
            for row, entry, sealed in bundle_pages.opened(listed, texts=asked.texts):
                raw = row.leaf.encode()
                if leaf_hash(raw) != row.leaf_hash:
                    raise BundleRefused(
                        f"entry {row.index} is not the one that the book's tree holds; run `pitbird doctor`"
                    )
                lines += export_line(row.index, raw, sealed)
                tables.add(entry)
            member.write(bytes(lines))
            yield Progress(min(start + _PIECE, total), total)
    tables.add_rules(bundle_pages.adoptions_of(scope))
    tables.end()


def _papers(
    pile: Pile, asked: Asked, scope: Scope, home: Path, passphrase: bytes | None
) -> Generator[Progress, None, list[str]]:
    """The papers; gives those that were left out, and why."""
    total, left_out = bundle_papers.how_many(asked, scope), []
    for count, paper in enumerate(bundle_papers.papers(asked, scope, home, passphrase), start=1):
        if paper.made is None:
            left_out.append(paper.left_out)
        else:
            pile.add(f"pages/papers/{paper.made.name}", paper.made.pdf)
        yield Progress(min(count, total), total, "papers")
    return left_out


def _told(asked: Asked, scope: Scope, left_out: Sequence[str]) -> Told:
    first = book.at_index(0)
    title = str(read_leaf(first.leaf.encode()).body.get("title", "")) if first else ""
    given = _asked(asked)
    terms = (("Detectors", "detectors"), ("Sites", "sites"), ("People", "people"), ("From", "from"),
             ("Until", "until"), ("Names and texts", "texts"))  # fmt: skip
    said = [(term, given[key]) for term, key in terms if given[key]]
    return Told(
        title=title,
        origin=origin(),
        size=scope.size,
        entries=len(scope.indices),
        subjects=len(scope.first),
        asked=[(term, value if isinstance(value, str) else ", ".join(value)) for term, value in said],
        since=scope.since,
        until=asked.last.isoformat() if asked.last else None,
        verifiers=tuple(verifiers()),
        pages=[(f"{name}.csv, .jsonl", about) for name, (about, _) in TABLES.items()],
        left_out=left_out,
    )


def verifiers() -> dict[str, bytes]:
    """The verifiers that travel in the bundle, by their names."""
    return {
        "verify.py": (resources.files("pitbird.papers.bundle") / "verify.py").read_bytes(),
        "verify.html": offline_page(),
    }
