"""``pitbird erase``: a person's name, and what else is sealed about them, for good."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.services.erasing import Considered, Erased, Sealed

_SHOWN = 100


def command(
    person: str | None = typer.Argument(None, help="Who, by code, such as P-07."),
    because: str | None = typer.Option(None, help="request, retention-ended, mistake or other."),
    texts_naming: bool = typer.Option(
        False, "--texts-naming", help="Texts about other things too, where the whole name stands in them."
    ),
    account: str | None = typer.Option(
        None, help="close or keep the account by which they sign in; asked for where it is not said."
    ),
    yes: bool = typer.Option(False, "--yes", help="Do not ask for the code to be typed."),
    rewrite: bool = typer.Option(
        False, "--rewrite", help="Erase nobody; rewrite the database's files, where that failed before."
    ),
    by: str | None = typer.Option(None, help="Who erases: a keeper; else PITBIRD_BY, else the only keeper."),
    site: str | None = typer.Option(None, help="The site; else PITBIRD_SITE, else that person's home."),
) -> None:
    """Erase a person: names and texts go for good, the entries stay. A keeper's to do; it cannot be undone.

    Exit status 1 where the database's files could not be rewritten.
    """
    from pitbird.cli.naming import code, known, writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused, near_words
    from pitbird.cli.who_saw import saw

    make_ready_with_book()
    from pitbird.services import erasing

    if rewrite:
        _rewrite(person)
        return
    faults = Faults()
    subject = known("person", person, faults) if person else None
    if not person:
        faults.add("person: not given; name who is to be erased, such as P-07")
    if because not in erasing.REASONS:
        said = f"{because!r} is no reason{near_words(because, erasing.REASONS)}" if because else "not said"
        faults.add(f"because: {said}; write one of: {', '.join(erasing.REASONS)}")
    if account not in (None, "close", "keep"):
        faults.add(f"account: {account!r} is neither close nor keep")
    actor, told = writer(by, site, faults)
    if actor is None or subject is None or because is None:
        faults.refuse()
        raise Refused(*faults.lines)
    faults.refuse()
    erasing.require_keeper(actor)
    saw("erasing", about=subject)
    found = erasing.consider(subject)
    _refuse_account(found, account, yes, actor.person)
    also = [one.commitment for one in found.shared]
    if texts_naming:
        also += [each.sealed.commitment for each in found.naming if each.whole]
    _tell(found, texts_naming)
    close = _close(found, account, actor.person)
    if not yes:
        _confirm(code(subject))
    done = erasing.erase_person(subject, also, because, actor, close=close)
    say_done(done)
    if told:
        typer.echo(told, err=True)


def _rewrite(person: str | None) -> None:
    from pitbird.cli.refusing import NEGATIVE, Refused
    from pitbird.services.erasing import rewrite_files

    if person:
        raise Refused("rewrite: --rewrite erases nobody; leave the person out")
    if not rewrite_files():
        typer.echo(
            "The files could not be rewritten: something else is reading or writing, or the disk is full.",
            err=True,
        )
        raise typer.Exit(NEGATIVE)
    typer.echo("The database's files are rewritten.")


def _tell(found: Considered, texts_naming: bool) -> None:
    from pitbird.cli.naming import code

    who = code(found.person)
    typer.echo(f"Of {who} these go for good:")
    going = [*found.own, *found.shared]
    if texts_naming:
        going += [each.sealed for each in found.naming if each.whole]
    _list(going)
    staying = [each for each in found.naming if not (texts_naming and each.whole)]
    if staying:
        typer.echo("These stay, though the name or a part of it stands in them:")
        _list([each.sealed for each in staying])
        if any(each.whole for each in staying):
            typer.echo("  (--texts-naming takes those with the whole name too)")
        typer.echo("  (single ones can be erased on the page of their entry)")
    typer.echo(f"The entries stay, and in them the code {who}.")
    if found.code_tells:
        typer.echo("  This code gives the name away; that cannot be mended any more.")
    if found.in_the_clear:
        places = ", ".join(map(str, found.in_the_clear))
        typer.echo(f"The name also stands in open fields, and stays there: entries {places}.")
    typer.echo("Exports, backups and printed pages made before still hold it. This cannot be undone.")


def _list(sealed: list[Sealed]) -> None:
    for one in sealed:
        text = one.text if one.text is not None else "a photo"
        short = f"{text[:_SHOWN]}…" if len(text) > _SHOWN else text
        typer.echo(f"  entry {one.index}, {one.kind}, {one.field.rpartition('.')[2]}: {short}")
    if not sealed:
        typer.echo("  nothing")


def _refuse_account(found: Considered, said: str | None, yes: bool, by: str) -> None:
    """Refuse before anything is shown: an account that cannot be closed, or of which nothing was said."""
    from pitbird.cli.refusing import Refused
    from pitbird.services.accounts import why_not_closed

    if not found.account:
        return
    why = why_not_closed(found.person, by=by)
    if said == "close" and why:
        raise Refused(f"account: {found.account!r} was not closed: {why}; nothing was erased")
    if said is None and yes and not why:
        raise Refused(f"account: {found.account!r} is theirs; say --account close or --account keep")


def _close(found: Considered, said: str | None, by: str) -> bool:
    """Whether the account is closed too; asked for where it was not said and can be."""
    from pitbird.services.accounts import why_not_closed

    if not found.account or said is not None:
        return bool(found.account) and said == "close"
    if why := why_not_closed(found.person, by=by):
        typer.echo(f"The account {found.account!r} stays: {why}.")
        return False
    return typer.confirm(f"Close the account {found.account!r} too?", default=None)


def _confirm(wanted: str) -> None:
    from pitbird.cli.refusing import Refused

    typed = typer.prompt(f"Type {wanted} to erase it for good", default="", show_default=False)
    if typed.strip() != wanted:
        raise Refused(f"{typed.strip()!r} is not {wanted}; nothing was erased")


def say_done(done: Erased) -> None:
    """What was done; exit status 1 where stale copies may be left."""
    from pitbird.cli.refusing import NEGATIVE

    if done.entries:
        places = ", ".join(str(each.index) for each in done.entries)
        typer.echo(f"{done.count} names, texts and photos erased; said so by entry {places}.")
    if done.account_closed:
        typer.echo("The account is closed, and signed out everywhere.")
    if not done.overwritten:
        typer.echo(
            "The database's files could not be rewritten just now, so stale copies may lie in them: run"
            " `pitbird erase --rewrite` when nobody else is at work.",
            err=True,
        )
        raise typer.Exit(NEGATIVE)
