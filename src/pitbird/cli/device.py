"""``pitbird device``: phones that write entries; the page at ``/devices`` does the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.services.writing import Actor

app = typer.Typer(no_args_is_help=True, help="Phones that write entries: paired, registered, ended.")
_BY = "Who does it; else PITBIRD_BY or the only keeper."


@app.command("pair")
def pair(
    device: str = typer.Argument(metavar="CODE", help="The code that the phone gets, such as PH-01."),
    label: str = typer.Option("", help="What people call it."),
    site: str | None = typer.Option(None, help="Site of the phone; else PITBIRD_SITE or the keeper's."),
    by: str | None = typer.Option(None, help=_BY),
) -> None:
    """Make a link that registers one phone, once and within fifteen minutes."""
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.cli.naming import subject
    from pitbird.fleet.times import text_of
    from pitbird.services import phones

    secret, until = phones.pair(subject("device", device), _keeper(by, site), label=label)
    typer.echo(f"address  /field/pair#{secret}")
    typer.echo(f"until    {text_of(until)}")
    typer.echo("Put the server's https address before it and open it on the phone. It works once.")


@app.command("register")
def register(
    device: str = typer.Argument(metavar="CODE", help="The code that the phone gets, such as PH-01."),
    key: str = typer.Argument(help="Its raw public key in base64url."),
    alg: str = typer.Option("ES256", help="ES256 or Ed25519."),
    label: str = typer.Option("", help="What people call it."),
    site: str | None = typer.Option(None, help="Site of the phone; else PITBIRD_SITE or the keeper's."),
    by: str | None = typer.Option(None, help=_BY),
) -> None:
    """Register a phone by a public key that was brought here another way."""
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.cli.naming import subject
    from pitbird.services import phones

    name = subject("device", device)
    written = phones.register(name, alg, key, _keeper(by, site), label=label)
    typer.echo(f"Registered as entry {written.index}. Its fingerprint: {phones.fingerprint(alg, key)}")


@app.command("list")
def list_devices() -> None:
    """Every phone that was ever registered."""
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.cli.naming import code
    from pitbird.fleet.times import text_of
    from pitbird.services import phones

    for each in phones.phones():
        state = f"ended {text_of(each.ended)} ({each.because})" if each.ended is not None else "registered"
        label = f"  {each.label}" if each.label else ""
        typer.echo(f"{code(each.subject)}  {each.fingerprint}  {code(each.site)}  {state}{label}")


@app.command("end")
def end(
    device: str = typer.Argument(metavar="CODE", help="The code of the phone."),
    because: str = typer.Option(..., help="lost, stolen, given-up or other."),
    note: str = typer.Option("", help="A remark."),
    by: str | None = typer.Option(None, help=_BY),
) -> None:
    """End a phone's registration: what it sends from here on waits for the keeper."""
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Refused

    make_ready_with_book()
    from pitbird.cli.naming import subject
    from pitbird.services import phones

    try:
        done = phones.end(subject("device", device), because, _keeper(by, None), note=note)
    except LookupError:
        raise Refused(f"CODE: no phone {device!r} was ever registered; `pitbird device list`") from None
    typer.echo("Ended." if done is not None else "Its registration had ended before.")


def _keeper(by: str | None, site: str | None) -> Actor:
    """The keeper who writes, at the site where the phone is used."""
    from pitbird.cli.correct import require_keeper
    from pitbird.cli.naming import writer
    from pitbird.cli.refusing import Faults

    faults = Faults()
    actor, _said = writer(by, site, faults)
    if actor is not None:
        require_keeper(actor.person, faults, may="registers and ends phones")
    faults.refuse()
    assert actor is not None  # noqa: S101 - refused above
    return actor
