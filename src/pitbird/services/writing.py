"""Writing an entry: a draft is completed, sealed, checked against what is known, and appended."""

from __future__ import annotations

import os
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any, Final

from pitbird.fleet.kinds.base import Body
from pitbird.fleet.times import Ms, text_of
from pitbird.intake.checks import BRINGS, check_against
from pitbird.intake.drafts import complete, put_commitments, take_texts, with_book_times
from pitbird.intake.entries import read_body
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.record.leaf import read_leaf
from pitbird.record.seal import SALT_SIZE, commit, opens
from pitbird.services import clock
from pitbird.services.appending import Appended, IdTaken, Ledger, append, writing
from pitbird.services.correcting import completed
from pitbird.services.knowing import Now
from pitbird.services.referring import check_references
from pitbird.store import blobs as blob_store
from pitbird.store import book
from pitbird.store.blobs import SealedBlob

_WRITTEN_BY: Final = {
    "erasure": "`pitbird erase` and the pages that erase",
    "key-changed": "`pitbird key rotate`",
    "device": "`pitbird device` and the page of phones",
    "device-ended": "`pitbird device end` and the page of phones",
    "audit-opened": "`pitbird audit open` and the page that gives a link",
    "audit-closed": "`pitbird audit close` and the page that takes a link back",
}


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
    _refuse_by_hand(draft)
    body, sealed = prepare(draft, actor, instant)
    faults = check(body, instant)
    if faults:
        raise EntryRefused(faults)
    return append(body.as_body(), recorded_at=instant, blobs=sealed)


def write_all(
    drafts: Sequence[Mapping[str, Any]],
    actor: Actor,
    *,
    now: Ms | None = None,
    lines: Sequence[int] | None = None,
    found: Sequence[Fault] = (),
) -> tuple[Appended, ...]:
    """Write many entries from drafts in order, all or none; a later one may name what an earlier one brings.

    ``lines`` are the lines that the drafts stood on (else they are counted from 1), ``found`` faults found
    before. Raises ``EntryRefused`` with every fault of every draft and its line; then nothing is written.
    """
    instant = clock.now() if now is None else now
    faults = list(found)
    brought: set[str] = set()
    written = []
    with writing() as ledger:
        for number, draft in enumerate(drafts):
            line = lines[number] if lines is not None else number + 1
            done = _write_in(ledger, draft, actor, instant, line, brought)
            # What a draft with faults brings counts as known, so that its faults are not told twice.
            brought.add(str(draft.get(BRINGS.get(str(draft.get("kind")), ""))))
            if isinstance(done, Appended):
                written.append(done)
            else:
                faults.extend(done)
        if faults:
            raise EntryRefused(sorted(faults, key=lambda fault: fault.line or 0))
    return tuple(written)


def _write_in(
    ledger: Ledger, draft: Mapping[str, Any], actor: Actor, now: Ms, line: int, brought: set[str]
) -> Appended | tuple[Fault, ...]:
    """Write one draft inside a writing transaction, or say what is wrong with it."""
    try:
        given_id = draft.get("id")
        if isinstance(given_id, str) and (row := book.by_id(given_id)) is not None:
            return _again(draft, actor, row)
        _refuse_by_hand(draft)
        body, sealed = prepare(draft, actor, now)
        faults = check(body, now, also=brought)
        if faults:
            raise EntryRefused(faults)
        appended = ledger.add(body.as_body(), recorded_at=now)
        blob_store.put(list(sealed))
        ledger.flush()  # the next draft may hang on what this one says
    except EntryRefused as refused:
        return tuple(replace(fault, line=line) for fault in refused.faults)
    except IdTaken as taken:
        problem = str(taken).removeprefix(f"id: {taken.entry_id} ")
        return (Fault(f"{draft.get('kind')}.id", repr(taken.entry_id), problem, line),)
    return appended


def _refuse_by_hand(draft: Mapping[str, Any]) -> None:
    """Some kinds are written by what does them; an erasure or a change of key written by hand would say of
    texts that are there that they are gone, or of a key that signs that it does not."""
    if (by := _WRITTEN_BY.get(str(draft.get("kind")))) is not None:
        raise EntryRefused([Fault(str(draft["kind"]), "", f"is written by {by}, never by hand")])
    for part, where in (
        ("phone", "what a registered phone signed"),
        ("entered", "what the waiting room held"),
    ):
        if part in draft:
            raise EntryRefused([Fault(f"{draft.get('kind')}.{part}", "", f"stands only in {where}")])


def check(body: Body, now: Ms, *, also: Container[str] = ()) -> tuple[Fault, ...]:
    """Everything in a typed entry that what is known contradicts, all at once; ``also`` counts as known."""
    against = check_against(
        body,
        now=now,
        known=lambda subject: subject in also or _known(subject),
        describe=Now().state,
        near=near,
    )
    return (*against, *_twins(body), *check_references(body))


def _twins(body: Body) -> tuple[Fault, ...]:
    """A new thing whose code another one has but for capital and small letters: what is said of the one would
    not be known of the other, and a phone that reads either finds the first."""
    field = BRINGS.get(body.kind, "")
    subject = getattr(body, field, None)
    if not isinstance(subject, str) or _known(subject):
        return ()
    problem = "differs in capital and small letters alone; write it as it stands, or take another code"
    return tuple(
        Fault(f"{body.kind}.{field}", subject, f"{twin} stands in the book, and {problem}")
        for twin in book.but_for_case(subject)
    )


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
    whole, mistimed = with_book_times(completed(whole))
    rest, texts = take_texts(whole)
    sealed = {path: seal(text) for path, text in texts.items()}
    body, faults = read_body(put_commitments(rest, {path: blob.commitment for path, blob in sealed.items()}))
    if body is None or mistimed:
        told = {fault.where for fault in mistimed}
        raise EntryRefused((*mistimed, *(fault for fault in faults if fault.where not in told)))
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
    if "of_about" in stands:
        whole["of_about"] = stands["of_about"]
    rest, texts = take_texts(with_book_times(whole)[0])
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


__all__ = ["Actor", "Appended", "EntryRefused", "Fault", "IdTaken", "prepare", "seal", "write", "write_all"]
