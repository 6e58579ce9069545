"""``pitbird look-back``: which earlier work a failure puts in question, and what nobody has decided."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.fleet.times import Ms
    from pitbird.services.look_back_list import LookBack

YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Asked:
    """The options about one look-back, as typed."""

    since: str | None
    until: str | None
    lot: bool
    untrained: bool
    rate: str | None


def command(
    what: str | None = typer.Argument(
        None,
        metavar="[DETECTOR|CYLINDER|PERSON|INDEX-or-ID]",
        help="A detector (its newest failure), a failed test by its place or id, a cylinder, a person who"
        " tested; left out: what awaits a decision.",
    ),
    since: str | None = typer.Option(
        None, metavar="DAY-or-TIME", help="Of a cylinder or person: tests from this day or time on."
    ),
    until: str | None = typer.Option(
        None,
        metavar="DAY-or-TIME",
        help="Of a cylinder or person: tests through this day, or up to this time.",
    ),
    lot: bool = typer.Option(False, "--lot", help="Of a cylinder: every cylinder of its lot."),
    untrained: bool = typer.Option(
        False, "--untrained", help="Of a person: only passed tests that the site rules refuse for the tester."
    ),
    rate: str | None = typer.Option(
        None,
        metavar="NUMBER-or-record",
        help="Of a failure: failures in one sensor-year, or record (the book's own, upper limit), for the"
        " chance; left out, only its order is told.",
    ),
    site: str | None = typer.Option(None, help="What awaits a decision: only at this site."),
    as_json: bool = typer.Option(False, "--json", help="All of it as JSON."),
) -> None:
    """List the uses that a failed test, gas in doubt or a tester in doubt puts in question; clears nothing.

    With nothing named: the failures, cylinders and untrained testers about whom nobody has decided yet.
    """
    from pitbird.cli.look_back_json import plain
    from pitbird.cli.look_back_words import told
    from pitbird.cli.naming import known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    faults = Faults()
    place = known("site", site, faults) if site else None
    if what is None:
        _only_with("a cylinder or a person", {"since": since, "until": until, "lot": lot or None}, faults)
        _only_with("a person", {"untrained": untrained or None}, faults)
        _only_with("a failure", {"rate": rate}, faults)
        faults.refuse()
        _list(place, as_json)
        return
    _only_with("nothing else named", {"site": site}, faults)
    subject = _subject(what, faults)
    asked = Asked(since, until, lot, untrained, rate)
    looked = _looked(subject, asked, faults) if subject else None
    faults.refuse()
    if looked is not None:
        zone = _zone(looked.of[0])
        typer.echo(json.dumps(plain(looked), indent=2) if as_json else told(looked, zone))


def _only_with(what: str, given: dict[str, Any], faults: Faults) -> None:
    for name, value in given.items():
        if value is not None:
            faults.add(f"{name}: stands with {what} only")


def _subject(what: str, faults: Faults) -> str | None:
    """What is meant: a thing of the book, or the id of an entry."""
    from pitbird.cli.correct import row_of
    from pitbird.cli.naming import known
    from pitbird.services.knowing import Now
    from pitbird.store import book

    what = what.strip()
    if (what.isascii() and what.isdigit()) or book.by_id(what) is not None:
        row = row_of(what, faults)
        return row.entry_id if row is not None else None
    sort = what.partition(":")[0] if ":" in what else ""
    if sort in {"detector", "cylinder", "person"}:
        return known(sort, what, faults)
    if sort:
        faults.add(f"what: {what!r} is no detector, cylinder or person")
        return None
    candidates = [f"{each}:{what}" for each in ("detector", "cylinder", "person")]
    found = [each for each in candidates if Now().state(each) is not None]
    if len(found) > 1:
        faults.add(f"what: {what!r} is {' and '.join(found)}; write which of them")
        return None
    if not found:
        faults.add(f"what: the book knows no detector, cylinder, person or entry {what!r}")
        return None
    return found[0]


def _after_failure(subject: str, rate: str | None, faults: Faults) -> LookBack:
    """Look back from a failure, at the rate that was given or the one of the book's own record."""
    from pitbird.services.look_back import after_failure
    from pitbird.services.look_back_rate import evidence_rate

    if rate == "record":
        looked = after_failure(subject)
        parts = [part for group in looked.groups for part in group.parts]
        return after_failure(subject, rate_per_day=evidence_rate(looked.detector, parts))
    try:
        number = None if rate is None else float(rate)
    except ValueError:
        number = None
        faults.add(f"rate: {rate!r} is neither a number of failures in one sensor-year nor 'record'")
    faults.refuse()
    return after_failure(subject, rate_per_day=None if number is None else number / YEAR_DAYS)


