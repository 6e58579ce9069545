"""Writing an entry: a draft is completed, sealed, checked against what is known, and appended."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from pitbird.fleet.kinds.base import Body
from pitbird.fleet.times import Ms, text_of
from pitbird.intake.checks import check_against
from pitbird.intake.drafts import complete, put_commitments, take_texts
from pitbird.intake.entries import read_body
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.record.leaf import read_leaf
from pitbird.record.seal import SALT_SIZE, commit, opens
from pitbird.services import clock
from pitbird.services.appending import Appended, IdTaken, append
from pitbird.services.knowing import Now
from pitbird.store import blobs as blob_store
from pitbird.store import book
from pitbird.store.blobs import SealedBlob


@dataclass(frozen=True)
class Actor:
    """Who writes, and from which site's clock: fills what a draft leaves out."""

    person: str
    site: str | None
    zone: str


def write(draft: Mapping[str, Any], actor: Actor, *, now: Ms | None = None) -> Appended:
    """Write one entry from a draft (see ``intake.drafts``).

    Raises ``EntryRefused`` with every fault at once, or ``IdTaken``; then nothing is written.
    """
    instant = clock.now() if now is None else now
    given_id = draft.get("id")
    if isinstance(given_id, str) and (row := book.by_id(given_id)) is not None:
        return _again(draft, actor, row)
    body, sealed = prepare(draft, actor, instant)
    faults = check_against(body, now=instant, known=_known, describe=Now().state, near=near)
    if faults:
        raise EntryRefused(faults)
    return append(body.as_body(), recorded_at=instant, blobs=sealed)


def prepare(draft: Mapping[str, Any], actor: Actor, now: Ms) -> tuple[Body, tuple[SealedBlob, ...]]:
    """The checked body of a draft, and the blobs its commitments stand for."""
    whole = complete(
        draft,
        new_id=clock.new_id(),
        at=text_of(now),
        zone=actor.zone,
        by=actor.person,
        where=actor.site,
    )
    rest, texts = take_texts(whole)
    sealed = {path: seal(text) for path, text in texts.items()}
    body, faults = read_body(put_commitments(rest, {path: blob.commitment for path, blob in sealed.items()}))
    if body is None:
        raise EntryRefused(faults)
    return body, tuple(sealed.values())


def seal(text: str) -> SealedBlob:
    """A text under a fresh random salt."""
    salt, content = os.urandom(SALT_SIZE), text.encode()
    return SealedBlob(commit(salt, content), salt, "text/plain", content)


def _again(draft: Mapping[str, Any], actor: Actor, row: book.Row) -> Appended:
    """A draft whose id stands in the book: harmless if it says the same, refused if not.

    A text that was erased since cannot be compared and is taken as the same.
    """
    stands = read_leaf(row.leaf.encode()).body
    whole = complete(
        draft,
        new_id=row.entry_id,
        at=stands["at"],
        zone=stands["zone"],
        by=stands["by"],
        where=stands.get("where"),
    )
    rest, texts = take_texts(whole)
    kept = {path: at_path(stands, path) for path in texts}
    found = blob_store.get(commitment for commitment in kept.values() if commitment)
    for path, text in texts.items():
        commitment = kept[path]
        blob = found.get(commitment or "")
        if commitment is None or (blob and not opens(commitment, blob.salt, text.encode())):
            raise IdTaken(row.entry_id, row.index)
    body, faults = read_body(put_commitments(rest, {path: str(value) for path, value in kept.items()}))
    if body is None:
        raise EntryRefused(faults)
    if body.as_body() != stands:
        raise IdTaken(row.entry_id, row.index)
    return Appended(row.index, row.entry_id, row.leaf_hash, again=True)


def at_path(body: Mapping[str, Any], path: str) -> str | None:
    """What stands at a dotted path of a body, if it is text."""
    value: Any = body
    for step in path.split("."):
        value = value.get(step) if isinstance(value, Mapping) else None
    return value if isinstance(value, str) else None


def _known(subject: str) -> bool:
    return bool(book.standings([subject]))


def near(subject: str) -> list[str]:
    """Known subjects of the same sort with a code much like this one."""
    sort = subject.partition(":")[0]
    return get_close_matches(subject, book.subjects(sort), n=3, cutoff=0.75)


__all__ = ["Actor", "Appended", "EntryRefused", "Fault", "IdTaken", "prepare", "seal", "write"]
