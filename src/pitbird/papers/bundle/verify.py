#!/usr/bin/env python3
"""Check an audit bundle: its entries stand in the signed record book, unaltered, and nothing is missing.

    python3 verify.py BUNDLE [--key FINGERPRINT] [--known NOTE] [--paper TEXT ...] [--json]

BUNDLE is the ZIP file or the folder of its unpacked files. FINGERPRINT is that of the book's key; get it from
the keeper of the book by another way than the bundle. NOTE is a file with a checkpoint of the book that you
hold from earlier. TEXT is the code on a paper. Exit status: 0 it holds; 3 consistent in itself, but no
fingerprint was given, so somebody may have made all of it anew; 1 it does not hold; 2 it cannot be read.

This file needs Python 3.8 or newer and the package ``cryptography`` (for the signatures), nothing else; it
reads no network and writes nothing. ``check`` takes the steps in order: begin to read there. Hashes are those
of RFC 9162 (section 2.1), canonical JSON is that of RFC 8785, signed texts are those of C2SP (signed-note,
tlog-checkpoint). It shows what the book says, not that what was written down is true.
"""

from __future__ import annotations

import argparse
import base64
import json
import os
import re
import struct
import sys
import zlib
from array import array
from bisect import bisect_left
from datetime import date
from hashlib import sha256
from typing import TYPE_CHECKING, Any, BinaryIO, Iterator, NamedTuple, Sequence  # noqa: UP035 (Python 3.8)

HOLDS, CONSISTENT, BROKEN, REFUSED = "holds", "consistent in itself", "does not hold", "refused"
STATUS = {HOLDS: 0, BROKEN: 1, REFUSED: 2, CONSISTENT: 3}

MANIFEST, CHECKPOINT, CENSUS, KEY = "MANIFEST.note", "checkpoint.note", "census.json", "key.txt"
SCOPE, ENTRIES, TREE, CONSISTENCY = "scope.json", "entries.jsonl", "tree.txt", "consistency.json"
NEEDED = (MANIFEST, CHECKPOINT, CENSUS, KEY, SCOPE, ENTRIES, TREE)
FORMAT = "pitbird-bundle/1"

PIECE = 1 << 18  # bytes read at once
LONGEST_LINE = 1 << 26  # of entries.jsonl; photos stand in it
LARGEST = {MANIFEST: 1000000, CHECKPOINT: 1000000, KEY: 10000, CENSUS: 1 << 27, SCOPE: 1 << 25}
LARGEST_INT = 2**53 - 1
MOST_TOLD = 100  # faults of one code

NAME = re.compile(r"[A-Za-z0-9._-]+(?:/[A-Za-z0-9._-]+)*", re.ASCII)
HASH = re.compile(r"[0-9a-f]{64}", re.ASCII)
LISTED = re.compile(r"([0-9a-f]{64}) (0|[1-9][0-9]{0,18}) (.+)", re.ASCII)
TREE_LINE = re.compile(rb"([0-9a-f]{64}) ([0-9a-f]{64})")
NUMBER = re.compile(r"0|[1-9][0-9]{0,18}", re.ASCII)
TIME = re.compile(r"\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}Z", re.ASCII)
SUBJECT = re.compile(r"[a-z]+:[A-Za-z0-9._-]+", re.ASCII)
KIND = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*", re.ASCII)
ENTRY_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", re.ASCII)
COMMITMENT = re.compile(r"sha256:[0-9a-f]{64}", re.ASCII)
MEDIA_TYPE = re.compile(r"[a-z]+/[a-z0-9][a-z0-9.+-]*", re.ASCII)
CENSUS_LINE = re.compile(r"pitbird-census/1 sha256:([0-9a-f]{64})", re.ASCII)
PAPER = re.compile(r"pitbird-leaf/1 (\S+) (0|[1-9][0-9]{0,18}) ([0-9a-f]{64})", re.ASCII)


class Refused(Exception):
    """It cannot be read as a bundle: which code, which file, and why."""

    def __init__(self, code: str, file: str | None, what: str) -> None:
        super().__init__(what)
        self.code, self.file, self.what = code, file, what


class Bad(ValueError):
    """A part is not of its form; the text says why."""


class Faults:
    """What is not right, in the order in which it was found."""

    def __init__(self) -> None:
        self.told: list[dict[str, Any]] = []
        self.counts: dict[str, int] = {}

    def add(self, code: str, file: str | None, what: str, index: int | None = None) -> None:
        """Note a fault; beyond the hundredth of one code they only count."""
        self.counts[code] = self.counts.get(code, 0) + 1
        if self.counts[code] <= MOST_TOLD:
            self.told.append({"code": code, "file": file, "index": index, "what": what})


def shown(value: object) -> str:
    """Foreign text as it may be put on a screen: ASCII, and not endless."""
    text = ascii(value)
    return text if len(text) <= 80 else text[:80] + "..."


# --- The files: a ZIP file with one meaning only, or a folder


def is_file_name(name: str) -> bool:
    """Whether a file of a bundle may be called so: no way out of its folder, nothing but ASCII."""
    return NAME.fullmatch(name) is not None and not {".", ".."} & set(name.split("/"))


class Member(NamedTuple):
    """Where the bytes of one file lie in the ZIP file, and what they must come to."""

    start: int
    packed: int
    size: int
    crc: int
    deflated: bool


