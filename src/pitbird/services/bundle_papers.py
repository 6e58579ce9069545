"""The papers in an audit bundle: histories of the detectors, the gas, the training, and pages of the book.

They bear the time of the last entry of the book, not of the clock, so that the same book makes the same
bytes. Where there would be more of a sort than anybody reads, none is made; the tables hold all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

from pitbird.fleet.times import Ms
from pitbird.services.bundle_scope import Asked, Scope
from pitbird.services.papers.book_page import book_page
from pitbird.services.papers.cylinder_standing import cylinder_standing
from pitbird.services.papers.detector_history import detector_history
from pitbird.services.papers.making import Made, Order, PaperRefused
from pitbird.services.papers.press import Press
from pitbird.services.papers.training_record import training_record
from pitbird.store import book

#: So many of a sort at most; the standing of a cylinder asks every type of detector, which takes longest.
MOST: Final = {"detector": 60, "person": 60, "cylinder": 12, "day": 62}


@dataclass(frozen=True)
class Paper:
    """A paper of the bundle, or (``left_out``) why it is not in it."""

    made: Made | None
    left_out: str = ""


def how_many(asked: Asked, scope: Scope) -> int:
    """How many papers there will be."""
    return sum(len(makers) for _, makers in _sorts(asked, scope) if len(makers) <= _most(makers))


def papers(asked: Asked, scope: Scope, home: Path, passphrase: bytes | None) -> Iterator[Paper]:
    """The papers one after another; none at all where texts are left out, since papers are full of them."""
    if not asked.texts:
        yield Paper(None, "Papers: names and texts are left out, and papers are full of them")
        return
    last = book.at_index(scope.size - 1)
    moment = Ms(last.recorded_at) if last else None
    with Press() as press:
        yield from _papers(asked, scope, Order(home, passphrase, asked.paper, now=moment, press=press))


def _papers(asked: Asked, scope: Scope, order: Order) -> Iterator[Paper]:
    for what, makers in _sorts(asked, scope):
        if len(makers) > _most(makers):
            yield Paper(None, f"{what}: {len(makers)} are more than the {_most(makers)} that are printed")
            continue
        for maker in makers:
            try:
                yield Paper(maker.make(order))
            except PaperRefused as refused:
                yield Paper(None, f"{what} of {maker.of}: {refused}")


@dataclass(frozen=True)
class _Maker:
    sort: str
    of: str
    make: Callable[[Order], Made]


def _most(makers: list[_Maker]) -> int:
    return MOST[makers[0].sort] if makers else 0


def _sorts(asked: Asked, scope: Scope) -> list[tuple[str, list[_Maker]]]:
    """The sorts of papers, each with those that would be made."""
    if not asked.texts:
        return []

    def code(subject: str) -> str:
        return subject.partition(":")[2]

    def named(sort: str) -> list[str]:
        return sorted(subject for subject in scope.first if subject.startswith(sort))

    def history(subject: str) -> Callable[[Order], Made]:
        return lambda order: detector_history(subject, order, first=asked.first, last=asked.last)

    def standing(subject: str) -> Callable[[Order], Made]:
        return lambda order: cylinder_standing(subject, order)

    def training(subject: str) -> Callable[[Order], Made]:
        return lambda order: training_record(subject, order)

    return [
        ("History", [_Maker("detector", code(each), history(each)) for each in named("detector:")]),
        ("Test gas", [_Maker("cylinder", code(each), standing(each)) for each in named("cylinder:")]),
        ("Training", [_Maker("person", code(each), training(each)) for each in sorted(scope.people)]),
        ("Page of the book", list(_days(asked))),
    ]


def _days(asked: Asked) -> Iterator[_Maker]:
    """A page of the book for each day and site that was asked for."""
    if asked.first is None or asked.last is None:
        return
    for site in asked.sites:
        for number in range((asked.last - asked.first).days + 1):
            day = asked.first + timedelta(days=number)
            yield _Maker("day", f"{day} {site.partition(':')[2]}", _page(day, site))


def _page(day: date, site: str) -> Callable[[Order], Made]:
    return lambda order: book_page(day, order, site=site)
