"""The fold of a detector."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from operator import attrgetter
from typing import Any, Final, TypeVar

from msgspec.structs import replace

from pitbird.fleet import bump
from pitbird.fleet.folding import fitting, lives
from pitbird.fleet.folding.item import Item, counted
from pitbird.fleet.state import (
    EVENTS_KEPT,
    REASONS_KEPT,
    TESTS_KEPT,
    AlarmFact,
    CalibrationFact,
    ChannelFact,
    Custody,
    DetectorState,
    EventFact,
    FailureFact,
    OtherGas,
    ReasonOut,
    ShownFact,
    TestFact,
    UntestedIssue,
)
from pitbird.fleet.times import Ms, ms_of

F = TypeVar("F", EventFact, TestFact)
_AT: Final = attrgetter("at")


def fold_detector(state: DetectorState, item: Item) -> DetectorState:
    """The detector's state after one more entry about it."""
    state = counted(state, item)
    step = _STEPS.get(item.kind)
    if step is None:
        return replace(state, not_understood=(*state.not_understood, item.id)[-REASONS_KEPT:])
    if not item.counts and item.kind != "bump-test":
        if item.kind == "calibration":  # whenever it was, what passed before it has been altered
            state = _event(state, item, "calibration")
        return _in_doubt(state, item)
    return step(state, item)


def _in_doubt(state: DetectorState, item: Item) -> DetectorState:
    return replace(state, doubtful=(*state.doubtful, item.id)[-EVENTS_KEPT:])


def channel_fact(channel: Mapping[str, Any]) -> ChannelFact:
    """A channel of a description as a fact."""
    return ChannelFact(
        name=channel["name"],
        gas=channel["gas"],
        principle=channel["principle"],
        unit=channel["unit"],
        range_high=channel["range_high"],
        clean_air=channel["clean_air"],
        clean_air_tolerance=channel["clean_air_tolerance"],
        alarms=tuple(
            AlarmFact(
                name=alarm["name"],
                at=alarm["at"],
                direction=alarm.get("direction", "rising"),
                shown_by=alarm.get("shown_by", "gas"),
            )
            for alarm in channel["alarms"]
        ),
        lfl_basis=channel.get("lfl_basis"),
        sensor_ends=channel.get("sensor_ends"),
        t90_s=channel.get("t90_s"),
        t90_fast_s=channel.get("t90_fast_s"),
        other_gases=tuple(OtherGas(**each) for each in channel.get("other_gases", ())),
    )


def _described(state: DetectorState, item: Item) -> DetectorState:
    body = item.body
    channels = tuple(channel_fact(channel) for channel in body["channels"])
    signals = tuple(body["signals"])
    changed = state.described_by is not None and (channels, signals) != (state.channels, state.signals)
    before = state
    state = replace(
        state,
        described_by=item.id,
        described_at=item.order_at,
        make=body["make"],
        model=body["model"],
        serial=body["serial"],
        firmware=body.get("firmware"),
        draws=body.get("draws", "diffusion"),
        pump_l_min=body.get("pump_l_min"),
        signals=signals,
        site=body["home"],
        channels=channels,
        activated=body.get("activated"),
        life_ends=body.get("life_ends"),
        maker_calibrates=body.get("calibrated_by_maker_only", False),
    )
    state = fitting.described(state, item, before)
    return _event(state, item, "described-anew") if changed else state


def _event(state: DetectorState, item: Item, what: str) -> DetectorState:
    fact = EventFact(what=what, at=item.latest, entry=item.id)
    return replace(state, events=_newest((fact, *state.events), EVENTS_KEPT))


def _newest(facts: tuple[F, ...], kept: int) -> tuple[F, ...]:
    """So many of the facts, newest first: what is told late of long ago may count up to now."""
    return tuple(sorted(facts, key=_AT, reverse=True)[:kept])


def _out(state: DetectorState, item: Item, because: str, channels: tuple[str, ...] = ()) -> DetectorState:
    reason = ReasonOut(entry=item.id, at=item.order_at, because=because, channels=channels)
    # Never cut: only an entry that names it closes a reason.
    return replace(state, open_reasons=(reason, *state.open_reasons))


