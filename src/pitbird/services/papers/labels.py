"""Sheets of labels for detectors, cylinders, regulators and people, as a paper."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState, State
from pitbird.papers.labels import Label, LabelsRefused, print_labels, read_grid
from pitbird.papers.reading import code
from pitbird.services import people
from pitbird.services.knowing import Now
from pitbird.services.papers.making import Made, Order, PaperRefused
from pitbird.store import book

#: What labels are printed for, by the word that a page or a command uses.
SORTS: Final = {
    "detectors": "detector", "cylinders": "cylinder", "regulators": "regulator", "people": "person",
}  # fmt: skip


def all_of(of: str, site: str | None = None) -> list[str]:
    """The subjects of a sort, of a site where one is given; who has left and what is empty is left out."""
    if of not in SORTS:
        raise PaperRefused(f"of: {of!r} is none of {', '.join(SORTS)}")
    states = Now().some(book.subjects(SORTS[of])).values()
    return sorted(state.subject for state in states if _wanted(state, site))


def labels(subjects: Sequence[str], order: Order, *, grid: str, start: int = 1) -> Made:
    """Sheets of labels in a grid (see ``papers.labels.read_grid``). Raises PaperRefused with every fault."""
    order = order.checked()
    states = Now().some(subjects)
    unknown = [subject for subject in subjects if subject not in states]
    told = [f"labels: the book does not know {', '.join(map(code, unknown[:20]))}"] if unknown else []
    try:
        measured = read_grid(grid, "us-letter" if order.paper == "us-letter" else "a4")
        names = people.names([subject for subject in subjects if subject.startswith("person:")])
        printed = [_label(states[subject], names) for subject in subjects if subject in states]
        if not told:
            made_at = datetime.fromtimestamp(order.made_at / 1000, UTC)
            return Made("labels.pdf", print_labels(printed, measured, start=start, made_at=made_at))
    except LabelsRefused as refused:
        told += str(refused).splitlines()
    raise PaperRefused("\n".join(told))


def _wanted(state: State, site: str | None) -> bool:
    if isinstance(state, PersonState):
        return state.left is None and site in (None, state.home)
    if isinstance(state, CylinderState):
        return state.emptied_at is None and site in (None, state.site)
    return site is None or getattr(state, "site", None) == site


def _label(state: State, names: dict[str, str]) -> Label:
    lines: tuple[str, ...] = ()
    if isinstance(state, DetectorState):
        lines = (f"{state.make} {state.model}".strip(), state.serial)
    elif isinstance(state, CylinderState):
        lines = tuple(
            filter(None, (state.lot and f"lot {state.lot}", state.expires and f"to {state.expires}"))
        )
    elif isinstance(state, PersonState):
        lines = tuple(filter(None, (names.get(state.subject),)))
    elif isinstance(state, OtherState):
        lines = tuple(filter(None, (state.description.get("serial"),)))
    return Label(state.subject, code(state.subject), tuple(line for line in lines if line))
