"""A page of the book: what was written about a day, at one site or at all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pitbird.fleet.times import local
from pitbird.papers import locales
from pitbird.papers.detector_history import entries_table
from pitbird.papers.reading import LATE_MS, Reader, Written
from pitbird.papers.sheet import Empty, Facts, Listed, Loud, Part, Section, Sheet, Standing, Words
from pitbird.papers.telling import kind_words, sentence


def sheet(
    day: date, site: str | None, entries: Sequence[Written], reader: Reader, standing: Standing
) -> Sheet:
    """The entries whose own time lies on a day of the site's calendar, in the book's order."""
    when = locales.day(day, reader.locale, weekday=True)
    place = reader.name(site) if site else "all sites"
    return Sheet(
        title=f"The book, {when}",
        running=f"{place} · {when}",
        foot=reader.foot(),
        answer=(
            f"{_count(len(entries))} about {when}, {place}; the day as clocks show it in {reader.zone}.",
        ),
        opening=_opening(entries, reader),
        sections=(
            Section("Entries", (_entries(entries, reader),), wide=True),
            Section("By kind", (_kinds(entries),)),
            Section("Corrections", (_corrected(entries),)),
        ),
        shows=("What the book holds about this day, in its own order, each entry with its place.",),
        shows_not=(
            "What nobody wrote down, and what is written about this day later.",
            "That nothing of the day was left out of this paper: hold it against a bundle or an export.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def _count(number: int) -> str:
    return "One entry" if number == 1 else f"{number} entries"


def _opening(entries: Sequence[Written], reader: Reader) -> tuple[Part, ...]:
    """Issued untested, and held for an incident: on top, unless voided."""
    counting = [(entry.index, entry.counts) for entry in entries if entry.body["kind"] != "correction"]
    grave: tuple[Words, ...] = tuple(
        f"Entry {index}: {sentence(body, reader)}"
        for index, body in counting
        if body is not None and (body["kind"] == "issued-untested" or body.get("because") == "incident")
    )
    return (Loud("Look here first", grave),) if grave else ()


def _entries(entries: Sequence[Written], reader: Reader) -> Part:
    return entries_table(entries, reader) if entries else Empty("Nothing is written about this day.")


def _kinds(entries: Sequence[Written]) -> Part:
    kinds = [entry.body["kind"] for entry in entries]
    pairs = tuple((kind_words(kind), str(kinds.count(kind))) for kind in dict.fromkeys(kinds))
    return Facts(pairs) if pairs else Empty("None.")


def _corrected(entries: Sequence[Written]) -> Part:
    lines: list[Words] = [
        f"Entry {entry.index} was corrected by entry {entry.corrections[-1].index}"
        for entry in entries
        if entry.corrections
    ]
    late = [entry for entry in entries if entry.recorded_at - entry.at > LATE_MS]
    if late:
        lines.append(f"Written more than a quarter of an hour late: {len(late)}")
    return Listed(tuple(lines)) if lines else Empty("Nothing was corrected, and nothing was written late.")


def on_day(entry: Written, day: date, zone: str) -> bool:
    """Whether an entry's own time lies on a day of a calendar."""
    return local(entry.at, zone).date() == day
