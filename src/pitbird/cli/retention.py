"""``pitbird retention``: which sealed names and texts are past their period, and erasing them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.services.periods import Period
    from pitbird.services.retention import Survey


def command(
    erase: bool = typer.Option(False, "--erase", help="Erase what is past its period, for good."),
    yes: bool = typer.Option(False, "--yes", help="With --erase: do not ask for the number to be typed."),
    periods: bool = typer.Option(False, "--periods", help="Show the periods with their sources instead."),
    by: str | None = typer.Option(None, help="Who erases: a keeper; else PITBIRD_BY, else the only keeper."),
    site: str | None = typer.Option(None, help="On whose clock; else PITBIRD_SITE, else that person's home."),
) -> None:
    """Which sealed names and texts are past their period. Entries themselves are never deleted."""
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused

    make_ready_with_book()
    from pitbird.services import retention
    from pitbird.services.erasing import require_keeper
    from pitbird.services.periods import read_periods

    known = read_periods(home())
    if periods:
        _show_periods(known)
        return
    if yes and not erase:
        raise Refused("yes: there is nothing to confirm without --erase")
    faults = Faults()
    actor, told = writer(by, site, faults)
    if erase or by or site:
        faults.refuse()
    if erase and actor is not None:
        require_keeper(actor)
    zone = actor.zone if actor is not None else "UTC"
    found = retention.survey(known, zone=zone)
    _show(found)
    if not erase or actor is None:
        return
    if not found.count:
        typer.echo("Nothing to erase.")
        return
    if not yes:
        _confirm(found.count)
    gone = retention.erase_past(found.mark, known, actor, zone=zone)
    if gone.sights:
        typer.echo(f"{gone.sights} lines of who saw what erased.")
    if told:
        typer.echo(told, err=True)
    if gone.erased is not None:
        from pitbird.cli.erase import say_done

        say_done(gone.erased)


def _confirm(count: int) -> None:
    from pitbird.cli.refusing import Refused

    typed = typer.prompt(f"Type {count} to erase these for good", default="", show_default=False)
    if typed.strip() != str(count):
        raise Refused(f"{typed.strip()!r} is not {count}; nothing was erased")


def _show(found: Survey) -> None:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width

    width = terminal_width()
    rows = [
        [
            each.kind,
            str(each.count),
            each.oldest.isoformat(),
            str(each.past),
            "; ".join(map(_length, each.periods)) or "no period is set, so it stays",
        ]
        for each in found.kinds
    ]
    typer.echo(table(["kind", "texts", "oldest", "past", "kept for (the longest)"], rows, width=width))
    if found.left:
        typer.echo("\nPeople who left and are still named:")
        left = [
            [
                code(each.person),
                each.left.isoformat(),
                str(each.count),
                str(each.past),
                each.ends.isoformat() if each.ends else "cannot be said yet",
            ]
            for each in found.left
        ]
        typer.echo(table(["who", "left", "texts", "past", "all may go from"], left, width=width))
    typer.echo("")
    if found.sights:
        typer.echo(f"{found.sights} lines of who saw what are past their period.")
    for held in found.past:
        text = held.sealed.text if held.sealed.text is not None else "a photo"
        typer.echo(f"  entry {held.sealed.index}, {held.sealed.kind}: {text[:100]}")
    typer.echo(f"{len(found.past)} names, texts and photos are past their period. Entries stay in any case.")


def _show_periods(known: tuple[Period, ...]) -> None:
    from pitbird.cli.tables import table, terminal_width

    rows = [
        [
            each.id + (" (your own)" if each.own else "") + ("" if each.applies else " (off)"),
            _length(each),
            ", ".join(each.kinds),
            f"{each.source}{'' if each.edition == 'none' else f' ({each.edition})'} [{each.known}]",
        ]
        for each in known
    ]
    typer.echo(table(["period", "kept for", "kinds", "source"], rows, width=terminal_width()))


def _length(period: Period) -> str:
    years = f"{period.years} year{'' if period.years == 1 else 's'}"
    if period.start == "left":
        return f"{years} after they left" if period.years else "until they have left"
    if period.start == "retired":
        return "life of the instrument" + (f" and {years}" if period.years else "")
    return years