class Zip:
    """A ZIP file (APPNOTE, section 4.3) in which every byte belongs to one file or header, and headers agree.

    Two readers could see different files in a ZIP file whose local headers and directory differ, or that
    hides bytes between the files. Such a file is refused.
    """

    LOCAL = struct.Struct("<4sHHHHHIIIHH")
    CENTRAL = struct.Struct("<4sHHHHHHIIIHHHHHII")
    END = struct.Struct("<4sHHHHIIH")
    DATE = 0x0021  # 1980-01-01

    def __init__(self, file: BinaryIO) -> None:
        self.file = file
        self.members: dict[str, Member] = {}
        end = file.seek(0, os.SEEK_END) - self.END.size
        sign, *disks, here, count, length, start, comment = self.END.unpack(self.at(end, self.END.size))
        plain = sign == b"PK\5\6" and [*disks, comment] == [0, 0, 0]
        if not plain or here != count or start + length != end:
            raise Refused("zip", None, "it does not end as a ZIP file does")
        directory, place, expected = self.at(start, length), 0, 0
        for _ in range(count):
            if len(directory) - place < self.CENTRAL.size:
                raise Refused("zip", None, "its directory is cut off")
            fields = self.CENTRAL.unpack_from(directory, place)
            place += self.CENTRAL.size + fields[10]
            expected = self.member(fields, directory[place - fields[10] : place], expected)
        if place != length or expected != start:
            raise Refused("zip", None, "bytes lie between its files and its directory")

    def at(self, place: int, length: int) -> bytes:
        """Exactly so many bytes from that place on."""
        if place < 0:
            raise Refused("zip", None, "too short to be a ZIP file")
        self.file.seek(place)
        data = self.file.read(length)
        if len(data) != length:
            raise Refused("zip", None, "it is cut off")
        return data

    def member(self, fields: tuple[Any, ...], raw: bytes, expected: int) -> int:
        """Take up one file of the directory; it begins where the one before ended. Tell where it ends."""
        sign, _, needed, flags, method, time, day, crc, packed, size, _, *extras, _, _, offset = fields
        name = raw.decode("latin-1")
        if not is_file_name(name):
            raise Refused("name", name, f"the name {shown(name)} is not allowed")
        if sign != b"PK\1\2" or (flags, time, day) != (0, 0, self.DATE) or extras != [0, 0, 0]:
            raise Refused("zip", None, f"{name} has flags, a date, extras or a comment that no bundle has")
        if needed > 20 or method not in (0, 8) or (method == 0 and packed != size):
            raise Refused("zip", None, f"{name} is neither stored nor deflated")
        local = self.LOCAL.unpack(self.at(offset, self.LOCAL.size))
        wanted = (b"PK\3\4", needed, 0, method, 0, self.DATE, crc, packed, size, len(raw), 0)
        start = offset + self.LOCAL.size + len(raw)
        if local != wanted or self.at(offset + self.LOCAL.size, len(raw)) != raw:
            raise Refused("zip", None, f"the two headers of {name} differ")
        if name in self.members:
            raise Refused("zip", None, f"the name {name} stands twice")
        if offset != expected:
            raise Refused("zip", None, f"bytes lie before {name}, or it lies inside another file")
        self.members[name] = Member(start, packed, size, crc, method == 8)
        return int(start + packed)

    def names(self) -> list[str]:
        return list(self.members)

    def size(self, name: str) -> int:
        return self.members[name].size

    def pieces(self, name: str) -> Iterator[bytes]:
        """The bytes of a file, piece by piece, held to its length and CRC."""
        member, size, crc = self.members[name], 0, 0
        for piece in self.unpacked(member) if member.deflated else self.packed(member):
            size, crc = size + len(piece), zlib.crc32(piece, crc)
            if size > member.size:
                break
            yield piece
        if (size, crc) != (member.size, member.crc):
            raise Refused("zip", None, f"length or CRC of {name} do not fit")

    def packed(self, member: Member) -> Iterator[bytes]:
        for place in range(0, member.packed, PIECE):
            yield self.at(member.start + place, min(PIECE, member.packed - place))

    def unpacked(self, member: Member) -> Iterator[bytes]:
        unpacker = zlib.decompressobj(-15)
        try:
            for data in self.packed(member):
                while data and not unpacker.eof:
                    yield unpacker.decompress(data, PIECE)
                    data = unpacker.unconsumed_tail
                if data or unpacker.unused_data:
                    raise Refused("zip", None, "bytes lie behind a deflated file")
            while not unpacker.eof:
                data = unpacker.decompress(unpacker.unconsumed_tail, PIECE)
                if not data:
                    raise Refused("zip", None, "a deflated file is cut off")
                yield data
        except zlib.error:
            raise Refused("zip", None, "a file cannot be inflated") from None


class Folder:
    """The unpacked files of a bundle in a folder."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.found: list[str] = []
        for place, folders, files in os.walk(path):
            for name in [*files, *(name for name in folders if os.path.islink(os.path.join(place, name)))]:
                full = os.path.join(place, name)
                name = os.path.relpath(full, path).replace(os.sep, "/")
                if not is_file_name(name) or os.path.islink(full) or not os.path.isfile(full):
                    raise Refused("name", name, f"the name {shown(name)} is not allowed, or it is no file")
                self.found.append(name)

    def names(self) -> list[str]:
        return sorted(self.found)

    def size(self, name: str) -> int:
        return os.path.getsize(os.path.join(self.path, name))

    def pieces(self, name: str) -> Iterator[bytes]:
        with open(os.path.join(self.path, name), "rb") as file:
            yield from iter(lambda: file.read(PIECE), b"")


if TYPE_CHECKING:
    Source = Zip | Folder


def read(source: Source, name: str) -> bytes:
    """A small file as a whole."""
    if source.size(name) > LARGEST.get(name, 1000000):
        raise Bad(f"{name} is too large")
    return b"".join(source.pieces(name))


def lines(pieces: Iterator[bytes], longest: int) -> Iterator[tuple[bytes, bool]]:
    """The lines without their line feed, and whether each had one; ends at a line that is too long."""
    rest = bytearray()
    for piece in pieces:
        first, *others = piece.split(b"\n")
        rest += first
        if others:
            yield bytes(rest), True
            yield from ((line, True) for line in others[:-1])
            rest = bytearray(others[-1])
        if len(rest) > longest:
            break
    if rest:
        yield bytes(rest[:longest]), False


# --- Canonical JSON (RFC 8785): ASCII keys, whole numbers below 2^53, no fractions


def written(value: Any) -> bytes:
    """The one form of a value; UnicodeEncodeError for half a character."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def canonical(data: bytes) -> Any:
    """The value of a JSON text, if that text is its one form: so a key that stands twice is refused too."""
    try:
        value = json.loads(data.decode("utf-8"), parse_int=whole, parse_float=refuse, parse_constant=refuse)
        if allowed(value, 0) and written(value) == data:
            return value
    except RecursionError:
        raise Bad("it is nested too deeply") from None
    except Bad:
        raise
    except ValueError:
        raise Bad("it is not JSON in UTF-8") from None
    raise Bad("it is not in canonical form (RFC 8785)")


