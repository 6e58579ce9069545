"""``pitbird demo``: the demonstration, in a folder of its own."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

import typer

_BEGUN, _READY = "demo-begun", "demo-ready"


def command(
    port: int = typer.Option(8321, min=1, max=65535, help="Port to listen on."),
    host: str = typer.Option("127.0.0.1", help="Address to listen on."),
    no_serve: bool = typer.Option(
        False, "--no-serve", help="Make the book, say what the gate says, and end."
    ),
    fresh: bool = typer.Option(
        False, "--fresh", help="Throw the demonstration's book away and make it anew."
    ),
    home: Path | None = typer.Option(None, help="Folder for it; else PITBIRD_HOME, else one for each day."),
) -> None:
    """Make the book of an invented water and biogas undertaking, say what may go out, and serve it."""
    from pitbird.cli.serve import check_before

    if not no_serve:
        check_before(host, port)
    folder = _prepare_home(home, fresh=fresh)
    os.environ["PITBIRD_HOME"] = str(folder)
    os.environ["PITBIRD_DEMO"] = "1"
    from pitbird.cli.ready import make_ready

    make_ready()
    from pitbird.demo.start import prepare_demo
    from pitbird.services import clock

    prepare_demo(now=clock.now(), say=typer.echo)
    (folder / _READY).touch()
    typer.echo(
        f"The demonstration's book is in {folder}. All people, places and readings in it are invented."
    )
    _summary()
    if no_serve:
        return
    from pitbird.cli.serve import serve

    typer.echo("")
    serve(host, port)


def _prepare_home(home: Path | None, *, fresh: bool) -> Path:
    """The folder of the demonstration; a book half made, or one to be made anew, is taken out of it.

    A book that the demonstration did not make is never touched.
    """
    from platformdirs import user_data_path

    from pitbird.cli.refusing import Refused

    if home is None and os.environ.get("PITBIRD_HOME"):
        home = Path(os.environ["PITBIRD_HOME"])
    if home is None:
        today = datetime.now().astimezone().date().isoformat()
        home = user_data_path("pitbird", appauthor=False) / "demo" / today
    if os.environ.get("PITBIRD_DATABASE"):
        raise Refused(
            "PITBIRD_DATABASE: the demonstration keeps its book in a file of its own; unset it first"
        )
    book, begun = home / "book.sqlite3", home / _BEGUN
    if book.exists() and not begun.exists():
        raise Refused(
            f"home: {home} holds a book that the demonstration did not make; give another folder with --home"
        )
    if book.exists() and (fresh or not (home / _READY).exists()):
        for name in (_READY, "book.sqlite3-wal", "book.sqlite3-shm", "book.sqlite3", "first-start-key"):
            (home / name).unlink(missing_ok=True)
    home.mkdir(parents=True, exist_ok=True, mode=0o700)
    begun.touch()
    return home


def _summary() -> None:
    """How many of each verdict, and the five worst lines."""
    from pitbird.cli.gate import counts_line, fleet_table, zones_of
    from pitbird.services import clock
    from pitbird.services.gate import gate

    rows = gate(now=clock.now()).rows
    typer.echo("")
    typer.echo(f"What may go out now?  {counts_line(rows)}")
    typer.echo(fleet_table(rows[:5], zones_of(rows[:5])))
