"""``pitbird look-back``: which earlier work a failure puts in question, and what nobody has decided."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.fleet.look_back import Happening, Part, Showing, Use
    from pitbird.fleet.times import Ms
    from pitbird.services.look_back import AfterFailure, PartsInDoubt, UseInDoubt
    from pitbird.services.look_back_decisions import Decision
    from pitbird.services.look_back_list import Awaiting, LookBack
    from pitbird.services.look_back_trials import AfterTrials

YEAR_DAYS = 365.25
CLEARS_NOTHING = (
    "Nothing here clears a use. A known drop, soaking, over-range or poisoning comes before any chance; the\n"
    "record does not know what nobody wrote down. Local codes, the manual and a competent person come first."
)


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

    With nothing named: the failures and cylinders about which nobody has decided yet.
    """
    from pitbird.cli.naming import known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    faults = Faults()
    place = known("site", site, faults) if site else None
    if what is None:
        _only_with("a cylinder or a person", {"since": since, "until": until, "lot": lot or None}, faults)
        _only_with("a failure", {"rate": rate}, faults)
        faults.refuse()
        _list(place, as_json)
        return
    _only_with("nothing else named", {"site": site}, faults)
    subject = _subject(what, faults)
    looked = _looked(subject, since, until, lot, rate, faults) if subject else None
    faults.refuse()
    if looked is not None:
        zone = _zone(looked.of[0])
        typer.echo(json.dumps(_plain(looked), indent=2) if as_json else _told(looked, zone))


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


def _looked(
    subject: str, since: str | None, until: str | None, lot: bool, rate: str | None, faults: Faults
) -> LookBack | None:
    from pitbird.services.look_back_trials import after_gas, after_tester, lot_of

    sort = subject.partition(":")[0]
    if sort not in {"cylinder", "person"}:
        _only_with("a cylinder or a person", {"since": since, "until": until, "lot": lot or None}, faults)
        faults.refuse()
        return _after_failure(subject, rate, faults)
    _only_with("a failure", {"rate": rate}, faults)
    zone = _zone(subject)
    start, end = _edge("since", since, zone, faults), _edge("until", until, zone, faults)
    if start is not None and end is not None and start >= end:
        faults.add(f"since: {since!r} does not lie before the end of what is asked for")
    if sort == "person":
        _only_with("a cylinder", {"lot": lot or None}, faults)
        faults.refuse()
        return after_tester(subject, since=start, until=end)
    faults.refuse()
    name, cylinders = lot_of(subject) if lot else (None, (subject,))
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


# --- Words


def _told(looked: LookBack, zone: str | None) -> str:
    from pitbird.services.look_back import AfterFailure

    body = _failure(looked, zone) if isinstance(looked, AfterFailure) else _trials(looked, zone)
    return "\n\n".join([*body, _decided(looked, zone), CLEARS_NOTHING])


def _failure(looked: AfterFailure, zone: str | None) -> list[str]:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time

    parts = [f"Which work before the failure of {code(looked.detector)} is in question?"]
    for group in looked.groups:
        good = group.last_good
        lines = [
            f"{_parts(group.parts)}: failed a {_trial(group.failed)} at {_shown(group.failed, zone)}",
            f"  last shown to be good at {_shown(good, zone)}" if good else "  never shown to be good before",
        ]
        if group.passed_over:
            lines.append(
                f"  passed over, on gas in doubt or not counted by the site rules: {len(group.passed_over)}"
            )
        if group.first.entry != group.failed.entry:
            lines.append(f"  had failed before, at {show_time(group.first.at, zone)}")
        lines += [
            f"  known event, take it as failed from then on: {_event(each, zone)}" for each in group.known
        ]
        lines += [
            f"  also written down: {_event(each, zone)}"
            for each in group.happenings
            if each not in group.known
        ]
        parts += ["\n".join(lines), _uses_in_doubt(group, looked.rate_per_day is not None, zone)]
        if group.afterwards:
            parts.append(
                "Taken out after it had failed, before it was shown to be good again:\n"
                + _uses(group.afterwards, zone)
            )
    return parts


def _uses_in_doubt(group: PartsInDoubt, rated: bool, zone: str | None) -> str:
    if not group.uses:
        return "No hand-out stands in the book for that time. That does not say that nobody used it."
    heads = ["calendar", "in use"] if rated else ["order"]
    more = [_chances(each, rated) for each in group.uses]
    return _uses([each.use for each in group.uses], zone, heads, more)


