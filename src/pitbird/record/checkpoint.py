"""Checkpoints: the head of the book as a text to be signed, in the C2SP tlog-checkpoint form.

Lines: origin (whose book it is), size in decimal, base64 of the root, then extension lines. Ours is
``pitbird-census/1 sha256:HEX`` and commits to the census: for each subject, how many entries the book
holds about it. HEX is SHA-256 over canonical JSON (RFC 8785) of {subject: count}; with it a list of entries
1..n about one subject is known to be whole.
"""

import base64
import binascii
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256

from pitbird.record.canonical import canonical, parse_canonical
from pitbird.record.errors import BadCheckpoint, RecordError
from pitbird.record.merkle import EMPTY_ROOT, HASH_SIZE, MAX_SIZE
from pitbird.record.note import COSIGNATURE, ED25519, Note, VerifierKey, read_note, verify_note

CENSUS_MARK = "pitbird-census/1 sha256:"
_CENSUS_LINE = re.compile(re.escape(CENSUS_MARK) + r"([0-9a-f]{64})", re.ASCII)
_SIZE = re.compile(r"0|[1-9][0-9]{0,18}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A tree head: whose book, how many entries, which root, and what else is committed to."""

    origin: str
    size: int
    root: bytes
    extensions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for place, line in enumerate((self.origin, *self.extensions)):
            if not line or not line.isprintable():
                raise BadCheckpoint(
                    "an empty line or a control character",
                    where="origin" if place == 0 else f"extension {place}",
                    remedy=_AGAIN,
                )
        if type(self.size) is not int or not 0 <= self.size <= MAX_SIZE:
            raise BadCheckpoint("not a count of entries", where="size", remedy=_AGAIN)
        if type(self.root) is not bytes or len(self.root) != HASH_SIZE:
            raise BadCheckpoint(f"not a hash of {HASH_SIZE} bytes", where="root", remedy=_AGAIN)
        if self.size == 0 and self.root != EMPTY_ROOT:
            raise BadCheckpoint("a book without entries has another root", where="root", remedy=_AGAIN)
        if sum(line.startswith("pitbird-census/") for line in self.extensions) > 1:
            raise BadCheckpoint("two lines of a census", where="extensions", remedy=_AGAIN)

    def text(self) -> str:
        """The text that is signed."""
        root = base64.b64encode(self.root).decode("ascii")
        return "".join(f"{line}\n" for line in (self.origin, str(self.size), root, *self.extensions))

    def census_hash(self) -> bytes | None:
        """The hash of the census that the checkpoint commits to; None when it commits to none."""
        for line in self.extensions:
            if match := _CENSUS_LINE.fullmatch(line):
                return bytes.fromhex(match[1])
        return None


@dataclass(frozen=True, slots=True)
class VerifiedCheckpoint:
    """A checkpoint signed by the book's key, with the witnesses who signed too and when (seconds, 1970)."""

    checkpoint: Checkpoint
    witnesses: tuple[tuple[str, int], ...]


def census_bytes(census: Mapping[str, int]) -> bytes:
    """The census in canonical form; raises BadCheckpoint for a count below 1, NotCanonical for odd names."""
    for subject, count in census.items():
        if type(count) is not int or count < 1:
            raise BadCheckpoint(f"{count!r} entries about {subject!a}", where="census", remedy=_AGAIN)
    return canonical(dict(census))


def census_line(census: Mapping[str, int]) -> str:
    """The extension line that commits to a census."""
    return CENSUS_MARK + sha256(census_bytes(census)).hexdigest()


def read_census(data: bytes, checkpoint: Checkpoint) -> dict[str, int]:
    """Read a census and hold it against the checkpoint that commits to it. Raises BadCheckpoint."""
    if sha256(data).digest() != checkpoint.census_hash():
        raise BadCheckpoint("not the census that the checkpoint commits to", where="census", remedy=_AGAIN)
    try:
        value = parse_canonical(data)
    except RecordError as error:
        raise BadCheckpoint(f"{error.where}: {error.what}", where="census", remedy=_AGAIN) from error
    if type(value) is not dict:
        raise BadCheckpoint("not an object of subjects and counts", where="census", remedy=_AGAIN)
    census_bytes(value)
    return value


def read_checkpoint(text: str) -> Checkpoint:
    """Read the text of a checkpoint. Raises BadCheckpoint for anything that is not exactly one."""
    lines = text.split("\n")
    if len(lines) < 4 or lines[-1] != "":
        raise BadCheckpoint("not three whole lines: origin, size, root", where="checkpoint", remedy=_AGAIN)
    origin, size, root, *extensions = lines[:-1]
    if not _SIZE.fullmatch(size):
        raise BadCheckpoint("not a whole number without leading zeros", where="size", remedy=_AGAIN)
    try:
        made = base64.b64decode(root, validate=True)
        if base64.b64encode(made).decode("ascii") != root:
            raise ValueError
    except (ValueError, binascii.Error):
        raise BadCheckpoint("not base64", where="root", remedy=_AGAIN) from None
    return Checkpoint(origin, int(size), made, tuple(extensions))


def verify_checkpoint(
    data: bytes, key: VerifierKey, witnesses: Iterable[VerifierKey] = (), *, origin: str | None = None
) -> VerifiedCheckpoint:
    """Verify a signed checkpoint with the book's key, which the caller trusts, and those of witnesses.

    ``origin`` is whose book it must be; without it, the key's name (C2SP tlog-checkpoint says that the two
    should be the same). Raises BadNote or BadCheckpoint.
    """
    if key.kind != ED25519:
        raise BadCheckpoint("the book's key is one of a witness", where="key", remedy=_KEY)
    others = tuple(witnesses)
    if any(other.kind != COSIGNATURE for other in others):
        raise BadCheckpoint("a witness is given with a key of a book", where="witness", remedy=_KEY)
    note: Note = read_note(data)
    found = verify_note(note, (key, *others))
    if key not in found:
        raise BadCheckpoint(f"not signed by {key.name} with this key", where="note", remedy=_OTHER)
    checkpoint = read_checkpoint(note.text)
    wanted = key.name if origin is None else origin
    if checkpoint.origin != wanted:
        raise BadCheckpoint(
            f"it is of {checkpoint.origin!a}, not of {wanted!a}", where="origin", remedy=_OTHER
        )
    seen = tuple((other.name, seconds) for other, seconds in found.items() if seconds is not None)
    return VerifiedCheckpoint(checkpoint, seen)


_AGAIN = "Get the checkpoint again as a file, byte for byte; do not edit it."
_OTHER = "Do not rely on it; compare the key's fingerprint with the keeper of the book."
_KEY = "Give the verifier key of the other kind."
