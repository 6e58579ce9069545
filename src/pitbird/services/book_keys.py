"""The keys by which this book signs: made at first use, changed, and followed through all changes.

In the home folder: ``book-key.pem`` (owner only), ``book-key.pub``, and ``keys/BOOK/N.note`` for the N-th
change (``record.key_chain``). While a change is made, ``N.pem`` and ``N.note.new`` lie there too: they come
into their places where the book holds the entry of that change, and are dropped where it does not. So a
change that was broken off is either done or never was.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from django.db import transaction

from pitbird.record.key_chain import follow_keys
from pitbird.record.leaf import read_leaf
from pitbird.record.note import COSIGNATURE, VerifierKey, read_verifier_key
from pitbird.services.checking import Check
from pitbird.services.moving import BookEmpty
from pitbird.services.placing import move, put
from pitbird.store import book

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_CHANGE: Final = re.compile(r"(\d{4})\.note", re.ASCII)
_STAGED: Final = re.compile(r"(\d{4})\.(pem|note\.new)", re.ASCII)
_GONE: Final = (
    "the book's private key is gone; put book-key.pem back from a copy of the folder. Without one, move "
    "book-key.pub, keys and checkpoints to where you keep old papers, and tell those who hold checkpoints "
    "that the book signs by a new key that nothing leads to"
)


_BROKEN_OFF: Final = (
    "nothing is lost: `pitbird checkpoint make` finishes it where the book holds its entry, and drops it "
    "where it does not"
)
_AGAIN: Final = (
    "put book-key.pub and the folder keys back from a copy of the folder; without them whoever holds an "
    "earlier key is not led on to the present one"
)


class CheckpointRefused(ValueError):
    """A checkpoint or its key cannot be made, read or signed; the sentence says why and what to do."""


def origin() -> str:
    """The name of this book in its checkpoints and keys. Raises BookEmpty."""
    first = book.at_index(0)
    if first is None:
        raise BookEmpty
    return f"pitbird-book/{first.entry_id}"


def changes_folder(home: Path) -> Path:
    """Where the notes of this book's changes of key lie."""
    return home / "keys" / origin().rpartition("/")[2]


def changes(home: Path) -> tuple[bytes, ...]:
    """The notes of all changes of the book's key, the first one first, as the files hold them."""
    folder = changes_folder(home)
    names = sorted(each.name for each in folder.glob("*.note") if _CHANGE.fullmatch(each.name))
    return tuple((folder / name).read_bytes() for name in names)


def book_keys(home: Path) -> tuple[VerifierKey, ...]:
    """All keys of the book in their order; the last one is in use.

    Raises CheckpointRefused where there is none yet, RecordError where the changes do not hold.
    """
    try:
        shown = read_verifier_key((home / "book-key.pub").read_text("utf-8").strip()).public
    except FileNotFoundError:
        raise CheckpointRefused(
            "there is no key yet; `pitbird checkpoint make` makes it with the first checkpoint"
        ) from None
    name = origin()
    key, chain = VerifierKey(name, shown), follow_keys(changes(home), name)
    if chain and key not in chain:
        raise CheckpointRefused(
            f"book-key.pub is none of the keys that {changes_folder(home)} tells of; put the right one back"
        )
    return chain or (key,)


def public_key(home: Path, *, witness: bool = False) -> VerifierKey:
    """The public half of the key in use, or of the same key as a witness's. Raises as ``book_keys``."""
    key = book_keys(home)[-1]
    return VerifierKey(key.name, key.public, COSIGNATURE) if witness else key


def signing_key(home: Path, passphrase: bytes | None = None) -> Ed25519PrivateKey:
    """The book's key, made at first use (PKCS #8, encrypted where a passphrase is given; mode 0600).

    Raises CheckpointRefused where it is gone, others may read it, or the passphrase does not fit.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    settle(home)
    path = home / "book-key.pem"
    if not path.exists():
        if (home / "book-key.pub").exists() or changes(home):
            raise CheckpointRefused(_GONE)
        put(path, new_key(passphrase)[1], replace=False)
    if os.name == "posix" and path.stat().st_mode & 0o077:
        raise CheckpointRefused(f"{path} may be read by others; take their rights away (chmod 600)")
    try:
        key = load_pem_private_key(path.read_bytes(), passphrase)
    except TypeError:
        raise CheckpointRefused(
            "passphrase: none was given for a key that has one; set PITBIRD_KEY_PASSPHRASE"
            if passphrase is None
            else "passphrase: the key has none; take PITBIRD_KEY_PASSPHRASE out of the environment"
        ) from None
    except ValueError:
        raise CheckpointRefused(f"passphrase: it does not open {path}, or the file is damaged") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise CheckpointRefused(f"{path} is not an Ed25519 key; put the book's own key back")
    made = VerifierKey(origin(), key.public_key().public_bytes_raw())
    if not (home / "book-key.pub").exists():
        put(home / "book-key.pub", f"{made.text()}\n".encode())
    if public_key(home) != made:
        raise CheckpointRefused("book-key.pub does not belong to book-key.pem; put the right one back")
    return key


def given_passphrase() -> bytes | None:
    """The passphrase of the book's key, from PITBIRD_KEY_PASSPHRASE; None where none is set."""
    return os.environ.get("PITBIRD_KEY_PASSPHRASE", "").encode() or None


