"""A detector's history over a period, as a paper."""

from __future__ import annotations

from pitbird.fleet.times import Ms
from pitbird.papers.detector_history import History, sheet
from pitbird.papers.reading import code
from pitbird.services.gate import UnknownSubject, gate_one
from pitbird.services.papers import making
from pitbird.services.papers.bump_test import subjects_of
from pitbird.services.papers.making import MOST, Made, NoSuchPaper, Order, PaperRefused
from pitbird.store import book


def detector_history(
    detector: str, order: Order, *, since: Ms | None = None, until: Ms | None = None
) -> Made:
    """Every entry about a detector whose own time lies in ``[since, until)``. Raises PaperRefused."""
    order = order.checked()
    if since is not None and until is not None and until <= since:
        raise PaperRefused("until: the period ends before it begins")
    try:
        row = gate_one(detector, now=order.made_at)
    except UnknownSubject:
        raise NoSuchPaper(f"detector: the book knows no detector {code(detector)!r}") from None
    rows = [
        each
        for each in book.about(detector)
        if (since is None or each.at >= since) and (until is None or each.at < until)
    ]
    if len(rows) > MOST:
        raise PaperRefused(f"since: {len(rows)} entries are too many for one paper; take a shorter period")
    entries = making.written_all(rows)
    zone = making.zone_of(row.state.site)
    read = making.reader(
        order, zone, entries, subjects=[*subjects_of(row.state, row.state), *making.named_in(row.decision)]
    )
    history = History(
        state=row.state,
        decision=row.decision,
        since=since,
        until=until,
        entries=entries,
        total=book.count_about(detector)[0],
        loud=making.loud_of(row.state, order.made_at, zone),
    )
    last = entries[-1].leaf(read.book) if entries else None
    stands = making.standing(order, last, what="the last entry listed")
    return making.printed(f"detector-{code(detector)}", sheet(history, read, stands), order)