def whole(text: str) -> int:
    """A whole number of JSON."""
    # Long numbers are never converted: that takes quadratic time.
    if len(text) > 17:
        refuse(text)
    return int(text)


def refuse(text: str) -> Any:
    """What stands for a number that a book does not hold."""
    raise Bad(f"{shown(text)} is not a whole number below 2^53")


def allowed(value: Any, depth: int) -> bool:
    """Whether numbers, keys and depth are those that a book may hold."""
    if type(value) is int:
        return -LARGEST_INT <= value <= LARGEST_INT
    if type(value) is dict:
        return depth < 64 and all(key.isascii() and allowed(item, depth + 1) for key, item in value.items())
    if type(value) is list:
        return depth < 64 and all(allowed(item, depth + 1) for item in value)
    return True


def from_base64(text: Any, url: bool = False) -> bytes:
    """Base64 (RFC 4648) in its one spelling; the other alphabet of its section 5 without padding."""
    if type(text) is not str:
        raise Bad("not base64")
    try:
        padded = text + "=" * (-len(text) % 4) if url else text
        data = base64.b64decode(padded, altchars=b"-_" if url else None, validate=True)
    except ValueError:
        raise Bad("not base64") from None
    back = base64.urlsafe_b64encode(data).rstrip(b"=") if url else base64.b64encode(data)
    if back.decode("ascii") != text:
        raise Bad("not base64 in its one spelling")
    return data


# --- Signatures, keys and signed notes


def ed25519(public: bytes, signature: bytes, message: bytes) -> bool:
    """Whether that key made that signature (RFC 8032)."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def es256(public: bytes, signature: bytes, message: bytes) -> bool:
    """Whether that key made that signature: ECDSA on P-256 with SHA-256 (RFC 7518, section 3.4)."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, SECP256R1, EllipticCurvePublicKey
    from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
    from cryptography.hazmat.primitives.hashes import SHA256

    r, s = int.from_bytes(signature[:32], "big"), int.from_bytes(signature[32:], "big")
    try:
        point = EllipticCurvePublicKey.from_encoded_point(SECP256R1(), public)
        point.verify(encode_dss_signature(r, s), message, ECDSA(SHA256()))
    except (InvalidSignature, ValueError):
        return False
    return True


class Key(NamedTuple):
    """The public half of a book's key (type Ed25519) and the name under which it signs."""

    name: str
    public: bytes

    def id(self) -> bytes:
        return sha256(self.name.encode() + b"\n\x01" + self.public).digest()[:4]

    def fingerprint(self) -> str:
        return sha256(b"\x01" + self.public).hexdigest()


class Note(NamedTuple):
    """A text and the lines of signatures under it: name, id of the key, signature."""

    text: str
    signatures: list[tuple[str, bytes, bytes]]


def read_key(line: str) -> Key:
    """A verifier key from its line: name+id+base64 of type and public key."""
    parts = line.split("+", 2)
    data = from_base64(parts[2]) if len(parts) == 3 else b""
    if len(data) != 33 or data[0] != 1 or not is_name(parts[0]):
        raise Bad("not a verifier key of type Ed25519")
    key = Key(parts[0], data[1:])
    if key.id().hex() != parts[1]:
        raise Bad("name, id and key do not belong together")
    return key


def is_name(name: str) -> bool:
    """Whether a key may be called so."""
    return bool(name) and "+" not in name and name.isprintable() and not any(sign.isspace() for sign in name)


def read_note(data: bytes) -> Note:
    """A signed note (C2SP signed-note), its form only."""
    if len(data) > 1000000:
        raise Bad("the note is too long")
    try:
        text = data.decode("utf-8")
    except ValueError:
        raise Bad("the note is not UTF-8") from None
    if any(sign < " " and sign != "\n" for sign in text):
        raise Bad("a control character stands in the note (a carriage return: changed line ends)")
    cut = text.rfind("\n\n")
    rows = text[cut + 2 :].split("\n")
    if cut < 0 or rows[-1] != "" or not 1 <= len(rows) - 1 <= 100:
        raise Bad("not a text, an empty line and lines of signatures")
    signatures = []
    for row in rows[:-1]:
        parts = row.split(" ")
        if len(parts) != 3 or parts[0] != "\u2014" or not is_name(parts[1]):
            raise Bad("a line of a signature is not a dash, a name and base64")
        made = from_base64(parts[2])
        if len(made) <= 4:
            raise Bad("no signature stands in its line")
        signatures.append((parts[1], made[:4], made[4:]))
    return Note(text[: cut + 1], signatures)


def is_signed(note: Note, key: Key) -> bool:
    """Whether exactly one line is of that key, and fits."""
    own = [made for name, number, made in note.signatures if (name, number) == (key.name, key.id())]
    return len(own) == 1 and ed25519(key.public, own[0], note.text.encode())


class Checkpoint(NamedTuple):
    """The head of a book: how many entries, the root of their tree, the hash of the census."""

    origin: str
    size: int
    root: bytes
    census: str | None


