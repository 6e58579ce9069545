"""The readable part of an audit bundle: its tables, and what they need beside the entries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final, Self

from pitbird.fleet.state import SiteState
from pitbird.fleet.times import Ms, text_of
from pitbird.papers.bundle.csv_form import csv_line, json_line
from pitbird.papers.bundle.kinds_told import Row
from pitbird.papers.bundle.tables import (
    TABLES,
    Adoption,
    Corrected,
    Desk,
    Entry,
    rows,
    rules_rows,
)
from pitbird.papers.bundle.writing import Member, Pile
from pitbird.record.blob import Blob
from pitbird.record.leaf import read_leaf
from pitbird.record.seal import commitments_in
from pitbird.rules.comparing import Change, change_words, compare
from pitbird.services import people
from pitbird.services.bundle_scope import Asked, Scope
from pitbird.services.correcting import what_counts
from pitbird.services.knowing import Now
from pitbird.services.quick import QUICK
from pitbird.services.rule_sets import adopted
from pitbird.store import blobs as blob_store
from pitbird.store import book, selecting

NOT_HERE: Final = "not in this bundle"
_TEXT: Final = "text/plain"
_WRITTEN_AT: Final = 1 << 16


def opened(listed: Sequence[book.Row], *, texts: bool) -> Iterator[tuple[book.Row, Entry, dict[str, Blob]]]:
    """Entries with their sealed blobs, as far as those are there and wanted."""
    leaves = [read_leaf(row.leaf.encode(), QUICK) for row in listed]
    named = [commitments_in(leaf.body) if texts and b"sha256:" in leaf.raw else [] for leaf in leaves]
    found = blob_store.get(name for names in named for name in names)
    for row, leaf, names in zip(listed, leaves, named, strict=True):
        held = {name: found[name] for name in names if name in found}
        sealed = {
            name: Blob(each.salt, each.content, None if each.media_type == _TEXT else each.media_type)
            for name, each in held.items()
        }
        words = {
            name: each.text if each.media_type == _TEXT else f"a file: {each.media_type}"
            for name, each in held.items()
        }
        yield row, Entry(row.index, leaf.recorded_at, leaf.body, words), sealed


def desk_of(asked: Asked, scope: Scope) -> Desk:
    """What the rows of the tables need beside their entries."""
    named: dict[str, str] = people.names(scope.people) if asked.texts else {}
    for subject, state in Now().some(each for each in scope.first if each.startswith("site:")).items():
        if isinstance(state, SiteState):
            named[subject] = state.name
    corrections, originals = _corrections(asked, scope)
    return Desk(
        names=named,
        corrections=corrections,
        originals=originals,
        complete=frozenset(scope.first),
        first=asked.first,
        last=asked.last,
    )


def _corrections(asked: Asked, scope: Scope) -> tuple[dict[str, list[Corrected]], dict[str, Entry]]:
    """The corrections in the bundle by what they correct, and the originals that are in it too."""
    made: dict[str, list[Corrected]] = {}
    here = [index for index in selecting.indices_of_kind("correction", below=scope.size) if scope.has(index)]
    for row in selecting.rows_at(here):
        body = QUICK.decode(row.leaf)["body"]
        void = body.get("replacement") is None
        made.setdefault(body["corrects"], []).append(Corrected(row.index, void))
    found = (book.by_id(entry_id) for entry_id in made)
    listed = [row for row in found if row is not None and scope.has(row.index)]
    return made, {entry.body["id"]: entry for _, entry, _ in opened(listed, texts=asked.texts)}


class Tables:
    """The tables as files of the bundle, written row by row; ended by ``end``."""

    def __init__(self, pile: Pile, desk: Desk) -> None:
        self._desk = desk
        self._open: dict[str, tuple[_Gathering, _Gathering]] = {}
        for name, (_, columns) in TABLES.items():
            as_csv = _Gathering(pile.begin(f"pages/{name}.csv"))
            as_csv.add(csv_line(columns))
            self._open[name] = as_csv, _Gathering(pile.begin(f"pages/{name}.jsonl"))

    def add(self, entry: Entry) -> Self:
        """The rows of an entry."""
        for table, row in rows(entry, self._desk):
            self._put(table, row)
        return self

    def add_older(self, entries: Iterable[Entry]) -> None:
        """Descriptions that lie before the fence: not in the bundle, but needed to read what is."""
        for entry in entries:
            for table, row in rows(entry, replace(self._desk, first=None, last=None)):
                if table == "detectors":
                    self._put(table, {**row, "all_here": NOT_HERE})

    def add_rules(self, adoptions: Iterable[Adoption]) -> None:
        """The rules in force, by site."""
        for row in rules_rows(adoptions, self._desk):
            self._put("rules", row)

    def _put(self, table: str, row: Row) -> None:
        as_csv, as_json = self._open[table]
        as_csv.add(csv_line([row.get(column) for column in TABLES[table][1]]))
        as_json.add(json_line({column: row.get(column) for column in TABLES[table][1]}))

    def end(self) -> None:
        """No more rows follow."""
        for pair in self._open.values():
            for each in pair:
                each.end()


class _Gathering:
    """Lines put together to larger pieces before they are packed."""

    def __init__(self, member: Member) -> None:
        self._member = member
        self._lines = bytearray()

    def add(self, line: bytes) -> None:
        self._lines += line
        if len(self._lines) > _WRITTEN_AT:
            self._flush()

    def end(self) -> None:
        self._flush()
        self._member.end()

    def _flush(self) -> None:
        self._member.write(bytes(self._lines))
        self._lines.clear()


def older_descriptions(asked: Asked, scope: Scope) -> Iterator[Entry]:
    """How detectors were described before their fence, as the book has it now."""
    for subject, first in sorted(scope.first.items()):
        if not subject.startswith("detector:") or first == 1:
            continue
        row = selecting.newest_of_kind(subject, "detector", first)
        counts = None if row is None else what_counts(row)
        if row is None or counts is None or counts["kind"] != "detector":
            continue
        for _, entry, _ in opened([row], texts=asked.texts):
            yield replace(entry, body={**counts, "id": entry.body["id"]})


def adoptions_of(scope: Scope) -> Iterator[Adoption]:
    """The rules of the sites in the bundle by the time from which they held, with their changes in words."""
    sites = sorted(subject for subject in scope.first if subject.startswith("site:"))
    for subject, state in sorted(Now().some(sites).items()):
        if not isinstance(state, SiteState):
            continue
        before = None
        oldest_first = state.adoptions[::-1]
        for place, fact in enumerate(oldest_first):
            row = book.by_id(fact.entry)
            rules = adopted(fact)
            changes: tuple[Change, ...] = () if before is None else compare(before, rules)
            before = rules
            if row is None or not scope.has(row.index):
                continue
            until = oldest_first[place + 1].since if place + 1 < len(oldest_first) else None
            body = QUICK.decode(row.leaf)["body"]
            yield Adoption(
                entry=Entry(row.index, text_of(Ms(row.recorded_at)), body),
                site=subject,
                rules=fact.rules,
                version=fact.version,
                since=fact.since,
                until=until,
                changes=[change_words(each, gettext=str) for each in changes],
            )
