"""Entries about people's training, the rules, and the book itself."""

from __future__ import annotations

import re
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, model_validator

from pitbird.fleet.kinds.base import (
    ROOT,
    SUBJECT,
    Body,
    Day,
    EntryId,
    Instant,
    Name,
    PersonRef,
    RulesRef,
    Sealed,
    SiteRef,
    Subject,
    common,
)

_SUBJECT = re.compile(SUBJECT)


class Training(Body):
    """A person was trained: in what, by whom, until when it holds."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "training",
        **common(24),
        "person": "person:P-07",
        "topic": "bump-test",
        "trainer": "person:P-02",
        "valid_until": "2028-03-02",
    }
    kind: Literal["training"] = "training"
    person: PersonRef
    topic: Literal["bump-test", "wearing", "calibration", "train-the-trainer"]
    trainer: PersonRef | None = None
    valid_until: Day | None = None
    result: Literal["passed", "failed"] = "passed"
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.person,)


class RulesAdopted(Body):
    """Site rules take effect at named sites from ``from``; the entry holds the whole rule set."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "rules-adopted",
        **common(25),
        "rules": "rules:strict",
        "sites": ["site:north-works"],
        "effective": "2026-03-02T00:00:00.000Z",
        "document": {"id": "strict", "version": 1, "rule": []},
    }
    kind: Literal["rules-adopted"] = "rules-adopted"
    rules: RulesRef
    sites: Annotated[tuple[SiteRef, ...], Field(min_length=1, max_length=4000)]
    effective: Instant
    document: dict[str, Any]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.rules, *self.sites)


class Note(Body):
    """A remark about anything; it changes no state."""

    SEALED: ClassVar[tuple[str, ...]] = ("text",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "note",
        **common(26),
        "subject": "detector:D-017",
        "text": "sha256:" + "11" * 32,
    }
    kind: Literal["note"] = "note"
    subject: Subject
    text: Sealed

    def subjects(self) -> tuple[str, ...]:
        return (self.subject,)


class Correction(Body):
    """Names an entry and replaces it whole, or voids it. Nothing is edited: both stay in the book.

    ``of_about`` repeats what the corrected entry is about, so that everything it touched is told of the
    correction, and ``replacement`` may be about something else (the entry is moved).
    """

    SEALED: ClassVar[tuple[str, ...]] = ("reason",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "correction",
        **common(27),
        "corrects": "0195a000-0000-7000-8000-00000000000c",
        "of_about": ["detector:D-017"],
        "how": "void",
        "reason": "sha256:" + "22" * 32,
    }
    kind: Literal["correction"] = "correction"
    corrects: EntryId
    of_about: Annotated[tuple[Subject, ...], Field(min_length=1, max_length=5000)]
    how: Literal["void", "replace"]
    replacement: dict[str, Any] | None = None
    reason: Sealed

    def subjects(self) -> tuple[str, ...]:
        moved = self.replacement.get("about", []) if self.replacement else []
        if not isinstance(moved, list | tuple) or not all(
            isinstance(subject, str) and _SUBJECT.fullmatch(subject) for subject in moved
        ):
            raise ValueError("'replacement.about' must be a list of subjects such as detector:D-017")
        return (*self.of_about, *moved)

    @model_validator(mode="after")
    def _replacing_needs_a_replacement(self) -> Self:
        if (self.how == "replace") != (self.replacement is not None):
            raise ValueError("'replacement' stands with how=replace, and only with it")
        return self


class Erasure(Body):
    """Sealed names, texts or photos were erased; the entries that held their commitments stand."""

    SEALED: ClassVar[tuple[str, ...]] = ()
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "erasure",
        **common(28),
        "subject": "person:P-07",
        "commitments": ["sha256:" + "5e" * 32],
        "because": "retention-ended",
    }
    kind: Literal["erasure"] = "erasure"
    subject: Subject
    commitments: Annotated[tuple[Sealed, ...], Field(min_length=1, max_length=1000)]
    because: Literal["retention-ended", "request", "mistake", "other"]

    def subjects(self) -> tuple[str, ...]:
        return (self.subject,)


class Epoch(Body):
    """The book was restored from a copy behind one that others hold a checkpoint of: a new epoch begins.

    ``known_size`` and ``known_root`` are of the checkpoint that others hold; what stood between this entry
    and there is lost unless phones send it again.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "epoch",
        **common(30),
        "book": "book:0195a000-0000-7000-8000-00000000001d",
        "known_size": 48213,
        "known_root": "ab" * 32,
        "because": "restored",
    }
    kind: Literal["epoch"] = "epoch"
    book: Annotated[str, Field(pattern=r"^book:[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
    known_size: Annotated[int, Field(ge=1, le=2**53 - 1, strict=True)]
    known_root: Annotated[str, Field(pattern=ROOT)]
    because: Literal["restored", "lost", "other"]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.book,)


class KeyChanged(Body):
    """The key by which the book signs its checkpoints was replaced by another; it changes no verdict.

    ``old_key`` and ``new_key`` are the fingerprints: SHA-256 over the type and the public key. The signed
    note of the change lies beside the book.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "key-changed",
        **common(32),
        "book": "book:0195a000-0000-7000-8000-00000000001d",
        "number": 1,
        "old_key": "cd" * 32,
        "new_key": "ef" * 32,
        "because": "planned",
    }
    kind: Literal["key-changed"] = "key-changed"
    book: Annotated[str, Field(pattern=r"^book:[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
    number: Annotated[int, Field(ge=1, le=9999, strict=True)]
    old_key: Annotated[str, Field(pattern=ROOT)]
    new_key: Annotated[str, Field(pattern=ROOT)]
    because: Literal["planned", "exposed", "other"]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.book,)


class Genesis(Body):
    """The first entry: it gives the book its identity."""

    SEALED: ClassVar[tuple[str, ...]] = ()
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "genesis",
        **{k: v for k, v in common(29).items() if k != "where"},
        "book": "book:0195a000-0000-7000-8000-00000000001d",
        "title": "Portable gas detectors",
        "format": "pitbird-book/1",
        "begun": "2026-03-02",
    }
    kind: Literal["genesis"] = "genesis"
    book: Annotated[str, Field(pattern=r"^book:[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
    title: Name
    format: Literal["pitbird-book/1"]
    begun: Day

    def subjects(self) -> tuple[str, ...]:
        return (self.book,)
