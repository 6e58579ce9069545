"""Links by which an auditor reads a part of the book until a time: given, taken back, and what they open.

The secret in a link is shown once, to the keeper who gives it; the book holds its SHA-256 only. What may be
read is what a bundle of the same question holds, under the newest checkpoint: those entries and no others.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.intake.faults import Fault
from pitbird.record.checkpoint import Checkpoint, read_census
from pitbird.services import clock
from pitbird.services.appending import Appended, writing
from pitbird.services.bundle_scope import Asked, Scope, scope_of
from pitbird.services.checkpoints import kept, origin
from pitbird.services.quick import QUICK
from pitbird.services.writing import Actor, EntryRefused, check, prepare
from pitbird.store import blobs, book

#: A link that nobody takes back ends by itself; longer than this an auditor asks again.
LONGEST_DAYS: Final = 92
DAY: Final = 86_400_000


@dataclass(frozen=True)
class Audit:
    """A link as it stands: what it opens, until when, and whether it still does."""

    entry_id: str
    index: int
    reader: str | None
    asked: Asked
    by: str
    at: Ms
    until: Ms
    closed: bool
    token: str

    def open_at(self, now: Ms) -> bool:
        """Whether the link opens anything at a time."""
        return not self.closed and now < self.until


@dataclass(frozen=True)
class Reading:
    """What a link opens: the checkpoint, the entries in it, and their census."""

    audit: Audit
    checkpoint: Checkpoint
    path: Path
    scope: Scope
    census: dict[str, int]

    def rows_about(self, subject: str) -> list[book.Row]:
        """The entries about a subject that may be read, in the book's order."""
        rows = book.about(subject, below=self.checkpoint.size)
        return [row for row in rows if self.scope.has(row.index)]


def open_audit(
    asked: Asked, reader: str, until: Ms, actor: Actor, *, note: str = "", now: Ms | None = None
) -> tuple[str, Appended]:
    """Give a link: its secret, which is shown this once, and the entry that says so.

    Raises EntryRefused with every fault, or BundleRefused where the question has faults.
    """
    instant = clock.now() if now is None else now
    faults = []
    if not reader.strip():
        faults.append(Fault("reader", repr(reader), "say who may read"))
    if not instant < until <= instant + LONGEST_DAYS * DAY:
        faults.append(Fault("until", text_of(until), f"must lie within the next {LONGEST_DAYS} days"))
    faults += [_fault(line) for line in asked.faults(book.census(), book.head().size)]
    if faults:
        raise EntryRefused(faults)
    secret = secrets.token_urlsafe(32)
    draft: dict[str, Any] = {
        "kind": "audit-opened",
        "book": _book(),
        "reader": reader.strip(),
        "until": text_of(until),
        "token": _digest(secret),
        "names": "yes" if asked.texts else "no",
    }
    for field, subjects in (
        ("detectors", asked.detectors),
        ("sites", asked.sites),
        ("people", asked.people),
    ):
        if subjects:
            draft[field] = list(subjects)
    for field, day in (("first", asked.first), ("last", asked.last)):
        if day is not None:
            draft[field] = day.isoformat()
    if note.strip():
        draft["note"] = note.strip()
    return secret, _write(draft, actor, instant)


def close_audit(entry_id: str, actor: Actor, *, now: Ms | None = None) -> Appended | None:
    """Take a link back; None where it was taken back before. Raises LookupError for no such link."""
    found = next((audit for audit in audits() if audit.entry_id == entry_id), None)
    if found is None:
        raise LookupError(entry_id)
    if found.closed:
        return None
    draft = {"kind": "audit-closed", "book": _book(), "opened": entry_id}
    return _write(draft, actor, clock.now() if now is None else now)


def audits() -> list[Audit]:
    """Every link that was ever given, the newest first."""
    closed = {_body(row)["opened"] for row in book.of_kind("audit-closed")}
    rows = book.of_kind("audit-opened")
    texts = blobs.get(_body(row)["reader"] for row in rows)
    made = [_audit(row, closed, texts) for row in rows]
    return sorted(made, key=lambda audit: -audit.index)


def audit_by_secret(secret: str, now: Ms) -> Audit | None:
    """The link of a secret, where it still opens something."""
    digest = _digest(secret)
    found = (audit for audit in audits() if secrets.compare_digest(audit.token, digest))
    return next((audit for audit in found if audit.open_at(now)), None)


def reading(audit: Audit, home: Path) -> Reading | None:
    """What a link opens under the newest checkpoint; None where there is none yet."""
    held = kept(home)
    if held is None:
        return None
    census, scope = _scope(audit.asked, str(held.path), str(held.census_path), held.checkpoint)
    return Reading(audit, held.checkpoint, held.path, scope, census)


@lru_cache(maxsize=8)
def _scope(asked: Asked, _path: str, census: str, checkpoint: Checkpoint) -> tuple[dict[str, int], Scope]:
    counted = read_census(Path(census).read_bytes(), checkpoint)
    return counted, scope_of(asked, counted, checkpoint.size)


def _audit(row: book.Row, closed: set[str], texts: dict[str, blobs.SealedBlob]) -> Audit:
    body = _body(row)
    blob = texts.get(body["reader"])
    asked = Asked(
        detectors=tuple(body.get("detectors", ())),
        sites=tuple(body.get("sites", ())),
        people=tuple(body.get("people", ())),
        first=_day(body.get("first")),
        last=_day(body.get("last")),
        texts=body["names"] == "yes",
    )
    return Audit(
        entry_id=row.entry_id,
        index=row.index,
        reader=blob.text if blob is not None else None,
        asked=asked,
        by=row.by,
        at=Ms(row.at),
        until=ms_of(body["until"]),
        closed=row.entry_id in closed,
        token=body["token"],
    )


def _write(draft: dict[str, Any], actor: Actor, now: Ms) -> Appended:
    body, sealed = prepare(draft, actor, now)
    faults = check(body, now)
    if faults:
        raise EntryRefused(faults)
    with writing() as ledger:
        appended = ledger.add(body.as_body(), recorded_at=now)
        blobs.put(list(sealed))
    return appended


def _book() -> str:
    return f"book:{origin().rpartition('/')[2]}"


def _body(row: book.Row) -> dict[str, Any]:
    body: dict[str, Any] = QUICK.decode(row.leaf)["body"]
    return body


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()


def _fault(line: str) -> Fault:
    where, _, problem = line.partition(": ")
    return Fault(where, "", problem)
