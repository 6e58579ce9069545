"""How gas comes from a cylinder to a detector, as far as the book says: regulator, pump and hose."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from pitbird.fleet.state import OtherState
from pitbird.rules.serving import number
from pitbird.science.challenge.delivery import SECONDS_PER_METRE, STRAIGHT, Delivery, dilution


@dataclass(frozen=True, slots=True)
class Delivered:
    """What reaches a detector: ``delivery`` as the challenge is judged with, the flows that it follows from
    (None for a demand-flow regulator, or where none matters), and what the book does not say of it."""

    delivery: Delivery = STRAIGHT
    regulator_l_min: float | None = None
    pump_l_min: float | None = None
    finding: str = ""
    regulator_unknown: bool = False
    pump_unknown: bool = False


_NOT_DESCRIBED: dict[str, str] = {}


def delivered(draws: str, pump_l_min: str | None, regulator: OtherState | None) -> Delivered:
    """What reaches a detector from a regulator; None for one that is not recorded.

    Air is drawn in where a fixed-flow regulator gives less than a pump draws. A detector without a pump draws
    none. What is not known is named and not reckoned with.
    """
    known = regulator is not None and regulator.described_by is not None and not regulator.not_understood
    described: Mapping[str, str] = regulator.description if known and regulator else _NOT_DESCRIBED
    return _delivered(
        draws,
        pump_l_min,
        described.get("flow"),
        described.get("flow_l_min"),
        described.get("hose_m"),
        described.get("hose_s_per_m"),
    )


@lru_cache(maxsize=4096)
def _delivered(
    draws: str,
    pump: str | None,
    flow: str | None,
    flow_l_min: str | None,
    hose_m: str | None,
    hose_s_per_m: str | None,
) -> Delivered:
    hose, pace = number(hose_m) or 0.0, number(hose_s_per_m) or SECONDS_PER_METRE
    straight = Delivery(1.0, hose, pace)
    if draws != "pump" or flow == "demand":
        return Delivered(straight)
    given, drawn = _flow(flow_l_min), _flow(pump)
    if given is None or drawn is None:
        return Delivered(straight, given, drawn, regulator_unknown=given is None, pump_unknown=drawn is None)
    found = dilution(given, drawn)
    return Delivered(Delivery(found.share, hose, pace), given, drawn, found.finding)


def _flow(text: str | None) -> float | None:
    flow = number(text)
    return flow if flow is not None and math.isfinite(flow) and flow > 0 else None
