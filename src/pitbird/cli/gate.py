"""``pitbird gate``: what may go out, until when, and for each other one why not."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import typer

from pitbird.cli.refusing import NEGATIVE, Faults

if TYPE_CHECKING:
    from pitbird.fleet.times import Ms
    from pitbird.rules.decision import Decision, Finding
    from pitbird.services.gate import GateRow


def command(
    detector: str | None = typer.Argument(
        None, help="One detector, such as D-017: its answer with every finding."
    ),
    site: str | None = typer.Option(
        None, help="Only this site's detectors; times may then be written on its clock."
    ),
    wearer: str | None = typer.Option(None, help="Asked for this person, whose training then counts."),
    at: str | None = typer.Option(
        None, metavar="TIME", help="At another moment: 2026-03-02T06:40+00:00, or without offset with --site."
    ),
    as_known_at: str | None = typer.Option(
        None,
        metavar="INDEX-or-TIME",
        help=(
            "As the book stood then: only entries up to this place, or recorded by this time. "
            "The question is then asked for that moment too, unless --at says another."
        ),
    ),
    rules: str | None = typer.Option(
        None,
        metavar="FILE-or-ID",
        help=(
            "What today's answers would be under other site rules: those that come with pitbird, or a TOML"
            " file. Nothing of it counts as an answer."
        ),
    ),
    as_json: bool = typer.Option(
        False, "--json", help="As JSON: a detector with every finding; the fleet with what decided and warns."
    ),
    show_all: bool = typer.Option(
        False, "--all", help="Every finding: of each detector of the fleet, and those that do not apply."
    ),
) -> None:
    """What may go out? A table with the worst first, or one detector with every finding.

    With DETECTOR, exit status 0 only if it may go out, else 1. For the table 0, whatever it says. With
    --rules the status is still that of the rules in force.
    """
    from pitbird.cli.naming import zone_of
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    if rules is not None:
        only_now = {"at": at, "as-known-at": as_known_at, "all": "" if show_all else None}
        _would(rules, detector, site, wearer, only_now, as_json=as_json)
        return
    from pitbird.rules.decision import Verdict
    from pitbird.services import clock
    from pitbird.services.gate import gate, gate_one

    asked = _read(detector, site, wearer, at, as_known_at, clock.now())
    when: dict[str, Any] = {
        "now": asked["now"], "at": asked["at"], "known_below": asked["known_below"], "wearer": asked["wearer"]
    }  # fmt: skip
    if asked["detector"] is not None:
        row = gate_one(asked["detector"], **when)
        typer.echo(
            _json(as_json_values(row, zone_of(row.state.site)))
            if as_json
            else "\n".join(detector_lines(row, show_all=show_all))
        )
        if row.decision.verdict is not Verdict.MAY_GO_OUT:
            raise typer.Exit(NEGATIVE)
        return
    answer = gate(site=asked["site"], **when)
    if as_json:
        zones = zones_of(answer.rows)
        told = [
            as_json_values(row, zones[row.state.site], None if show_all else row.decision.telling)
            for row in answer.rows
        ]
        typer.echo(_json(told))
        return
    for line in _fleet_lines(
        answer.rows, answer.as_of, asked["site"], asked["known_below"], show_all=show_all
    ):
        typer.echo(line)


def _would(
    rules: str,
    detector: str | None,
    site: str | None,
    wearer: str | None,
    only_now: dict[str, str | None],
    *,
    as_json: bool,
) -> None:
    """Today's answers under other rules, beside those that hold; the status is that of what holds."""
    from pitbird.cli import would
    from pitbird.cli.refusing import Refused
    from pitbird.cli.rules import load
    from pitbird.rules.decision import Verdict
    from pitbird.services import clock
    from pitbird.services.what_if import what_if

    faults = Faults()
    for name, given in only_now.items():
        if given is not None:
            faults.add(f"{name}: does not go together with --rules, which asks for now and in short")
    other = None
    try:
        other = load(rules)
    except Refused as refused:
        faults.lines.extend(refused.lines)
    asked = _subjects(detector, site, wearer, faults)
    faults.refuse()
    assert other is not None  # noqa: S101 - None only with a fault
    answer = what_if(
        other, now=clock.now(), site=asked["site"], detector=asked["detector"], wearer=asked["wearer"]
    )
    lines = [_json(would.as_json_values(answer))] if as_json else would.whole_fleet(answer)
    for line in lines:
        typer.echo(line)
    if detector and any(row.now.verdict is not Verdict.MAY_GO_OUT for row in answer.rows):
        raise typer.Exit(NEGATIVE)


