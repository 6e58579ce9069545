"""Whether the gas of a test could set off the alarms that it had to, by the physics of sensor and gas."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from math import floor
from typing import Any

from pitbird.fleet.state import ChannelFact, ComponentFact, CylinderState, ShownFact
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Facts,
    Kind,
    Parameter,
    Scope,
    known_cylinder,
    predicate,
)
from pitbird.rules.predicates.met import Met, once
from pitbird.rules.predicates.reaching import reached_by
from pitbird.rules.serving import serve
from pitbird.science.challenge.delivery import STRAIGHT, Delivery
from pitbird.science.challenge.judging import AlarmFound
from pitbird.science.gases import gas_of, same_gas


@predicate(
    "gas-sets-off-alarms",
    Scope.TEST,
    parameters=(
        Parameter("probability", Kind.DECIMAL, "with which each alarm must come while the gas is on"),
    ),
    codes={
        "gas-sets-off-alarms": Code(MET),
        "bare-report": Code(NOT_APPLICABLE),
        "gas-not-recorded": Code(NOT_MET, "test"),
        "cylinder-not-known": Code(UNKNOWN, "describe-cylinder"),
        "alarm-not-judged": Code(UNKNOWN, "describe-detector"),
        "alarm-out-of-reach": Code(NOT_MET, "test-other-cylinder"),
        "gas-off-too-soon": Code(NOT_MET, "test-longer"),
        "alarm-may-not-come": Code(NOT_MET, "test-other-cylinder"),
    },
)
def gas_sets_off_alarms(attempt: Attempt, rule: Bound) -> Finding:
    """For every channel that had to show an alarm the gas, by its certificate, brings that alarm within the
    time for which it was on: with the leanest gas that the certificate allows and the slowest sensor that
    counts as healthy, and with a given probability. Other components than the channel's own gas do not
    count. Where air is drawn in beside the gas, what reaches the sensors is judged, and a hose takes its time
    from the gas. A channel whose response time the book does not say cannot be judged."""
    met, known = attempt.met, {name: cylinder for name, cylinder, _ in attempt.gas}
    cylinders = [known.get(name) for name in met.cylinders]
    code, facts = _judged(rule, met, *cylinders, *[_one(each.delivery) for each in reached_by(attempt)])
    if code:
        return rule.finds(code, facts, (attempt.test.entry,))
    return _nothing_recorded(attempt, rule) or rule.finds("gas-sets-off-alarms")


@lru_cache(maxsize=4096)
def _one(way: Delivery) -> Delivery:
    """Of equal ones the one met first: answers are kept by identity."""
    return way


@once
def _judged(rule: Bound, met: Met, *around: Any) -> tuple[str, Facts]:
    """Code and facts of the first channel whose alarm does not come, else of the first that cannot be judged;
    no code where every alarm comes. ``around`` are the cylinders met, then how their gas came, if it was not
    straight, for each channel shown."""
    known: dict[str, CylinderState | None] = dict(zip(met.cylinders, around, strict=False))
    ways: tuple[Delivery, ...] = around[len(met.cylinders) :] or (STRAIGHT,) * len(met.shown)
    required = float(Decimal(rule.values["probability"]))
    doubt: tuple[str, Facts] | None = None
    for (channel, shown), way in zip(met.shown, ways, strict=True):
        cylinder = known[shown.cylinder]
        if cylinder is None:
            doubt = doubt or ("cylinder-not-known", (("cylinder", shown.cylinder),))
            continue
        # Whole seconds, rounded down: gas that was on for longer than this was on for at least this.
        seconds = float(max(floor(shown.gas_on_s), 1))
        served = serve(channel, cylinder.components, cylinder.balance, seconds, required, way)
        if served.found is None:
            facts = (("channel", channel.name), ("cylinder", shown.cylinder), ("why", "; ".join(served.why)))
            doubt = doubt or ("alarm-not-judged", facts)
            continue
        alarm = served.asked
        code = _code(alarm, required)
        if code and alarm is not None:
            return code, _facts(channel, shown, alarm, served.found.reading.own, seconds)
    return doubt or ("", ())


def _code(alarm: AlarmFound | None, required: float) -> str:
    if alarm is None or (alarm.trips and alarm.probability >= required):
        return ""
    if alarm.time_lean_s is None:
        return "alarm-out-of-reach"
    return "alarm-may-not-come" if alarm.trips else "gas-off-too-soon"


def _facts(channel: ChannelFact, shown: ShownFact, alarm: AlarmFound, reads: float, seconds: float) -> Facts:
    return (
        ("channel", channel.name),
        ("cylinder", shown.cylinder),
        ("alarm", alarm.name),
        ("at", f"{alarm.at:g}"),
        ("unit", channel.unit),
        ("reads", f"{reads:.3g}"),
        ("seconds", f"{seconds:g}"),
        ("needs", "" if alarm.time_lean_s is None else f"{alarm.time_lean_s:.1f}"),
        ("probability", f"{alarm.probability:.3f}"),
    )


@predicate(
    "methane-shown-methane",
    Scope.TEST,
    codes={
        "methane-shown-methane": Code(MET),
        "no-methane-channel": Code(NOT_APPLICABLE),
        "bare-report": Code(NOT_APPLICABLE),
        "gas-not-recorded": Code(NOT_MET, "test"),
        "cylinder-not-known": Code(UNKNOWN, "describe-cylinder"),
        "methane-by-another-gas": Code(NOT_MET, "show-methane"),
    },
)
def methane_shown_methane(attempt: Attempt, rule: Bound) -> Finding:
    """A catalytic channel set up for methane was shown methane. Methane is the hardest to oxidise, so that a
    poisoned bead loses it first: it can have lost most of it and still answer another gas."""
    beads = _methane_beads(attempt.detector.channels)
    if not beads:
        return rule.finds("no-methane-channel")
    met = [shown for shown in attempt.test.shown if shown.channel in beads]
    if not met and (absent := _nothing_recorded(attempt, rule)):
        return absent
    for shown in met:
        cylinder = known_cylinder(attempt, shown.cylinder)
        if cylinder is None:
            return rule.finds("cylinder-not-known", (("cylinder", shown.cylinder),), (attempt.test.entry,))
        if not _holds_methane(cylinder.components):
            other = _burning(cylinder.components)
            facts = (("channel", shown.channel), ("cylinder", shown.cylinder), ("gas", other))
            return rule.finds("methane-by-another-gas", facts, (attempt.test.entry,))
    return rule.finds("methane-shown-methane")


@once
def _methane_beads(channels: tuple[ChannelFact, ...]) -> tuple[str, ...]:
    return tuple(
        channel.name
        for channel in channels
        if channel.principle == "catalytic" and same_gas(channel.gas, "methane")
    )


@once
def _holds_methane(components: tuple[ComponentFact, ...]) -> bool:
    return any(same_gas(component.gas, "methane") for component in components)


def _burning(components: tuple[ComponentFact, ...]) -> str:
    named = [
        component.gas
        for component in components
        if (known := gas_of(component.gas)) and known.lfl_iec and component.unit == "vol_pct"
    ]
    return ", ".join(named)


def _nothing_recorded(attempt: Attempt, rule: Bound) -> Finding | None:
    """What is found where the gas that channels met is not on record; None where it is."""
    met = attempt.met
    if not met.absent and met.asked:
        return None
    if attempt.reported:
        return rule.finds("bare-report")
    return rule.finds("gas-not-recorded", (("channels", ", ".join(met.absent)),), (attempt.test.entry,))
