"""The training record of a person, as a paper."""

from __future__ import annotations

from pitbird.fleet.state import PersonState
from pitbird.papers.reading import code
from pitbird.papers.training_record import Person, sheet
from pitbird.services.knowing import Now
from pitbird.services.papers import making
from pitbird.services.papers.making import Made, NoSuchPaper, Order
from pitbird.store import book


def training_record(person: str, order: Order) -> Made:
    """What a person was trained in, and what of it holds. Raises PaperRefused."""
    order = order.checked()
    state = Now().state(person)
    if not isinstance(state, PersonState):
        raise NoSuchPaper(f"person: the book knows no person {code(person)!r}")
    rows = [row for row in book.about(person) if row.kind == "training"]
    entries = making.written_all(rows)
    subjects = [person, *((state.home,) if state.home else ())]
    zone = making.zone_of(state.home) or (entries[-1].zone if entries else None)
    read = making.reader(order, zone, entries, subjects=subjects)
    last = entries[-1].leaf(read.book) if entries else None
    stands = making.standing(order, last, what="the last training listed")
    told = Person(state, entries, order.made_at)
    return making.printed(f"training-{code(person)}", sheet(told, read, stands), order)