def _subjects(
    detector: str | None, site: str | None, wearer: str | None, faults: Faults
) -> dict[str, str | None]:
    """Whom the question is about; a fault for each that the book does not know."""
    from pitbird.cli.naming import known

    name = known("detector", detector, faults) if detector else None
    place = known("site", site, faults) if site else None
    person = known("person", wearer, faults) if wearer else None
    if name and place:
        _same_site(name, place, faults)
    return {"detector": name, "site": place, "wearer": person}


def _read(
    detector: str | None, site: str | None, wearer: str | None, at: str | None, known_at: str | None, now: Ms
) -> dict[str, Any]:
    """What is asked, in the terms of the use case; every fault at once."""
    from pitbird.cli.naming import zone_of
    from pitbird.cli.times import read_time

    faults = Faults()
    asked = _subjects(detector, site, wearer, faults)
    zone = zone_of(asked["site"])
    moment = None
    if at is not None:
        try:
            moment = read_time(at, zone, field="at")
        except ValueError as fault:
            faults.add(str(fault))
    below, then = _known_below(known_at, zone, now, faults)
    faults.refuse()
    return {**asked, "now": now, "at": moment if moment is not None else then, "known_below": below}


def _same_site(detector: str, site: str, faults: Faults) -> None:
    from pitbird.cli.naming import code
    from pitbird.fleet.state import DetectorState
    from pitbird.services.knowing import Now

    state = Now().state(detector)
    if isinstance(state, DetectorState) and state.site != site:
        faults.add(f"site: {code(detector)} belongs to {code(state.site) or 'no site'}, not to {code(site)}")


def _known_below(text: str | None, zone: str | None, now: Ms, faults: Faults) -> tuple[int | None, Ms | None]:
    """How many entries were known, and the moment; from the place of an entry, or from a time."""
    from pitbird.cli.times import read_time
    from pitbird.fleet.times import Ms
    from pitbird.services.gate import size_known_at
    from pitbird.store import book

    if text is None:
        return None, None
    if re.fullmatch(r"[0-9]{1,12}", text):
        row = book.at_index(int(text))
        if row is None:
            faults.add(
                f"as-known-at: there is no entry {text}; the book has entries 0 to {book.head().size - 1}"
            )
            return None, None
        return int(text) + 1, Ms(row.recorded_at)
    try:
        moment = read_time(text, zone, field="as-known-at")
    except ValueError as fault:
        faults.add(str(fault))
        return None, None
    if moment > now:
        faults.add(f"as-known-at: {text!r} lies in the future; what will be known then is not known now")
    return size_known_at(moment), moment


def zones_of(rows: Sequence[GateRow]) -> dict[str | None, str | None]:
    """The clock of each site that the rows belong to."""
    from pitbird.cli.naming import zone_of

    return {site: zone_of(site) for site in {row.state.site for row in rows}}


def fleet_table(rows: Sequence[GateRow], zones: dict[str | None, str | None]) -> str:
    """One line for each detector: code, verdict, until, reason, remedy."""
    from pitbird.cli.tables import table, terminal_width

    return table(
        ["detector", "verdict", "until", "reason", "remedy"],
        [_cells(row, zones[row.state.site]) for row in rows],
        width=terminal_width(),
    )


def _cells(row: GateRow, zone: str | None) -> list[str]:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time
    from pitbird.cli.wording import loud, remedy, sentence, verdict_words

    decision, finding = row.decision, row.decision.decisive
    said = [*loud(row.state, decision.as_of, zone), sentence(finding, zone) if finding else ""]
    return [
        code(decision.detector),
        verdict_words(decision.verdict),
        show_time(decision.until, zone) if decision.until is not None else "",
        " ".join(filter(None, said)),
        remedy(finding) if finding else "",
    ]


def _fleet_lines(
    rows: Sequence[GateRow], as_of: Ms, site: str | None, known_below: int | None, *, show_all: bool
) -> list[str]:
    from pitbird.cli.naming import code, zone_of
    from pitbird.cli.times import show_time

    place = f" at {code(site)}" if site else ""
    known = f", as known with entries 0 to {known_below - 1}" if known_below else ""
    lines = [f"What may go out{place}?  {show_time(as_of, zone_of(site))}{known}"]
    if not rows:
        return [*lines, "No detectors."]
    lines.append(counts_line(rows))
    if not show_all:
        return [*lines, fleet_table(rows, zones_of(rows))]
    for row in rows:
        lines += ["", *detector_lines(row, show_all=True)]
    return lines


def counts_line(rows: Sequence[GateRow]) -> str:
    """How many detectors have which verdict."""
    from pitbird.cli.wording import verdict_words
    from pitbird.services.gate import ORDER

    counts = [(sum(row.decision.verdict is verdict for row in rows), verdict) for verdict in reversed(ORDER)]
    return ", ".join(f"{number} {verdict_words(verdict)}" for number, verdict in counts)


