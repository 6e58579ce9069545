"""Appending to the book: leaf, tree, mentions and folded states in one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final

import msgspec
from django.db import transaction

from pitbird.fleet.folding import Item, advance, empty, item_of
from pitbird.fleet.state import CylinderState, DetectorState, PersonState, State
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.record.canonical import canonical
from pitbird.record.leaf import Leaf, make_leaf
from pitbird.services.correcting import require_complete
from pitbird.services.decoding import decode_state, encode_state
from pitbird.services.quick import QUICK
from pitbird.services.refolding import (
    POINT_EVERY,
    earliest_touched,
    refold_keeping_points,
)
from pitbird.store import blobs as blob_store
from pitbird.store import book, points, subtrees
from pitbird.store.blobs import SealedBlob

_decode_leaf: Final = QUICK.decode


class IdTaken(ValueError):
    """The same id came with another body; the book keeps the first and refuses the second."""

    def __init__(self, entry_id: str, index: int) -> None:
        super().__init__(
            f"id: {entry_id} stands in the book already (entry {index}) with other contents; "
            "nothing was written. Give a new entry its own id, or write a correction of the first"
        )
        self.entry_id = entry_id
        self.index = index


class Appended(msgspec.Struct, frozen=True):
    """Where an entry stands in the book; ``again`` if it stood there before."""

    index: int
    entry_id: str
    leaf_hash: bytes
    again: bool


def home_of(state: State) -> str | None:
    """The site under which a state is listed."""
    if isinstance(state, DetectorState | CylinderState):
        return state.site
    return state.home if isinstance(state, PersonState) else None


class Ledger:
    """One writing transaction on the book. Get it from ``writing()``; use it by ``add``."""

    def __init__(self) -> None:
        self._frontier = book.head(lock=True)
        self._states: dict[str, State] = {}
        self._counts: dict[str, int] = {}
        self._added: dict[str, list[Item]] = {}
        self._late: dict[str, Ms] = {}
        self._rows: list[book.Row] = []
        self._mentions: list[book.Mention] = []
        self._ids: dict[str, Appended] = {}
        self._absent: set[str] = set()

    @property
    def size(self) -> int:
        """How many entries the book has, those added here included."""
        return self._frontier.size + len(self._rows)

    def load(self, subjects: Iterable[str]) -> None:
        """Read the states of subjects that are about to be written about, all at once."""
        wanted = [subject for subject in dict.fromkeys(subjects) if subject not in self._states]
        if not wanted:
            return
        found = book.standings(wanted)
        for subject in wanted:
            text = found.get(subject)
            state = decode_state(subject, text) if text is not None else empty(subject)
            self._states[subject] = state
            self._counts[subject] = state.count

    def expect(self, ids: Sequence[str]) -> None:
        """Look up at once which of many ids the book has, before adding their entries."""
        self._absent.update(set(ids) - book.known_ids(ids))

    def add(
        self,
        body: Mapping[str, Any],
        *,
        recorded_at: Ms,
        signature: Mapping[str, str] | None = None,
        fitting: bool = False,
    ) -> Appended:
        """Append one entry. The same id with the same body is harmless, with another body it is refused.

        ``fitting`` is as ``make_leaf`` says.
        """
        before = self._before(body)
        if before is not None:
            return before
        subjects, counts = body["about"], self._counts
        if not all(map(counts.__contains__, subjects)):
            self.load(subjects)
        nth = {subject: counts[subject] + 1 for subject in subjects}
        leaf = make_leaf(
            body, recorded_at=text_of(recorded_at), nth=nth, signature=signature, codec=QUICK, fitting=fitting
        )
        return self._put(leaf, recorded_at)

    def add_leaf(self, leaf: Leaf) -> Appended:
        """Append a leaf made elsewhere, as it is; its ``nth`` has been checked by the caller."""
        if not self._states.keys() >= leaf.nth.keys():
            self.load(leaf.nth)
        return self._put(leaf, ms_of(leaf.recorded_at))

    def _before(self, body: Mapping[str, Any]) -> Appended | None:
        known = self._ids.get(body["id"])
        if known is not None:
            row = next(row for row in self._rows if row.entry_id == body["id"])
        elif body["id"] in self._absent:
            return None
        else:
            found = book.by_id(body["id"])
            if found is None:
                return None
            row = found
        if canonical(_decode_leaf(row.leaf)["body"]) != canonical(dict(body)):
            raise IdTaken(row.entry_id, row.index)
        return Appended(row.index, row.entry_id, row.leaf_hash, again=True)

    def _put(self, leaf: Leaf, recorded_at: Ms) -> Appended:
        body = leaf.body
        correction = body["kind"] == "correction"
        if correction:
            self._write_rows()  # what it corrects must be found in the book
            require_complete(body)
        index, at = self.size, ms_of(body["at"])
        self._rows.append(
            book.Row(
                index=index,
                entry_id=body["id"],
                kind=body["kind"],
                at=at,
                recorded_at=recorded_at,
                by=body.get("by", ""),
                site=body.get("where"),
                leaf=leaf.raw.decode(),
                leaf_hash=leaf.hash,
            )
        )
        item = item_of(index, body, leaf.recorded_at)
        for subject, nth in leaf.nth.items():
            self._mentions.append((subject, nth, index, at, correction))
            self._counts[subject] = nth
            self._added.setdefault(subject, []).append(item)
            if correction:
                self._told_late(subject, earliest_touched(body, leaf.recorded_at))
        appended = Appended(index, body["id"], leaf.hash, again=False)
        self._ids[body["id"]] = appended
        return appended

    def _told_late(self, subject: str, at: Ms) -> None:
        """Note from when on fold points of a subject no longer hold."""
        self._late[subject] = min(self._late.get(subject, at), at)

    def _fold(self) -> list[str]:
        """Fold what was added into the states, each subject's entries in the order in which they happened;
        the subjects that must be folded anew from the book."""
        stale: list[str] = []
        made: list[tuple[str, Ms, State]] = []
        for subject, items in self._added.items():
            before = self._states[subject]
            late = [item.order_at for item in items if before.count and item.order_at <= before.last_at]
            if late:
                self._told_late(subject, min(late))
            states = advance(before, items)
            if states is None:
                stale.append(subject)
                continue
            for state in states:
                if before.count and before.count % POINT_EVERY == 0 and state.last_at > before.last_at:
                    made.append((subject, before.last_at, before))
                before = state
            self._states[subject] = before
        self._keep_points(made)
        return stale

    def _keep_points(self, made: list[tuple[str, Ms, State]]) -> None:
        """Throw away the fold points that something late overtook, and keep the new ones."""
        for subject, at in self._late.items():
            points.drop_from(subject, at)
        points.put(
            [
                (subject, at, encode_state(state))
                for subject, at, state in made
                if at < self._late.get(subject, Ms(at + 1))
            ]
        )

    def _write_rows(self) -> None:
        """Put the entries added so far into the book; states and head follow with ``flush``."""
        book.insert(self._rows, self._mentions)
        leaves = [row.leaf_hash for row in self._rows]
        self._frontier, full = self._frontier.extend_noting(leaves, subtrees.LEVELS)
        if full:
            subtrees.put(full)
        self._rows, self._mentions = [], []
        self._absent.difference_update(self._ids)
        self._ids = {}

    def flush(self) -> None:
        """Write what was added, fold it, anew where it arrived out of order, and move the head."""
        if not self._added:
            return
        self._write_rows()
        for subject in self._fold():
            self._states[subject] = refold_keeping_points(subject)
        book.put_standings([standing_row(self._states[subject]) for subject in sorted(self._added)])
        book.set_head(self._frontier)
        self._added, self._late = {}, {}


def standing_row(state: State) -> book.StandingRow:
    """A state in the form it is stored in."""
    return book.StandingRow(
        subject=state.subject,
        sort=state.subject.partition(":")[0],
        site=home_of(state),
        entries=state.count,
        state=encode_state(state),
    )


@contextmanager
def writing() -> Iterator[Ledger]:
    """One writing transaction: everything in it is in the book, or nothing of it."""
    with transaction.atomic():
        ledger = Ledger()
        yield ledger
        ledger.flush()


def append(
    body: Mapping[str, Any],
    *,
    recorded_at: Ms,
    blobs: Iterable[SealedBlob] = (),
    signature: Mapping[str, str] | None = None,
) -> Appended:
    """Append one checked body with the blobs that its commitments stand for, durably."""
    with writing() as ledger:
        appended = ledger.add(body, recorded_at=recorded_at, signature=signature)
        if not appended.again:
            blob_store.put(list(blobs))
    return appended
