"""``pitbird import``: tables of detectors, people, cylinders and tests from elsewhere into the book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.intake.tables import TableKind

app = typer.Typer(
    help=(
        "Read a CSV table into the book: all lines are checked first, every fault is named with its line, and"
        " all of them are written, or none."
    ),
    no_args_is_help=True,
    rich_markup_mode=None,
)
FILE = typer.Argument(help="CSV file in UTF-8; its first line names the columns.")
BY = typer.Option(None, help="Who writes; else PITBIRD_BY, else the only keeper.")
SITE = typer.Option(None, help="The site whose clock counts; else PITBIRD_SITE, else the writer's home.")


def _read(kind: TableKind, what: str, file: Path, by: str | None, site: str | None) -> None:
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused
    from pitbird.intake.tables import read_table

    text = file.read_text(encoding="utf-8-sig")
    make_ready_with_book()
    from pitbird.services.writing import EntryRefused, write_all

    lines = Faults()
    actor, said = writer(by, site, lines)
    drafts, faults = read_table(kind, text)
    if actor is None:
        raise Refused(*lines.lines, *(str(fault) for fault in faults))
    if faults:
        raise EntryRefused(faults)
    written = write_all([each.draft for each in drafts], actor, lines=[each.line for each in drafts])
    if said:
        typer.echo(said, err=True)
    again = sum(each.again for each in written)
    typer.echo(
        f"{len(written) - again} {what} written{f', {again} stood in the book already' if again else ''}."
    )


@app.command("detectors")
def detectors(file: Path = FILE, by: str | None = BY, site: str | None = SITE) -> None:
    """Detectors with their channels and alarms, one line for each channel."""
    _read("detector", "detectors", file, by, site)


@app.command("people")
def people(file: Path = FILE, by: str | None = BY, site: str | None = SITE) -> None:
    """People with their roles; names are kept apart from the entries."""
    _read("person", "people", file, by, site)


@app.command("cylinders")
def cylinders(file: Path = FILE, by: str | None = BY, site: str | None = SITE) -> None:
    """Cylinders of test gas with their certificates, one line for each gas."""
    _read("cylinder", "cylinders", file, by, site)


@app.command("tests")
def tests(file: Path = FILE, by: str | None = BY, site: str | None = SITE) -> None:
    """Bare passes and fails from elsewhere; the site rules say whether they count."""
    _read("bump-test", "tests", file, by, site)
