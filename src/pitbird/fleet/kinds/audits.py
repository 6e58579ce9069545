"""Entries about letting somebody read the book: an auditor's link, from when it was given to its end."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, model_validator

from pitbird.fleet.kinds.base import (
    ROOT,
    Body,
    Day,
    DetectorRef,
    EntryId,
    Instant,
    PersonRef,
    Sealed,
    SiteRef,
    common,
)

_BOOK = "book:0195a000-0000-7000-8000-00000000001d"
_BookRef = Annotated[str, Field(pattern=r"^book:[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]


class AuditOpened(Body):
    """Somebody was given a link by which a part of the book may be read until a time; it changes no verdict.

    ``token`` is SHA-256 over the secret in the link, so that the book does not hold the link. ``names`` is no
    where names and texts are left out. Which entries may be read: as in a bundle of the same question.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("reader", "note")
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "audit-opened",
        **common(33),
        "book": _BOOK,
        "reader": "sha256:" + "ab" * 32,
        "detectors": ["detector:D-017"],
        "sites": ["site:north-works"],
        "first": "2026-01-01",
        "last": "2026-02-28",
        "until": "2026-03-16T00:00:00.000Z",
        "token": "cd" * 32,
        "names": "yes",
    }
    kind: Literal["audit-opened"] = "audit-opened"
    book: _BookRef
    reader: Sealed
    detectors: Annotated[tuple[DetectorRef, ...], Field(max_length=5000)] = ()
    sites: Annotated[tuple[SiteRef, ...], Field(max_length=500)] = ()
    people: Annotated[tuple[PersonRef, ...], Field(max_length=500)] = ()
    first: Day | None = None
    last: Day | None = None
    until: Instant
    token: Annotated[str, Field(pattern=ROOT)]
    names: Literal["yes", "no"]
    note: Sealed | None = None

    @model_validator(mode="after")
    def _asks_for_something_and_ends(self) -> Self:
        if not (self.detectors or self.sites or self.people):
            raise ValueError("name at least one detector, site or person that may be read")
        if self.first and self.last and self.last < self.first:
            raise ValueError(f"'last' {self.last} lies before 'first' {self.first}")
        if self.until <= self.at:
            raise ValueError("'until' must lie after 'at': a link that has ended opens nothing")
        return self

    def subjects(self) -> tuple[str, ...]:
        return (self.book,)


class AuditClosed(Body):
    """A link by which a part of the book could be read was taken back before its end."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "audit-closed",
        **common(34),
        "book": _BOOK,
        "opened": "0195a000-0000-7000-8000-000000000021",
    }
    kind: Literal["audit-closed"] = "audit-closed"
    book: _BookRef
    opened: EntryId
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.book,)
