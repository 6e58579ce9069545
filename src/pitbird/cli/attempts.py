"""``pitbird attempts``: how often tests passed, failed or were spoiled, by detector, person and cylinder."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.services.attempts import Attempts, Count

_DAYS = 90


def command(
    days: int = typer.Option(_DAYS, min=1, max=36500, help="How far back from now, in days."),
    site: str | None = typer.Option(None, help="Only tests made at this site."),
    as_json: bool = typer.Option(False, "--json", help="The counts as JSON."),
) -> None:
    """Count passed, failed and spoiled attempts, the most spoiled first. Counts, no verdict on people."""
    from pitbird.cli.naming import known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from pitbird.fleet.times import DAY, Ms
    from pitbird.services import clock
    from pitbird.services.attempts import attempts

    faults = Faults()
    place = known("site", site, faults) if site else None
    faults.refuse()
    now = clock.now()
    found = attempts(since=Ms(now - days * DAY), until=Ms(now + 1), site=place)
    typer.echo(_json(found) if as_json else _table(found, days))


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


def _table(found: Attempts, days: int) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width

    parts = [f"Attempts of the last {days} days. They are counts, and no verdict on people."]
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
    return "\n\n".join(parts)
