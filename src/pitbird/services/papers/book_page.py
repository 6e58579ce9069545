"""A page of the book, of a day and a site, as a paper."""

from __future__ import annotations

from datetime import date

from pitbird.papers.book_page import sheet
from pitbird.papers.reading import code
from pitbird.services.papers import making
from pitbird.services.papers.making import MOST, Made, NoSuchPaper, Order, PaperRefused
from pitbird.store import book
from pitbird.store.models import Entry


def book_page(day: date, order: Order, *, site: str | None = None) -> Made:
    """Every entry whose own time lies on a day of the site's calendar (UTC for all sites).

    Raises PaperRefused.
    """
    order = order.checked()
    zone = making.zone_of(site)
    if site is not None and zone is None:
        raise NoSuchPaper(f"site: the book knows no site {code(site)!r}, or not its clock")
    since, until = making.days(day, day, zone)
    found = Entry.objects.filter(at__gte=since, at__lt=until)
    if site is not None:
        found = found.filter(site=site)
    if (count := found.count()) > MOST:
        raise PaperRefused(f"day: {count} entries are too many for one paper; take one site")
    fields = book.Row.__struct_fields__
    entries = making.written_all(
        [book.row_of(each) for each in found.order_by("index").values_list(*fields)], until=until
    )
    read = making.reader(order, zone, entries, subjects=[site] if site else [])
    last = entries[-1].leaf(read.book) if entries else None
    stands = making.standing(order, last, what="the last entry listed")
    name = f"book-{day.isoformat()}" + (f"-{code(site)}" if site else "")
    return making.printed(name, sheet(day, site, entries, read, stands), order)
