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
    from pitbird.services.book_keys import given_passphrase

    return given_passphrase()


@app.command("make")
def make(
    daily: bool = typer.Option(
        False, "--daily", help="Only where the book grew and the newest is a day old; says nothing else."
    ),
) -> None:
    """Sign the book as it stands and keep that beside it; makes the key at first use."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.checkpoints import daily_checkpoint, make_checkpoint

    made = (daily_checkpoint if daily else make_checkpoint)(home(), passphrase())
    if made is not None:
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
    change: list[Path] = typer.Option([], help="The notes of all changes of its key, the first one first."),
) -> None:
    """Sign another book's checkpoint as a witness, if that book only grew since the last time."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.book_keys import origin
    from pitbird.services.witnessing import cosign as sign

    signed = sign(
        note.read_bytes(),
        _key(key),
        home(),
        proof=proof.read_bytes() if proof else None,
        changes=[each.read_bytes() for each in change],
        passphrase=passphrase(),
    )
    out.write_bytes(signed.to_bytes())
    typer.echo(f"Signed as {origin()}: {out}")


@app.command("verify")
def verify(
    note: Path = typer.Argument(help="A checkpoint."),
    key: str = typer.Option(..., help="The book's key, from its keeper: name+hash+base64."),
    witness: list[str] = typer.Option([], help="The key of a witness who must have signed too."),
    census: Path | None = typer.Option(None, help="The census that belongs to it."),
    change: list[Path] = typer.Option([], help="The notes of all changes of the key, the first one first."),
) -> None:
    """Verify a checkpoint with a key that you were given; needs no book. Exit status 1 if it fails."""
    from pitbird.cli.refusing import NEGATIVE
    from pitbird.record.checkpoint import read_census
    from pitbird.record.errors import RecordError
    from pitbird.record.key_chain import verify_by_one_of
    from pitbird.record.note import COSIGNATURE

    wanted, others = _key(key), [_key(each) for each in witness]
    data, notes = note.read_bytes(), [each.read_bytes() for each in change]
    listed = census.read_bytes() if census else None
    try:
        keys = _from(wanted, notes)
        done = verify_by_one_of(data, keys, others)
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


@app.command("witnessed")
def witnessed(
    note: Path = typer.Argument(help="A checkpoint of this book that came back from a witness."),
    witness: str | None = typer.Option(
        None, help="The witness's key, the first time: as `pitbird key show` says it there."
    ),
) -> None:
    """Keep what a witness signed: its signature is put under the checkpoint that is kept here."""
    from pitbird.cli.ready import home, make_ready_with_book

    key = _key(witness) if witness else None
    make_ready_with_book()
    from pitbird.fleet.times import text_of
    from pitbird.services.witnessing import take_back

    added = take_back(note.read_bytes(), home(), witness=key)
    for each in added:
        typer.echo(f"Signed by the witness {each.witness.name} at {text_of(each.at)}; kept.")
    if not added:
        typer.echo("Nothing new: these signatures are kept already.")


@app.command("stamp-request")
def stamp_request(
    out: Path = typer.Argument(help="The file to write the request to (DER TimeStampReq, RFC 3161)."),
    size: int | None = typer.Option(None, min=1, help="Of that of so many entries; else of the newest."),
) -> None:
    """Write what to ask a time-stamp authority for a checkpoint; nothing is sent anywhere."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.stamping import stamp_request as request

    out.write_bytes(request(home(), size))


@app.command("stamp")
def stamp(
    response: Path = typer.Argument(help="The authority's response (DER TimeStampResp, RFC 3161)."),
    ca: Path = typer.Option(..., help="The authority's certificates as it publishes them (PEM)."),
) -> None:
    """Verify an authority's time stamp of a checkpoint, and keep it beside that."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.fleet.times import text_of
    from pitbird.services.stamping import take_stamp

    kept = take_stamp(response.read_bytes(), ca.read_bytes(), home())
    if not kept.new:
        typer.echo("An earlier one is kept already:")
    typer.echo(
        f"{kept.authority} had the checkpoint of {kept.size} entries at {text_of(kept.at)}: {kept.path}"
    )


@key_app.command("show")
def show_key() -> None:
    """The book's key, the same as a witness, and the fingerprint, to compare by telephone or on paper."""
    from pitbird.cli.ready import home, make_ready_with_book

    make_ready_with_book()
    from pitbird.services.book_keys import book_keys, hex_of, key_words, public_key

    keys = book_keys(home())
    typer.echo(f"key          {keys[-1].text()}")
    typer.echo(f"as a witness {public_key(home(), witness=True).text()}")
    typer.echo(f"fingerprint  {keys[-1].fingerprint()}")
    words = key_words(bytes.fromhex(hex_of(keys[-1])))
    for at in range(0, len(words), 6):
        typer.echo(f"{'in words' if at == 0 else '':13}{' '.join(words[at : at + 6])}")
    typer.echo("The words are the fingerprint again, for reading aloud; they are no secret and open nothing.")
    for number, key in enumerate(keys[:-1], start=1):
        typer.echo(f"before change {number}: {key.fingerprint()}")


@key_app.command("rotate")
def rotate_key(
    by: str | None = typer.Option(None, help="Who writes; else PITBIRD_BY, else the only keeper."),
    because: str = typer.Option("planned", help="planned, exposed (others may have had it) or other."),
) -> None:
    """Change the book's key: the old one and the new one sign for each other, and the old one is destroyed.

    What the old key signed stays good. The new key has the passphrase in PITBIRD_KEY_NEW_PASSPHRASE; without
    one, the same as the old key.
    """
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused

    make_ready_with_book()
    from pitbird.services.checkpoints import make_checkpoint
    from pitbird.services.key_rotation import rotate

    faults = Faults()
    actor, _ = writer(by, None, faults)
    if actor is None:
        raise Refused(*faults.lines)
    new = os.environ.get("PITBIRD_KEY_NEW_PASSPHRASE", "").encode() or None
    done = rotate(home(), actor, because=because, passphrase=passphrase(), new_passphrase=new)
    typer.echo(f"Change {done.number} of the key is entry {done.entry.index} of the book.")
    typer.echo(f"old fingerprint  {done.old.fingerprint()}")
    typer.echo(f"new fingerprint  {done.new.fingerprint()}")
    typer.echo(f"The note by which others follow the change: {done.path}")
    if new is not None:
        typer.echo("From now on PITBIRD_KEY_PASSPHRASE must hold the new passphrase.")
    made = make_checkpoint(home(), new or passphrase())
    typer.echo(f"Checkpoint of {made.checkpoint.size} entries by the new key: {made.path}")


def _newest() -> bytes:
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import Refused

    make_ready_with_book()
    from pitbird.services.checkpoints import kept

    found = kept(home())
    if found is None:
        raise Refused("there is no checkpoint yet; make one with `pitbird checkpoint make`")
    return found.path.read_bytes()


def _from(wanted: VerifierKey, notes: list[bytes]) -> tuple[VerifierKey, ...]:
    """The given key and those that its changes lead on to. Raises RecordError."""
    from pitbird.record.errors import BadNote
    from pitbird.record.key_chain import follow_keys

    if not notes:
        return (wanted,)
    chain = follow_keys(notes, wanted.name)
    if wanted not in chain:
        raise BadNote("the changes do not begin with the key given", where="change", remedy="Ask the keeper.")
    return chain[chain.index(wanted) :]


def _key(text: str) -> VerifierKey:
    from pitbird.record.note import read_verifier_key

    return read_verifier_key(text.strip())
