"""What subjects are called on a page, and where their pages are."""

from __future__ import annotations

from collections.abc import Iterable

from django.urls import reverse
from django.utils.translation import gettext as _

from pitbird.fleet.state import OtherState, PersonState, SiteState
from pitbird.services import people
from pitbird.services.knowing import Now


def code(subject: str) -> str:
    """``D-017`` for ``detector:D-017``."""
    return subject.partition(":")[2] or subject


def sort(subject: str) -> str:
    """``detector`` for ``detector:D-017``."""
    return subject.partition(":")[0]


_PAGES = {"detector": "detector", "cylinder": "cylinder", "person": "person"}


def address(subject: str) -> str:
    """The page of a subject; "" for one that has none."""
    page = _PAGES.get(sort(subject))
    return reverse(page, args=[code(subject)]) if page else ""


class Names:
    """Names of subjects, read once per page. A name that was erased is said to be withheld."""

    def __init__(self, subjects: Iterable[str] | None = None) -> None:
        self._known: dict[str, str] = {}
        self._states: set[str] = set()
        if subjects is None:
            self._known = people.names()
            self._known |= {state.subject: state.name for state in Now().all_of(SiteState) if state.name}
            self._all_read = True
        else:
            self._all_read = False
            self.read(subjects)

    def read(self, subjects: Iterable[str]) -> None:
        """Read the names of these subjects too, in one go."""
        wanted = {
            subject for subject in subjects if sort(subject) in {"person", "site", "book"}
        } - self._states
        if not wanted:
            return
        self._states |= wanted
        found = Now().some(sorted(wanted))
        persons = [subject for subject, state in found.items() if isinstance(state, PersonState)]
        if persons:
            self._known |= people.names(persons)
        for subject, state in found.items():
            if isinstance(state, SiteState) and state.name:
                self._known[subject] = state.name
            elif isinstance(state, OtherState) and state.description.get("title"):
                self._known[subject] = state.description["title"]

    @property
    def mapping(self) -> dict[str, str]:
        """The names read so far, by subject."""
        return dict(self._known)

    def __call__(self, subject: str | None) -> str:
        """The name of a person or site; the code of anything else."""
        if not subject:
            return ""
        if not self._all_read:
            self.read([subject])
        found = self._known.get(subject)
        if found is not None:
            return found
        if sort(subject) == "person":
            return _("%(code)s (name withheld)") % {"code": code(subject)}
        return code(subject)


def sites() -> list[SiteState]:
    """All sites, by name."""
    return sorted(Now().all_of(SiteState), key=lambda state: (state.name.casefold(), state.subject))
