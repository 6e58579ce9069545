"""The calculations by name, each loaded when it is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, Final

from pitbird.calc.definition import Calculation, Refused, as_values
from pitbird.record.faults import Fault, near, shown

#: Name, and the question it answers. The module is the name with underscores.
LISTED: Final[Mapping[str, str]] = {
    "flammability": "How near is this mixture to burning in air?",
    "relative-response": "What does a catalytic sensor set up on one vapour read in another?",
    "challenge": "Does this gas, for this long, set off every alarm, and what loss could the test miss?",
    "cylinder": "How many tests are left in this cylinder?",
    "room-release": "What does test gas let into a room do to its air?",
    "failure-rate": "How often do these fail, from failures that show only at tests?",
    "test-interval": "How much failing goes undetected at this interval between tests?",
    "calibration-interval": "When is the next calibration due, by what the past ones found?",
    "look-back": "What does a failed test say about the uses before it?",
    "response-curve": "What are t50, t90 and the final reading of this record?",
}


def load(name: str) -> Calculation[Any, Any]:
    """The calculation of a name; ``Refused`` with near names where there is none."""
    if name not in LISTED:
        problem = f"no calculation of that name{near(name, LISTED)}; there are {', '.join(LISTED)}"
        raise Refused([Fault("name", shown(name), problem)])
    found: Calculation[Any, Any] = import_module(f"pitbird.calc.{name.replace('-', '_')}").CALCULATION
    return found


def answer(name: str, raw: object) -> dict[str, Any]:
    """Answer a request of plain values with plain values, as ``pitbird calc`` does.

    Raises ``Refused`` with every fault.
    """
    return as_values(load(name).answer(raw))
