"""``pitbird audit``: links by which an auditor reads a part of the book; as the pages at ``/audits``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.services.writing import Actor

app = typer.Typer(no_args_is_help=True, help="Links by which somebody reads a part of the book until a day.")


@app.command("open")
def open_link(
    reader: str = typer.Argument(help="Who may read: a name or an office."),
    detector: list[str] = typer.Option([], help="A detector to show whole; give it again for more."),
    site: list[str] = typer.Option([], help="A site: its rules, and every detector that was there."),
    person: list[str] = typer.Option([], help="A person: everything about them, the tests they made."),
    from_: str | None = typer.Option(
        None, "--from", metavar="DAY", help="First day of the period; else all history."
    ),
    until: str | None = typer.Option(None, metavar="DAY", help="Last day of the period; else up to now."),
    days: int = typer.Option(14, help="For so many days the link opens."),
    without_names: bool = typer.Option(False, "--without-names", help="Leave out names, texts and photos."),
    by: str | None = typer.Option(None, help="Who gives it; else PITBIRD_BY or the only keeper."),
) -> None:
    """Give a link; what it opens is written down, the link itself is shown this once."""
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from pitbird.cli import ready
    from pitbird.cli.bundle import day_of, known_of
    from pitbird.cli.checkpoint import passphrase
    from pitbird.fleet.times import Ms
    from pitbird.services import clock
    from pitbird.services.audits import DAY, open_audit
    from pitbird.services.bundle_scope import Asked
    from pitbird.services.checkpoints import make_checkpoint, public_key

    faults = Faults()
    asked = Asked(
        detectors=known_of("detector", detector, faults),
        sites=known_of("site", site, faults),
        people=known_of("person", person, faults),
        first=day_of("from", from_, faults),
        last=day_of("until", until, faults),
        texts=not without_names,
    )
    actor = _keeper(by, faults)
    now = clock.now()
    secret, _appended = open_audit(asked, reader, Ms(now + days * DAY), actor, now=now)
    make_checkpoint(ready.home(), passphrase())
    typer.echo(f"address      /audit/in/{secret}")
    typer.echo(f"fingerprint  {public_key(ready.home()).fingerprint()}")
    typer.echo("Put the server's name before it and send it to the reader alone; it is shown this once.")
    typer.echo("Give the fingerprint by another way, on paper or by telephone.")


@app.command("list")
def list_links() -> None:
    """Every link that was given, the newest first."""
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.fleet.times import text_of
    from pitbird.services import clock
    from pitbird.services.audits import audits

    now = clock.now()
    for audit in audits():
        state = "taken back" if audit.closed else "open" if audit.open_at(now) else "ended"
        reader = audit.reader if audit.reader is not None else "(name withheld)"
        typer.echo(f"{audit.entry_id}  {state:<10}  until {text_of(audit.until)}  {reader}")


@app.command("close")
def close_link(
    link: str = typer.Argument(metavar="ID", help="The id that `pitbird audit list` shows."),
    by: str | None = typer.Option(None, help="Who takes it back; else PITBIRD_BY or the only keeper."),
) -> None:
    """Take a link back: it opens nothing from here on."""
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused

    make_ready_with_book()
    from pitbird.services.audits import close_audit

    try:
        done = close_audit(link, _keeper(by, Faults()))
    except LookupError:
        raise Refused(f"ID: no link {link!r} was ever given; `pitbird audit list` shows them") from None
    typer.echo("Taken back." if done is not None else "It was taken back before.")


def _keeper(by: str | None, faults: Faults) -> Actor:
    """The keeper who writes; refuses with every fault found so far where there is none."""
    from pitbird.cli.correct import require_keeper
    from pitbird.cli.naming import writer

    actor, said = writer(by, None, faults)
    if actor is not None:
        require_keeper(actor.person, faults, may="gives and takes back links")
    faults.refuse()
    assert actor is not None  # noqa: S101 - writer() gives None only with a fault
    if said:
        typer.echo(said, err=True)
    return actor
