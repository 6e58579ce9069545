"""``pitbird account``: an account to sign in with."""

from __future__ import annotations

import typer


def command(
    name: str = typer.Argument(help="The name to sign in with."),
    person: str = typer.Option(..., help="Who that is in the book, such as P-01."),
    site: str | None = typer.Option(None, help="The site to start from; else the person's home."),
) -> None:
    """Make an account for signing in. The password is asked for, never given as an argument."""
    from pitbird.cli.naming import code, known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from django.contrib.auth import get_user_model

    faults = Faults()
    who = known("person", person, faults)
    place = known("site", site, faults) if site else _home(who)
    if not name.strip():
        faults.add("name: empty; give the name to sign in with")
    elif get_user_model().objects.filter(username=name).exists():
        faults.add(f"name: an account {name!r} exists already; choose another name")
    faults.refuse()
    assert who is not None  # noqa: S101 - known() gives None only with a fault
    password = typer.prompt("Password (at least 10 characters)", hide_input=True, confirmation_prompt=True)
    _make(name, password, who, place)
    typer.echo(f"Account {name!r} for {code(who)} is made.")


def _home(person: str | None) -> str | None:
    from pitbird.fleet.state import PersonState
    from pitbird.services.knowing import Now

    state = Now().state(person) if person else None
    return state.home if isinstance(state, PersonState) else None


def _make(name: str, password: str, person: str, site: str | None) -> None:
    from pitbird.cli.ready import home
    from pitbird.services.beginning import account_made, make_account, make_keeper_account

    if account_made():
        make_account(name, password, person=person, site=site)
    else:
        make_keeper_account(name, password, person=person, site=site, home=home())
