"""What a phone carries into the field: types of detector with the seconds that their alarms take in each
cylinder, the cylinders, and what the site rules ask of a test. Values only; ``web`` puts words to them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from pitbird.fleet import bump
from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState, OtherState, PersonState, SiteState
from pitbird.fleet.times import Ms, next_change_over
from pitbird.rules.decision import RuleSet
from pitbird.rules.delivering import Delivered, delivered
from pitbird.rules.serving import Served, problems, serving
from pitbird.science.challenge.delivery import Delivery
from pitbird.services.gate import Around
from pitbird.services.knowing import Now
from pitbird.store import book

#: Gas on for so long at most: the slowest sensors take up to 90 s (common practice, no source).
MOST_GAS_ON_S: Final = 90.0
#: Types of detector are told apart by make, model, how they draw, signals, what a pump draws, and channels.
Type = tuple[str, str, str, tuple[str, ...], str | None, tuple[ChannelFact, ...]]


@dataclass(frozen=True)
class Asks:
    """What the site rules ask of a test; None where they do not say."""

    rules: str
    version: int
    checks: tuple[str, ...]
    clean_air: bool
    cleared: bool
    tries: int | None
    least_s: int | None
    most_s: int | None


def asks_of(site: str, now: Ms) -> Asks | None:
    """What the rules in force at a site ask of a test; None where none are, or they cannot be read."""
    rules = Around(Now()).of(DetectorState(subject="", site=site)).rules_at(now)
    if rules is None or not rules.rules:
        return None
    return Asks(
        rules=rules.id,
        version=rules.version,
        checks=_words(rules, "checks-made", "checks"),
        clean_air=any(rule.predicate == "clean-air-right" for rule in rules.rules),
        cleared=any(rule.predicate == "cleared-after-test" for rule in rules.rules),
        tries=None if (spoiled := _least(rules, "attempts-within", "spoiled")) is None else spoiled + 1,
        least_s=_greatest(rules, "gas-on-at-least", "seconds"),
        most_s=_least(rules, "gas-on-within", "seconds"),
    )


def _values(rules: RuleSet, predicate: str, name: str) -> list[Any]:
    return [
        rule.parameters[name]
        for rule in rules.rules
        if rule.predicate == predicate and name in rule.parameters
    ]


def _words(rules: RuleSet, predicate: str, name: str) -> tuple[str, ...]:
    asked = {str(word) for value in _values(rules, predicate, name) for word in value}
    return tuple(check for check in bump.CHECKS if check in asked)


def _least(rules: RuleSet, predicate: str, name: str) -> int | None:
    return min((int(value) for value in _values(rules, predicate, name)), default=None)


def _greatest(rules: RuleSet, predicate: str, name: str) -> int | None:
    return max((int(value) for value in _values(rules, predicate, name)), default=None)


def over_at(site: SiteState, now: Ms) -> Ms:
    """The next change-over of a site: what was carried before it is old after it."""
    return next_change_over(now, site.zone or "UTC", site.change_overs)


def ends_ahead(site: SiteState, now: Ms, count: int = 3) -> list[Ms]:
    """The next change-overs of a site: when what is handed out now may be due back."""
    found: list[Ms] = []
    while len(found) < count:
        found.append(over_at(site, found[-1] if found else now))
    return found


def type_of(state: DetectorState) -> Type:
    """What a detector shares with those of its type."""
    from msgspec.structs import replace

    channels = tuple(replace(channel, sensor_ends=None) for channel in state.channels)
    return (state.make, state.model, state.draws, state.signals, state.pump_l_min, channels)


def plan_of(kind: Type) -> dict[str, Any]:
    """The plan of a test of any detector of a type."""
    make, model, draws, signals, _pump, channels = kind
    state = DetectorState(subject="", make=make, model=model, draws=draws, signals=signals, channels=channels)
    plan: dict[str, Any] = {**bump.plan(state)}
    del plan["detector"]
    return plan


def regulators() -> dict[str, OtherState]:
    """Every regulator of the book; there are few."""
    found = Now().some(book.subjects("regulator")).values()
    return {state.subject: state for state in found if isinstance(state, OtherState)}


def in_gas(
    kind: Type, cylinder: CylinderState, least_s: int | None, fitted: OtherState | None = None
) -> dict[str, Any]:
    """A type in the gas of a cylinder: whether it serves, how long it must be on, when each alarm comes. The
    regulator fitted says whether air is drawn in beside the gas, and what its hose takes."""
    _make, _model, draws, _signals, pump, channels = kind
    way = delivered(draws, pump, fitted)
    served = serving(channels, cylinder.components, cylinder.balance, MOST_GAS_ON_S, delivery=way.delivery)
    least_s = math.ceil(least_s + way.delivery.delay_s) if least_s else least_s
    asked = [each for each in served if each.channel.must_show is not None]
    answers = [each.serves for each in asked]
    times = [
        alarm.time_lean_s
        for each in asked
        if each.serves and (alarm := each.asked) is not None and alarm.time_lean_s is not None
    ]
    needed = max([math.ceil(max(times)), least_s or 0]) if times else None
    return {
        "serves": _serves(answers),
        "needed_s": needed,
        "channels": {each.channel.name: _channel(each, cylinder, way) for each in asked},
    }


def _serves(answers: Sequence[bool | None]) -> str:
    if not answers or None in answers:
        return "cannot-tell"
    return "serves" if all(answers) else "in-part" if any(answers) else "not"


def _channel(served: Served, cylinder: CylinderState, way: Delivered) -> dict[str, Any]:
    alarm = served.asked
    must = served.channel.must_show
    told: dict[str, Any] = {
        "serves": served.serves,
        "alarm": must.name if must else None,
        "expected_s": _tenths(alarm.time_s) if alarm else None,
        "lean_s": _tenths(alarm.time_lean_s) if alarm else None,
    }
    if not served.serves:
        why = _problems(served, cylinder.components, cylinder.balance, way.delivery)
        told["why"] = [*([way.finding] if way.finding else []), *why]
    return told


@lru_cache(maxsize=4096)
def _problems(served: Served, components: Any, balance: str, delivery: Delivery) -> tuple[str, ...]:
    return problems(served, components, balance, MOST_GAS_ON_S, delivery)


def _tenths(seconds: float | None) -> float | None:
    return None if seconds is None else math.ceil(seconds * 10) / 10


def cylinders_at(site: str, states: Iterable[CylinderState]) -> list[CylinderState]:
    """The cylinders in use at a site, the latest opened first, and then those that stand there."""
    found = [
        state for state in states if state.emptied_at is None and (in_use(state, site) or state.site == site)
    ]
    return sorted(found, key=lambda each: (not in_use(each, site), -(each.opened_at or 0), each.subject))


def in_use(state: CylinderState, site: str) -> bool:
    """Whether a cylinder is in use at a site."""
    return state.opened_at is not None and state.opened_site == site and state.emptied_at is None


def last_used(cylinders: Iterable[CylinderState]) -> str | None:
    """The cylinder with the latest test; None where none was tested with."""
    tested = [state for state in cylinders if state.last_test_at is not None]
    return max(tested, key=lambda each: each.last_test_at or 0).subject if tested else None


def staff(now_day: str) -> list[PersonState]:
    """The people who have not left, by code."""
    people = (state for state in Now().all_of(PersonState) if state.left is None or state.left >= now_day)
    return sorted(people, key=lambda each: each.subject)


def elsewhere(site: str) -> Mapping[str, str]:
    """The site of every detector that belongs to another, by subject."""
    return {state.subject: state.site or "" for state in Now().all_of(DetectorState) if state.site != site}
