"""A detector's history: every entry about it in a period, numbered so that a gap would show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pitbird.fleet.state import DetectorState
from pitbird.papers import locales
from pitbird.papers.loud import LoudOf, findings, loud_part, stamp
from pitbird.papers.reading import Reader, Written, code, detector_words
from pitbird.papers.sheet import Empty, Facts, Part, Section, Sheet, Standing, Strong, Table, Words
from pitbird.papers.telling import listed
from pitbird.rules.decision import Decision


@dataclass(frozen=True)
class History:
    """What the history is made from: the detector and the decision about it now, the entries of the period in
    the book's order, how many entries the book holds about it, and what is loud of it now."""

    state: DetectorState
    decision: Decision
    first: date | None
    last: date | None
    entries: Sequence[Written]
    total: int
    loud: LoudOf


def sheet(history: History, reader: Reader, standing: Standing) -> Sheet:
    """The history of a detector."""
    state = history.state
    period = period_words(history.first, history.last, reader)
    return Sheet(
        title=f"History of detector {code(state.subject)}",
        running=f"Detector {code(state.subject)} · {period}",
        foot=reader.foot(),
        answer=(f"{len(history.entries)} of the {history.total} entries about it in the book: {period}.",),
        opening=(*loud_part(history.loud, reader), stamp(history.decision, state, reader)),
        sections=(
            Section("The detector", (Facts((*detector_words(state, reader), *_described(state, reader))),)),
            Section("In figures", (Facts(_figures(history)),)),
            Section("Entries", (_entries(history, reader),), wide=True),
            Section("Why the stamp", (findings(history.decision, reader),)),
        ),
        shows=(
            "What the book holds about this detector for the period, in its order, corrections included.",
            "Running numbers without a gap: no entry about it was left out between the first and the last.",
            "Where a number is missing, that entry happened on another day than those around it.",
        ),
        shows_not=(
            "What nobody wrote down.",
            "That it works now: the stamp is the gate’s answer when this was printed, and ends as it says.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def period_words(first: date | None, last: date | None, reader: Reader) -> str:
    """A period in words; the whole book where neither end is given."""
    if first is None and last is None:
        return "the whole book"
    start = f"from {locales.day(first, reader.locale)}" if first is not None else "from the beginning"
    return f"{start} to {locales.day(last, reader.locale) if last is not None else 'now'}"


def _described(state: DetectorState, reader: Reader) -> tuple[tuple[str, Words], ...]:
    channels = tuple(
        f"{channel.name}: {channel.gas}, to {reader.number(channel.range_high, channel.unit)}; "
        + ", ".join(f"{alarm.name} {reader.number(alarm.at)}" for alarm in channel.alarms)
        for channel in state.channels
    )
    return (("Channels, alarms", channels or "not described"),)


def _figures(history: History) -> tuple[tuple[str, Words], ...]:
    """Tests and failures of the period as they count now."""
    counted = [(entry, entry.counts) for entry in history.entries if entry.body["kind"] != "correction"]
    kinds = [body["kind"] for _entry, body in counted if body is not None]
    tests = [entry for entry, body in counted if body is not None and body["kind"] == "bump-test"]
    outcomes = [_outcome(entry) for entry in tests]
    numbers = [entry.nth.get(history.state.subject, 0) for entry in history.entries]
    gap = numbers != list(range(numbers[0], numbers[0] + len(numbers))) if numbers else False
    run = f"{numbers[0]} to {numbers[-1]} of {history.total}" if numbers else "none"
    sorts = ("passed", "failed", "spoiled", *(("left out",) if "left out" in outcomes else ()))
    said = ", ".join(f"{outcomes.count(each)} {each}" for each in sorts)
    untested = str(kinds.count("issued-untested"))
    return (
        ("Running numbers", Strong(f"{run}, but not every one in between") if gap else run),
        ("Bump tests", said),
        ("Calibrations", str(kinds.count("calibration"))),
        ("Taken out of service", str(kinds.count("out-of-service"))),
        ("Issued untested", "0" if untested == "0" else Strong(untested)),
        ("Corrections", str(sum(entry.body["kind"] == "correction" for entry in history.entries))),
    )


def _outcome(entry: Written) -> str:
    """What a test counts as: a pass whose clock cannot be right is left out, a fail counts all the same."""
    counts = entry.counts or entry.body
    outcome = entry.amounts_to or str(counts["outcome"])
    return "left out" if entry.left_out and outcome == "passed" else outcome


def _entries(history: History, reader: Reader) -> Part:
    if not history.entries:
        return Empty("The book holds no entry about it in this period.")
    return entries_table(history.entries, reader, about=history.state.subject)


def entries_table(entries: Sequence[Written], reader: Reader, *, about: str = "") -> Table:
    """Entries in a ruled table; with their running number about a subject where one is given."""
    head = ("No.", "Entry", "When", "What", "By") if about else ("Entry", "When", "What", "By")
    rows = []
    for entry in entries:
        row: tuple[Words, ...] = (
            str(entry.index),
            reader.short(entry.at),
            listed(entry, reader),
            reader.name(entry.body["by"]),
        )
        rows.append((str(entry.nth.get(about, "")), *row) if about else row)
    widths = (0.8, 1.1, 3.3, 7, 2.4) if about else (1, 3.3, 7.4, 2.4)
    sides = ("right", "right", "left", "left", "left") if about else ("right", "left", "left", "left")
    return Table(head, tuple(rows), widths, sides)
