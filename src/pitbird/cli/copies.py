"""``pitbird book backup`` and ``pitbird book put-back``: a copy of everything, and its way home."""

from __future__ import annotations

from pathlib import Path

import typer


def backup(
    into: Path = typer.Argument(
        metavar="FOLDER", help="Where copies are kept; each gets a folder of its own."
    ),
    secrets: bool = typer.Option(
        False, "--secrets", help="With the book's private key and the key of sessions and PINs."
    ),
    keep: int | None = typer.Option(
        None, min=1, help="How many copies stay there, with this one; older ones go."
    ),
) -> None:
    """Copy the book and what lies beside it, also while pages are served."""
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import Refused
    from pitbird.cli.who_saw import saw

    make_ready_with_book()
    from pitbird.services.backing_up import CannotCopy, copy_book

    saw("export")
    try:
        made = copy_book(home(), into, secrets=secrets, keep=keep)
    except CannotCopy as fault:
        raise Refused(str(fault)) from None
    typer.echo(f"{made.size} entries copied to {made.folder}, held against their root.")
    typer.echo(f"{made.size}:{made.root.hex()}")
    if made.dropped:
        typer.echo(f"Dropped as older than the newest {keep}: {', '.join(made.dropped)}.")
    typer.echo(
        "It holds the keys: whoever has it can sign as this book. Keep it locked away."
        if secrets
        else "It holds names and texts; keep it as you keep the book. Private keys are not in it (--secrets)."
    )


def put_back(
    folder: Path = typer.Argument(metavar="COPY", help="The folder of one copy, as backup made it."),
    known: str | None = typer.Option(
        None, metavar="SIZE:HEX", help="The newest size and root of the book that anybody holds."
    ),
    nothing_since: bool = typer.Option(
        False, "--nothing-since", help="You know that nothing was written since the copy was made."
    ),
    by: str | None = typer.Option(None, help="Who writes; else PITBIRD_BY, else the only keeper."),
) -> None:
    """Put a copy into an empty home, and begin a new epoch. Exit status 1 if it does not hold."""
    from pitbird.cli.book import roots
    from pitbird.cli.ready import home, make_ready
    from pitbird.cli.refusing import Refused

    newest = next(iter(roots([known]).items())) if known else None
    here = home()
    from django.conf import settings

    if "sqlite" not in settings.DATABASES["default"]["ENGINE"]:
        raise Refused("PITBIRD_DATABASE: a copy is put back into a file of its own; unset it first")
    from pitbird.services.backing_up import CannotCopy, put_back, take_away

    try:
        back = put_back(folder, here)
    except CannotCopy as fault:
        raise Refused(str(fault)) from None
    try:
        make_ready()
        _refuse_what_does_not_hold(here)
        lost = _begin_anew(newest, by, nothing_since=nothing_since)
    except BaseException:  # without its epoch it would say yes on tests that a lost fail may have ended
        take_away(here)
        raise
    typer.echo(f"{back.size} entries are back in {here}.")
    typer.echo(
        "What was written since the copy is lost, and may be a fail: a new epoch begins, and each detector is"
        " tested again before it goes out. Let every phone send again what it has kept."
        if lost
        else "Nothing was written since, as you say: its tests count on."
    )
    typer.echo("Erase again whatever was erased since the copy was made.")
    if not back.secrets:
        typer.echo(
            "The copy held no private keys: put book-key.pem back from where you keep it, and set the PINs"
            " of shared phones anew."
        )


def _refuse_what_does_not_hold(here: Path) -> None:
    from pitbird.cli.refusing import NEGATIVE
    from pitbird.services.checking import quick_check
    from pitbird.services.checkpoints import check_kept

    wrong = [check for check in (*quick_check(), check_kept(here)) if check.complaint]
    for check in wrong:
        typer.echo(f"WRONG  {check.what}: {check.complaint}; {check.remedy}", err=True)
    if wrong:
        raise typer.Exit(NEGATIVE)


def _begin_anew(newest: tuple[int, bytes] | None, by: str | None, *, nothing_since: bool) -> bool:
    """Whether something may be lost; the new epoch that says so stands then."""
    from pitbird.cli.naming import writer
    from pitbird.cli.refusing import Faults, Refused
    from pitbird.services.restoring import AnotherBook, put_back

    faults = Faults()
    actor, _ = writer(by, None, faults)
    faults.refuse()
    if actor is None:
        raise Refused("by: who writes is not said; give --by")
    try:
        return put_back(newest, actor, nothing_since=nothing_since).epoch is not None
    except AnotherBook as other:
        raise Refused(str(other)) from None