def _chances(each: UseInDoubt, rated: bool) -> list[str]:
    if each.event is not None:
        told = f"take as failed: {each.event.what}"
        return [told, told] if rated else [told]
    if rated:
        return [_percent(each.calendar), _percent(each.in_use)]
    return [str(each.order) if each.order is not None else "-"]


def _percent(chance: float | None) -> str:
    """Never 0 % for what may be, nor 100 % for what need not."""
    if chance is None:
        return "-"
    if 0 < chance < 0.001:
        return "below 0.1 %"
    if 0.999 < chance < 1:
        return "above 99.9 %"
    return f"{100 * chance:.1f} %"


def _uses(
    uses: Iterable[Use], zone: str | None, heads: Sequence[str] = (), more: Sequence[Sequence[str]] = ()
) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time

    rows = []
    for place, use in enumerate(uses):
        rows.append(
            [
                str(use.index),
                show_time(use.start, zone),
                show_time(use.end, zone) if use.end is not None else "still out",
                code(use.wearer),
                code(use.where) or "-",
                (use.permit or "-") + (f" (untested, {code(use.authority)})" if use.authority else ""),
                *(more[place] if more else ()),
            ]
        )
    names = ["entry", "taken out", "until", "wearer", "place", "permit", *heads]
    return table(names, rows, width=terminal_width())


def _trials(looked: AfterTrials, zone: str | None) -> list[str]:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time

    named = ", ".join(code(each) for each in looked.of)
    what = "gas from" if looked.sort == "gas" else "tests by"
    parts = [
        f"Which work rested on {what} {named}?"
        + (f" (lot {looked.lot})" if looked.lot else "")
        + f"\n{looked.trials} tests and calibrations and {len(looked.uses)} uses are in question."
    ]
    for each in looked.rested:
        until = each.resting.until
        head = (
            f"{code(each.detector)}, {_parts(each.resting.parts)}: {show_time(each.resting.since, zone)} to "
            + (show_time(until, zone) if until is not None else "now")
        )
        uses = _uses(each.uses, zone) if each.uses else "  no hand-out stands in the book for that time"
        parts.append(f"{head}\n{uses}")
    return parts


def _decided(looked: LookBack, zone: str | None) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time

    if not looked.decisions:
        return "Nobody has decided yet whether earlier work is affected."
    lines = []
    for each in looked.decisions:
        newer = looked.newer(each.book_size)
        late = f"; {len(newer)} entries that bear on it came later" if newer else ""
        lines.append(
            f"Decided {show_time(each.row.at, zone)} (entry {each.row.index}): {each.body['outcome']},"
            f" assessed by {code(each.body['assessed_by'])}{late}"
        )
    return "\n".join(lines)


def _list(site: str | None, as_json: bool) -> None:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time
    from pitbird.services.look_back_list import awaiting

    found = awaiting(site)
    if as_json:
        typer.echo(json.dumps({"awaiting": [_plain_awaiting(each) for each in found]}, indent=2))
        return
    if not found:
        typer.echo("Nothing awaits a decision about earlier work, as far as the book knows.")
        return
    rows = [
        [
            str(each.entry.index),
            code(each.subject),
            show_time(each.entry.at, _zone(each.subject)),
            _why(each),
            str(len(each.look.uses)) if each.look else "-",
            _late(each),
        ]
        for each in found
    ]
    typer.echo(table(["entry", "what", "when", "why", "uses", "decided"], rows, width=terminal_width()))
    typer.echo(f"\nAwaiting a decision: {len(found)}. See one: pitbird look-back ENTRY, or CYLINDER.")


def _late(each: Awaiting) -> str:
    if each.decision is None:
        return "no"
    return f"by entry {each.decision.row.index}, but {len(each.newer)} came later"


def _why(each: Awaiting) -> str:
    if each.look is None:
        return f"gas in doubt: {each.because}"
    return f"{_trial(each.look.failed)}: {_parts(part for group in each.look.groups for part in group.parts)}"


def _shown(showing: Showing, zone: str | None) -> str:
    from pitbird.cli.times import show_time

    return f"{show_time(showing.at, zone)} (entry {showing.index})"


