"""Erasing names, texts and photos: the blobs go for good, the entries stand, and the book says so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection

from pitbird.fleet.times import Ms
from pitbird.record.leaf import read_leaf
from pitbird.record.seal import commitments_in
from pitbird.services import clock
from pitbird.services.appending import Appended, writing
from pitbird.services.writing import Actor, EntryRefused, check, prepare
from pitbird.store import blobs as blob_store
from pitbird.store import book


@dataclass(frozen=True)
class Sealed:
    """One sealed text or photo: where it stands, and what it says while it is still there."""

    commitment: str
    index: int
    kind: str
    field: str
    text: str | None


def sealed_about(subject: str) -> tuple[Sealed, ...]:
    """Every name, text and photo in the entries about a subject that has not been erased."""
    found = [
        Sealed(commitment, row.index, row.kind, field, None)
        for row in book.about(subject)
        for field, commitment in _fields(read_leaf(row.leaf.encode()).body)
    ]
    kept = blob_store.get(one.commitment for one in found)
    return tuple(
        Sealed(one.commitment, one.index, one.kind, one.field, _text(kept[one.commitment]))
        for one in found
        if one.commitment in kept
    )


def texts_naming(words: str) -> tuple[str, ...]:
    """The commitments of all texts, about whatever, in which some words stand (letter case aside)."""
    wanted = words.casefold()
    return tuple(blob.commitment for blob in blob_store.every_text() if wanted in blob.text.casefold())


def erase(
    subject: str, commitments: tuple[str, ...], because: str, actor: Actor, *, now: Ms | None = None
) -> Appended:
    """Erase blobs and append the entry that says so, in one transaction.

    Raises ``EntryRefused`` if the entry cannot be written; then nothing is erased. What the database had
    on its pages is overwritten (SQLite ``secure_delete``); copies and backups made before still hold it,
    and are the keeper's to deal with.
    """
    instant = clock.now() if now is None else now
    draft = {"kind": "erasure", "subject": subject, "commitments": list(commitments), "because": because}
    body, _ = prepare(draft, actor, instant)
    faults = check(body, instant)
    if faults:
        raise EntryRefused(faults)
    with writing() as ledger:
        appended = ledger.add(body.as_body(), recorded_at=instant)
        blob_store.erase(commitments)
    _forget()
    return appended


def _forget() -> None:
    """Carry the write-ahead log over, so that no earlier page of it keeps what was erased."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _fields(body: object, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(body, dict):
        if body.get("kind") == "erasure":
            return
        for name, value in body.items():
            where = f"{path}.{name}" if path else name
            if isinstance(value, str):
                yield from ((where, commitment) for commitment in commitments_in(value))
            else:
                yield from _fields(value, where)
    elif isinstance(body, list):
        for place, value in enumerate(body):
            yield from _fields(value, f"{path}.{place}")


def _text(blob: blob_store.SealedBlob) -> str | None:
    return blob.text if blob.media_type == "text/plain" else None
