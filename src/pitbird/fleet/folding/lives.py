"""The lives of a detector's sensors, from tests and calibrations: known good since, good until, failed when.

A sensor is known to be good only where gas showed it: a life begins with the first test or calibration that
did, and begins anew when the sensor was replaced, repaired or adjusted. Its failure lies somewhere after the
last time it was shown to be good, and no later than the first time it was not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import Any

from msgspec.structs import replace

from pitbird.fleet.folding.item import Item
from pitbird.fleet.state import LIVES_KEPT, DetectorState, LifeFact, TestFact
from pitbird.fleet.times import Ms


def handed_out_ms(state: DetectorState, at: Ms) -> int:
    """For how long the detector had been handed out, over all its time, by an instant."""
    custody = state.custody
    running = at - custody.begun if custody is not None and custody.holder is not None else 0
    return state.handed_out_ms + max(running, 0)


def tested(state: DetectorState, fact: TestFact) -> DetectorState:
    """The lives after a test that counts; a spoiled one says nothing about a sensor."""
    if fact.outcome == "spoiled" or not fact.counts or not fact.shown:
        return state
    lives, used = list(state.lives), handed_out_ms(state, fact.at)
    for shown in fact.shown:
        if shown.reached:
            _good(lives, shown.channel, fact.at, used)
        else:
            _failed(lives, shown.channel, fact.at, used, "test", fact.entry)
    return replace(state, lives=tuple(lives[:LIVES_KEPT]))


def calibrated(state: DetectorState, item: Item) -> DetectorState:
    """The lives after a calibration: what was found outside has failed, what was adjusted begins anew."""
    lives, at = list(state.lives), item.order_at
    used = handed_out_ms(state, at)
    tolerance = item.body.get("tolerance_pct")
    for channel in item.body["channels"]:
        name, found = channel["channel"], found_within(channel, tolerance)
        if found is False:
            _failed(lives, name, at, used, "calibration", item.id)
        elif found:
            _good(lives, name, at, used)
        if channel.get("adjusted", "yes") == "yes":
            _ended(lives, {name}, at)
            if channel["result"] == "within":
                _good(lives, name, at, used)
    return replace(state, lives=tuple(lives[:LIVES_KEPT]))


def found_within(channel: Mapping[str, Any], tolerance_pct: str | None) -> bool | None:
    """Whether a channel was found within its tolerance of the applied gas; None where that is not said.

    The tolerance is taken relative to the gas applied, as certificates give it. A channel that could not be
    brought within it was outside.
    """
    if channel["result"] == "outside":
        return False
    if tolerance_pct is None or channel.get("as_found") is None:
        return None
    applied, found = Decimal(channel["applied"]), Decimal(channel["as_found"])
    return abs(found - applied) * 100 <= abs(applied) * Decimal(tolerance_pct)


def restarted(state: DetectorState, at: Ms, channels: Iterable[str] = ()) -> DetectorState:
    """The lives after something was replaced or repaired: of these channels, or of all if none is named."""
    lives = list(state.lives)
    _ended(lives, set(channels) or {life.channel for life in lives}, at)
    return replace(state, lives=tuple(lives))


def explained(state: DetectorState, answers: set[str], cause: str) -> DetectorState:
    """The lives after a failure was answered with its cause."""
    if not any(life.failed_by in answers for life in state.lives):
        return state
    lives = (replace(life, cause=cause) if life.failed_by in answers else life for life in state.lives)
    return replace(state, lives=tuple(lives))


def _good(lives: list[LifeFact], channel: str, at: Ms, used: int) -> None:
    def later(life: LifeFact) -> LifeFact:
        return replace(life, good_until=at, used_good=used) if at > life.good_until else life

    if not _change(lives, channel, later):
        lives.insert(0, LifeFact(channel=channel, since=at, good_until=at, used_since=used, used_good=used))


def _failed(lives: list[LifeFact], channel: str, at: Ms, used: int, at_a: str, entry: str) -> None:
    _change(
        lives,
        channel,
        lambda life: replace(life, failed_at=at, used_failed=used, failed_at_a=at_a, failed_by=entry),
    )


def _ended(lives: list[LifeFact], channels: set[str], at: Ms) -> None:
    for channel in channels:
        _change(lives, channel, lambda life: replace(life, ended_at=at))


def _change(lives: list[LifeFact], channel: str, change: Callable[[LifeFact], LifeFact]) -> bool:
    """Change the life of a channel that still runs; whether there was one."""
    for place, life in enumerate(lives):
        if life.channel == channel:
            if life.failed_at is not None or life.ended_at is not None:
                return False
            lives[place] = change(life)
            return True
    return False
