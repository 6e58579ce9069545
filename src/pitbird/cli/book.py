"""``pitbird book``: the kinds of entry, export and import, checking, and reading entries."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.record.book import BookReport
    from pitbird.store.book import Row

app = typer.Typer(
    help="The record book itself: kinds, export, import, check, read.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command("kinds")
def kinds(kind: str | None = typer.Argument(None, help="One kind: its JSON Schema with an example.")) -> None:
    """The kinds of entry, or the JSON Schema and an example of one kind."""
    import json

    from pitbird.cli.refusing import Refused, near_words
    from pitbird.fleet.kinds import KINDS, schema

    if kind is None:
        wide = max(map(len, KINDS))
        for name, model in KINDS.items():
            typer.echo(f"{name.ljust(wide)}  {(model.__doc__ or '').strip().splitlines()[0]}")
        return
    if kind not in KINDS:
        raise Refused(
            f"kind: no kind of entry is called {kind!r}{near_words(kind, KINDS)}; `pitbird book kinds` lists"
            " them"
        )
    typer.echo(json.dumps(schema(kind), indent=2, ensure_ascii=False))


@app.command("export")
def export(file: Path | None = typer.Argument(None, help="Where to; standard output if left out.")) -> None:
    """The whole book as JSON Lines that can be read and checked without this program."""
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.cli.who_saw import saw
    from pitbird.services.moving import export_book

    saw("export")
    if file is None or str(file) == "-":
        sys.stdout.flush()
        for line in export_book():
            sys.stdout.buffer.write(line)
        sys.stdout.buffer.flush()
        return
    size = _write_whole(file, export_book())
    typer.echo(f"{size} entries written to {file}.")
    typer.echo("It holds names and texts in the open beside the entries; keep it as you keep the book.")


def _write_whole(file: Path, lines: Iterable[bytes]) -> int:
    """Write under a temporary name and rename when whole, so that no half export ever bears the name."""
    halfway = file.with_name(f".{file.name}.{os.getpid()}.part")
    written = 0
    try:
        with halfway.open("xb") as opened:
            for line in lines:
                opened.write(line)
                written += 1
            opened.flush()
            os.fsync(opened.fileno())
        halfway.replace(file)
    finally:
        halfway.unlink(missing_ok=True)
    return written - 2  # without the first and the last line


@app.command("import")
def import_(file: Path = typer.Argument(help="An export of a whole book.")) -> None:
    """Read an export into an empty book: all of it, with the same root, or nothing."""
    from pitbird.cli.ready import home, make_ready

    with file.open("rb") as lines:
        make_ready()
        from pitbird.services.moving import import_book

        head = import_book(lines)
    typer.echo(f"{head.size} entries read into the book in {home()}.")
    typer.echo(f"root {head.root().hex()}")


@app.command("rebuild")
def rebuild() -> None:
    """Fold every state anew from the entries. Exit status 1 if tree and entries do not agree."""
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import NEGATIVE

    make_ready_with_book()
    from pitbird.services.moving import rebuild as fold_anew

    done = fold_anew()
    typer.echo(
        f"{done.subjects} states folded anew from {done.entries} entries; {len(done.differed)} had differed."
    )
    for subject in done.differed:
        typer.echo(f"  {subject}")
    if not done.root_agrees:
        typer.echo(
            "The entries do not make the root that the head holds: the book was changed or damaged.", err=True
        )
        typer.echo("Compare it with an export or a checkpoint that somebody else holds.", err=True)
        raise typer.Exit(NEGATIVE)


@app.command("check")
def check(
    file: Path = typer.Argument(help="An export of a whole book."),
    root: list[str] = typer.Option([], metavar="SIZE:HEX", help="A size and root that you hold yourself."),
    hashes_only: bool = typer.Option(
        False, "--hashes-only", help="Only that the lines make the root: much sooner, and no more than that."
    ),
) -> None:
    """Check an export from first line to last, without a database. Exit status 1 if it does not hold."""
    from pitbird.cli.refusing import NEGATIVE, say_all
    from pitbird.record.book import hash_book, verify_book
    from pitbird.record.errors import BookBroken
    from pitbird.services.quick import QUICK, uncollected

    known = roots(root)
    try:
        with file.open("rb", buffering=1 << 20) as lines, uncollected():
            if not hashes_only:
                _tell(verify_book(lines, known_roots=known, codec=QUICK), known)
                return
            size, made = hash_book(lines, known_roots=known)
    except BookBroken as broken:
        say_all([f"{file}: {broken}"])
        raise typer.Exit(NEGATIVE) from None
    typer.echo(f"The {size} entries make the root on the last line; what is in them was not looked at.")
    typer.echo(f"root {made.hex()}")
    _tell_root(known)


def roots(given: list[str]) -> dict[int, bytes]:
    """Sizes and roots as they are given on the command line; refuses every one that is none."""
    from pitbird.cli.refusing import Faults

    faults, known = Faults(), {}
    for text in given:
        found = re.fullmatch(r"([0-9]{1,15}):([0-9a-f]{64})", text)
        if found:
            known[int(found[1])] = bytes.fromhex(found[2])
        else:
            faults.add(f"root: {text!r} is not SIZE:HEX, a whole number, a colon and 64 hexadecimal digits")
    faults.refuse()
    return known


def _tell(report: BookReport, known: dict[int, bytes]) -> None:
    typer.echo(
        f"Whole and unchanged since its root was made: {report.size} entries about {len(report.subjects)}"
        " subjects."
    )
    typer.echo(f"book {report.book}")
    typer.echo(f"root {report.root.hex()}")
    typer.echo(
        f"{report.opened} names and texts open, {len(report.withheld)} withheld, {report.signed} signed by"
        " devices."
    )
    _tell_root(known)


def _tell_root(known: dict[int, bytes]) -> None:
    if known:
        typer.echo(f"It agrees with the root{'s' if len(known) > 1 else ''} given.")
    else:
        typer.echo(
            "That this root is the true one only a root shows that somebody else holds: give it as --root."
        )


@app.command("restored")
def restored(
    known: str = typer.Argument(
        metavar="SIZE:HEX", help="Size and root of the book that somebody else holds."
    ),
    by: str | None = typer.Option(None, help="Who writes; else PITBIRD_BY, else the only keeper."),
    because: str = typer.Option("restored", help="restored, lost or other."),
) -> None:
    """Hold a restored copy against a root that somebody else knows; begin a new epoch if it is behind.

    Exit status 1 if the book here is another one.
    """
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import NEGATIVE, Faults, Refused, say_all

    ((size, root),) = roots([known]).items()
    make_ready_with_book()
    from pitbird.services.restoring import AnotherBook
    from pitbird.services.restoring import restored as hold_against

    faults = Faults()
    actor, _ = writer(by, None, faults)
    if actor is None:
        raise Refused(*faults.lines)
    try:
        found = hold_against(size, root, actor, because=because)
    except AnotherBook as other:
        say_all([str(other)])
        raise typer.Exit(NEGATIVE) from None
    if found.epoch is None:
        typer.echo(
            f"Nothing is lacking: the book has {found.size} entries, and at {size} the root is the same."
        )
        return
    typer.echo(
        f"The book is {size - found.size} entries behind. A new epoch begins with entry {found.epoch.index}; "
        "let every phone send again what it has kept. What was lost may be a fail: no detector goes out on a "
        "test from before now."
    )


@app.command("show")
def show(
    entry: str = typer.Argument(metavar="INDEX-or-ID", help="Its place in the book, or its id."),
) -> None:
    """One entry as it stands in the book, with the names and texts that it commits to."""
    import json

    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.record.leaf import read_leaf
    from pitbird.record.seal import commitments_in
    from pitbird.store import blobs

    row = _row(entry)
    leaf = read_leaf(row.leaf.encode())
    typer.echo(f"entry {row.index}, recorded {leaf.recorded_at}, leaf hash {row.leaf_hash.hex()}")
    typer.echo(json.dumps(leaf.body, indent=2, ensure_ascii=False))
    found = blobs.get(commitments_in(leaf.body))
    for name in commitments_in(leaf.body):
        typer.echo(f"{name[:19]}…  {_opened(found.get(name))}")


def _opened(blob: Any) -> str:
    if blob is None:
        return "withheld (erased)"
    return blob.text if blob.media_type == "text/plain" else f"{blob.media_type}, {len(blob.content)} bytes"


def _row(entry: str) -> Row:
    from pitbird.cli.refusing import Refused
    from pitbird.store import book

    size = book.head().size
    if re.fullmatch(r"[0-9]{1,15}", entry):
        row = book.at_index(int(entry))
        if row is None:
            raise Refused(f"entry: there is no entry {entry}; the book has entries 0 to {size - 1}")
        return row
    row = book.by_id(entry)
    if row is None:
        raise Refused(f"entry: {entry!r} is neither the id of an entry nor a place from 0 to {size - 1}")
    return row


@app.command("page")
def page(
    subject: str = typer.Argument(
        help="What the entries are about: D-017, detector:D-017, cylinder:C-112, ..."
    ),
) -> None:
    """All entries about one thing, in the book's order, on the clock of the place where they were made."""
    from pitbird.cli.naming import SORTS, code, known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time

    make_ready_with_book()
    import json

    from pitbird.store import book

    sort, colon, _ = subject.partition(":")
    faults = Faults()
    name = known(sort if colon and sort in SORTS else "detector", subject, faults, field="subject")
    faults.refuse()
    assert name is not None  # noqa: S101 - known() gives None only with a fault
    rows = book.about(name)
    shown = []
    for nth, row in enumerate(rows, start=1):
        body = json.loads(row.leaf)["body"]
        said = " ".join(
            str(body[key]) for key in ("outcome", "result", "what", "because", "cause", "how") if key in body
        )
        shown.append(
            [
                str(nth),
                str(row.index),
                show_time(row.at, body["zone"]),
                row.kind,
                code(row.by),
                row.entry_id,
                said,
            ]
        )
    typer.echo(f"{name}: {len(rows)} entries")
    typer.echo(table(["nth", "index", "when", "kind", "by", "id", "says"], shown, width=terminal_width()))
