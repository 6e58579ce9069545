"""The fold: entries about one subject -> its state. One entry at a time, or all of them anew.

Order. Entries are applied in the order of when they happened; at equal times what permits comes before
what forbids, so that the fail wins. Any order of arrival gives the same state, because an entry that
arrives out of order makes its subjects fold anew.

Clocks. ``at`` more than two minutes after ``recorded_at`` cannot be right, nor that of a phone whose clock
was so far ahead of the server's. An entry that permits (a pass, a return to service, a training) is then left
out and listed as doubtful; one that forbids counts, from when it was recorded at the latest.

Corrections are flat: the correction with the highest index says what an entry is now worth. One that
permits is believed only as far as its original allows (``item_instead``).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Any

import msgspec

from pitbird.fleet.folding.cylinder import fold_cylinder
from pitbird.fleet.folding.detector import fold_detector
from pitbird.fleet.folding.item import Item, item_instead, item_of, order_of, runs_ahead
from pitbird.fleet.folding.others import fold_other, fold_person, fold_site
from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState, SiteState, State
from pitbird.fleet.times import Ms, ms_of

__all__ = ["Item", "advance", "apply", "empty", "fold", "item_of", "items", "state_type", "trace"]

_TYPES: dict[str, type[State]] = {
    "detector": DetectorState,
    "cylinder": CylinderState,
    "person": PersonState,
    "site": SiteState,
}


def state_type(subject: str) -> type[State]:
    """The type of state that a subject folds to."""
    return _TYPES.get(subject.partition(":")[0], OtherState)


def empty(subject: str) -> State:
    """The state of a subject that no entry is about yet."""
    sort = state_type(subject)
    return DetectorState(subject=subject, fitted=()) if sort is DetectorState else sort(subject=subject)


def apply(state: State, item: Item) -> State | None:
    """The state after one more entry, or None where it must be folded anew from all its entries.

    That is so for a correction, and for an entry that happened no later than what is folded already.
    """
    if item.kind == "correction":
        return None
    if _too_late(state, item):
        return None
    return _step(state, item)


def advance(state: State, items: Iterable[Item]) -> Iterator[State] | None:
    """The states after each of several more entries, in the order in which these happened, whatever order
    they arrived in; None where some of them must be folded anew with all others, as for ``apply``."""
    listed = list(items)
    if any(one.order_at >= later.order_at for one, later in pairwise(listed)):
        listed.sort(key=order_of)
    if any(item.kind == "correction" or _too_late(state, item) for item in listed):
        return None
    return _stepped(state, listed)


def _stepped(state: State, listed: Iterable[Item]) -> Iterator[State]:
    for item in listed:
        state = _step(state, item)
        yield state


def _too_late(state: State, item: Item) -> bool:
    """Whether something that happened no earlier is in a state, and the order of the two matters."""
    return item.order_at <= state.last_at and bool(state.count) and not _order_is_free(state, item)


def fold(
    subject: str,
    entries: Iterable[tuple[int, Mapping[str, Any], str]],
    *,
    until: Ms | None = None,
    start: State | None = None,
) -> State:
    """The state that all entries about a subject amount to: ``(index, body, recorded_at)`` in any order.

    An entry about something else may stand among them, to tell what a correction corrects that moved it
    here; without it what permits does not count.
    ``until`` leaves out what happened after an instant (its corrections are still heeded). ``start`` is a
    state that holds everything up to its ``last_at`` already: then only later entries are needed, with every
    correction and every corrected entry.
    """
    listed = sorted(entries, key=lambda entry: entry[0])
    states = deque(trace(subject, listed, until=until, start=start), maxlen=1)
    state = states[0] if states else start or empty(subject)
    if start is None:
        indices = [index for index, body, _ in listed if subject in body["about"]]
        return msgspec.structs.replace(state, count=len(indices), last_index=max(indices, default=-1))
    return state


def trace(
    subject: str,
    entries: Iterable[tuple[int, Mapping[str, Any], str]],
    *,
    until: Ms | None = None,
    start: State | None = None,
) -> Iterator[State]:
    """The states that a subject goes through, one for each entry, in the order in which things happened."""
    state = start or empty(subject)
    after = start.last_at if start is not None else None
    for item in sorted(_items(subject, sorted(entries, key=lambda entry: entry[0])), key=order_of):
        if (after is None or item.order_at > after) and (until is None or item.order_at <= until):
            state = _step(state, item)
            yield state


def _items(subject: str, listed: list[tuple[int, Mapping[str, Any], str]]) -> list[Item]:
    """The entries as they count: corrected ones in place of their originals, voided ones left out."""
    corrections: dict[str, Mapping[str, Any]] = {}
    for _, body, _ in listed:
        if body["kind"] == "correction":
            corrections[body["corrects"]] = body
    if not corrections:
        return [item_of(*entry) for entry in listed if subject in entry[1]["about"]]
    entries = {body["id"]: (index, body, recorded_at) for index, body, recorded_at in listed}
    items = []
    for index, body, recorded_at in listed:
        if subject not in body["about"]:
            continue  # it only tells what a correction corrects
        if body["id"] in corrections and body["kind"] != "correction":
            correction = corrections[body["id"]]
            made_at = entries[correction["id"]][2]
            if _stays(subject, correction):
                items.append(item_instead(index, correction, made_at, (body, recorded_at)))
        elif body["kind"] != "correction":
            items.append(item_of(index, body, recorded_at))
        elif corrections[body["corrects"]] is body and _stays(subject, body):
            original = entries.get(body["corrects"])
            if original is None or subject not in original[1]["about"]:
                # Moved here from another subject; the original is not among those about this one.
                items.append(item_instead(index, body, recorded_at, original and original[1:]))
    return items


def _stays(subject: str, correction: Mapping[str, Any]) -> bool:
    """Whether what a correction makes of an entry is about a subject."""
    replacement = correction.get("replacement")
    return replacement is not None and subject in replacement["about"]


def _order_is_free(state: State, item: Item) -> bool:
    """Gauge readings of a cylinder, and spoiled attempts with it, add up the same in any order. Those by a
    doubtful clock hang on the certificate's minimum as it was described by then."""
    if not isinstance(state, CylinderState) or not item.believed:
        return False
    if any(runs_ahead(ms_of(each["gas_on"]), item.recorded_at) for each in item.body.get("applications", ())):
        return False
    spoiled = item.kind == "bump-test" and item.body["outcome"] == "spoiled"
    return spoiled or item.kind in {"calibration", "gauge-read", "note"}


def _step(state: State, item: Item) -> State:
    if isinstance(state, DetectorState):
        return fold_detector(state, item)
    if isinstance(state, CylinderState):
        return fold_cylinder(state, item)
    if isinstance(state, PersonState):
        return fold_person(state, item)
    if isinstance(state, SiteState):
        return fold_site(state, item)
    return fold_other(state, item)


def items(subject: str, entries: Iterable[tuple[int, Mapping[str, Any], str]]) -> list[Item]:
    """The entries about a subject as they count, corrections heeded, in the order in which things happened:
    one for each state of ``trace``."""
    return sorted(_items(subject, sorted(entries, key=lambda entry: entry[0])), key=order_of)
