"""``pitbird account``: an account to sign in with."""

from __future__ import annotations

import typer

from pitbird.cli.refusing import Faults, near_words


def command(
    name: str = typer.Argument(help="The name to sign in with."),
    person: str | None = typer.Option(None, help="Who that is in the book, such as P-01."),
    site: str | None = typer.Option(None, help="The site to start from; else the person's home."),
    new_password: bool = typer.Option(
        False, "--new-password", help="Set another password for an account that there is."
    ),
) -> None:
    """Make an account for signing in, or set another password where one was forgotten.

    The password is asked for, never given as an argument.
    """
    from pitbird.cli.naming import code, known
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from django.contrib.auth import get_user_model

    faults = Faults()
    if new_password:
        _another_password(name, {"--person": person, "--site": site}, faults)
        return
    if person is None:
        faults.add("--person: missing; say who that is in the book, such as P-01")
        faults.refuse()
    assert person is not None  # noqa: S101 - refused above
    who = known("person", person, faults)
    place = known("site", site, faults) if site else _home(who)
    if not name.strip():
        faults.add("name: empty; give the name to sign in with")
    elif get_user_model().objects.filter(username=name).exists():
        faults.add(
            f"name: an account {name!r} exists already; choose another name, or set it another password with "
            "--new-password"
        )
    faults.refuse()
    assert who is not None  # noqa: S101 - known() gives None only with a fault
    password = _asked()
    _make(name, password, who, place)
    typer.echo(f"Account {name!r} for {code(who)} is made.")


def _asked() -> str:
    return str(typer.prompt("Password (at least 10 characters)", hide_input=True, confirmation_prompt=True))


def _another_password(name: str, others: dict[str, str | None], faults: Faults) -> None:
    from django.contrib.auth import get_user_model

    from pitbird.services.beginning import new_password

    for option, value in others.items():
        if value is not None:
            faults.add(f"{option}: goes with a new account only; leave it out with --new-password")
    names = list(get_user_model().objects.values_list("username", flat=True))
    if name not in names:
        faults.add(f"name: there is no account {name!r}{near_words(name, names)}")
    faults.refuse()
    new_password(name, _asked())
    typer.echo(f"Account {name!r} has another password. Who was signed in with the old one is signed out.")


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
