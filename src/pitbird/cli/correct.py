"""``pitbird correct``: an entry voided, or replaced by what a file says; both stay in the book."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.store.book import Row


def command(
    entry: str = typer.Argument(metavar="INDEX-or-ID", help="The entry: its place in the book, or its id."),
    void: bool = typer.Option(False, "--void", help="It counts for nothing from now on."),
    replace: Path | None = typer.Option(
        None, metavar="FILE", help="A JSON object with the fields that stand instead; null takes one away."
    ),
    reason: str = typer.Option(..., help="Why; kept beside the book and can be erased."),
    by: str | None = typer.Option(None, help="The keeper who corrects; else PITBIRD_BY, else the only one."),
) -> None:
    """Void an entry, or replace fields of it. Nothing is rubbed out: the correction is an entry too.

    What the file leaves out stays as it counts now; texts are given plainly.
    """
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from pitbird.services.correcting import what_counts
    from pitbird.services.writing import write

    faults = Faults()
    actor, said = writer(by, None, faults)
    row = row_of(entry, faults)
    if actor is not None:
        require_keeper(actor.person, faults)
    if void == (replace is not None):
        faults.add("how: say either --void or --replace FILE")
    fields = _object(replace, faults) if replace is not None else {}
    faults.refuse()
    assert row is not None  # noqa: S101 - row_of() gives None only with a fault
    assert actor is not None  # noqa: S101
    draft: dict[str, Any] = {
        "kind": "correction", "corrects": row.entry_id, "how": "void" if void else "replace",
        "reason": reason,
    }  # fmt: skip
    before = what_counts(row)
    if not void:
        stands = _body(row) if before is None else before
        merged = {**stands, **fields}
        # What it is about is worked out anew: a replacement may be about something else.
        draft["replacement"] = {
            **{key: value for key, value in merged.items() if value is not None and key != "about"},
            "id": row.entry_id,
        }
    written = write(draft, actor)
    if said:
        typer.echo(said, err=True)
    typer.echo(f"Entry {row.index} {'voided' if void else 'replaced'} by entry {written.index}.")
    for line in _differing(before, what_counts(row)):
        typer.echo(line)
    gate_now(what for body in (before, what_counts(row)) if body for what in body["about"])


def row_of(entry: str, faults: Any) -> Row | None:
    """An entry by its place or its id; a fault where the book has none."""
    from pitbird.store import book

    small = entry.isascii() and entry.isdigit() and len(entry) < 16
    row = book.at_index(int(entry)) if small else book.by_id(entry)
    if row is None:
        faults.add(f"entry: the book has no entry {entry!r}; its entries are 0 to {book.head().size - 1}")
    return row


def require_keeper(person: str, faults: Any, *, may: str = "corrects entries") -> None:
    """A fault where somebody is no keeper."""
    from pitbird.cli.naming import code
    from pitbird.fleet.state import PersonState
    from pitbird.services.knowing import Now

    state = Now().state(person)
    if not isinstance(state, PersonState) or "keeper" not in state.roles:
        faults.add(f"by: {code(person)} is no keeper; only a keeper {may}")


def _body(row: Row) -> dict[str, Any]:
    from pitbird.record.leaf import read_leaf

    return dict(read_leaf(row.leaf.encode()).body)


def _object(file: Path, faults: Any) -> dict[str, Any]:
    from pitbird.record.canonical import parse
    from pitbird.record.errors import RecordError

    try:
        value = parse(file.read_text(encoding="utf-8-sig"))
    except RecordError as refused:
        faults.add(f"{file}: {refused}")
        return {}
    if not isinstance(value, dict):
        faults.add(f"{file}: not one JSON object with the fields that stand instead")
        return {}
    return value


def _differing(before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> list[str]:
    from pitbird.fleet.differing import differences

    if before is None or after is None:
        return []
    return [
        f"  {'.'.join(each.path)}: {_said(each.new)}; before: {_said(each.old)}"
        for each in differences(before, after)
    ]


def _said(value: Any) -> str:
    import json

    if value is None:
        return "nothing"
    if isinstance(value, str):
        return "another text" if value.startswith("sha256:") else value
    return json.dumps(value, ensure_ascii=False)


def gate_now(subjects: Iterable[str]) -> None:
    """What the gate says now about every detector that a correction touched."""
    from pitbird.cli.gate import stamp
    from pitbird.services import clock
    from pitbird.services.gate import gate_one

    for subject in dict.fromkeys(subjects):
        if subject.startswith("detector:"):
            typer.echo(f"The gate now: {stamp(gate_one(subject, now=clock.now()))}")
