"""Appending a history made elsewhere: many entries, each with the time at which it was recorded there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any, Final

from pitbird.fleet.kinds.base import Body
from pitbird.fleet.times import Ms
from pitbird.intake.drafts import put_commitments
from pitbird.intake.entries import FREE, read_body
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.services.appending import Ledger, writing
from pitbird.services.quick import uncollected
from pitbird.services.writing import seal
from pitbird.store import blobs as blob_store
from pitbird.store.blobs import SealedBlob

_PIECE: Final = 4000


@dataclass(frozen=True)
class Recorded:
    """A complete body without its sealed fields, their plain texts by path, and when it was recorded."""

    body: Mapping[str, Any]
    texts: Mapping[str, str]
    recorded_at: Ms


def append_history(entries: Iterable[Recorded]) -> Iterator[int]:
    """Append entries in order, in pieces; yields the book's size after each piece is on the disk.

    Each entry is held to its kind; the first piece with a fault raises ``EntryRefused`` with all faults
    of the piece (line = its place in the history), and nothing of that piece is written.
    """
    stream, done = iter(entries), 0
    while piece := list(islice(stream, _PIECE)):
        with uncollected():
            with writing() as ledger:
                _append_piece(ledger, piece, done)
            size = ledger.size
            del ledger  # what it holds is not looked through when collecting begins again
        done += len(piece)
        yield size


def _append_piece(ledger: Ledger, piece: list[Recorded], done: int) -> None:
    ledger.expect([entry.body["id"] for entry in piece])
    faults: list[Fault] = []
    sealed: list[SealedBlob] = []
    bodies: list[Body] = []
    for place, entry in enumerate(piece, start=done + 1):
        raw = entry.body
        if entry.texts:
            blobs = {path: seal(text) for path, text in entry.texts.items()}
            raw = put_commitments(raw, {path: blob.commitment for path, blob in blobs.items()})
            sealed.extend(blobs.values())
        body, found = read_body(raw, line=place)
        faults.extend(found)
        if body is not None:
            bodies.append(body)
    if faults:
        raise EntryRefused(tuple(faults))
    ledger.load(subject for body in bodies for subject in body.about)
    for body, entry in zip(bodies, piece, strict=True):
        ledger.add(body.as_body(), recorded_at=entry.recorded_at, fitting=body.kind not in FREE)
    blob_store.put(sealed)
