"""Signed notes: a text with signature lines under it, in the C2SP signed-note form.

The text ends with a line feed; an empty line follows, then one line for each signature: an em dash, a space,
the name of the key, a space, base64 of a 4-byte key id and the signature. Key id = the first 4 bytes of
SHA-256(name || 0x0A || type || public key); type 0x01 is Ed25519 over the text, 0x04 the timestamped
cosignature of a witness (C2SP tlog-cosignature). A verifier key is written name+hex of the id+base64 of type
and public key.
"""

import base64
import binascii
import re
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING, Final

from pitbird.record.errors import BadNote

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

ED25519: Final = 0x01
COSIGNATURE: Final = 0x04
KEY_SIZE = 32
SIGNATURE_SIZE = 64
MAX_NOTE = 1_000_000
MAX_SIGNATURES = 100
MAX_TIME = 2**63 - 1
_MARK = "— "
_KEY_ID = re.compile(r"[0-9a-f]{8}", re.ASCII)


@dataclass(frozen=True, slots=True)
class VerifierKey:
    """The public half of a key with its name; ``kind`` is ED25519 or COSIGNATURE."""

    name: str
    public: bytes
    kind: int = ED25519

    def __post_init__(self) -> None:
        _check_name(self.name, "key name")
        if self.kind not in (ED25519, COSIGNATURE):
            raise BadNote(f"the key type {self.kind!r} is not known", where="key", remedy=_KEY_AGAIN)
        if type(self.public) is not bytes or len(self.public) != KEY_SIZE:
            raise BadNote(f"a public key has {KEY_SIZE} bytes", where="key", remedy=_KEY_AGAIN)

    @property
    def key_id(self) -> bytes:
        """The first 4 bytes of SHA-256(name || 0x0A || type || public key)."""
        return sha256(self.name.encode() + b"\n" + bytes([self.kind]) + self.public).digest()[:4]

    def text(self) -> str:
        """The key as one line: name+hex of the id+base64 of type and public key."""
        coded = base64.b64encode(bytes([self.kind]) + self.public).decode("ascii")
        return f"{self.name}+{self.key_id.hex()}+{coded}"

    def fingerprint(self) -> str:
        """SHA-256 of type and public key in groups of four hexadecimal digits, to be read aloud."""
        digits = sha256(bytes([self.kind]) + self.public).hexdigest()
        return " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))


@dataclass(frozen=True, slots=True)
class NoteSignature:
    """One signature line: the name, the 4-byte key id, and the bytes behind it."""

    name: str
    key_id: bytes
    data: bytes

    def line(self) -> str:
        """The line as it stands in a note, with its line feed."""
        return f"{_MARK}{self.name} {base64.b64encode(self.key_id + self.data).decode('ascii')}\n"


@dataclass(frozen=True, slots=True)
class Note:
    """A text and the signatures under it; nothing is verified yet."""

    text: str
    signatures: tuple[NoteSignature, ...]

    def to_bytes(self) -> bytes:
        """The note as a file holds it."""
        return (self.text + "\n" + "".join(item.line() for item in self.signatures)).encode()

    def with_signature(self, signature: NoteSignature) -> "Note":
        """The note with one more signature; one of the same key is replaced."""
        kept = tuple(
            item for item in self.signatures if (item.name, item.key_id) != (signature.name, signature.key_id)
        )
        return Note(self.text, (*kept, signature))


def read_verifier_key(text: str) -> VerifierKey:
    """Read a verifier key from its one line. Raises BadNote."""
    parts = text.split("+", 2)
    if len(parts) != 3 or not _KEY_ID.fullmatch(parts[1]):
        raise BadNote("not of the form name+hash+base64", where="key", remedy=_KEY_AGAIN)
    data = _base64(parts[2], "key")
    if not data:
        raise BadNote("no key stands behind the name", where="key", remedy=_KEY_AGAIN)
    key = VerifierKey(parts[0], data[1:], data[0])
    if key.key_id.hex() != parts[1]:
        raise BadNote("name, hash and key do not belong together", where="key", remedy=_KEY_AGAIN)
    return key


def read_note(data: bytes) -> Note:
    """Take a note apart, checking its form only. Raises BadNote for anything that is not exactly a note."""
    if len(data) > MAX_NOTE:
        raise BadNote(f"more than {MAX_NOTE} bytes", where="note", remedy=_NOTE_AGAIN)
    try:
        whole = data.decode("utf-8")
    except UnicodeDecodeError:
        raise BadNote("the bytes are not UTF-8", where="note", remedy=_NOTE_AGAIN) from None
    _check_text(whole, "note")
    cut = whole.rfind("\n\n")
    if cut < 0:
        raise BadNote("no empty line between text and signatures", where="note", remedy=_NOTE_AGAIN)
    text, lines = whole[: cut + 1], whole[cut + 2 :]
    if not lines.endswith("\n"):
        raise BadNote(
            "the last signature line does not end with a line feed", where="note", remedy=_NOTE_AGAIN
        )
    rows = lines[:-1].split("\n")
    if len(rows) > MAX_SIGNATURES:
        raise BadNote(f"more than {MAX_SIGNATURES} signatures", where="note", remedy=_NOTE_AGAIN)
    return Note(text, tuple(_signature(row, f"signature {at}") for at, row in enumerate(rows, start=1)))


