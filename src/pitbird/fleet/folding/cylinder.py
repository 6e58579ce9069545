"""The fold of a cylinder of test gas."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Final

from msgspec.structs import replace

from pitbird.fleet.folding.item import Item, counted, runs_ahead
from pitbird.fleet.state import (
    EVENTS_KEPT,
    FAILURES_KEPT,
    SPANS_KEPT,
    TESTS_ON_KEPT,
    ComponentFact,
    CylinderState,
    FailedOn,
    GaugeFact,
    Span,
    TestedOn,
)
from pitbird.fleet.times import Ms, ms_of


def fold_cylinder(state: CylinderState, item: Item) -> CylinderState:
    """The cylinder's state after one more entry about it."""
    state = counted(state, item)
    step = _STEPS.get(item.kind)
    if step is None:
        return replace(state, not_understood=(*state.not_understood, item.id)[-SPANS_KEPT:])
    if not item.counts and item.kind == "cylinder-released":
        return replace(state, doubtful=(*state.doubtful, item.id)[-EVENTS_KEPT:])
    return step(state, item)


def _described(state: CylinderState, item: Item) -> CylinderState:
    body = item.body
    return replace(
        state,
        described_by=item.id,
        lot=body.get("lot"),
        certificate=body.get("certificate"),
        components=tuple(
            ComponentFact(
                gas=component["gas"],
                amount=component["amount"],
                unit=component["unit"],
                expanded_uncertainty_pct=component.get("expanded_uncertainty_pct"),
                label_pct_lfl=component.get("label_pct_lfl"),
                label_lfl_vol_pct=component.get("label_lfl_vol_pct"),
            )
            for component in body["components"]
        ),
        balance=body["balance"],
        traceable_to=body.get("traceable_to"),
        made=body.get("made"),
        expires=body["expires"],
        water_capacity_l=body.get("water_capacity_l"),
        free_gas_l=body.get("free_gas_l"),
        full_pressure_bar=body.get("full_pressure_bar"),
        minimum_pressure_bar=body["minimum_pressure_bar"],
        minimum_temperature_c=body.get("minimum_temperature_c"),
        site=state.site or body["home"],
    )


def _gauge(state: CylinderState, at: Ms, bar: str, entry: str) -> CylinderState:
    readings = sorted((GaugeFact(at=at, bar=bar, entry=entry), *state.gauges), key=lambda g: (-g.at, g.entry))
    return replace(state, gauges=tuple(readings[:SPANS_KEPT]))


def _read(state: CylinderState, item: Item, at: Ms, bar: str) -> CylinderState:
    """The state after a needle was read. Where the clock is in doubt the needle is not: too low counts from
    when it was recorded; that there was enough says nothing of any time."""
    if item.believed and not runs_ahead(at, item.recorded_at):
        return _gauge(state, at, bar, item.id)
    return _gauge(state, item.order_at, bar, item.id) if _below_minimum(state, bar) else state


def _received(state: CylinderState, item: Item) -> CylinderState:
    return replace(state, received_at=item.order_at, site=item.body["at_site"])


def _opened(state: CylinderState, item: Item) -> CylinderState:
    body = item.body
    state = replace(
        state,
        opened_at=item.order_at,
        opened_site=body["at_site"],
        site=body["at_site"],
        regulator=body.get("regulator"),
    )
    return _read(state, item, item.order_at, body["gauge_bar"]) if "gauge_bar" in body else state


def _emptied(state: CylinderState, item: Item) -> CylinderState:
    first = item.order_at if state.emptied_at is None else min(state.emptied_at, item.order_at)
    return replace(state, emptied_at=first, emptied_by=state.emptied_by or item.id)


def _quarantined(state: CylinderState, item: Item) -> CylinderState:
    since = item.body.get("since")
    begun = min(ms_of(since), item.order_at) if since else item.order_at
    span = Span(since=begun, until=None, entry=item.id, because=item.body["because"])
    return replace(state, withdrawn=_kept((span, *state.withdrawn)))


