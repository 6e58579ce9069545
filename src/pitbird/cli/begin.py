"""``pitbird begin``: a new book with its first site, keeper and site rules."""

from __future__ import annotations

import typer


def command(
    title: str = typer.Option(..., help="What the book is about, such as 'Portable gas detectors'."),
    site: str = typer.Option(..., help="Short code of the first site, such as north-works."),
    site_name: str = typer.Option(..., help="Its name, such as 'North works'."),
    zone: str = typer.Option(..., help="Its clock: an IANA time zone, such as Europe/Lisbon."),
    keeper: str = typer.Option(..., help="Short code of the keeper, such as K-1."),
    keeper_name: str = typer.Option(..., help="The keeper's name; it is kept apart from the entries."),
    rules: str = typer.Option("strict", help="Site rules to adopt; see `pitbird rules list`."),
) -> None:
    """Begin a new book: its identity, the first site, the keeper and the site rules, all or nothing."""
    from pitbird.cli.naming import code
    from pitbird.cli.ready import home, make_ready
    from pitbird.cli.refusing import Faults, near_words
    from pitbird.rules.loading import shipped

    faults = Faults()
    if rules not in shipped():
        faults.add(
            f"rules: no site rules {rules!r} come with pitbird; use one of: {', '.join(shipped())}"
            f"{near_words(rules, shipped())}"
        )
    make_ready()
    from pitbird.services.beginning import Beginning, begin_book, book_begun

    if book_begun():
        faults.add(
            f"the book in {home()} has been begun already; set PITBIRD_HOME to a new folder for another one"
        )
        faults.refuse()
    asked = Beginning(
        title, site.removeprefix("site:"), site_name, zone, keeper.removeprefix("person:"), keeper_name, rules
    )
    faults.refuse()
    actor = begin_book(asked)
    typer.echo(f"The book is begun in {home()}.")
    typer.echo(f"Keeper {code(actor.person)}, site {code(actor.site)} ({zone}), site rules '{rules}'.")
    typer.echo(
        "Next: write the detectors, people and cylinders (`pitbird import`, `pitbird write`, or the pages)."
    )
    typer.echo("To sign in: `pitbird serve` shows the first-start address.")
