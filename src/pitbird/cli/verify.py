"""``pitbird verify``: check an audit bundle; needs no book, no settings and no account."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.record.bundle import BundleReport

_PIECE = 1 << 18


class Folder:
    """The files of a bundle that was unpacked into a folder."""

    def __init__(self, path: Path) -> None:
        self._path = path
        found = (each for each in path.rglob("*") if each.is_symlink() or not each.is_dir())
        self._names = tuple(sorted(each.relative_to(path).as_posix() for each in found))

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the files, as in the ZIP file."""
        return self._names

    def read(self, name: str) -> Iterator[bytes]:
        """The bytes of a file in pieces. Raises BadArchive where it cannot be read."""
        from pitbird.record.errors import BadArchive

        if (self._path / name).is_symlink():
            raise BadArchive("a link to somewhere else", where=name)
        try:
            with (self._path / name).open("rb") as file:
                while piece := file.read(_PIECE):
                    yield piece
        except OSError as error:
            raise BadArchive(f"cannot be read ({error.strerror})", where=name) from error


def command(
    bundle: Path = typer.Argument(help="The bundle: the ZIP file, or the folder it was unpacked to."),
    key: str | None = typer.Option(
        None, metavar="FINGERPRINT", help="The fingerprint of the book's key, which its keeper gave you."
    ),
    known: Path | None = typer.Option(None, help="A checkpoint of the book that you hold."),
    paper: list[str] = typer.Option([], help="The code on a paper, to be looked up in the bundle."),
    as_json: bool = typer.Option(False, "--json", help="For machines: docs/bundle.md."),
) -> None:
    """Check an audit bundle: exit status 0 it holds, 1 it does not, 2 refused, 3 no fingerprint given."""
    from pitbird.cli.refusing import Refused
    from pitbird.record.archive import Archive
    from pitbird.record.bundle import EXIT, BundleReport, Fault, verify_bundle
    from pitbird.record.errors import BadArchive
    from pitbird.services.quick import QUICK, uncollected

    try:
        held = known.read_bytes() if known else None
        with uncollected():
            if bundle.is_dir():
                report = verify_bundle(Folder(bundle), fingerprint=key, known=held, papers=paper, codec=QUICK)
            else:
                with bundle.open("rb") as file:
                    files = Archive(file)
                    report = verify_bundle(files, fingerprint=key, known=held, papers=paper, codec=QUICK)
    except OSError as error:
        raise Refused(f"{error.filename}: cannot be read ({error.strerror})") from None
    except BadArchive as error:
        report = BundleReport(faults=[Fault(error.where, "", None, error.what)])
    if as_json:
        typer.echo(json.dumps(report.as_json(), indent=2, sort_keys=True))
    else:
        _tell(report)
    raise typer.Exit(EXIT[report.answer])


def _tell(report: BundleReport) -> None:
    if report.answer == "refused":
        typer.echo("Refused: this cannot be read as a bundle.")
    elif report.answer == "holds":
        typer.echo(
            "It holds: these entries stand in the signed book, unaltered; nothing that is named is missing."
        )
    elif report.answer == "consistent in itself":
        typer.echo(
            "Consistent in itself only: without the key's fingerprint somebody may have made all of it anew."
        )
    else:
        typer.echo("It does not hold.")
    for fault in report.faults:
        place = f"{fault.file}: " if fault.file else ""
        entry = "" if fault.index is None else f"entry {fault.index}: "
        typer.echo(f"  {place}{entry}{fault.what} [{fault.code}]")
    if report.answer == "refused":
        return
    typer.echo(f"book         {report.origin}, {report.size} entries, root {report.root}")
    typer.echo(f"fingerprint  {report.fingerprint}")
    typer.echo(f"here         {report.entries} entries; complete about {report.subjects} subjects")
    typer.echo(f"withheld     {report.withheld} texts; signed by devices: {report.signed} entries")
    for name in report.witnesses:
        typer.echo(f"also signed  {name} (not verified here: `pitbird checkpoint verify --witness`)")
    for text, found in report.papers:
        typer.echo(f"paper        {text}: {found}")
    typer.echo(
        "This shows that the book was not altered; that what was written down is true, it cannot show."
    )