def _trial(showing: Showing) -> str:
    return "calibration" if showing.trial == "calibration" else "bump test"


def _parts(parts: Iterable[Part]) -> str:
    return ", ".join(part.name or "the detector as a whole" for part in dict.fromkeys(parts))


def _event(each: Happening, zone: str | None) -> str:
    from pitbird.cli.times import show_time

    channels = f" ({', '.join(each.channels)})" if each.channels else ""
    return f"{each.what}{channels}, {show_time(each.at, zone)} (entry {each.index})"


# --- JSON


def _plain(looked: LookBack) -> dict[str, Any]:
    from pitbird.services.look_back import AfterFailure

    made: dict[str, Any] = {
        "of": list(looked.of),
        "book_size": looked.book_size,
        "decisions": [_plain_decision(each, looked.newer(each.book_size)) for each in looked.decisions],
        "clears": "nothing",
    }
    if isinstance(looked, AfterFailure):
        return {
            "sort": "failure",
            **made,
            "failed": looked.failed.entry,
            "rate_per_day": looked.rate_per_day,
            "groups": [_plain_group(each) for each in looked.groups],
        }
    return {
        "sort": looked.sort,
        **made,
        "lot": looked.lot,
        "since": _time(looked.since),
        "until": _time(looked.until),
        "trials": looked.trials,
        "rested": [
            {
                "detector": each.detector,
                "parts": [_plain_part(part) for part in each.resting.parts],
                "since": _time(each.resting.since),
                "until": _time(each.resting.until),
                "trials": list(dict.fromkeys(trial.entry for trial in each.resting.trials)),
                "uses": [_plain_use(use) for use in each.uses],
            }
            for each in looked.rested
        ],
    }


def _plain_group(group: PartsInDoubt) -> dict[str, Any]:
    return {
        "parts": [_plain_part(part) for part in group.parts],
        "last_good": _plain_showing(group.last_good),
        "passed_over": [each.entry for each in group.passed_over],
        "first": _plain_showing(group.first),
        "failed": _plain_showing(group.failed),
        "again": _plain_showing(group.again),
        "known_events": [_plain_event(each) for each in group.known],
        "happenings": [_plain_event(each) for each in group.happenings],
        "uses": [
            {
                **_plain_use(each.use),
                "order": each.order,
                "probability_failed_by_end": each.calendar,
                "probability_failed_by_end_in_use": each.in_use,
                "take_as_failed_from": each.event.entry if each.event else None,
            }
            for each in group.uses
        ],
        "afterwards": [_plain_use(use) for use in group.afterwards],
    }


def _plain_part(part: Part) -> dict[str, str]:
    return {"sort": part.sort, "name": part.name}


def _plain_showing(showing: Showing | None) -> dict[str, Any] | None:
    if showing is None:
        return None
    return {"entry": showing.entry, "index": showing.index, "at": _time(showing.at), "by": showing.trial}


def _plain_event(each: Happening) -> dict[str, Any]:
    return {"what": each.what, "at": _time(each.at), "entry": each.entry, "channels": list(each.channels)}


def _plain_use(use: Use) -> dict[str, Any]:
    return {
        "detector": use.detector,
        "entry": use.entry,
        "index": use.index,
        "wearer": use.wearer,
        "where": use.where,
        "permit": use.permit,
        "authority": use.authority,
        "start": _time(use.start),
        "end": _time(use.end),
    }


def _plain_decision(decision: Decision, newer: tuple[int, ...]) -> dict[str, Any]:
    return {
        "entry": decision.row.entry_id,
        "index": decision.row.index,
        "outcome": decision.body["outcome"],
        "assessed_by": decision.body["assessed_by"],
        "book_size": decision.book_size,
        "newer": list(newer),
    }


def _plain_awaiting(each: Awaiting) -> dict[str, Any]:
    return {
        "sort": each.sort,
        "subject": each.subject,
        "entry": each.entry.entry_id,
        "index": each.entry.index,
        "because": each.because,
        "uses": len(each.look.uses) if each.look else None,
        "decision": each.decision.row.entry_id if each.decision else None,
        "newer": list(each.newer),
    }


def _time(at: Ms | None) -> str | None:
    from pitbird.fleet.times import text_of

    return text_of(at) if at is not None else None
