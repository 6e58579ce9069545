"""What was decided about look-backs, as it counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pitbird.services.correcting import what_counts
from pitbird.store import book
from pitbird.store.models import Entry, Mention


@dataclass(frozen=True)
class Decision:
    """What was decided about a look-back: the entry, and what counts of it."""

    row: book.Row
    body: Mapping[str, Any]

    @property
    def book_size(self) -> int:
        """How many entries the book held when the list was looked at."""
        return int(self.body["book_size"])


def decisions(subject: str | None = None) -> tuple[Decision, ...]:
    """The look-backs that were decided (of one subject), as they count, the newest first."""
    rows = book.of_kind("look-back") if subject is None else _decisions_about(subject)
    found = [(row, what_counts(row)) for row in rows]
    counted = [Decision(row, body) for row, body in found if body is not None]
    if subject is not None:
        counted = [each for each in counted if subject in each.body["of"]]
    return tuple(sorted(counted, key=lambda each: -each.row.index))


def _decisions_about(subject: str) -> list[book.Row]:
    places = Mention.objects.filter(subject=subject).values("index")
    found = Entry.objects.filter(kind="look-back", index__in=places).order_by("index")
    return [book.row_of(each) for each in found.values_list(*book.Row.__struct_fields__)]
