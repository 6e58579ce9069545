"""What is known: the folded states now, or as they were known then, or as of an earlier time."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeVar

from pitbird.fleet.folding import empty
from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState, SiteState, State
from pitbird.fleet.times import Ms
from pitbird.services import held
from pitbird.services.appending import home_of
from pitbird.services.decoding import decode_state
from pitbird.services.refolding import refold
from pitbird.store import book

S = TypeVar("S", DetectorState, CylinderState, PersonState, SiteState, OtherState)
_SORTS: dict[type[State], str] = {
    DetectorState: "detector",
    CylinderState: "cylinder",
    PersonState: "person",
    SiteState: "site",
}


class Known(Protocol):
    """Where states come from."""

    def state(self, subject: str) -> State | None:
        """The state of one subject; None if no entry is about it."""

    def all_of(self, sort: type[S], site: str | None = None) -> list[S]:
        """All states of one sort, of one site where given."""

    def some(self, subjects: Iterable[str]) -> dict[str, State]:
        """The states of several subjects."""


class KnownWhole(Known, Protocol):
    """Where states come from, that of the book itself too."""

    def of_the_book(self) -> State | None:
        """The state of the book itself; None for one not begun."""


class Now:
    """The folded states as they are."""

    def of_the_book(self) -> State | None:
        """The state of the book itself; None for one not begun."""
        first = book.at_index(0)
        return self.state(f"book:{first.entry_id}") if first is not None else None

    def state(self, subject: str) -> State | None:
        """The state of one subject; None if no entry is about it."""
        return self.some([subject]).get(subject)

    def all_of(self, sort: type[S], site: str | None = None) -> list[S]:
        """All states of one sort, of one site where given; those that this process has met are not read."""
        return held.states(book.standing_digests(_SORTS[sort], site))

    def some(self, subjects: Iterable[str]) -> dict[str, State]:
        """The states of several subjects."""
        found = book.standings(list(dict.fromkeys(subjects)))
        return {subject: decode_state(subject, text) for subject, text in found.items()}


class Then:
    """States folded anew: only entries below an index (as known then), only what happened by an instant.

    Reads each subject's entries, so it costs more than the present; nothing is stored.
    """

    def __init__(self, *, below: int | None = None, until: Ms | None = None) -> None:
        self._below = below
        self._until = until
        self._cache: dict[str, State | None] = {}

    def state(self, subject: str) -> State | None:
        """The state of one subject then; None if no entry was about it."""
        if subject not in self._cache:
            state = refold(subject, below=self._below, until=self._until)
            self._cache[subject] = None if state == empty(subject) else state
        return self._cache[subject]

    def of_the_book(self) -> State | None:
        """The state of the book itself then; None where it was not begun."""
        first = book.at_index(0)
        return self.state(f"book:{first.entry_id}") if first is not None else None

    def all_of(self, sort: type[S], site: str | None = None) -> list[S]:
        """All states of one sort then, of the site they belonged to then."""
        subjects = [state.subject for state in Now().all_of(sort)]
        states = [state for subject in subjects if (state := self.state(subject)) is not None]
        return [
            state for state in states if isinstance(state, sort) and (site is None or home_of(state) == site)
        ]

    def some(self, subjects: Iterable[str]) -> dict[str, State]:
        """The states of several subjects then."""
        return {subject: state for subject in subjects if (state := self.state(subject)) is not None}