def _looked(subject: str, asked: Asked, faults: Faults) -> LookBack | None:
    from pitbird.services.look_back_trials import after_gas, after_tester, lot_of

    sort = subject.partition(":")[0]
    if sort not in {"cylinder", "person"}:
        _only_with("a cylinder or a person", {"since": asked.since, "until": asked.until}, faults)
    if sort != "cylinder":
        _only_with("a cylinder", {"lot": asked.lot or None}, faults)
    if sort != "person":
        _only_with("a person", {"untrained": asked.untrained or None}, faults)
    if sort not in {"cylinder", "person"}:
        faults.refuse()
        return _after_failure(subject, asked.rate, faults)
    _only_with("a failure", {"rate": asked.rate}, faults)
    zone = _zone(subject)
    start, end = _edge("since", asked.since, zone, faults), _edge("until", asked.until, zone, faults)
    if start is not None and end is not None and start >= end:
        faults.add(f"since: {asked.since!r} does not lie before the end of what is asked for")
    faults.refuse()
    if sort == "person":
        return after_tester(subject, since=start, until=end, untrained=asked.untrained)
    name, cylinders = lot_of(subject) if asked.lot else (None, (subject,))
    return after_gas(cylinders, since=start, until=end, lot=name)


def _edge(field: str, text: str | None, zone: str | None, faults: Faults) -> Ms | None:
    """The instant of a day (its begin; its end for ``until``) or of a time."""
    from datetime import date

    from pitbird.cli.times import read_time
    from pitbird.services.attempts import day_at

    if text is None:
        return None
    try:
        if zone is not None and len(text) == len("2026-03-02"):
            return day_at(date.fromisoformat(text), zone)[field == "until"]
        return read_time(text, zone, field=field)
    except ValueError as fault:
        told = str(fault)
        faults.add(told if told.startswith(f"{field}:") else f"{field}: {text!r} is no day")
        return None


def _zone(subject: str) -> str | None:
    from pitbird.cli.naming import zone_of
    from pitbird.fleet.state import CylinderState, DetectorState, PersonState
    from pitbird.services.knowing import Now

    state = Now().state(subject)
    if isinstance(state, PersonState):
        return zone_of(state.home)
    return zone_of(state.site) if isinstance(state, DetectorState | CylinderState) else None


def _list(site: str | None, as_json: bool) -> None:
    from pitbird.cli.look_back_json import plain_awaiting
    from pitbird.cli.look_back_words import late, why
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time
    from pitbird.services.look_back_list import awaiting

    found = awaiting(site)
    if as_json:
        typer.echo(json.dumps({"awaiting": [plain_awaiting(each) for each in found]}, indent=2))
        return
    if not found:
        typer.echo("Nothing awaits a decision about earlier work, as far as the book knows.")
        return
    rows = [
        [
            str(each.entry.index),
            code(each.subject),
            show_time(each.entry.at, _zone(each.subject)),
            why(each),
            str(len(each.look.uses)) if each.look else "-",
            late(each),
        ]
        for each in found
    ]
    typer.echo(table(["entry", "what", "when", "why", "uses", "decided"], rows, width=terminal_width()))
    typer.echo(
        f"\nAwaiting a decision: {len(found)}. See one: pitbird look-back ENTRY, or CYLINDER, or\n"
        "PERSON --untrained."
    )
