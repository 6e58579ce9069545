"""Taking the book out and in: export as JSON Lines, import into an empty book, fold anew, check."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from pitbird.fleet.folding import empty
from pitbird.fleet.kinds import KINDS
from pitbird.fleet.state import State
from pitbird.intake.entries import read_body
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.record.blob import Blob
from pitbird.record.book import export_line, header_line, read_book, trailer_line
from pitbird.record.leaf import read_leaf
from pitbird.record.merkle import Frontier
from pitbird.record.seal import commitments_in
from pitbird.services.appending import Ledger, standing_row
from pitbird.services.correcting import CorrectionRefused
from pitbird.services.decoding import decode_state
from pitbird.services.quick import QUICK, uncollected
from pitbird.services.refolding import refold_keeping_points
from pitbird.store import blobs as blob_store
from pitbird.store import book, points, subtrees
from pitbird.store.blobs import SealedBlob

_PIECE = 5000
_TEXTS = 1000
_FAULTS_SHOWN = 100


class BookNotEmpty(ValueError):
    """An import would mix two books."""

    def __init__(self, size: int) -> None:
        super().__init__(
            f"the book here has {size} entries already; an export can only be read into an empty book. "
            "Set PITBIRD_HOME to a new folder and import there"
        )


class BookEmpty(ValueError):
    """There is no book yet."""

    def __init__(self) -> None:
        super().__init__("there is no book here yet: begin one with `pitbird begin`, or import an export")


def export_book() -> Iterator[bytes]:
    """The whole book as lines of JSON that a person can read; ends with its size and root."""
    first = book.at_index(0)
    if first is None:
        raise BookEmpty
    frontier = book.head()
    yield header_line(first.entry_id)
    piece: list[book.Row] = []
    for row in book.all_rows():
        if row.index >= frontier.size:
            break
        piece.append(row)
        if len(piece) == _PIECE:
            yield from _lines(piece)
            piece = []
    yield from _lines(piece)
    yield trailer_line(frontier.size, frontier.root())


def _lines(rows: list[book.Row]) -> Iterator[bytes]:
    named = {row.index: list(commitments_in(read_leaf(row.leaf.encode()).body)) for row in rows}
    found = blob_store.get(name for names in named.values() for name in names)
    for row in rows:
        sealed = {
            name: Blob(salt=blob.salt, data=blob.content, media_type=_file_type(blob.media_type))
            for name in named[row.index]
            if (blob := found.get(name)) is not None
        }
        yield export_line(row.index, row.leaf.encode(), sealed)


def _file_type(media_type: str) -> str | None:
    return None if media_type == "text/plain" else media_type


def import_book(lines: Iterable[bytes | str]) -> Frontier:
    """Read an export into an empty book; all of it, or nothing. Returns the head, equal to the export's.

    Raises ``BookNotEmpty``, ``record.errors.BookBroken`` with the line, or ``EntryRefused`` with every
    entry of a known kind that does not keep to its kind. Entries of unknown kinds are kept as they are.
    """
    faults: list[Fault] = []
    sealed: list[SealedBlob] = []
    with uncollected(), transaction.atomic():
        ledger = Ledger()
        if ledger.size:
            raise BookNotEmpty(ledger.size)
        for entry in read_book(lines, codec=QUICK):
            if len(faults) < _FAULTS_SHOWN:
                faults.extend(_kind_faults(entry.leaf.body, entry.index + 2))
            if faults:
                continue
            try:
                ledger.add_leaf(entry.leaf)
            except CorrectionRefused as told:
                faults.append(Fault(told.field, "", str(told), entry.index + 2))
            for name, blob in entry.sealed.items():
                sealed.append(SealedBlob(name, blob.salt, blob.media_type or "text/plain", blob.data))
                if len(sealed) == _TEXTS or blob.media_type is not None:  # photos are large
                    blob_store.put(sealed)
                    sealed = []
            if ledger.size % _PIECE == 0:
                ledger.flush()
        if faults:
            raise EntryRefused(tuple(faults))
        ledger.flush()
        blob_store.put(sealed)
    return book.head()


def _kind_faults(body: dict[str, Any], line: int) -> tuple[Fault, ...]:
    """Everything in which a body from a book does not keep to its kind, where that is known."""
    if body["kind"] not in KINDS:
        return ()
    return read_body(body, line=line, from_book=True)[1]


@dataclass(frozen=True)
class Rebuilt:
    """What folding anew found: how many subjects, which states had differed, whether tree and head agree."""

    entries: int
    subjects: int
    differed: tuple[str, ...]
    root_agrees: bool


def rebuild() -> Rebuilt:
    """Fold every state anew from the book and store it; says which had differed."""
    with transaction.atomic():
        frontier, tree = book.head(lock=True), Frontier(0, ())
        for row in book.all_rows():
            tree = tree.append(read_leaf(row.leaf.encode()).hash)
        subtrees.rebuild(book.leaf_hashes(0, frontier.size))
        subjects = sorted(book.census())
        before = book.standings(subjects)
        differed: list[str] = []
        states: list[State] = []
        points.drop_all()
        for subject in subjects:
            state = refold_keeping_points(subject)
            text = before.get(subject)
            if (decode_state(subject, text) if text is not None else empty(subject)) != state:
                differed.append(subject)
            states.append(state)
        book.drop_standings()
        book.put_standings([standing_row(state) for state in states])
    return Rebuilt(
        entries=tree.size,
        subjects=len(subjects),
        differed=tuple(differed),
        root_agrees=tree == frontier,
    )
