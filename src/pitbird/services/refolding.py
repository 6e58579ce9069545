"""Folding anew: from all of a subject's entries, or from the last fold point before what arrived late."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import msgspec

from pitbird.fleet.folding import empty, fold, item_of, trace
from pitbird.fleet.folding.item import CLOCK_TOLERANCE
from pitbird.fleet.state import State
from pitbird.fleet.times import Ms
from pitbird.services.decoding import decode_state, encode_state
from pitbird.store import book, points

#: A fold point is kept after every so many entries about a subject.
POINT_EVERY: Final = 128

Entries = Iterator[tuple[int, dict[str, Any], str]]
_decode_leaf: Final = msgspec.json.Decoder().decode


def entries_about(subject: str, *, below: int | None = None) -> Entries:
    """The entries about a subject as the fold wants them: index, body, recorded_at. What was moved to it from
    another subject is among them."""
    return _entries(_with_corrected(book.about(subject, below=below)))


def _entries(rows: Iterable[book.Row]) -> Entries:
    for row in rows:
        leaf = _decode_leaf(row.leaf)
        yield row.index, leaf["body"], leaf["recorded_at"]


def refold(subject: str, *, below: int | None = None, until: Ms | None = None) -> State:
    """The state of a subject folded anew: as known below an index, as of an instant, or in full."""
    if below is not None:
        return fold(subject, entries_about(subject, below=below), until=until)
    kept = points.newest(subject, until)
    if kept is None:
        return fold(subject, entries_about(subject), until=until)
    start = decode_state(subject, kept)
    return _counted(fold(subject, _since(subject, start.last_at), until=until, start=start))


def refold_in_full(subject: str) -> State:
    """The present state of a subject folded from every entry about it, no point relied on."""
    return fold(subject, entries_about(subject))


def refold_keeping_points(subject: str) -> State:
    """The present state of a subject folded anew from its newest point, keeping points on the way."""
    kept = points.newest(subject)
    start = decode_state(subject, kept) if kept is not None else None
    entries = entries_about(subject) if start is None else _since(subject, start.last_at)
    before = state = start or empty(subject)
    made, since = [], 0
    for state in trace(subject, entries, start=start):
        # Entries of one instant must not be parted by a point.
        if since >= POINT_EVERY and state.last_at > before.last_at:
            made.append((subject, before.last_at, encode_state(before)))
            since = 0
        before, since = state, since + 1
    points.put(made)
    return _counted(state)


def entries_between(subject: str, after: Ms, until: Ms) -> Entries:
    """The entries that a fold wants which goes on from a state as of ``after`` up to ``until``: what happened
    between, or was recorded by then though dated later, with every correction and what each corrects."""
    return _entries(_with_corrected(book.about_between(subject, after, until, CLOCK_TOLERANCE)))


def entries_since(subject: str, at: Ms) -> Entries:
    """The entries that a fold wants which goes on from the state as of an instant (``refold(until=at)``)."""
    return _since(subject, at)


def point_by(subject: str, at: Ms) -> State | None:
    """The state at the newest fold point of a subject at or before an instant; None where there is none."""
    kept = points.newest(subject, at)
    return decode_state(subject, kept) if kept is not None else None


def _since(subject: str, at: Ms) -> Entries:
    """What happened after an instant, with every correction and what each of them corrects."""
    return _entries(_with_corrected(book.about_since(subject, at)))


def _with_corrected(rows: Iterable[book.Row]) -> Iterable[book.Row]:
    """The same entries, and those that the corrections among them correct."""
    found = {row.entry_id: row for row in rows}
    for row in list(found.values()):
        if row.kind == "correction":
            corrected = _decode_leaf(row.leaf)["body"]["corrects"]
            original = found.get(corrected) or book.by_id(corrected)
            if original is not None:
                found[corrected] = original
    return found.values()


def _counted(state: State) -> State:
    """The state with the subject's count of entries as the book has it, corrections included."""
    count, last_index = book.count_about(state.subject)
    return msgspec.structs.replace(state, count=count, last_index=last_index)


def earliest_touched(body: Mapping[str, Any], recorded_at: str) -> Ms:
    """The earliest instant at which an entry can change what was folded: its own, or, for a correction, that
    of what it corrects, of its replacement and of earlier corrections."""
    instants = [item_of(0, body, recorded_at).order_at]
    if body["kind"] == "correction":
        if body.get("replacement"):
            instants.append(item_of(0, body["replacement"], recorded_at).order_at)
        original = book.by_id(body["corrects"])
        if original is not None:
            leaf = _decode_leaf(original.leaf)
            # What permits counts from no later than when its original was recorded.
            instants += [item_of(0, leaf["body"], leaf["recorded_at"]).order_at, Ms(original.recorded_at)]
        for subject in body["of_about"]:
            instants += list(_earlier_replacements(subject, body["corrects"]))
    return min(instants)


def _earlier_replacements(subject: str, corrected: str) -> Iterable[Ms]:
    for row in book.corrections_about(subject):
        leaf = _decode_leaf(row.leaf)
        replacement = leaf["body"].get("replacement")
        if leaf["body"]["corrects"] == corrected and replacement:
            yield item_of(0, replacement, leaf["recorded_at"]).order_at
