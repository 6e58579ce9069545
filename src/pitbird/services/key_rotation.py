"""Changing the key by which the book signs: the old key and the new one sign for each other, once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitbird.fleet.times import Ms
from pitbird.intake.faults import EntryRefused
from pitbird.record.key_chain import change_note, follow_keys
from pitbird.record.note import VerifierKey
from pitbird.services import clock
from pitbird.services.appending import Appended, writing
from pitbird.services.book_keys import (
    CheckpointRefused,
    changes,
    changes_folder,
    hex_of,
    new_key,
    origin,
    settle,
    signing_key,
)
from pitbird.services.checkpoints import make_checkpoint
from pitbird.services.placing import put
from pitbird.services.writing import Actor, check, prepare
from pitbird.store import book

REASONS = ("planned", "exposed", "other")
_MOST = 9999


@dataclass(frozen=True)
class Rotated:
    """A change of key that was made: its number, both keys, the entry that says so, and the note of it."""

    number: int
    old: VerifierKey
    new: VerifierKey
    entry: Appended
    path: Path


def rotate(
    home: Path,
    actor: Actor,
    *,
    because: str = "planned",
    passphrase: bytes | None = None,
    new_passphrase: bytes | None = None,
    now: Ms | None = None,
) -> Rotated:
    """Replace the book's key; the old private key is gone afterwards, its checkpoints stay good.

    A last checkpoint is made by the old key first. The change stands once its entry is in the book: whatever
    breaks off before leaves the old key, whatever breaks off after is finished at the next use of the key.
    ``new_passphrase`` locks the new key; without one, ``passphrase`` does. Raises CheckpointRefused,
    RecordError or EntryRefused.
    """
    if because not in REASONS:
        raise CheckpointRefused(f"because: {because!r} is none of {', '.join(REASONS)}")
    make_checkpoint(home, passphrase)
    instant, lock = clock.now() if now is None else now, new_passphrase or passphrase
    try:
        with writing() as ledger:
            book.head(lock=True)
            old = signing_key(home, passphrase)
            before, folder, name = changes(home), changes_folder(home), origin()
            if (number := len(before) + 1) > _MOST:
                raise CheckpointRefused(f"the key was changed {_MOST} times; no more can be numbered")
            new, pem = new_key(lock)
            note = change_note(name, number, old, new)
            chain = follow_keys([*before, note], name)
            put(folder / f"{number:04d}.pem", pem)
            put(folder / f"{number:04d}.note.new", note)
            draft = {
                "kind": "key-changed", "book": f"book:{name.rpartition('/')[2]}", "number": number,
                "old_key": hex_of(chain[-2]), "new_key": hex_of(chain[-1]), "because": because,
            }  # fmt: skip
            body, _ = prepare(draft, actor, instant)
            if faults := check(body, instant):
                raise EntryRefused(faults)
            entry = ledger.add(body.as_body(), recorded_at=instant)
    finally:
        settle(home)
    return Rotated(number, chain[-2], chain[-1], entry, folder / f"{number:04d}.note")
