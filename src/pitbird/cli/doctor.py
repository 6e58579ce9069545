"""``pitbird doctor``: whether the book is guarded, whole and folded right. It reads only."""

from __future__ import annotations

import typer


def command(
    put_guards_back: bool = typer.Option(
        False, "--put-guards-back", help="First put the triggers back by which the database refuses change."
    ),
) -> None:
    """Look whether the book is guarded, whole and folded right. Exit status 1 if something is wrong.

    It only reads, unless --put-guards-back is given.
    """
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import NEGATIVE

    make_ready_with_book()
    if put_guards_back:
        from pitbird.store.guards import put_back

        put_back()
    from pitbird.services.book_keys import check_key
    from pitbird.services.checking import full_check
    from pitbird.services.checkpoints import check_kept

    typer.echo(f"The book in {home()}")
    checks = (*full_check(), check_kept(home()), check_key(home()))
    for check in checks:
        told = f": {check.complaint}; {check.remedy}" if check.complaint else ""
        typer.echo(f"  {'WRONG' if told else 'right'}  {check.what}{told}")
    wrong = any(check.complaint for check in checks)
    typer.echo(
        "Something is wrong; keep a copy of the folder before you mend it."
        if wrong
        else "Nothing wrong found."
    )
    if wrong:
        raise typer.Exit(NEGATIVE)