def sign_note(text: str, name: str, key: "Ed25519PrivateKey") -> NoteSignature:
    """Sign a text with Ed25519 (RFC 8032). Raises BadNote when text or name cannot stand in a note."""
    _check_text(text, "text")
    if not text.endswith("\n"):
        raise BadNote("the text does not end with a line feed", where="text", remedy=_NOTE_AGAIN)
    verifier = VerifierKey(name, key.public_key().public_bytes_raw())
    return NoteSignature(name, verifier.key_id, key.sign(text.encode()))


def cosign_note(text: str, name: str, key: "Ed25519PrivateKey", seconds: int) -> NoteSignature:
    """Sign a checkpoint's text as a witness at a time (seconds since 1970, UTC): C2SP cosignature/v1."""
    _check_text(text, "text")
    if type(seconds) is not int or not 0 < seconds <= MAX_TIME:
        raise BadNote("not a time in seconds since 1970", where="seconds", remedy="Give the time of signing.")
    verifier = VerifierKey(name, key.public_key().public_bytes_raw(), COSIGNATURE)
    made = key.sign(_cosigned(text, seconds))
    return NoteSignature(name, verifier.key_id, seconds.to_bytes(8, "big") + made)


def verify_note(note: Note, keys: Iterable[VerifierKey]) -> dict[VerifierKey, int | None]:
    """Tell which of the keys signed the note; for a witness with the time of its signature.

    Signatures by other keys are passed over. A signature that bears the name and id of a given key but was
    not made by it, or two by one key, make the whole note refused. Raises BadNote.
    """
    found: dict[VerifierKey, int | None] = {}
    known = {(key.name, key.key_id): key for key in keys}
    for item in note.signatures:
        key = known.get((item.name, item.key_id))
        if key is None:
            continue
        if key in found:
            raise BadNote(f"two signatures by {item.name}", where="note", remedy=_NOT_RELIED)
        found[key] = _verified(note.text, item, key)
    return found


def _verified(text: str, item: NoteSignature, key: VerifierKey) -> int | None:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    seconds: int | None = None
    message, signature = text.encode(), item.data
    if key.kind == COSIGNATURE:
        seconds, signature = int.from_bytes(item.data[:8], "big"), item.data[8:]
        if not 0 < seconds <= MAX_TIME:
            raise BadNote(f"the time of {item.name} is not one", where="note", remedy=_NOT_RELIED)
        message = _cosigned(text, seconds)
    try:
        if len(signature) != SIGNATURE_SIZE:
            raise ValueError
        Ed25519PublicKey.from_public_bytes(key.public).verify(signature, message)
    except (InvalidSignature, ValueError):
        raise BadNote(
            f"the signature of {item.name} was not made by its key over this text",
            where="note",
            remedy=_NOT_RELIED,
        ) from None
    return seconds


def _cosigned(text: str, seconds: int) -> bytes:
    return f"cosignature/v1\ntime {seconds}\n{text}".encode()


def _signature(row: str, where: str) -> NoteSignature:
    parts = row.removeprefix(_MARK).split(" ")
    if not row.startswith(_MARK) or len(parts) != 2:
        raise BadNote("not an em dash, a name and base64", where=where, remedy=_NOTE_AGAIN)
    _check_name(parts[0], where)
    data = _base64(parts[1], where)
    if len(data) <= 4:
        raise BadNote("no signature stands behind the key id", where=where, remedy=_NOTE_AGAIN)
    return NoteSignature(parts[0], data[:4], data[4:])


def _check_name(name: str, where: str) -> None:
    if not name or "+" in name or not name.isprintable() or any(char.isspace() for char in name):
        raise BadNote(
            "a key's name has at least one character, no space and no plus sign",
            where=where,
            remedy=_KEY_AGAIN,
        )
    try:
        name.encode()
    except UnicodeEncodeError:
        raise BadNote("the name is not Unicode text", where=where, remedy=_KEY_AGAIN) from None


def _check_text(text: str, where: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise BadNote("not Unicode text", where=where, remedy=_NOTE_AGAIN) from None
    for char in text:
        if char < " " and char != "\n":
            raise BadNote(
                f"the control character {char!a} stands in it (a carriage return: a changed line end)",
                where=where,
                remedy=_NOTE_AGAIN,
            )


def _base64(text: str, where: str) -> bytes:
    try:
        data = base64.b64decode(text, validate=True)
        # One spelling only: the unused last bits must be zero.
        if base64.b64encode(data).decode("ascii") != text:
            raise ValueError
    except (ValueError, binascii.Error):
        raise BadNote("not base64", where=where, remedy=_NOTE_AGAIN) from None
    return data


_NOTE_AGAIN = "Get the note again as a file, byte for byte; do not edit it."
_KEY_AGAIN = "Give the key as its holder shows it: name+hash+base64."
_NOT_RELIED = "Do not rely on it; compare the fingerprint with the key's holder and get the note again."
