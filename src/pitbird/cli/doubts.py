"""``pitbird doubts`` and ``pitbird countersign``: entries whose clock cannot be right, made to count."""

from __future__ import annotations

import typer


def command() -> None:
    """List the entries that are left out because they are dated after they were recorded."""
    from pitbird.cli.naming import code
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time
    from pitbird.fleet.times import Ms

    make_ready_with_book()
    from pitbird.services.doubts import doubts

    found = doubts()
    if not found:
        typer.echo("No entry is left out for its clock.")
        return
    rows = [
        [
            str(doubt.row.index),
            doubt.row.kind,
            code(doubt.body["about"][0]),
            code(doubt.row.by),
            show_time(Ms(doubt.row.at), doubt.body["zone"]),
            show_time(Ms(doubt.row.recorded_at), doubt.body["zone"]),
        ]
        for doubt in found
    ]
    heads = ["entry", "kind", "about", "by", "dated", "recorded"]
    typer.echo(table(heads, rows, width=terminal_width()))
    typer.echo(
        "A keeper who did not write it can countersign: pitbird countersign ENTRY --at TIME --reason WHY;\n"
        "where nobody knows when it happened: pitbird correct ENTRY --void --reason WHY"
    )


def countersign(
    entry: str = typer.Argument(metavar="INDEX-or-ID", help="The entry that is left out."),
    at: str = typer.Option(..., metavar="TIME", help="When it really happened, with its offset."),
    reason: str = typer.Option(..., help="How that is known; kept beside the book and can be erased."),
    by: str | None = typer.Option(
        None, help="The keeper who countersigns; else PITBIRD_BY, else the only one."
    ),
) -> None:
    """Say when an entry of doubtful clock really happened; by a keeper who did not write it."""
    from pitbird.cli.correct import gate_now, row_of
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused
    from pitbird.cli.times import read_time

    make_ready_with_book()
    from pitbird.services.correcting import touched_by
    from pitbird.services.doubts import NotCountersigned
    from pitbird.services.doubts import countersign as sign

    faults = Faults()
    actor, _ = writer(by, None, faults)
    try:
        moment = read_time(at, actor.zone if actor else None, field="at")
    except ValueError as fault:
        faults.add(str(fault))
        moment = None
    row = row_of(entry, faults)
    faults.refuse()
    if actor is None or moment is None or row is None:
        return
    try:
        written = sign(row.entry_id, moment, reason, actor)
    except NotCountersigned as told:
        raise Refused(f"entry: {told}") from None
    typer.echo(f"Countersigned by entry {written.index}.")
    gate_now(touched_by(row.entry_id))
