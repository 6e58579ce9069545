"""Erasing names, texts and photos: the blobs go for good, the entries stand, and the book says so."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from django.db import DatabaseError, transaction

from pitbird.fleet.state import PersonState
from pitbird.fleet.times import Ms
from pitbird.intake.faults import Fault
from pitbird.record.leaf import read_leaf
from pitbird.record.seal import commitments_in
from pitbird.services import clock
from pitbird.services.accounts import account_name, close_account
from pitbird.services.appending import Appended, writing
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, EntryRefused, check, prepare
from pitbird.store import blobs as blob_store
from pitbird.store import book, seals

REASONS: Final = ("request", "retention-ended", "mistake", "other")
#: An erasure entry names no more texts than this; more of them take several entries.
_MOST: Final = 1000
#: Shorter words of a name stand in too many other words to look for them.
_SHORTEST: Final = 3


@dataclass(frozen=True)
class Sealed:
    """One sealed text or photo: where it stands, and what it says while it is still there.

    ``about`` is everything that its entry is about; ``text`` is None for a photo.
    """

    commitment: str
    index: int
    kind: str
    field: str
    text: str | None
    about: tuple[str, ...] = ()


@dataclass(frozen=True)
class Naming:
    """A text about something else in which a name stands: ``whole``, or only a word of it."""

    sealed: Sealed
    whole: bool


@dataclass(frozen=True)
class Considered:
    """What erasing a person would take, what would stay, and what else bears the name.

    ``own`` goes in any case; ``shared`` stands in entries about the person and about other things, ``naming``
    in entries about other things; of both the keeper chooses. ``in_the_clear`` are entries in whose open
    fields the name stands and stays; ``account`` is the person's name for signing in.
    """

    person: str
    names: tuple[str, ...]
    own: tuple[Sealed, ...]
    shared: tuple[Sealed, ...]
    naming: tuple[Naming, ...]
    in_the_clear: tuple[int, ...]
    account: str | None
    code_tells: bool
    account_tells: bool

    @property
    def choosable(self) -> frozenset[str]:
        """The commitments of which the keeper may choose."""
        return frozenset(
            [one.commitment for one in self.shared] + [each.sealed.commitment for each in self.naming]
        )


@dataclass(frozen=True)
class Erased:
    """What was done: the entries that say so, how many texts went, whether the files were rewritten.

    ``overwritten`` is False where the database could not be rewritten: then stale copies may still lie in its
    files, and ``rewrite_files`` is to be called again.
    """

    entries: tuple[Appended, ...]
    count: int
    overwritten: bool
    account_closed: str | None = None


def sealed_about(subject: str) -> tuple[Sealed, ...]:
    """Every name, text and photo in the entries about a subject that has not been erased."""
    return sealed_of(book.about(subject))


def sealed_of(rows: Iterable[book.Row]) -> tuple[Sealed, ...]:
    """Every name, text and photo in some entries that has not been erased, in their order."""
    found = []
    for row in rows:
        body = read_leaf(row.leaf.encode()).body
        about = tuple(body.get("about", ()))
        found += [
            Sealed(commitment, row.index, row.kind, field, None, about) for field, commitment in _fields(body)
        ]
    kept = blob_store.get(one.commitment for one in found)
    return tuple(
        Sealed(one.commitment, one.index, one.kind, one.field, _text(kept[one.commitment]), one.about)
        for one in found
        if one.commitment in kept
    )


def consider(person: str) -> Considered:
    """What erasing a person would take and leave; reads every text and every entry once."""
    about = sealed_about(person)
    names = tuple(dict.fromkeys(one.text for one in about if one.text and _name(one)))
    mine = {one.commitment for one in about}
    own = [one for one in about if one.about == (person,)]
    account = account_name(person)
    return Considered(
        person=person,
        names=names,
        own=tuple(own),
        shared=tuple(one for one in about if one.about != (person,)),
        naming=_naming(names, mine),
        in_the_clear=seals.indices_saying(names),
        account=account,
        code_tells=_tells(person.partition(":")[2], names),
        account_tells=_tells(account or "", names),
    )


def _name(one: Sealed) -> bool:
    return one.field.rpartition(".")[2] == "name"


def _naming(names: Sequence[str], mine: set[str]) -> tuple[Naming, ...]:
    if not names:
        return ()
    wholes = [name.casefold() for name in names]
    words = {word for name in wholes for word in re.findall(r"\w+", name) if len(word) >= _SHORTEST}
    found: dict[str, bool] = {}
    for blob in blob_store.every_text():
        if blob.commitment in mine:
            continue
        text = blob.text.casefold()
        whole = any(name in text for name in wholes)
        if whole or words & set(re.findall(r"\w+", text)):
            found[blob.commitment] = whole
    if not found:
        return ()
    rows = (row for row in seals.rows_with_seals() if any(name in found for name in _commitments(row.leaf)))
    return tuple(
        sorted(
            (Naming(one, found[one.commitment]) for one in sealed_of(rows) if one.commitment in found),
            key=lambda each: (not each.whole, each.sealed.index),
        )
    )


def _commitments(leaf: str) -> list[str]:
    return re.findall(r"sha256:[0-9a-f]{64}", leaf)


def _tells(code: str, names: Sequence[str]) -> bool:
    """Whether a code or an account gives a name away: a word of the name stands in it."""
    folded = code.casefold()
    return any(
        word in folded
        for name in names
        for word in re.findall(r"\w+", name.casefold())
        if len(word) >= _SHORTEST
    )


def texts_naming(words: str) -> tuple[str, ...]:
    """The commitments of all texts, about whatever, in which some words stand (letter case aside)."""
    wanted = words.casefold()
    return tuple(blob.commitment for blob in blob_store.every_text() if wanted in blob.text.casefold())


def erase(
    subject: str, commitments: Sequence[str], because: str, actor: Actor, *, now: Ms | None = None
) -> Appended:
    """Erase blobs and append the entry that says so, in one transaction; at most a thousand of them.

    Raises ``EntryRefused`` if the entry cannot be written; then nothing is erased. Copies and backups made
    before still hold what was erased, and are the keeper's to deal with.
    """
    with transaction.atomic():
        (appended,) = _erase_in(subject, tuple(commitments), because, actor, now)
    rewrite_files()
    return appended


def erase_groups(
    groups: Sequence[tuple[str, Sequence[str]]], because: str, actor: Actor, *, now: Ms | None = None
) -> tuple[Appended, ...]:
    """Erase blobs under several subjects, in as many entries as that takes: all of it, or nothing. The files
    are not rewritten by this: call ``rewrite_files`` when the transaction has ended."""
    entries: list[Appended] = []
    with transaction.atomic():
        for subject, commitments in groups:
            entries += _erase_in(subject, tuple(dict.fromkeys(commitments)), because, actor, now)
    return tuple(entries)


def erase_person(
    person: str,
    also: Iterable[str],
    because: str,
    actor: Actor,
    *,
    close: bool = False,
    now: Ms | None = None,
) -> Erased:
    """Erase a person: all that is theirs alone, and of the rest what was chosen (``also``); with ``close``
    the account by which they sign in too. All of it in one transaction.

    Raises ``EntryRefused``: not the keeper, nothing left to erase, a choice that is none of those considered.
    Raises ``accounts.CannotClose`` for the last keeper's account or the writer's own.
    """
    require_keeper(actor)
    considered, chosen = consider(person), tuple(dict.fromkeys(also))
    strange = [name for name in chosen if name not in considered.choosable]
    if strange:
        problem = "no text that bears the name; look anew"
        raise EntryRefused([Fault("erasure.commitments", name[:19], problem) for name in strange])
    commitments = tuple(dict.fromkeys((*(one.commitment for one in considered.own), *chosen)))
    if not commitments and not (close and considered.account):
        raise EntryRefused([Fault("erasure.commitments", "", f"nothing of {person} is left to erase")])
    closed = None
    with transaction.atomic():
        entries = _erase_in(person, commitments, because, actor, now) if commitments else []
        if close and considered.account:
            closed = close_account(person, by=actor.person)
    return Erased(tuple(entries), len(commitments), rewrite_files(), closed)


def erase_texts(
    index: int, commitments: Iterable[str], because: str, actor: Actor, *, now: Ms | None = None
) -> Erased:
    """Erase some of the texts and photos of one entry. Raises ``EntryRefused``: not the keeper, no such text,
    none chosen."""
    require_keeper(actor)
    row, chosen = book.at_index(index), tuple(dict.fromkeys(commitments))
    there = sealed_of([row]) if row is not None else ()
    if not chosen or not set(chosen) <= {one.commitment for one in there}:
        problem = f"choose at least one of the texts that entry {index} still holds"
        raise EntryRefused([Fault("erasure.commitments", "", problem)])
    with transaction.atomic():
        entries = _erase_in(there[0].about[0], chosen, because, actor, now)
    return Erased(tuple(entries), len(chosen), rewrite_files())


def require_keeper(actor: Actor) -> None:
    """Erasing is the keeper's to do. Raises ``EntryRefused`` for anybody else."""
    state = Now().state(actor.person)
    if not isinstance(state, PersonState) or "keeper" not in state.roles or state.left:
        code = actor.person.partition(":")[2]
        raise EntryRefused([Fault("erasure.by", code, "only a keeper may erase; nothing was erased")])


def rewrite_files() -> bool:
    """Rewrite the database, so that no stale copy of what was erased stays in its files; whether it was done.

    Takes as long as copying the book. Harmless to repeat.
    """
    try:
        return seals.rewrite()
    except DatabaseError:
        return False


def _erase_in(
    subject: str, commitments: tuple[str, ...], because: str, actor: Actor, now: Ms | None
) -> list[Appended]:
    instant = clock.now() if now is None else now
    entries = []
    for start in range(0, max(1, len(commitments)), _MOST):
        piece = commitments[start : start + _MOST]
        draft = {"kind": "erasure", "subject": subject, "commitments": list(piece), "because": because}
        body, _ = prepare(draft, actor, instant)
        faults = check(body, instant)
        if faults:
            raise EntryRefused(faults)
        with writing() as ledger:
            entries.append(ledger.add(body.as_body(), recorded_at=instant))
            blob_store.erase(piece)
    return entries


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
