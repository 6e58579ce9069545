"""A detector's history over a period, as a paper."""

from __future__ import annotations

from datetime import date

from pitbird.papers.detector_history import History, sheet
from pitbird.papers.reading import code
from pitbird.services.gate import UnknownSubject, gate_one
from pitbird.services.papers import making
from pitbird.services.papers.bump_test import subjects_of
from pitbird.services.papers.making import MOST, Made, NoSuchPaper, Order, PaperRefused
from pitbird.store import book


def detector_history(
    detector: str, order: Order, *, first: date | None = None, last: date | None = None
) -> Made:
    """Every entry about a detector whose own time lies in a period of days, the first and the last included.

    Raises PaperRefused.
    """
    order = order.checked()
    try:
        row = gate_one(detector, now=order.made_at)
    except UnknownSubject:
        raise NoSuchPaper(f"detector: the book knows no detector {code(detector)!r}") from None
    zone = making.zone_of(row.state.site)
    since, until = making.days(first, last, zone)
    rows = [
        each
        for each in book.about(detector)
        if (since is None or each.at >= since) and (until is None or each.at < until)
    ]
    if len(rows) > MOST:
        raise PaperRefused(f"first: {len(rows)} entries are too many for one paper; take a shorter period")
    entries = making.written_all(rows)
    read = making.reader(
        order, zone, entries, subjects=[*subjects_of(row.state, row.state), *making.named_in(row.decision)]
    )
    history = History(
        state=row.state,
        decision=row.decision,
        first=first,
        last=last,
        entries=entries,
        total=book.count_about(detector)[0],
        loud=making.loud_of(row.state, order.made_at, zone),
    )
    leaf = entries[-1].leaf(read.book) if entries else None
    stands = making.standing(order, leaf, what="the last entry listed")
    return making.printed(f"detector-{code(detector)}", sheet(history, read, stands), order)
