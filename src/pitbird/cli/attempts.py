"""``pitbird attempts``: how often tests passed, failed or were spoiled, by detector, person and cylinder."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.fleet.times import Ms
    from pitbird.services.attempts import Attempts, Count

_DAYS = 90


def command(
    since: str | None = typer.Option(
        None, metavar="DAY-or-TIME", help="From this day or time on; else 90 days before the end."
    ),
    until: str | None = typer.Option(
        None, metavar="DAY-or-TIME", help="Through this day, or up to this time; else now."
    ),
    days: int | None = typer.Option(
        None, min=1, max=36500, help="So many days up to the end, in place of --since."
    ),
    site: str | None = typer.Option(
        None, help="Only tests made at this site; days and times are then read on its clock."
    ),
    as_json: bool = typer.Option(False, "--json", help="The counts as JSON."),
) -> None:
    """Count passed, failed and spoiled attempts, the most spoiled first. Counts, no verdict on people."""
    from pitbird.cli.naming import known, zone_of
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from pitbird.services import clock
    from pitbird.services.attempts import attempts

    faults = Faults()
    place = known("site", site, faults) if site else None
    zone = zone_of(place) if place else _only_zone()
    start, end = _period(since, until, days, zone, clock.now(), faults)
    faults.refuse()
    found = attempts(since=start, until=end, site=place)
    typer.echo(_json(found) if as_json else _table(found, zone))


def _only_zone() -> str | None:
    """The clock of the book, where all its sites have the same."""
    from pitbird.fleet.state import SiteState
    from pitbird.services.knowing import Now

    zones = {state.zone for state in Now().all_of(SiteState)}
    return zones.pop() or None if len(zones) == 1 else None


def _period(
    since: str | None, until: str | None, days: int | None, zone: str | None, now: Ms, faults: Faults
) -> tuple[Ms, Ms]:
    """``[since, until)``; every fault at once."""
    from pitbird.fleet.times import DAY, Ms

    if since is not None and days is not None:
        faults.add("days: --days and --since exclude each other; give one of the two")
    end = _edge("until", until, zone, faults) or Ms(now + 1)
    start = _edge("since", since, zone, faults) or Ms(end - (days or _DAYS) * DAY)
    if not faults.lines and start >= end:
        faults.add(f"since: {since!r} does not lie before the end of what is asked for")
    return start, end


def _edge(field: str, text: str | None, zone: str | None, faults: Faults) -> Ms | None:
    """The instant of a day (its begin, or its end for ``until``) or of a time."""
    from datetime import date

    from pitbird.cli.times import read_time
    from pitbird.services.attempts import day_at

    if text is None:
        return None
    try:
        day = date.fromisoformat(text.strip()) if "T" not in text and ":" not in text else None
    except ValueError:
        day = None
    try:
        if day is None:
            return read_time(text, zone, field=field)
        if zone is None:
            raise ValueError(f"{field}: {text!r} is a day on no clock: the sites have several; give --site")
        return day_at(day, zone)[field == "until"]
    except (ValueError, OverflowError) as fault:
        faults.add(str(fault))
        return None


def _json(found: Attempts) -> str:
    import json

    from pitbird.fleet.times import text_of

    def told(count: Count) -> dict[str, object]:
        return {"subject": count.subject, "outcomes": dict(count.outcomes), "reasons": dict(count.reasons)}

    return json.dumps(
        {
            "since": text_of(found.since),
            "until": text_of(found.until),
            "detectors": [told(count) for count in found.detectors],
            "people": [told(count) for count in found.people],
            "cylinders": [told(count) for count in found.cylinders],
        },
        indent=2,
    )


def _table(found: Attempts, zone: str | None) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time

    span = f"{show_time(found.since, zone)} to {show_time(found.until, zone)}"
    parts = [f"Attempts from {span}. They are counts, and no verdict on people."]
    for title, counts in (
        ("detector", found.detectors), ("person", found.people), ("cylinder", found.cylinders),
    ):  # fmt: skip
        rows = [
            [
                code(count.subject),
                str(count.outcomes["passed"]),
                str(count.outcomes["failed"]),
                str(count.outcomes["spoiled"]),
                ", ".join(f"{reason} {number}" for reason, number in count.reasons.most_common()),
            ]
            for count in counts
        ]
        if rows:
            heads = [title, "passed", "failed", "spoiled", "spoiled because"]
            parts.append(table(heads, rows, width=terminal_width()))
    if len(parts) == 1:
        parts.append("No test was attempted then.")
    return "\n\n".join(parts)