def _failed(state: DetectorState, item: Item, because: str, channels: tuple[str, ...]) -> DetectorState:
    state, former = _out(state, item, because, channels), state.last_failure
    if former is not None and former.at > item.latest:
        return state
    return replace(state, last_failure=FailureFact(entry=item.id, at=item.latest, channels=channels))


def _tested(state: DetectorState, item: Item) -> DetectorState:
    fact = tested_fact(state, item)
    state = replace(state, tests=_newest((fact, *state.tests), TESTS_KEPT))
    state = lives.tested(state, replace(fact, at=began(item)))
    if not fact.counts:
        state = _in_doubt(state, item)
    if fact.outcome == "failed":
        missed = tuple(shown.channel for shown in fact.shown if not shown.reached)
        return _failed(state, item, "test-failed", missed)
    return state


def tested_fact(state: DetectorState, item: Item) -> TestFact:
    """A bump test as a fact, its outcome settled by the detector as it was described then."""
    outcome: str = bump.settled(state, item.body)
    if state.described_by is None and outcome != "failed":
        outcome = item.body["outcome"]  # what it lacks cannot be said of a detector not described yet
    return test_fact(item, outcome)


def began(item: Item) -> Ms:
    """When a test began: its own time or its first gas on, whichever was earlier."""
    gas_on = [ms_of(application["gas_on"]) for application in item.body.get("applications", ())]
    return Ms(min([item.order_at, *gas_on]))


def test_fact(item: Item, outcome: str) -> TestFact:
    """A bump test as a fact: per channel, any *no* over its gas applications wins over a *yes*."""
    body = item.body
    shown: dict[str, ShownFact] = {}
    for application in body.get("applications", ()):
        seconds = (ms_of(application["gas_off"]) - ms_of(application["gas_on"])) / 1000
        for channel in application.get("channels", ()):
            fact = ShownFact(
                channel=channel["channel"],
                reached=channel["reached"] == "yes",
                cylinder=application["cylinder"],
                gas_on_s=seconds,
                gauge_bar=application.get("gauge_bar"),
                regulator=application.get("regulator"),
            )
            former = shown.get(fact.channel)
            if former is None or former.reached:
                shown[fact.channel] = fact
    return TestFact(
        entry=item.id,
        index=item.index,
        at=item.latest if outcome == "failed" and item.latest > item.order_at else began(item),
        by=body["by"],
        site=body.get("where"),
        outcome=outcome,
        footing=body.get("footing", "shown"),
        shown=tuple(shown.values()),
        cylinders=tuple(dict.fromkeys(a["cylinder"] for a in body.get("applications", ()))),
        signals=tuple(sorted(body.get("signals", {}).items())),
        checks=tuple(sorted(body.get("checks", {}).items())),
        clean_air=tuple((c["channel"], c.get("reading"), c["right"]) for c in body.get("clean_air", ())),
        cleared=tuple(sorted(body.get("cleared", {}).items())),
        temperature_c=body.get("temperature_c"),
        spoiled_because=body.get("spoiled_because"),
        counts=item.counts,
    )


def _calibrated(state: DetectorState, item: Item) -> DetectorState:
    body = item.body
    passed = body["result"] == "passed"
    facts = {fact.channel: fact for fact in state.calibrations}
    for channel in body["channels"]:
        facts[channel["channel"]] = CalibrationFact(
            channel=channel["channel"],
            entry=item.id,
            at=item.order_at,
            by=body["by"],
            passed=passed and channel["result"] == "within",
            cylinders=tuple(body.get("cylinders", ())),
        )
    state = _event(replace(state, calibrations=tuple(facts.values())), item, "calibration")
    state = lives.calibrated(state, item)
    if passed:
        return state
    outside = tuple(c["channel"] for c in body["channels"] if c["result"] == "outside")
    return _failed(state, item, "calibration-failed", outside)


def _happened(state: DetectorState, item: Item) -> DetectorState:
    state = _event(state, item, item.body["what"])
    if item.body["what"] != "sensor-changed":
        return state
    channels = item.body.get("channels", ())
    return _sensor_changed(fitting.changed(state, item, channels), item, channels)


def _sensor_changed(state: DetectorState, item: Item, channels: Iterable[str]) -> DetectorState:
    return lives.restarted(_mended(state, item, "sensor-changed"), item.order_at, channels)


