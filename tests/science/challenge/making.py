"""A four-gas detector and the gas that goes with it, for the tests of this folder."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pitbird.science.challenge.values import Alarm, Component, Mixture, Sensor

METHANE = Sensor(
    "LEL", "methane", "catalytic", "pct_lfl", 0, 30, (Alarm("A1", 10), Alarm("A2", 20)), 15, 2, 5
)
CO = Sensor(
    "CO", "carbon monoxide", "electrochemical", "ppm", 0, 30, (Alarm("A1", 30), Alarm("A2", 60)), 20, 0, 4
)
H2S = Sensor(
    "H2S", "hydrogen sulfide", "electrochemical", "ppm", 0, 30, (Alarm("A1", 5), Alarm("A2", 10)), 20, 0, 4
)
OXYGEN = Sensor(
    "O2", "oxygen", "oxygen", "vol_pct", 20.9, 15, (Alarm("A1", 19.5), Alarm("high", 23.5, "none")), 8, 0, 1
)
FOUR = (METHANE, CO, H2S, OXYGEN)

QUAD = Mixture(
    (
        Component("methane", 2.5, "vol_pct", 2),
        Component("carbon monoxide", 100, "ppm", 2),
        Component("hydrogen sulfide", 25, "ppm", 5),
        Component("oxygen", 18, "vol_pct", 1),
    )
)


def mixture(
    *components: tuple[str, float, str] | tuple[str, float, str, float], balance: str = "nitrogen"
) -> Mixture:
    """A mixture from gas, amount, unit and, where there is one, expanded uncertainty."""
    return Mixture(tuple(Component(*component) for component in components), balance)


def sensor(base: Sensor, **changes: Any) -> Sensor:
    """A sensor like another, with changes."""
    return replace(base, **changes)


def alarm(at: float) -> tuple[Alarm, ...]:
    """One alarm that gas must show."""
    return (Alarm("A1", at),)
