"""``pitbird seen``: who saw what names people, where that is written down."""

from __future__ import annotations

import os

import typer


def command(
    about: str | None = typer.Option(None, help="Only what was seen about this person."),
    viewer: str | None = typer.Option(None, help="Only what this person saw."),
    last: int = typer.Option(50, min=1, max=100_000, help="So many of the newest lines."),
) -> None:
    """Who saw what, newest first; times in UTC. Written down only where PITBIRD_SEEN is 1."""
    from pitbird.cli.naming import code, known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time

    make_ready_with_book()
    from django.conf import settings
    from django.contrib.auth.models import User

    from pitbird.services import seeing

    faults = Faults()
    whom = known("person", about, faults, field="about") if about else ""
    who = known("person", viewer, faults, field="viewer") if viewer else ""
    faults.refuse()
    if not settings.SEEN:
        typer.echo("Nothing is written down at present: PITBIRD_SEEN is not 1.", err=True)
    lines = seeing.sights(person=whom or "", by=who or "", most=last)
    accounts = dict(User.objects.values_list("pk", "username"))
    rows = [
        [
            show_time(each.at, None),
            code(each.person) or "-",
            _account(each.account, accounts),
            seeing.WHAT[each.what],
            code(each.about) or "-",
        ]
        for each in lines
    ]
    typer.echo(f"{len(lines)} of {seeing.count()} lines")
    if rows:
        typer.echo(table(["when", "who", "account", "what", "about"], rows, width=terminal_width()))


def _account(account: int, names: dict[int, str]) -> str:
    from pitbird.services import seeing

    known = {seeing.TERMINAL: "terminal", seeing.LINK: "link", seeing.PHONE: "phone"}
    return known.get(account) or names.get(account, str(account))


def saw(what: str, *, about: str = "") -> None:
    """Write down that something was seen at the terminal, by whom PITBIRD_BY says."""
    from django.conf import settings

    if not settings.SEEN:
        return
    from pitbird.cli.naming import subject
    from pitbird.services import seeing

    by = os.environ.get("PITBIRD_BY", "")
    seeing.record(what, account=seeing.TERMINAL, person=subject("person", by) if by else "", about=about)
