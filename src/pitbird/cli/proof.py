"""``pitbird proof``: that an entry stands in the book, that the book only grew, that nothing about a subject
was left out; and the last one checked again without the book."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import typer

app = typer.Typer(no_args_is_help=True, help="What shows that entries are in the book, and all of them.")

AS_JSON = typer.Option(False, "--json", help="As JSON (docs/proofs.md), for other programs.")


@app.command("inclusion")
def inclusion(
    index: int = typer.Argument(min=0, help="The place of the entry in the book."),
    size: int | None = typer.Option(None, min=1, help="In the book of so many entries; else under the newest"
                                    " checkpoint."),
    as_json: bool = AS_JSON,
) -> None:  # fmt: skip
    """The hashes that lead from an entry to the root of the book."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services import proofs, proving

    value = (
        proving.entry_proof(index, home()).as_json() if size is None else proofs.inclusion_json(index, size)
    )
    if as_json:
        _put(value)
        return
    if size is None:
        typer.echo(f"Entry {index} lies under the newest checkpoint, of {value['size']} entries.")
        typer.echo(f"book      {value['origin']}")
    else:
        typer.echo(f"Entry {index} stands in the book of {size} entries.")
    typer.echo(f"leaf hash {value['leaf_hash']}")
    _tell(value["proof"])
    typer.echo(f"root      {value['root']}")


@app.command("consistency")
def consistency(
    old: int = typer.Option(..., "--from", min=0, metavar="SIZE", help="Size of the older book."),
    new: int = typer.Option(..., "--to", min=0, metavar="SIZE", help="Size of the newer book."),
    as_json: bool = AS_JSON,
) -> None:
    """The hashes that show that the newer book begins with the older one."""
    from pitbird.cli.ready import make_ready_with_book

    make_ready_with_book()
    from pitbird.services import proofs

    value = proofs.consistency_json(old, new)
    if as_json:
        _put(value)
        return
    typer.echo(f"The book of {new} entries begins with that of {old}.")
    typer.echo(f"older root {value['from_root']}")
    typer.echo(f"newer root {value['to_root']}")
    _tell(value["proof"])


@app.command("subject")
def subject(
    name: str = typer.Argument(metavar="SUBJECT", help="D-017, or cylinder:C-112, person:P-07, site:..."),
    out: Path | None = typer.Option(None, help="The file to write the proof to, for somebody else."),
) -> None:
    """That every entry about a subject is there, up to the newest checkpoint."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.proving import subject_proof

    found = subject_proof(name if ":" in name else f"detector:{name}", home())
    if out is not None:
        out.write_text(json.dumps(found.value, ensure_ascii=False), "utf-8")
    _tell_complete(found.complete)
    if found.later:
        typer.echo(f"Written after that checkpoint: {found.later}; the next one covers them.")


@app.command("check")
def check(
    file: Path = typer.Argument(help="A proof that `pitbird proof subject --out` or the page wrote."),
    key: str = typer.Option(..., help="The book's key, from its keeper: name+hash+base64."),
) -> None:
    """Check such a proof without the book. Exit status 1 if it does not hold."""
    from pitbird.cli.refusing import NEGATIVE
    from pitbird.record.completeness import verify_subject
    from pitbird.record.errors import RecordError
    from pitbird.record.note import read_verifier_key

    wanted, data = read_verifier_key(key.strip()), file.read_bytes()
    try:
        found = verify_subject(data, wanted)
    except RecordError as fault:
        typer.echo(f"It does not hold: {fault}")
        raise typer.Exit(NEGATIVE) from None
    _tell_complete(found)


def _tell_complete(found: Any) -> None:
    numbers = "its one entry is" if found.count == 1 else f"entries 1 to {found.count} are"
    typer.echo(f"Complete up to the checkpoint of {found.size} entries: {found.subject}, {numbers} there.")
    typer.echo(f"book   {found.origin}")
    typer.echo(f"root   {found.root.hex()}")
    typer.echo(f"places {', '.join(map(str, found.indices))}")


def _tell(hashes: list[str]) -> None:
    typer.echo(f"{len(hashes)} hashes, lowest first:" if hashes else "no hashes are needed")
    for each in hashes:
        typer.echo(f"  {each}")


def _put(value: Any) -> None:
    typer.echo(json.dumps(value, indent=2, ensure_ascii=False))