def stamp(row: GateRow) -> str:
    """The answer about one detector in a line: verdict, until when, or why not and what to do."""
    from pitbird.cli.naming import zone_of

    name, words, until, reason, todo = _cells(row, zone_of(row.state.site))
    because = " ".join(part for part in (reason, todo) if part)
    return (
        f"{name} {words.upper()}" + (f" until {until}" if until else "") + (f". {because}" if because else "")
    )


def detector_lines(row: GateRow, *, show_all: bool = False) -> list[str]:
    """The stamp of one detector, and under it every finding with its source, the decisive one first."""
    from pitbird.cli.naming import code, zone_of
    from pitbird.cli.times import show_time
    from pitbird.rules.decision import Outcome
    from pitbird.services.people import names

    decision, zone = row.decision, zone_of(row.state.site)
    called = names()
    lines = [f"[ {stamp(row)} ]", f"as of {show_time(decision.as_of, zone)}" + _under(decision)]
    if decision.wearer:
        lines[-1] += f", for {called.get(decision.wearer, code(decision.wearer))}"
    idle = [each for each in decision.findings if each.outcome is Outcome.DOES_NOT_APPLY]
    for finding in decision.findings:
        if show_all or finding.outcome is not Outcome.DOES_NOT_APPLY:
            lines += _finding_lines(finding, zone, called)
    if idle and not show_all:
        lines.append(f"Does not apply here: {', '.join(each.rule for each in idle)} (--all shows them).")
    return lines


def _under(decision: Decision) -> str:
    if decision.rules_id is None:
        return ", under no site rules"
    return f", under site rules {decision.rules_id} version {decision.rules_version}"


def _finding_lines(finding: Finding, zone: str | None, called: dict[str, str]) -> list[str]:
    from pitbird.cli.times import show_time
    from pitbird.cli.wording import OUTCOMES, remedy, sentence, source
    from pitbird.rules.decision import Outcome

    mark = "=>" if finding.decisive else "  "
    warns = ", only warns" if finding.strength == "warns" and finding.outcome is not Outcome.MET else ""
    lines = [f"{mark} {finding.rule} ({OUTCOMES[finding.outcome]}{warns}): {sentence(finding, zone, called)}"]
    if finding.until is not None:
        lines.append(f"     until {show_time(finding.until, zone)}")
    if finding.outcome in (Outcome.NOT_MET, Outcome.UNKNOWN) and (todo := remedy(finding)):
        lines.append(f"     {todo}")
    if where := source(finding):
        lines.append(f"     source: {where}")
    if finding.entries:
        lines.append(f"     entries: {', '.join(finding.entries)}")
    return lines


def as_json_values(
    row: GateRow, zone: str | None, findings: Sequence[Finding] | None = None
) -> dict[str, Any]:
    """A decision with all its findings, or those given, as JSON values; instants in the book's form (UTC)."""
    from pitbird.cli.wording import verdict_words
    from pitbird.fleet.times import text_of

    decision = row.decision
    return {
        "detector": decision.detector,
        "verdict": decision.verdict.value,
        "verdict_words": verdict_words(decision.verdict),
        "as_of": text_of(decision.as_of),
        "until": text_of(decision.until) if decision.until is not None else None,
        "until_because": decision.until_because or None,
        "site": decision.site,
        "zone": zone,
        "wearer": decision.wearer,
        "rules": decision.rules_id,
        "rules_version": decision.rules_version,
        "rules_digest": decision.rules_digest,
        "test": decision.test,
        "findings": [
            _finding_values(finding, zone)
            for finding in (decision.findings if findings is None else findings)
        ],
    }


def _finding_values(finding: Finding, zone: str | None) -> dict[str, Any]:
    from pitbird.cli.wording import remedy, sentence
    from pitbird.fleet.times import text_of

    return {
        "rule": finding.rule,
        "predicate": finding.predicate,
        "outcome": finding.outcome.value,
        "code": finding.code,
        "strength": finding.strength,
        "sentence": sentence(finding, zone),
        "remedy": finding.remedy or None,
        "remedy_words": remedy(finding) or None,
        "facts": dict(finding.facts),
        "entries": list(finding.entries),
        "until": text_of(finding.until) if finding.until is not None else None,
        "source": finding.source or None,
        "known": finding.known or None,
        "decisive": finding.decisive,
    }


def _json(value: Any) -> str:
    import msgspec

    return msgspec.json.format(msgspec.json.encode(value), indent=2).decode()