def read_checkpoint(text: str) -> Checkpoint:
    """The text of a checkpoint (C2SP tlog-checkpoint): origin, size, root, further lines."""
    rows = text.split("\n")
    if len(rows) < 4 or rows[-1] or not all(row and row.isprintable() for row in rows[:-1]):
        raise Bad("not the lines of a checkpoint")
    origin, size, root, *more = rows[:-1]
    made = from_base64(root)
    if not NUMBER.fullmatch(size) or int(size) >= 2**63 or len(made) != 32:
        raise Bad("size or root are not of their form")
    if size == "0" and made != sha256(b"").digest():
        raise Bad("a book without entries has another root")
    censuses = [row for row in more if row.startswith("pitbird-census/")]
    if len(censuses) > 1:
        raise Bad("two lines of a census")
    match = CENSUS_LINE.fullmatch(censuses[0]) if censuses else None
    return Checkpoint(origin, int(size), made, match.group(1) if match else None)


# --- Hashes and trees (RFC 9162, section 2.1)


def leaf_hash(data: bytes) -> bytes:
    """The hash of an entry."""
    return sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of two parts of the tree."""
    return sha256(b"\x01" + left + right).digest()


def goes_on(old_size: int, old_root: bytes, size: int, root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether the tree of ``size`` begins with all of the older one: RFC 9162, section 2.1.4.2."""
    if not 0 <= old_size <= size or any(len(item) != 32 for item in proof):
        return False
    if old_size == 0:
        return old_root == sha256(b"").digest() and not proof and (size > 0 or root == old_root)
    if old_size == size:
        return old_root == root and not proof
    path = list(proof)
    if old_size & (old_size - 1) == 0:  # a power of two: its root stands for the first hash of the path
        path.insert(0, old_root)
    if not path:
        return False
    here, last = old_size - 1, size - 1
    while here & 1:
        here, last = here >> 1, last >> 1
    old = new = path[0]
    for item in path[1:]:
        if last == 0:
            return False
        if here & 1 or here == last:
            old, new = node_hash(item, old), node_hash(item, new)
            while here and not here & 1:
                here, last = here >> 1, last >> 1
        else:
            new = node_hash(new, item)
        here, last = here >> 1, last >> 1
    return last == 0 and old == old_root and new == root


# --- Entries


def is_time(value: Any) -> bool:
    """A time in UTC, YYYY-MM-DDTHH:MM:SS.mmmZ, on a day that exists."""
    if type(value) is not str or not TIME.fullmatch(value):
        return False
    try:
        date.fromisoformat(value[:10])
    except ValueError:
        return False
    return True


def is_count(value: Any) -> bool:
    """A whole number from 1."""
    return type(value) is int and value >= 1


def fits(pattern: re.Pattern[str], value: Any) -> bool:
    """A text of that form as a whole."""
    return type(value) is str and pattern.fullmatch(value) is not None


def form_of_leaf(leaf: Any) -> list[str]:
    """What is not right in the form of a leaf; the signature's form included, the signature not."""
    if type(leaf) is not dict or type(leaf.get("body")) is not dict or type(leaf.get("nth")) is not dict:
        return ["it is not an object with body and nth"]
    body, nth = leaf["body"], leaf["nth"]
    about = body.get("about")
    subjects = about if type(about) is list and all(fits(SUBJECT, item) for item in about) else []
    rules = {
        "keys": set(leaf) - {"signature"} == {"body", "nth", "recorded_at"},
        "recorded_at": is_time(leaf.get("recorded_at")),
        "kind": fits(KIND, body.get("kind")),
        "v": is_count(body.get("v")),
        "id": fits(ENTRY_ID, body.get("id")),
        "at": is_time(body.get("at")),
        "about": bool(subjects) and len(set(subjects)) == len(subjects),
        "nth": set(nth) == set(subjects) and all(is_count(number) for number in nth.values()),
        "signature": "signature" not in leaf or signature_parts(leaf["signature"]) is not None,
    }
    return [f"{name} is not of its form" for name, good in rules.items() if not good]


def signature_parts(value: Any) -> tuple[str, bytes, bytes] | None:
    """Algorithm, key and signature of a device; None if they are not of their form."""
    if type(value) is not dict or set(value) != {"alg", "key", "sig"}:
        return None
    size = {"ES256": 65, "Ed25519": 32}.get(value["alg"]) if type(value["alg"]) is str else None
    try:
        key, made = from_base64(value["key"], url=True), from_base64(value["sig"], url=True)
    except Bad:
        return None
    return (value["alg"], key, made) if (len(key), len(made)) == (size, 64) else None


def commitments_in(value: Any) -> Iterator[str]:
    """Every text in a JSON value that commits to a sealed text."""
    if type(value) is str and COMMITMENT.fullmatch(value):
        yield value
    elif type(value) is dict or type(value) is list:
        for item in value.values() if type(value) is dict else value:
            yield from commitments_in(item)


def blob_of(value: Any) -> tuple[bytes, bytes]:
    """Salt and bytes of a sealed text or file."""
    if type(value) is not dict or not all(type(item) is str for item in value.values()):
        raise Bad("it is not an object of texts")
    if set(value) == {"salt", "text"}:
        return from_base64(value["salt"]), value["text"].encode()
    if set(value) == {"base64", "salt", "type"} and MEDIA_TYPE.fullmatch(value["type"]):
        return from_base64(value["salt"]), from_base64(value["base64"])
    raise Bad("it is neither a text nor a file")


