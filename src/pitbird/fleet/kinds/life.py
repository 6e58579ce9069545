"""Entries of a detector's life: custody, what happened to it, out of service and the way back."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, StrictBool

from pitbird.fleet.kinds.base import (
    Body,
    ChannelName,
    Dec,
    DetectorRef,
    EntryId,
    Instant,
    Name,
    PersonRef,
    Sealed,
    SiteRef,
    common,
)


class HandedOut(Body):
    """A detector goes to a wearer. ``from_store`` tells an issue after a rack test from a hand-over."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "handed-out",
        **common(10),
        "detector": "detector:D-017",
        "to": "person:P-12",
        "from_store": True,
        "permit": "PTW-1184",
        "due_back": "2026-03-02T17:00:00.000Z",
    }
    kind: Literal["handed-out"] = "handed-out"
    detector: DetectorRef
    to: PersonRef
    from_store: StrictBool
    permit: Name | None = None
    due_back: Instant | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector, self.to)


class HandedBack(Body):
    """A detector comes back to the store."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "handed-back",
        **common(11),
        "detector": "detector:D-017",
        "back_from": "person:P-12",
    }
    kind: Literal["handed-back"] = "handed-back"
    detector: DetectorRef
    back_from: PersonRef | None = None
    to_site: SiteRef | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector, *((self.back_from,) if self.back_from else ()))


What = Literal[
    "drop",
    "water",
    "over-range",
    "suspected-poison",
    "fault",
    "flat-battery",
    "sensor-changed",
    "filter-changed",
    "firmware-changed",
    "set-point-changed",
]


class Happened(Body):
    """Something happened to a detector that may have harmed it or changed what it does."""

    SEALED: ClassVar[tuple[str, ...]] = ("note", "photo")
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "happened",
        **common(12),
        "detector": "detector:D-017",
        "what": "drop",
    }
    kind: Literal["happened"] = "happened"
    detector: DetectorRef
    what: What
    channels: Annotated[tuple[ChannelName, ...], Field(max_length=12)] = ()
    note: Sealed | None = None
    photo: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)


class OutOfService(Body):
    """A detector is taken out of service by somebody's decision."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "out-of-service",
        **common(13),
        "detector": "detector:D-017",
        "because": "damaged",
    }
    kind: Literal["out-of-service"] = "out-of-service"
    detector: DetectorRef
    because: Literal["failed", "damaged", "overdue", "suspect", "life-ended", "lost", "incident", "other"]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)


Cause = Literal[
    "sensor-worn", "sensor-poisoned", "inlet-blocked", "drifted", "damaged", "battery",
    "alarm-dead", "gas-at-fault", "handling", "not-found", "other",
]  # fmt: skip


class Repaired(Body):
    """A repair, with the cause as found. Gas comes afterwards."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "repaired",
        **common(14),
        "detector": "detector:D-017",
        "cause": "sensor-worn",
        "replaced": ["H2S"],
    }
    kind: Literal["repaired"] = "repaired"
    detector: DetectorRef
    cause: Cause
    replaced: Annotated[tuple[ChannelName, ...], Field(max_length=12)] = ()
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)


class ReturnedToService(Body):
    """A competent person returns a detector to service, naming every reason that is thereby answered.

    ``answers`` are the entries that took it out (a failed test, an out-of-service entry); a reason that
    is not named stays open, so a fail that arrives late cannot be cleared by somebody who never saw it.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "returned-to-service",
        **common(15),
        "detector": "detector:D-017",
        "answers": ["0195a000-0000-7000-8000-000000000013"],
        "cause": "sensor-worn",
        "tested": "0195a000-0000-7000-8000-000000000007",
    }
    kind: Literal["returned-to-service"] = "returned-to-service"
    detector: DetectorRef
    answers: Annotated[tuple[EntryId, ...], Field(min_length=1, max_length=64)]
    cause: Cause
    tested: EntryId | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)


class IssuedUntested(Body):
    """A detector goes out without a test that counts, on somebody's authority, for one job, until a time."""

    SEALED: ClassVar[tuple[str, ...]] = ("reason", "note")
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "issued-untested",
        **common(16),
        "detector": "detector:D-017",
        "to": "person:P-12",
        "authority": "person:P-01",
        "until": "2026-03-02T12:00:00.000Z",
        "reason": "sha256:" + "7a" * 32,
    }
    kind: Literal["issued-untested"] = "issued-untested"
    detector: DetectorRef
    to: PersonRef
    authority: PersonRef
    until: Instant
    reason: Sealed
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector, self.to, self.authority)


class AlarmInUse(Body):
    """The detector alarmed while it was worn."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "alarm-in-use",
        **common(17),
        "detector": "detector:D-017",
        "channel": "H2S",
        "peak": "14",
    }
    kind: Literal["alarm-in-use"] = "alarm-in-use"
    detector: DetectorRef
    channel: ChannelName
    alarm: Name | None = None
    peak: Dec | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)
