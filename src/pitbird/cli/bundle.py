"""``pitbird bundle``: make an audit bundle, for somebody who checks without the book and its keeper."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import IO, TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.services.bundles import Made, Progress

_BAR = 30


def command(
    out: Path = typer.Argument(metavar="OUT.zip", help="The file to write."),
    detector: list[str] = typer.Option([], help="A detector to show whole; give it again for more."),
    site: list[str] = typer.Option([], help="A site: its rules, and every detector that was there."),
    person: list[str] = typer.Option([], help="A person: everything about them, the tests they made."),
    from_: str | None = typer.Option(
        None, "--from", metavar="DAY", help="First day of the period; else all history."
    ),
    until: str | None = typer.Option(None, metavar="DAY", help="Last day of the period; else up to now."),
    paper_size: str = typer.Option("a4", help="Of the papers in it: a4 or us-letter."),
    without_names: bool = typer.Option(
        False, "--without-names", help="Leave out names, texts and photos; they are told as withheld."
    ),
    since_checkpoint: int | None = typer.Option(
        None, metavar="SIZE", help="Show that the book goes on from the checkpoint of that many entries."
    ),
) -> None:
    """Make a bundle that shows entries to be unaltered and complete; that they are true it cannot show."""
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused

    make_ready_with_book()
    from pitbird.cli import ready
    from pitbird.cli.checkpoint import passphrase
    from pitbird.cli.who_saw import saw
    from pitbird.services.bundle_scope import Asked
    from pitbird.services.bundles import make_bundle
    from pitbird.services.checkpoints import public_key

    faults = Faults()
    asked = Asked(
        detectors=known_of("detector", detector, faults),
        sites=known_of("site", site, faults),
        people=known_of("person", person, faults),
        first=day_of("from", from_, faults),
        last=day_of("until", until, faults),
        texts=not without_names,
        paper=paper_size,
        since_size=since_checkpoint,
    )
    faults.refuse()
    if not out.parent.is_dir():
        raise Refused(f"OUT.zip: there is no folder {out.parent}; make it first")
    saw("export")
    home = ready.home()
    bar = _Bar()
    try:
        made = _write_whole(out, lambda file: make_bundle(asked, file, home, passphrase(), progress=bar.show))
    finally:
        bar.end()
    typer.echo(
        f"{out}: {made.entries} of {made.size} entries, complete about {made.subjects} subjects, "
        f"{_size(made.length)}."
    )
    typer.echo(f"fingerprint  {public_key(home).fingerprint()}")
    typer.echo("Give the auditor the fingerprint by another way than the bundle, on paper or by telephone.")
    if asked.texts:
        typer.echo("The bundle holds names and texts in the open; keep and send it accordingly.")


def known_of(sort: str, given: Sequence[str], faults: Faults) -> tuple[str, ...]:
    """The subjects of what was typed; a fault for each that the book does not know."""
    from pitbird.cli.naming import known

    return tuple(name for text in given if (name := known(sort, text, faults)) is not None)


def day_of(field: str, text: str | None, faults: Faults) -> date | None:
    """A day as it was typed; a fault where it is none."""
    try:
        return date.fromisoformat(text.strip()) if text else None
    except ValueError:
        faults.add(f"{field}: {text!r} is no day; write it as 2026-03-02")
        return None


def _write_whole(out: Path, make: Callable[[IO[bytes]], Made]) -> Made:
    """Write under a temporary name and rename when whole, so that no half bundle ever bears the name."""
    halfway = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        with halfway.open("xb") as file:
            made = make(file)
            file.flush()
            os.fsync(file.fileno())
        halfway.replace(out)
        return made
    finally:
        halfway.unlink(missing_ok=True)


class _Bar:
    """How far it is, on a terminal; nothing anywhere else."""

    def __init__(self) -> None:
        self._shown = sys.stderr.isatty()
        self._last = ("", -1)

    def show(self, progress: Progress) -> None:
        """Draw it anew where it has grown."""
        filled = _BAR * progress.count // max(1, progress.total)
        percent = progress.what, 100 * progress.count // max(1, progress.total)
        if not self._shown or percent == self._last:
            return
        self._last = percent
        bar = "#" * filled + "." * (_BAR - filled)
        said = f"{progress.count} of {progress.total} {progress.what}"
        typer.echo(f"\r\x1b[K[{bar}] {said}", nl=False, err=True)

    def end(self) -> None:
        """Take it away."""
        if self._shown:
            typer.echo("\r\x1b[K", nl=False, err=True)


def _size(length: int) -> str:
    return f"{length / 1_000_000:.1f} MB" if length >= 100_000 else f"{length / 1000:.0f} kB"
