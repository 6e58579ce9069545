"""Entries of a cylinder's life: received, opened, gauge read, emptied, quarantined, released."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from pitbird.fleet.kinds.base import (
    Body,
    CylinderRef,
    Dec,
    EntryId,
    Instant,
    RegulatorRef,
    Sealed,
    SiteRef,
    common,
)


class _OfCylinder(Body):
    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    cylinder: CylinderRef
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.cylinder,)


class CylinderReceived(_OfCylinder):
    """A cylinder arrives at a site."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "cylinder-received",
        **common(18),
        "cylinder": "cylinder:C-112",
        "at_site": "site:north-works",
    }
    kind: Literal["cylinder-received"] = "cylinder-received"
    at_site: SiteRef


class CylinderOpened(_OfCylinder):
    """A cylinder is put to use at a site, with the regulator fitted."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "cylinder-opened",
        **common(19),
        "cylinder": "cylinder:C-112",
        "at_site": "site:north-works",
        "regulator": "regulator:R-03",
        "gauge_bar": "68",
    }
    kind: Literal["cylinder-opened"] = "cylinder-opened"
    at_site: SiteRef
    regulator: RegulatorRef | None = None
    gauge_bar: Dec | None = None


class GaugeRead(_OfCylinder):
    """The pressure that the gauge shows, in bar (gauge)."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "gauge-read",
        **common(20),
        "cylinder": "cylinder:C-112",
        "gauge_bar": "41",
    }
    kind: Literal["gauge-read"] = "gauge-read"
    gauge_bar: Dec


class CylinderEmptied(_OfCylinder):
    """A cylinder is used up, or given up; it serves no test from then on."""

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "cylinder-emptied",
        **common(21),
        "cylinder": "cylinder:C-112",
    }
    kind: Literal["cylinder-emptied"] = "cylinder-emptied"


class CylinderQuarantined(_OfCylinder):
    """A cylinder is in doubt and serves no test until the question is answered.

    ``since`` may lie before the entry: tests made from then on do not count either.
    """

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "cylinder-quarantined",
        **common(22),
        "cylinder": "cylinder:C-112",
        "because": "suspect-contents",
    }
    kind: Literal["cylinder-quarantined"] = "cylinder-quarantined"
    because: Literal["suspect-contents", "leak", "damaged", "no-certificate", "recalled", "other"]
    since: Instant | None = None


class CylinderReleased(_OfCylinder):
    """The question about a cylinder is answered; it may serve again.

    ``answers`` are the entries that asked: a quarantine, or a failed test after which the rules ask about
    the gas before they ask about the detectors.
    """

    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "cylinder-released",
        **common(23),
        "cylinder": "cylinder:C-112",
        "answers": ["0195a000-0000-7000-8000-000000000016"],
    }
    kind: Literal["cylinder-released"] = "cylinder-released"
    answers: Annotated[tuple[EntryId, ...], Field(min_length=1, max_length=64)]
