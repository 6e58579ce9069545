"""One entry as the fold sees it: its place in time, and whether its clock can be believed."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final, TypeVar

import msgspec
from msgspec.structs import replace

from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState, SiteState
from pitbird.fleet.times import MINUTE, Ms, ms_of

S = TypeVar("S", DetectorState, CylinderState, PersonState, SiteState, OtherState)
CLOCK_TOLERANCE: Final = 2 * MINUTE


class Item(msgspec.Struct, frozen=True):
    """An entry ready to fold. ``order_at`` places it, ``latest`` is when it can have happened at the latest:
    what it forbids it forbids up to then. ``believed`` is false where its time is in doubt."""

    index: int
    id: str
    kind: str
    order_at: Ms
    latest: Ms
    recorded_at: Ms
    believed: bool
    body: Mapping[str, Any]

    @property
    def counts(self) -> bool:
        """False for a permission in doubt."""
        return self.believed or not permits(self.body)


def runs_ahead(at: Ms, recorded_at: Ms) -> bool:
    """Whether a time cannot be right, because it lies further after the recording than clocks may differ."""
    return at > recorded_at + CLOCK_TOLERANCE


def clock_in_doubt(body: Mapping[str, Any], recorded_at: Ms) -> bool:
    """Whether an entry's own time cannot be right: it lies after the recording, or the phone that it was
    written on knew its clock to be ahead of the server's when they last spoke."""
    if runs_ahead(ms_of(body["at"]), recorded_at):
        return True
    return _ahead(body) > CLOCK_TOLERANCE


def _ahead(body: Mapping[str, Any]) -> Decimal | int:
    """How far the phone's clock was known to be ahead (behind, if negative), in ms; 0 where nobody knows."""
    ahead = body["phone"].get("ahead_s") if "phone" in body else None
    return Decimal(ahead) * 1000 if ahead is not None else 0


def item_of(index: int, body: Mapping[str, Any], recorded_at: str) -> Item:
    """The item of an entry as it was written."""
    at, recorded = ms_of(body["at"]), ms_of(recorded_at)
    late = runs_ahead(at, recorded)
    order_at = latest = recorded if late else at
    behind = -_ahead(body)
    if behind > CLOCK_TOLERANCE:
        latest = Ms(max(order_at, min(order_at + int(behind), recorded)))
    return Item(
        index=index,
        id=body["id"],
        kind=body["kind"],
        order_at=order_at,
        latest=latest,
        recorded_at=recorded,
        believed=not (late or clock_in_doubt(body, recorded)),
        body=body,
    )


def item_instead(
    index: int,
    correction: Mapping[str, Any],
    made_at: str,
    original: tuple[Mapping[str, Any], str] | None,
) -> Item:
    """The item of what a correction puts in the place of its original (body and ``recorded_at``).

    What permits, or mends, is judged by the original: it counts only if that is known and of the same kind,
    if it was recorded no sooner than the replacement says it happened, and, where the original's own clock
    cannot be right, if a second person says when it happened. The correction's own time would prove nothing:
    any wrong clock is right once the hours have passed. What forbids counts as the correction says.
    """
    # Whoever corrects says when it happened; what the phone knew of its clock is of the original.
    replacement = {name: value for name, value in correction["replacement"].items() if name != "phone"}
    item = item_of(index, {**replacement, "id": correction["corrects"]}, made_at)
    if original is None:
        return replace(item, believed=False)
    first, recorded = original[0], ms_of(original[1])
    believed = (
        first["kind"] == item.kind
        and not runs_ahead(ms_of(replacement["at"]), recorded)
        and not (clock_in_doubt(first, recorded) and correction["by"] == first["by"])
    )
    if believed or not permits(item.body):
        return replace(item, believed=item.believed and believed)
    return replace(item, order_at=min(item.order_at, recorded), believed=False)


def permits(body: Mapping[str, Any]) -> bool:
    """Whether an entry can only help a detector to go out; everything else is on the forbidding side."""
    kind = body["kind"]
    if kind == "bump-test":
        return bool(body["outcome"] == "passed")
    if kind in {"calibration", "training"}:
        return bool(body.get("result", "passed") == "passed")
    return kind in {"returned-to-service", "handed-back", "cylinder-released"}


def mends(body: Mapping[str, Any]) -> bool:
    """Whether an entry tells of a mending, which can answer a failure before it; it ends a pass all the
    same."""
    kind = body["kind"]
    return kind in {"repaired", "sensor"} or (kind == "happened" and body["what"] == "sensor-changed")


def order_of(item: Item) -> tuple[Ms, bool, int]:
    """Sort key: when it happened; at equal times permissions first, so that the fail wins; then the index."""
    return (item.order_at, not permits(item.body), item.index)


def counted(state: S, item: Item) -> S:
    """The state with one more entry counted, its place in time and in the book noted."""
    return replace(
        state,
        count=state.count + 1,
        last_at=max(state.last_at, item.order_at),
        last_index=max(state.last_index, item.index),
    )
