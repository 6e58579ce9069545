"""The morning sheet for the wall of a site, as a paper."""

from __future__ import annotations

from dataclasses import replace

from pitbird.papers.morning_sheet import Line, sheet
from pitbird.papers.reading import code
from pitbird.services.gate import UnknownSubject, gate
from pitbird.services.papers import making
from pitbird.services.papers.making import Made, NoSuchPaper, Order


def morning_sheet(site: str, order: Order) -> Made:
    """What may go out at a site, for its wall: people by their codes. Raises PaperRefused."""
    order = replace(order.checked(), people=False)
    try:
        fleet = gate(now=order.made_at, site=site)
    except UnknownSubject:
        raise NoSuchPaper(f"site: the book knows no site {code(site)!r}") from None
    zone = making.zone_of(site)
    lines = [
        Line(row.state, row.decision, making.loud_of(row.state, fleet.as_of, zone)) for row in fleet.rows
    ]
    if len(lines) > making.MOST:
        raise making.PaperRefused(f"site: {len(lines)} detectors are more than a sheet for a wall can hold")
    read = making.reader(order, zone, subjects=[site])
    stands = making.standing(order, None)
    return making.printed(f"morning-{code(site)}", sheet(site, fleet.as_of, lines, read, stands), order)