def why_none_is_signed(home: Path, passphrase: bytes | None = None) -> str:
    """Why the key could not sign now, and what to do; empty where it can, or is made at first use."""
    if not (home / "book-key.pem").exists() and not (home / "book-key.pub").exists():
        return ""
    try:
        signing_key(home, passphrase)
    except (ValueError, OSError) as fault:  # the files may hold anything
        return str(fault)
    return ""


def new_key(passphrase: bytes | None) -> tuple[Ed25519PrivateKey, bytes]:
    """A new Ed25519 key, and the same as PKCS #8, encrypted where a passphrase is given."""
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    lock = form.BestAvailableEncryption(passphrase) if passphrase else form.NoEncryption()
    key = Ed25519PrivateKey.generate()
    return key, key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, lock)


def check_key(home: Path) -> Check:
    """Whether the book's key and its changes are there, hold, and are those that the book tells of.

    Reads only; the private key is not opened, so that no passphrase is needed.
    """
    what = "the key of the book and its changes"
    if book.head().size == 0 or not any((home / f"book-key.{kind}").exists() for kind in ("pem", "pub")):
        return Check(what)
    try:
        keys = book_keys(home)
        if not (home / "book-key.pem").exists():
            return Check(what, "the private key is gone", _GONE)
        if _staged(changes_folder(home)):
            return Check(what, "a change of key was broken off", _BROKEN_OFF)
    except (ValueError, OSError) as fault:  # the files may hold anything
        return Check(what, f"they cannot be relied on ({fault})", _AGAIN)
    return Check(what, _differing(keys), _AGAIN)


def _differing(keys: tuple[VerifierKey, ...]) -> str:
    """In what the changes beside the book are not those in it; empty where they are the same."""
    entered = [read_leaf(row.leaf.encode()).body["new_key"] for row in book.of_kind("key-changed")]
    beside = [hex_of(key) for key in keys[1:]]
    if entered[: len(beside)] == beside and len(entered) > len(beside):
        return f"the note of change {len(beside) + 1} is missing beside the book"
    # A restored copy may lie behind a change; its epoch says so.
    if entered != beside and not book.of_kind("epoch"):
        return (
            f"the book tells of {len(entered)} changes, beside it lie {len(beside)} that are not all the same"
        )
    return ""


def settle(home: Path) -> None:
    """Finish a change of key that was broken off where the book knows of it; drop it where it does not."""
    if not _unsettled(home):
        return
    with transaction.atomic():
        book.head(lock=True)  # one at a time; whoever changes the key holds the same lock
        folder = changes_folder(home)
        for staged in sorted(folder.glob("*.note.new")):
            number = staged.name[:4]
            if _is_entered(staged.read_bytes(), changes(home)):
                move(folder / f"{number}.pem", home / "book-key.pem")
                # From here on the new key is the one in use.
                move(staged, folder / f"{number}.note")
        for left in _staged(folder):
            left.unlink(missing_ok=True)
        if chain := follow_keys(changes(home), origin()):
            put(home / "book-key.pub", f"{chain[-1].text()}\n".encode())


def _unsettled(home: Path) -> bool:
    folder = changes_folder(home)
    if not folder.is_dir():
        return False
    if _staged(folder):
        return True
    keys = book_keys(home) if (home / "book-key.pub").exists() else ()
    shown = (home / "book-key.pub").read_text("utf-8").strip() if keys else ""
    return bool(keys) and keys[-1].text() != shown


def _staged(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    return [each for each in folder.iterdir() if _STAGED.fullmatch(each.name)]


def _is_entered(note: bytes, before: tuple[bytes, ...]) -> bool:
    """Whether the book holds the entry of a change that is not in its place yet."""
    chain = follow_keys([*before, note], origin())
    wanted = (len(before) + 1, hex_of(chain[-2]), hex_of(chain[-1]))
    bodies = (read_leaf(row.leaf.encode()).body for row in book.of_kind("key-changed"))
    return any((body["number"], body["old_key"], body["new_key"]) == wanted for body in bodies)


def hex_of(key: VerifierKey) -> str:
    """The fingerprint without spaces."""
    return key.fingerprint().replace(" ", "")


def key_words(fingerprint: bytes) -> tuple[str, ...]:
    """A fingerprint of 32 bytes as 24 words of the English list of BIP-39, the last one holding a checksum.

    An aid for reading it aloud; it has nothing to do with a wallet, and the words are no secret.
    """
    from mnemonic import Mnemonic

    if len(fingerprint) != 32:
        raise ValueError("a fingerprint has 32 bytes")
    return tuple(Mnemonic("english").to_mnemonic(fingerprint).split())
