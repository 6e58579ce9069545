"""When a detector's sensors were put in, as far as the book knows it: what their age is counted from.

It is known from an entry that a sensor was changed, from the day that a description gives for it, and from
the day on which a detector was first switched on where it was described soon after. Where none of these tells
it, it is not known: how long a detector stands in the book is no sensor's age.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from msgspec.structs import replace

from pitbird.fleet.folding.item import Item
from pitbird.fleet.folding.lives import handed_out_ms
from pitbird.fleet.state import FITTED_KEPT, DetectorState, FittedFact, LifeFact
from pitbird.fleet.times import DAY, Ms, ms_of

#: Described no later than this after it was switched on, a detector has its first sensors: a change before it
#: stood in the book would not be known.
SOON: Final = 31 * DAY
#: A day that is told without its hour and zone is about so long, to either side.
_ABOUT: Final = 36 * 3_600_000


def changed(
    state: DetectorState,
    item: Item,
    channels: Iterable[str],
    *,
    sensor: str | None = None,
    clear: bool = True,
) -> DetectorState:
    """The state after sensors were changed: of these channels, or of all if none is named. ``clear`` is false
    where it is not said which of them."""
    if state.fitted is None:
        return state
    facts, at = list(state.fitted), item.order_at
    used = handed_out_ms(state, at)
    named: list[str | None] = [*channels]
    for channel in named or [None]:
        if sensor is not None and any(fact.sensor == sensor and fact.channel == channel for fact in facts):
            latest = next(fact for fact in facts if fact.channel in (None, channel))
            if latest.sensor == sensor:
                continue  # described again
        facts.insert(
            0, FittedFact(channel, at, at if clear else None, used if clear else None, sensor=sensor)
        )
    return _kept(state, facts)


def described(state: DetectorState, item: Item, before: DetectorState) -> DetectorState:
    """The state after a description, which may tell when sensors were put in; ``before`` is the one before.
    Another serial number is another detector, of whose sensors only the description tells."""
    if state.fitted is None:
        return state
    facts, at = list(state.fitted), item.order_at
    another = before.described_by is not None and before.serial != state.serial
    if another:
        facts.insert(0, FittedFact(None, at, None))
    first = _day(item.body.get("activated"), at)
    if first is not None and at - first > SOON:
        first = None
    for channel in item.body["channels"]:
        fitted = _day(channel.get("sensor_fitted"), at)
        if fitted is None:
            fitted = first
        if fitted is not None:
            facts = _told(facts, channel["name"], fitted, at, another=another)
    return _kept(state, facts)


def _told(facts: list[FittedFact], channel: str, fitted: Ms, at: Ms, *, another: bool) -> list[FittedFact]:
    """The facts with one more, told by its day; the newest description of a sensor holds."""
    if another:
        return [FittedFact(channel, at, fitted, by_day=True), *facts]
    if any(fact.channel in (None, channel) and _is(fact, fitted) for fact in facts):
        return facts
    kept = [fact for fact in facts if not (fact.channel == channel and fact.by_day and fact.since > fitted)]
    return [FittedFact(channel, fitted, fitted, by_day=True), *kept]


def _is(fact: FittedFact, fitted: Ms) -> bool:
    return fact.fitted is not None and abs(fact.fitted - fitted) < _ABOUT


def _kept(state: DetectorState, facts: list[FittedFact]) -> DetectorState:
    facts.sort(key=lambda fact: -fact.since)
    return replace(state, fitted=tuple(facts[:FITTED_KEPT]))


def _day(text: str | None, by: Ms) -> Ms | None:
    """The beginning of a day, UTC; None where none is given, or one that has not come yet."""
    if text is None:
        return None
    begins = ms_of(f"{text}T00:00:00.000Z")
    return min(begins, by) if begins <= by + DAY else None


def put_in(state: DetectorState, life: LifeFact) -> FittedFact | None:
    """What is known of when the sensor of a life was put in: None where nothing is, or where the description
    says that another took its place while it ran."""
    ends = life.good_until if life.failed_at is None else life.failed_at
    for fact in state.fitted or ():
        if fact.channel not in (None, life.channel):
            continue
        if fact.since <= life.since:
            return fact if fact.fitted is not None else None
        # On its day, or about it, the sensor before it may still have been tested.
        if fact.since + (_ABOUT if fact.by_day else 0) < ends:
            return None
    return None