class Entries:
    """What entries.jsonl holds: the place and hash of each entry, and how far each subject's numbers go."""

    def __init__(self, faults: Faults, firsts: dict[str, int]) -> None:
        self.faults, self.firsts = faults, firsts
        self.indices = array("q")
        self.hashes = bytearray()
        self.readable = True  # whether all indices are known and rise
        self.lines = self.signed = 0
        self.book: str | None = None
        self.ids: set[bytes] = set()
        self.numbers: dict[str, int] = {}  # the last number seen of each subject
        self.next = dict(firsts)  # of each subject that is claimed to be complete, the number to come
        self.fences: dict[str, str] = {}  # when the first of them was recorded
        self.opened: set[bytes] = set()  # the hashes of the sealed texts that are here
        self.closed: set[bytes] = set()  # those of all that the bodies seal

    def hash(self, place: int) -> bytes:
        return bytes(self.hashes[32 * place : 32 * place + 32])

    def line(self, line: bytes, ended: bool) -> None:
        """Take up one line."""
        self.lines += 1
        try:
            if not ended:
                raise Bad("it does not end with a line feed, or is too long")
            value = canonical(line)
            if type(value) is not dict or set(value) - {"sealed"} != {"index", "leaf"}:
                raise Bad("it is not an object of index and leaf")
            index = value["index"]
            if type(index) is not int or index < 0:
                raise Bad("its index is not a whole number from 0")
        except Bad as bad:
            self.readable = False
            self.faults.add("entry", ENTRIES, f"line {self.lines}: {bad}")
            return
        if self.indices and index <= self.indices[-1]:
            self.readable = False
            self.faults.add("entry", ENTRIES, f"line {self.lines}: its index does not rise", index)
            return
        self.indices.append(index)
        self.hashes += leaf_hash(written(value["leaf"]))
        self.entry(index, value["leaf"])
        self.seals(index, value)

    def entry(self, index: int, leaf: Any) -> None:
        """Form, id, numbers and signature of one entry."""
        wrong = form_of_leaf(leaf)
        if wrong:
            self.faults.add("entry", ENTRIES, f"entry {index}: " + "; ".join(wrong), index)
            return
        body = leaf["body"]
        number = bytes.fromhex(body["id"].replace("-", ""))
        if number in self.ids:
            self.faults.add("entry", ENTRIES, f"entry {index}: its id stands in the bundle twice", index)
        self.ids.add(number)
        if index == 0:
            self.book = body["id"]
        for subject, nth in leaf["nth"].items():
            self.count(index, subject, nth, leaf["recorded_at"])
        if "signature" in leaf:
            self.signed += 1
            alg, key, made = signature_parts(leaf["signature"]) or ("", b"", b"")
            if not (es256 if alg == "ES256" else ed25519)(key, made, written(body)):
                what = f"entry {index}: the signature of its device does not fit"
                self.faults.add("signature", ENTRIES, what, index)

    def count(self, index: int, subject: str, nth: int, recorded_at: str) -> None:
        """Take up the number that an entry has for one of its subjects."""
        if nth <= self.numbers.get(subject, 0):
            what = f"entry {index}: the numbers of {shown(subject)} do not rise"
            self.faults.add("entry", ENTRIES, what, index)
            return
        self.numbers[subject] = nth
        if nth == self.next.get(subject):
            self.next[subject] += 1
            if nth == self.firsts[subject]:
                self.fences[subject] = recorded_at

    def seals(self, index: int, value: dict[str, Any]) -> None:
        """Hold each text beside the leaf against what its body seals."""
        body = value["leaf"].get("body") if type(value["leaf"]) is dict else None
        standing = set(commitments_in(body))
        sealed = value.get("sealed", {})
        if type(sealed) is not dict or ("sealed" in value and not sealed):
            self.faults.add("seal", ENTRIES, f"entry {index}: sealed is not an object of texts", index)
            sealed = {}
        for name, blob in sealed.items():
            try:
                salt, data = blob_of(blob)
                if name not in standing:
                    raise Bad("its body seals no such text")
                if len(salt) != 16 or "sha256:" + sha256(salt + data).hexdigest() != name:
                    raise Bad("it is not what was sealed")
                self.opened.add(bytes.fromhex(name[7:]))
            except Bad as bad:
                self.faults.add("seal", ENTRIES, f"entry {index}, text {shown(name[:24])}: {bad}", index)
        self.closed.update(bytes.fromhex(name[7:]) for name in standing)

    def complete(self, census: dict[str, int], since: str | None) -> dict[str, int]:
        """Hold the numbers of each claimed subject against the census; those that are complete."""
        good = {}
        for subject, first in self.firsts.items():
            if subject not in census:
                continue
            until, last, highest = census[subject], self.next[subject] - 1, self.numbers.get(subject, 0)
            book, what = f"of {until} entries about {shown(subject)} in the book", ""
            if subject not in self.fences or last < until or highest > until:
                what = f"the bundle has {last - first + 1} from number {first} on, the highest is {highest}"
            elif first > 1 and (since is None or self.fences[subject] >= since):
                what = f"those before number {first} may be missing: nothing shows that they are older"
            if what:
                self.faults.add("incomplete", ENTRIES, f"{book} {what}")
            else:
                good[subject] = first
        return good


# --- The steps