def _kept(spans: tuple[Span, ...]) -> tuple[Span, ...]:
    """So many quarantines: every one that lasts, and of those that ended the latest to end."""
    ended = [span for span in spans if span.until is not None]
    over = len(spans) - SPANS_KEPT
    dropped = {span.entry for span in sorted(ended, key=_until)[:over]} if over > 0 else set()
    return tuple(span for span in spans if span.entry not in dropped)


def _until(span: Span) -> Ms:
    return span.until or Ms(0)


def _released(state: CylinderState, item: Item) -> CylinderState:
    answers = set(item.body["answers"])
    spans = tuple(
        replace(span, until=item.order_at) if span.entry in answers and span.until is None else span
        for span in state.withdrawn
    )
    failures = tuple(
        replace(failure, until=item.order_at)
        if failure.entry in answers and failure.until is None
        else failure
        for failure in state.failures
    )
    return replace(state, withdrawn=spans, failures=failures)


def _tested(state: CylinderState, item: Item) -> CylinderState:
    outcome = item.body["outcome"]
    mine = [a for a in item.body.get("applications", ()) if a["cylinder"] == state.subject]
    for application in mine:
        on, off = ms_of(application["gas_on"]), ms_of(application["gas_off"])
        state = replace(
            state,
            tests=state.tests + 1,
            gas_on_ms=state.gas_on_ms + max(0, off - on),
            last_test_at=max(state.last_test_at or item.order_at, item.order_at),
        )
        bar = application.get("gauge_bar")
        if bar is not None:
            state = _read(state, item, on, bar)
    if not mine:
        return state
    if outcome == "spoiled":
        return replace(state, spoiled=state.spoiled + 1)
    # Which channel missed does not matter: a cylinder that is running out may fail any of them.
    failed = outcome == "failed" or _contradicts_itself(item)
    if not failed and not item.counts:
        return state  # a pass whose clock is in doubt ends no row of failures
    return _counted_on(state, item, failed=failed)


def _contradicts_itself(item: Item) -> bool:
    """Whether a test that is said to have passed records an alarm that did not come."""
    return any(
        channel["reached"] == "no"
        for application in item.body.get("applications", ())
        for channel in application.get("channels", ())
    )


def _below_minimum(state: CylinderState, bar: str) -> bool:
    minimum = state.minimum_pressure_bar
    return minimum is not None and Decimal(bar) < Decimal(minimum)


def _counted_on(state: CylinderState, item: Item, *, failed: bool) -> CylinderState:
    """Keep the latest tests on the cylinder, and what each failed one says about a question to the gas."""
    test = TestedOn(at=item.order_at, detector=item.body["detector"], failed=failed)
    recent = (test, *state.recent)[:TESTS_ON_KEPT]
    state = replace(state, recent=recent)
    if not failed:
        return state
    row = next((place for place, one in enumerate(recent) if not one.failed), len(recent))
    failure = FailedOn(
        entry=item.id,
        at=item.order_at,
        detector=test.detector,
        in_a_row=row,
        detectors=len({one.detector for one in recent if one.failed}),
    )
    failures = (failure, *state.failures)
    if len(failures) > FAILURES_KEPT:
        # What is still open outlives what has been answered.
        answered = [one for one in failures if one.until is not None]
        kept = [one for one in failures if one.until is None]
        failures = tuple((kept + answered)[:FAILURES_KEPT])
    return replace(state, fails=state.fails + 1, failures=failures)


def _nothing(state: CylinderState, item: Item) -> CylinderState:
    return state


_STEPS: Final[dict[str, Callable[[CylinderState, Item], CylinderState]]] = {
    "cylinder": _described,
    "cylinder-received": _received,
    "cylinder-opened": _opened,
    "gauge-read": lambda state, item: _read(state, item, item.order_at, item.body["gauge_bar"]),
    "cylinder-emptied": _emptied,
    "cylinder-quarantined": _quarantined,
    "cylinder-released": _released,
    "bump-test": _tested,
    "calibration": _nothing,
    "look-back": _nothing,
    "note": _nothing,
    "erasure": _nothing,
}
