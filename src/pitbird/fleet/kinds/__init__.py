"""The kinds of entry: typed, versioned, each with an example; together the vocabulary of the book."""

from __future__ import annotations

from typing import Any, Final

from pitbird.fleet.kinds.audits import AuditClosed, AuditOpened
from pitbird.fleet.kinds.base import Body
from pitbird.fleet.kinds.devices import Device, DeviceEnded
from pitbird.fleet.kinds.gas_stock import (
    CylinderEmptied,
    CylinderOpened,
    CylinderQuarantined,
    CylinderReceived,
    CylinderReleased,
    GaugeRead,
)
from pitbird.fleet.kinds.gas_tests import BumpTest, Calibration, FreshAirSet
from pitbird.fleet.kinds.ledger import (
    Correction,
    Epoch,
    Erasure,
    Genesis,
    KeyChanged,
    Note,
    RulesAdopted,
    Training,
)
from pitbird.fleet.kinds.life import (
    AlarmInUse,
    HandedBack,
    HandedOut,
    Happened,
    IssuedUntested,
    OutOfService,
    Repaired,
    ReturnedToService,
)
from pitbird.fleet.kinds.look_back import LookBack
from pitbird.fleet.kinds.things import Cylinder, Detector, Person, Regulator, Sensor, Site

ALL: Final[tuple[type[Body], ...]] = (
    Genesis, Site, Person, Detector, Sensor, Regulator, Cylinder,
    HandedOut, HandedBack, BumpTest, FreshAirSet, Calibration, Happened,
    OutOfService, Repaired, ReturnedToService, IssuedUntested, AlarmInUse,
    CylinderReceived, CylinderOpened, GaugeRead, CylinderEmptied, CylinderQuarantined, CylinderReleased,
    Training, LookBack, RulesAdopted, Note, Correction, Erasure, Epoch, KeyChanged,
    AuditOpened, AuditClosed, Device, DeviceEnded,
)  # fmt: skip

KINDS: Final[dict[str, type[Body]]] = {kind.model_fields["kind"].default: kind for kind in ALL}


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema of one kind, with its example."""
    model = KINDS[kind]
    return {**model.model_json_schema(), "examples": [model.EXAMPLE]}


def schemas() -> dict[str, dict[str, Any]]:
    """The JSON Schemas of all kinds, by name."""
    return {kind: schema(kind) for kind in KINDS}
