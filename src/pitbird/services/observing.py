"""The lives of sensors as observations: known good for so long, found failed by then, each in its group."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final, Literal

from pitbird.fleet.folding.fitting import put_in
from pitbird.fleet.state import ChannelFact, DetectorState, LifeFact
from pitbird.fleet.times import DAY

Clock = Literal["calendar", "handed-out"]
By = Literal["channel", "type", "site", "age", "adjusted"]

YEAR_DAYS: Final = 365.25
#: Causes of a failed test that lie outside the sensor.
NOT_THE_SENSORS: Final = frozenset({"gas-at-fault", "handling"})
#: Ages at which a sensor passes to the next group, on the clock asked for [days].
AGES: Final = (
    ("first-year", 0.0),
    ("second-year", YEAR_DAYS),
    ("third-year", 2 * YEAR_DAYS),
    ("later", 3 * YEAR_DAYS),
)
#: The group of those whose age is not known.
NOT_KNOWN: Final = "not-known"


@dataclass(frozen=True, slots=True)
class Observation:
    """One life of one sensor: good up to ``left_days``, found failed by ``right_days`` (None: still good)."""

    detector: str
    channel: str
    group: str
    left_days: float
    right_days: float | None


def observations(
    states: Iterable[DetectorState], *, by: By, clock: Clock, calibration_counts: bool
) -> Iterator[Observation]:
    """The lives of the sensors of these detectors as observations; what was never seen to live is left out.

    A failed test whose cause lay in the gas or in the handling says nothing against the sensor: the sensor
    was then good when last shown to be, and what came later is not known.
    """
    for state in states:
        channels = {channel.name: channel for channel in state.channels}
        for life in state.lives:
            channel = channels.get(life.channel)
            if channel is None:
                continue
            left, right = _ends(life, clock, calibration_counts)
            if by in {"age", "adjusted"}:
                age = 0.0 if by == "adjusted" else _age(state, life, clock)
                for group, begun, ended in by_age(age, left, right):
                    yield Observation(state.subject, life.channel, group, begun, ended)
            elif left or right is not None:
                yield Observation(state.subject, life.channel, group_of(state, channel, by), left, right)


def _age(state: DetectorState, life: LifeFact, clock: Clock) -> float | None:
    """How old a sensor was when its life was first seen [days], on the clock; None where it is not known."""
    told = put_in(state, life)
    if told is None or told.fitted is None:
        return None
    if clock == "calendar":
        return (life.since - told.fitted) / DAY
    return None if told.used is None else max(life.used_since - told.used, 0) / DAY


def by_age(age: float | None, left: float, right: float | None) -> Iterator[tuple[str, float, float | None]]:
    """A life cut where the sensor passes from one age to the next: age, and the ends from the cut on [days].

    ``age`` is that at which the life was first seen. A failure belongs to the age at which the sensor was
    last shown to be good, also where it may have failed later: so the older age never looks worse than it is
    shown to be, and the younger may.
    """
    if age is None:
        if left or right is not None:
            yield NOT_KNOWN, left, right
        return
    for place, (group, begins) in enumerate(AGES):
        ends = AGES[place + 1][1] if place + 1 < len(AGES) else float("inf")
        if age >= ends:
            continue
        # Days of the life that lie before this age: none where it was first seen in it.
        before = max(begins - age, 0.0)
        if age + left >= ends:
            yield group, ends - age - before, None
            continue
        if left > before or right is not None:
            yield group, left - before, None if right is None else right - before
        return


def _ends(life: LifeFact, clock: Clock, calibration_counts: bool) -> tuple[float, float | None]:
    failed = life.failed_at is not None and life.cause not in NOT_THE_SENSORS
    if life.failed_at_a == "calibration" and not calibration_counts:
        failed = False
    if clock == "calendar":
        end = life.failed_at if failed else None
        return (life.good_until - life.since) / DAY, None if end is None else (end - life.since) / DAY
    used = life.used_failed if failed else None
    left = (life.used_good - life.used_since) / DAY
    return left, None if used is None else (used - life.used_since) / DAY


def group_of(state: DetectorState, channel: ChannelFact, by: By) -> str:
    """What a channel is put together with."""
    if by == "channel":
        return f"{channel.gas}, {channel.principle}"
    if by == "type":
        return f"{state.make} {state.model}".strip()
    return state.site or ""