def _fitted(state: DetectorState, item: Item) -> DetectorState:
    channel = item.body.get("channel")
    channels = (channel,) if channel else ()
    state = fitting.changed(state, item, channels, sensor=item.body["sensor"], clear=bool(channel))
    return _sensor_changed(_event(state, item, "sensor-changed"), item, channels)


def _mended(state: DetectorState, item: Item, what: str) -> DetectorState:
    if not item.believed:  # it ends a pass, yet nobody knows whether it came after a failure
        return _in_doubt(state, item)
    fact = EventFact(what=what, at=item.order_at, entry=item.id)
    return replace(state, repairs=(fact, *state.repairs)[:EVENTS_KEPT])


def _repaired(state: DetectorState, item: Item) -> DetectorState:
    state = _event(_mended(state, item, "repaired"), item, "repaired")
    replaced = item.body.get("replaced", ())
    if replaced:
        state = fitting.changed(state, item, replaced)
    return lives.restarted(state, item.order_at, replaced)


def _returned(state: DetectorState, item: Item) -> DetectorState:
    answers = set(item.body["answers"])
    kept = tuple(reason for reason in state.open_reasons if reason.entry not in answers)
    failure = state.last_failure
    if failure is not None and failure.entry in answers:
        failure = replace(
            failure,
            answered_by=item.id,
            answered_at=item.order_at,
            cause=item.body["cause"],
            tested=item.body.get("tested"),
        )
    state = replace(state, open_reasons=kept, last_failure=failure)
    return lives.explained(state, answers, item.body["cause"])


def _to_wearer(state: DetectorState, item: Item, to: str, from_store: bool) -> Custody:
    """Who has it now. Out of the store is no hand-over; from hand to hand, or from a holder who never
    handed it back, is one."""
    before = state.custody
    held = before.holder if before else None
    over = before.handed_over_at if before else None
    if (held is not None and held != to) or (held is None and not from_store):
        over = item.latest
    due = item.body.get("due_back")
    return Custody(
        holder=to,
        since=item.latest,
        entry=item.id,
        permit=item.body.get("permit"),
        due_back=ms_of(due) if due else None,
        handed_over_at=over,
        told_at=_told_at(item),
    )


def _told_at(item: Item) -> Ms | None:
    return item.order_at if item.order_at < item.latest else None


def _held(state: DetectorState, item: Item, custody: Custody) -> DetectorState:
    """The state with somebody else, or nobody, having it; the time it was out is added up."""
    used = lives.handed_out_ms(state, item.order_at)
    return replace(state, custody=custody, handed_out_ms=used)


def _handed_out(state: DetectorState, item: Item) -> DetectorState:
    return _held(state, item, _to_wearer(state, item, item.body["to"], item.body["from_store"]))


def _handed_back(state: DetectorState, item: Item) -> DetectorState:
    over = state.custody.handed_over_at if state.custody else None
    custody = Custody(
        holder=None, since=item.latest, entry=item.id, handed_over_at=over, told_at=_told_at(item)
    )
    return replace(_held(state, item, custody), site=item.body.get("to_site", state.site))


def _issued_untested(state: DetectorState, item: Item) -> DetectorState:
    body = item.body
    issue = UntestedIssue(
        entry=item.id,
        at=item.order_at,
        to=body["to"],
        authority=body["authority"],
        until=ms_of(body["until"]),
    )
    custody = _to_wearer(state, item, body["to"], from_store=True)
    return replace(_held(state, item, custody), untested=issue)


def _nothing(state: DetectorState, item: Item) -> DetectorState:
    return state


_STEPS: Final[dict[str, Callable[[DetectorState, Item], DetectorState]]] = {
    "detector": _described,
    "bump-test": _tested,
    "fresh-air-set": lambda state, item: _event(state, item, "fresh-air-set"),
    "calibration": _calibrated,
    "happened": _happened,
    "out-of-service": lambda state, item: _out(state, item, item.body["because"]),
    "repaired": _repaired,
    "returned-to-service": _returned,
    "handed-out": _handed_out,
    "handed-back": _handed_back,
    "issued-untested": _issued_untested,
    "alarm-in-use": lambda state, item: _event(state, item, "alarm-in-use"),
    "sensor": _fitted,
    "look-back": _nothing,
    "note": _nothing,
    "erasure": _nothing,
}