def check(
    source: Source, fingerprint: str | None, known: bytes | None, papers: Sequence[str]
) -> dict[str, Any]:
    """All steps in order. Raises Refused for what cannot be read as a bundle."""
    faults = Faults()
    given = None if fingerprint is None else "".join(fingerprint.split()).lower()
    if given is not None and not HASH.fullmatch(given):
        raise Refused("key", KEY, "the fingerprint given is not 64 hexadecimal digits")
    names = source.names()
    for name in NEEDED:
        if name not in names:
            raise Refused("missing", name, f"{name} is missing")
    # 1. The key, the signed list of files, and the files' bytes.
    key = the_key(source)
    manifest, origin, files = the_manifest(source)
    if key.name != origin or not is_signed(manifest, key):
        faults.add("manifest-signature", MANIFEST, "the list of files is not signed by the key in key.txt")
    check_files(source, files, names, faults)
    # 2. The key is one that the auditor's fingerprint leads to.
    keys = chain_of_keys(source, names, origin, key, faults)
    if given is not None and given not in [item.fingerprint() for item in keys]:
        faults.add("key", KEY, f"the fingerprint of the key is {key.fingerprint()}, not the one given")
    # 3. The signed head of the book, and its census.
    head, witnesses = the_checkpoint(source, origin, key, faults)
    census = the_census(source, head, faults) if head else None
    # 4. The entries, each for itself; the tree that leads to them; the subjects claimed to be complete.
    scope = the_scope(source, census, faults)
    found = Entries(faults, scope["subjects"] if scope else {})
    for line, ended in lines(source.pieces(ENTRIES), LONGEST_LINE):
        found.line(line, ended)
    if not found.lines:
        faults.add("entry", ENTRIES, "there is no entry")
    if head:
        check_tree(source, head, found, faults)
    complete = found.complete(census, scope["since"]) if scope and census is not None else {}
    # 5. The book goes on from the checkpoint that the auditor holds.
    if known is not None and head:
        try:
            check_known(source, names, known, head, keys)
        except Bad as bad:
            faults.add("known", CONSISTENCY, str(bad))
    return {
        "answer": BROKEN if faults.told else CONSISTENT if given is None else HOLDS,
        "origin": origin,
        "size": head.size if head else None,
        "root": head.root.hex() if head else None,
        "fingerprint": key.fingerprint(),
        "entries": len(found.indices),
        "subjects": len(complete),
        "complete": complete,
        "withheld": len(found.closed - found.opened),
        "signed": found.signed,
        "witnesses": witnesses,
        "asked": scope["asked"] if scope else None,
        "since": scope["since"] if scope else None,
        "papers": [{"code": text, "found": paper(text, found)} for text in papers],
        "faults": faults.told,
    }


def the_key(source: Source) -> Key:
    """The key of the book, as the bundle has it."""
    try:
        text = read(source, KEY).decode("utf-8")
        if not text.endswith("\n"):
            raise Bad("it does not end with a line feed")
        return read_key(text[:-1])
    except ValueError as bad:
        raise Refused("key", KEY, f"{KEY} is not one verifier key: {bad}") from None


def the_manifest(source: Source) -> tuple[Note, str, dict[str, tuple[int, str]]]:
    """The note, the origin of the book, and for each file its size and hash."""
    try:
        note = read_note(read(source, MANIFEST))
        form, origin, *rows = note.text.split("\n")[:-1]
        if form != FORMAT or not origin or not origin.isprintable():
            raise Bad(f"it does not begin with {FORMAT} and the origin of a book")
        files: dict[str, tuple[int, str]] = {}
        last = ""
        for row in rows:
            match = LISTED.fullmatch(row)
            name = match.group(3) if match else ""
            if match is None or not is_file_name(name):
                raise Bad(f"the line {shown(row)} is not a hash, a size and a name")
            if name <= last or name == MANIFEST:
                raise Bad(f"the name {name} does not belong there")
            files[name], last = (int(match.group(2)), match.group(1)), name
    except ValueError as bad:
        raise Refused("manifest", MANIFEST, f"{MANIFEST} is not a list of files: {bad}") from None
    return note, origin, files


def check_files(
    source: Source, files: dict[str, tuple[int, str]], names: Sequence[str], faults: Faults
) -> None:
    """Every file is listed and has the bytes that are listed."""
    for name in names:
        digest, size = sha256(), 0
        for piece in source.pieces(name):
            digest.update(piece)
            size += len(piece)
        if name != MANIFEST and name not in files:
            faults.add("unlisted", name, f"{name} is not in the list of files")
        elif name != MANIFEST and files[name] != (size, digest.hexdigest()):
            faults.add("file", name, f"{name} is not the file that is listed")
    for name in sorted(set(files) - set(names)):
        faults.add("absent", name, f"{name} is listed, but not here")


def chain_of_keys(source: Source, names: Sequence[str], origin: str, key: Key, faults: Faults) -> list[Key]:
    """The keys of the book from the first to the present one; that alone where the changes do not hold."""
    chain: list[Key] = []
    changes = sorted(name for name in names if name.startswith("keys/"))
    for number, name in enumerate(changes, start=1):
        try:
            if name != f"keys/{number:04d}.note":
                raise Bad(f"it stands where keys/{number:04d}.note belongs")
            note = read_note(read(source, name))
            rows = note.text.split("\n")
            if len(rows) != 6 or rows[:3] != ["pitbird-key/1", origin, str(number)]:
                raise Bad("it is not a change of this book's key of that number")
            old, new = read_key(rows[3]), read_key(rows[4])
            if {old.name, new.name} != {origin} or not is_signed(note, old) or not is_signed(note, new):
                raise Bad("it is not signed by the old and the new key")
            if chain and chain[-1] != old:
                raise Bad("it does not begin with the key that the change before ended with")
            if number == len(changes) and new != key:
                raise Bad("it does not lead to the key in key.txt")
        except Bad as bad:
            faults.add("keys", name, f"{name}: {bad}")
            return [key]
        chain += [new] if chain else [old, new]
    return chain or [key]


def the_checkpoint(
    source: Source, origin: str, key: Key, faults: Faults
) -> tuple[Checkpoint | None, list[str]]:
    """The head under which the bundle stands, and who else put a line of a signature under it."""
    try:
        note = read_note(read(source, CHECKPOINT))
    except Bad as bad:
        faults.add("checkpoint", CHECKPOINT, f"it is not a signed note: {bad}")
        return None, []
    if key.name != origin or not is_signed(note, key):
        faults.add("checkpoint-signature", CHECKPOINT, "the checkpoint is not signed by the key in key.txt")
    witnesses = [name for name, number, _ in note.signatures if (name, number) != (key.name, key.id())]
    try:
        head = read_checkpoint(note.text)
        if head.origin != origin:
            raise Bad(f"it is of {shown(head.origin)}")
    except Bad as bad:
        faults.add("checkpoint", CHECKPOINT, f"it is not a checkpoint of this book: {bad}")
        return None, witnesses
    return head, witnesses


