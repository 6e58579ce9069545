"""``pitbird checkpoint`` and ``pitbird key``: signed heads of the book, and whose signature it is."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.record.note import VerifierKey

app = typer.Typer(no_args_is_help=True, help="Signed heads of the book, for others to hold.")
key_app = typer.Typer(no_args_is_help=True, help="The key by which this book signs.")


def passphrase() -> bytes | None:
    """The passphrase of the book's key, from PITBIRD_KEY_PASSPHRASE; None where it has none."""
    return os.environ.get("PITBIRD_KEY_PASSPHRASE", "").encode() or None


@app.command("make")
def make() -> None:
    """Sign the book as it stands and keep that beside it; makes the key at first use."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.checkpoints import make_checkpoint

    made = make_checkpoint(home(), passphrase())
    typer.echo(f"Checkpoint of {made.checkpoint.size} entries: {made.path}")


@app.command("show")
def show() -> None:
    """The newest checkpoint, as others may hold it."""
    typer.echo(_newest().decode(), nl=False)


@app.command("export")
def export(
    out: Path = typer.Argument(help="The file to write the newest checkpoint to."),
    since: int | None = typer.Option(None, min=0, help="Size of the checkpoint that the witness saw last."),
    proof: Path | None = typer.Option(None, help="The file to write the proof from --since to."),
) -> None:
    """Write the newest checkpoint to a file, and for a witness the proof that the book only grew."""
    from pitbird.cli.refusing import Refused

    if (since is None) != (proof is None):
        raise Refused("proof: --since and --proof belong together; give both or neither")
    data = _newest()
    if since is not None and proof is not None:
        from pitbird.record.checkpoint import read_checkpoint
        from pitbird.record.note import read_note
        from pitbird.services.checkpoints import proof_file

        proof.write_bytes(proof_file(since, read_checkpoint(read_note(data).text).size))
    out.write_bytes(data)


@app.command("cosign")
def cosign(
    note: Path = typer.Argument(help="Another book's checkpoint."),
    out: Path = typer.Argument(help="The file to write it to with this book's signature."),
    key: str = typer.Option(..., help="The other book's key: name+hash+base64, as `pitbird key show` says."),
    proof: Path | None = typer.Option(None, help="The proof from the checkpoint signed last."),
) -> None:
    """Sign another book's checkpoint as a witness, if that book only grew since the last time."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services import checkpoints

    signed = checkpoints.cosign(
        note.read_bytes(),
        _key(key),
        home(),
        proof=proof.read_bytes() if proof else None,
        passphrase=passphrase(),
    )
    out.write_bytes(signed.to_bytes())
    typer.echo(f"Signed as {checkpoints.origin()}: {out}")


@app.command("verify")
def verify(
    note: Path = typer.Argument(help="A checkpoint."),
    key: str = typer.Option(..., help="The book's key, from its keeper: name+hash+base64."),
    witness: list[str] = typer.Option([], help="The key of a witness who must have signed too."),
    census: Path | None = typer.Option(None, help="The census that belongs to it."),
) -> None:
    """Verify a checkpoint with a key that you were given; needs no book. Exit status 1 if it fails."""
    from pitbird.cli.refusing import NEGATIVE
    from pitbird.record.checkpoint import read_census, verify_checkpoint
    from pitbird.record.errors import RecordError
    from pitbird.record.note import COSIGNATURE

    wanted, others = _key(key), [_key(each) for each in witness]
    data = note.read_bytes()
    listed = census.read_bytes() if census else None
    try:
        done = verify_checkpoint(data, wanted, others)
        subjects = read_census(listed, done.checkpoint) if listed is not None else None
    except RecordError as fault:
        typer.echo(f"It does not hold: {fault}")
        raise typer.Exit(NEGATIVE) from None
    missing = {each.name for each in others if each.kind == COSIGNATURE} - {
        name for name, _ in done.witnesses
    }
    if missing:
        typer.echo(f"It does not hold: not signed by {', '.join(sorted(missing))}")
        raise typer.Exit(NEGATIVE)
    typer.echo(f"Signed by {wanted.name}: {done.checkpoint.size} entries, root {done.checkpoint.root.hex()}")
    for name, seconds in done.witnesses:
        from pitbird.fleet.times import Ms, text_of

        typer.echo(f"Signed by the witness {name} at {text_of(Ms(seconds * 1000))}")
    if subjects is not None:
        typer.echo(f"The census counts entries about {len(subjects)} subjects.")


@key_app.command("show")
def show_key() -> None:
    """The book's key, the same as a witness, and the fingerprint, to compare by telephone or on paper."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.checkpoints import public_key

    key = public_key(home())
    typer.echo(f"key          {key.text()}")
    typer.echo(f"as a witness {public_key(home(), witness=True).text()}")
    typer.echo(f"fingerprint  {key.fingerprint()}")


def _newest() -> bytes:
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import Refused

    make_ready_with_book()
    from pitbird.services.checkpoints import kept

    found = kept(home())
    if found is None:
        raise Refused("there is no checkpoint yet; make one with `pitbird checkpoint make`")
    return found.path.read_bytes()


def _key(text: str) -> VerifierKey:
    from pitbird.record.note import read_verifier_key

    return read_verifier_key(text.strip())