def the_census(source: Source, head: Checkpoint, faults: Faults) -> dict[str, int] | None:
    """How many entries the book holds about each subject."""
    try:
        data = read(source, CENSUS)
        if sha256(data).hexdigest() != head.census:
            raise Bad("the checkpoint commits to another one")
        census = canonical(data)
        if type(census) is not dict or not all(is_count(count) for count in census.values()):
            raise Bad("it is not an object of counts")
    except Bad as bad:
        faults.add("census", CENSUS, f"it is not the census of the book: {bad}")
        return None
    return census


def is_asked(value: Any) -> bool:
    """A text, or a list of texts."""
    return type(value) is str or (type(value) is list and all(type(item) is str for item in value))


def the_scope(source: Source, census: dict[str, int] | None, faults: Faults) -> dict[str, Any] | None:
    """What was asked for, and from which number on the entries of which subjects are all here."""
    try:
        scope = canonical(read(source, SCOPE))
        if type(scope) is not dict or set(scope) != {"asked", "format", "since", "subjects"}:
            raise Bad("its keys are others")
        asked, since, subjects = scope["asked"], scope["since"], scope["subjects"]
        if scope["format"] != FORMAT or not (since is None or is_time(since)):
            raise Bad("its format is another, or since is not a time")
        if type(asked) is not dict or not all(is_asked(value) for value in asked.values()):
            raise Bad("asked is not an object of texts and lists of texts")
        if type(subjects) is not dict or not all(is_count(first) for first in subjects.values()):
            raise Bad("subjects is not an object of numbers")
    except Bad as bad:
        faults.add("scope", SCOPE, f"it is not the scope of a bundle: {bad}")
        return None
    for subject in subjects:
        if census is not None and subject not in census:
            faults.add("scope", SCOPE, f"the book counts nothing about {shown(subject)}")
    return scope


def check_tree(source: Source, head: Checkpoint, found: Entries, faults: Faults) -> None:
    """The lines of tree.txt lead from the signed root to each entry."""
    for index in found.indices:
        if index >= head.size:
            faults.add("leaf", ENTRIES, f"entry {index} lies behind the end of the book", index)
    if not found.readable:
        faults.add("tree", TREE, "the tree was not read: it is not known where the entries belong")
        return
    rows = lines(source.pieces(TREE), 200)

    def walk(start: int, size: int, claimed: bytes | None, low: int, high: int) -> None:
        """One node of the tree: over ``size`` entries from ``start``, of which the bundle has low to high.

        ``claimed`` is its hash as the line above says; None below a line that did not hold.
        """
        if low == high:
            return
        if size == 1:
            if claimed not in (None, found.hash(low)):
                faults.add("leaf", ENTRIES, f"entry {start} is not the one that stands in the book", start)
            return
        row, ended = next(rows, (b"", False))
        match = TREE_LINE.fullmatch(row)
        if match is None or not ended:
            raise Bad("a line is missing or is not two hashes")
        left, right = (bytes.fromhex(part.decode()) for part in match.groups())
        if claimed not in (None, node_hash(left, right)):
            what = f"the line over entries {start} to {start + size - 1} does not lead to the root"
            faults.add("tree", TREE, what)
            claimed = None
        half = 1 << ((size - 1).bit_length() - 1)  # the largest power of two smaller than the size
        middle = bisect_left(found.indices, start + half, low, high)
        walk(start, half, claimed and left, low, middle)
        walk(start + half, size - half, claimed and right, middle, high)

    try:
        walk(0, head.size, head.root, 0, bisect_left(found.indices, head.size))
        if next(rows, None) is not None:
            raise Bad("there is more behind its last line")
    except Bad as bad:
        faults.add("tree", TREE, str(bad))


def check_known(
    source: Source, names: Sequence[str], data: bytes, head: Checkpoint, keys: Sequence[Key]
) -> None:
    """The book goes on from a checkpoint that the auditor holds. Raises Bad."""
    note = read_note(data)
    old = read_checkpoint(note.text)
    if old.origin != head.origin or not any(is_signed(note, key) for key in keys):
        raise Bad("the checkpoint that you hold is not of this book and signed by its key")
    if old.size > head.size:
        raise Bad(f"you hold a checkpoint of {old.size} entries, this bundle stands under one of {head.size}")
    if old.size == head.size and old.root == head.root:
        return
    if old.size == head.size:
        raise Bad("the checkpoint that you hold has another root at the same size: the book was rewritten")
    if CONSISTENCY not in names:
        raise Bad(f"nothing shows that the book goes on from the {old.size} entries that you know")
    data = read(source, CONSISTENCY)
    value = canonical(data[:-1]) if data.endswith(b"\n") else None
    if type(value) is not dict or set(value) != {"from", "proof", "to"} or type(value["proof"]) is not list:
        raise Bad("it is not a proof of consistency")
    if not all(fits(HASH, item) for item in value["proof"]):
        raise Bad("it is not a proof of hashes")
    if written([value["from"], value["to"]]) != written([old.size, head.size]):
        raise Bad("it is not a proof from the checkpoint that you hold to this one")
    proof = [bytes.fromhex(item) for item in value["proof"]]
    if not goes_on(old.size, old.root, head.size, head.root, proof):
        raise Bad("the book does not go on from the checkpoint that you hold: it was rewritten")


def paper(text: str, found: Entries) -> str:
    """What the bundle says of the code on a paper."""
    match = PAPER.fullmatch(text.strip())
    if match is None or not ENTRY_ID.fullmatch(match.group(1)):
        return "not such a code"
    if found.book is not None and match.group(1) != found.book:
        return "of another book"
    place = bisect_left(found.indices, int(match.group(2)))
    if place == len(found.indices) or found.indices[place] != int(match.group(2)):
        return "not in this bundle"
    if found.hash(place).hex() != match.group(3):
        return "another entry stands there"
    return "stands in this bundle"


COUNTED = ("size", "entries", "subjects", "complete", "withheld", "signed")
UNKNOWN = dict.fromkeys(("origin", "root", "fingerprint", "asked", "since", *COUNTED))


def refused(code: str, file: str | None, what: str) -> dict[str, Any]:
    """The answer where there is nothing to check."""
    fault = {"code": code, "file": file, "index": None, "what": what}
    return {"answer": REFUSED, **UNKNOWN, "witnesses": [], "papers": [], "faults": [fault]}


def verify(
    bundle: str | BinaryIO,
    fingerprint: str | None = None,
    known: bytes | None = None,
    papers: Sequence[str] = (),
) -> dict[str, Any]:
    """The answer for a bundle, as an object of plain values; whatever the bundle, it raises nothing.

    ``bundle`` is the path of the ZIP file or folder, or the open ZIP file; ``known`` is a checkpoint's bytes.
    """
    try:
        if not isinstance(bundle, str):
            return check(Zip(bundle), fingerprint, known, papers)
        if os.path.isdir(bundle):
            return check(Folder(bundle), fingerprint, known, papers)
        with open(bundle, "rb") as file:
            return check(Zip(file), fingerprint, known, papers)
    except Refused as no:
        return refused(no.code, no.file, no.what)
    except ImportError:
        return refused(
            "zip", None, "the package cryptography is missing (python3 -m pip install cryptography)"
        )
    except OSError as error:
        return refused("zip", None, f"it cannot be read: {error.strerror}")
    except Exception as error:  # noqa: BLE001 (an answer, whatever comes)
        return refused("zip", None, f"unexpected: {type(error).__name__} {shown(str(error))}")


WORDS = {
    HOLDS: "The bundle HOLDS: these entries stand in the book, and of the subjects named nothing is missing.",
    CONSISTENT: "The bundle is CONSISTENT IN ITSELF, no more: somebody may have made all of it anew. Get the"
    "\nfingerprint of the book's key from its keeper by another way than this bundle; give it with --key.",
    BROKEN: "The bundle DOES NOT HOLD. Do not rely on it; the faults say what and where.",
    REFUSED: "REFUSED: this cannot be read as a bundle.",
}


def in_words(told: dict[str, Any]) -> str:
    """The answer for people, in ASCII."""
    rows: list[tuple[str, str]] = []
    if told["answer"] != REFUSED:
        mark, asked = told["fingerprint"], told["asked"] or {}
        here = f"{told['entries']} of the {told['size']} in the book; {told['signed']} signed by a device"
        rows += [
            ("Book", told["origin"]),
            ("Key", " ".join(mark[at : at + 4] for at in range(0, 64, 4))),
            ("Asked", "; ".join(f"{key} {asked_for(asked[key])}" for key in sorted(asked) if asked[key])),
            ("Entries", here),
            ("Withheld", f"{told['withheld']} sealed texts are not shown"),
        ]
        rows += [("Witness", f"{name} (this signature was not checked)") for name in told["witnesses"]]
        rows += [("Complete", from_when(told["subjects"], told["since"]))]
        for subject, number in told["complete"].items():
            rows.append(("", f"{shown(subject)[1:-1]} from its number {number} on"))
        rows += [("Paper", f"{item['found']}: {shown(item['code'])}") for item in told["papers"]]
    rows += [("Fault", f"{fault['code']}: {fault['what']}") for fault in told["faults"]]
    text = "".join(f"  {name:<10}{what}\n" for name, what in rows)
    end = "This shows what the book says, not that what was written down is true."
    return f"{WORDS[told['answer']]}\n\n{text}\n{end}\n".encode("ascii", "backslashreplace").decode("ascii")


def asked_for(value: str | list[str]) -> str:
    """What was asked for, in one line."""
    return ", ".join(shown(item)[1:-1] for item in ([value] if type(value) is str else value))


def from_when(count: int, since: str | None) -> str:
    """How many subjects are complete, and from when on."""
    if count == 0:
        return "no subject: of none is it shown that nothing is missing"
    when = "from the first on" if since is None else f"recorded since {since} and the one before"
    return f"{count} {'subject, all its' if count == 1 else 'subjects, all their'} entries {when}"


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; gives the exit status."""
    parser = argparse.ArgumentParser(prog="verify.py", description="Check an audit bundle of a record book.")
    parser.add_argument("bundle", help="the ZIP file, or the folder of its unpacked files")
    add = parser.add_argument
    add("--key", metavar="FINGERPRINT", help="of the book's key, from its keeper by another way")
    add("--known", metavar="NOTE", help="file of a checkpoint of the book that you hold")
    add("--paper", metavar="TEXT", nargs="+", action="extend", default=[], help="code on a paper")
    add("--json", action="store_true", help="the answer as JSON")
    asked = parser.parse_args(arguments)
    known = None
    if asked.known is not None:
        try:
            with open(asked.known, "rb") as file:
                known = file.read(LARGEST[CHECKPOINT] + 1)
        except OSError as error:
            parser.error(f"{asked.known} cannot be read: {error.strerror}")
    told = verify(asked.bundle, asked.key, known, asked.paper)
    sys.stdout.write(json.dumps(told, indent=1, sort_keys=True) + "\n" if asked.json else in_words(told))
    return STATUS[told["answer"]]


if __name__ == "__main__":
    sys.exit(main())
