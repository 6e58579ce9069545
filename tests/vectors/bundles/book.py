"""A small invented book and its bundles, on their own: standard library and cryptography, no pitbird.

Everything is simple recursion over lists, so that it can be read beside docs/bundle.md and RFC 9162. Keys
come from fixed seeds: the same bytes every time.
"""

from __future__ import annotations

import base64
import copy
import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

ORIGIN = "book.example/depot-seven"
Files = dict[str, bytes]


def sha(data: bytes) -> bytes:
    return hashlib.sha256(data).digest()


def b64(data: bytes) -> str:
    return base64.b64encode(data).decode()


def b64url(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).decode().rstrip("=")


def jcs(value: Any) -> bytes:
    """RFC 8785 for what stands in a book: ASCII keys, no floats."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


# --- Keys and notes (C2SP signed-note)


@dataclass(frozen=True)
class Key:
    """An Ed25519 key from a seed, with the name under which it signs."""

    seed: str
    name: str = ORIGIN
    kind: int = 1

    @property
    def private(self) -> Ed25519PrivateKey:
        return Ed25519PrivateKey.from_private_bytes(sha(self.seed.encode()))

    @property
    def public(self) -> bytes:
        return bytes([self.kind]) + self.private.public_key().public_bytes_raw()

    @property
    def id(self) -> bytes:
        return sha(self.name.encode() + b"\n" + self.public)[:4]

    @property
    def line(self) -> str:
        return f"{self.name}+{self.id.hex()}+{b64(self.public)}"

    @property
    def fingerprint(self) -> str:
        return sha(self.public).hex()

    def under(self, text: str) -> str:
        """The signature line of this key under a text; a witness's has a time (C2SP tlog-cosignature)."""
        if self.kind == 4:
            made = (1767225600).to_bytes(8, "big")
            made += self.private.sign(f"cosignature/v1\ntime 1767225600\n{text}".encode())
        else:
            made = self.private.sign(text.encode())
        return f"— {self.name} {b64(self.id + made)}\n"


KEEPER = Key("keeper")
FORMER = Key("the key before")
FIRST = Key("the key before that")
OTHER = Key("somebody else")
WITNESS = Key("witness", "witness.example/harbour", 4)


def note(text: str, *keys: Key) -> bytes:
    return (text + "\n" + "".join(key.under(text) for key in keys)).encode()


# --- The signature of a device on P-256, in plain arithmetic (FIPS 186-5; parameters of SP 800-186, 3.2.1.3)

P = 2**256 - 2**224 + 2**192 + 2**96 - 1
N = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551
G = (
    0x6B17D1F2E12C4247F8BCE6E563A440F277037D812DEB33A0F4A13945D898C296,
    0x4FE342E2FE1A7F9B8EE7EB4A7C0F9E162BCE33576B315ECECBB6406837BF51F5,
)
Point = tuple[int, int] | None


def added(a: Point, b: Point) -> Point:
    if a is None or b is None:
        return a or b
    if a[0] == b[0] and (a[1] + b[1]) % P == 0:
        return None
    if a == b:
        slope = (3 * a[0] * a[0] - 3) * pow(2 * a[1], -1, P)
    else:
        slope = (b[1] - a[1]) * pow(b[0] - a[0], -1, P)
    x = (slope * slope - a[0] - b[0]) % P
    return x, (slope * (a[0] - x) - a[1]) % P


def times(number: int, point: Point) -> tuple[int, int]:
    made: Point = None
    while number:
        if number & 1:
            made = added(made, point)
        point, number = added(point, point), number >> 1
    assert made is not None
    return made


def sign_p256(message: bytes) -> dict[str, str]:
    """ES256 with the device's one key and a number per message that is fixed by both (for vectors only)."""
    secret = int.from_bytes(sha(b"device on P-256"), "big") % N
    k = int.from_bytes(sha(b"device on P-256, once" + message), "big") % N
    x, y = times(secret, G)
    r = times(k, G)[0] % N
    s = pow(k, -1, N) * (int.from_bytes(sha(message), "big") + r * secret) % N
    key = b"\x04" + x.to_bytes(32, "big") + y.to_bytes(32, "big")
    return {"alg": "ES256", "key": b64url(key), "sig": b64url(r.to_bytes(32, "big") + s.to_bytes(32, "big"))}


def sign_ed25519(message: bytes) -> dict[str, str]:
    device = Key("device on Ed25519")
    return {"alg": "Ed25519", "key": b64url(device.public[1:]), "sig": b64url(device.private.sign(message))}


# --- The book


@dataclass
class Book:
    """Leaves with their sealed texts, as values; a forger changes them before the hashes are made."""

    leaves: list[dict[str, Any]] = field(default_factory=list)
    sealed: list[dict[str, dict[str, str]]] = field(default_factory=list)

    def add(self, kind: str, when: str, about: list[str], sign: Any = None, **fields: Any) -> None:
        """Append an entry; a field of bytes is sealed: its text stands beside the leaf."""
        number = len(self.leaves)
        blobs: dict[str, dict[str, str]] = {}
        for name, value in fields.items():
            if isinstance(value, bytes):
                fields[name] = sealed(value, blobs)
            elif isinstance(value, list):
                fields[name] = [sealed(item, blobs) if isinstance(item, bytes) else item for item in value]
        body = {"about": about, "at": when, "id": entry_id(number), "kind": kind, "v": 1, **fields}
        leaf = {
            "body": body,
            "nth": {s: self.count(s) + 1 for s in about},
            "recorded_at": when[:-5] + ".250Z",
        }
        if sign:
            leaf["signature"] = sign(jcs(body))
        self.leaves.append(leaf)
        self.sealed.append(blobs)

    def count(self, subject: str) -> int:
        return sum(subject in leaf["body"]["about"] for leaf in self.leaves)

    def census(self) -> dict[str, int]:
        subjects = {subject for leaf in self.leaves for subject in leaf["nth"]}
        return {subject: sum(subject in leaf["nth"] for leaf in self.leaves) for subject in sorted(subjects)}

    def hashes(self) -> list[bytes]:
        return [sha(b"\0" + jcs(leaf)) for leaf in self.leaves]

    def until(self, size: int) -> Book:
        return Book(copy.deepcopy(self.leaves[:size]), copy.deepcopy(self.sealed[:size]))

    def about(self, *subjects: str) -> list[int]:
        return [i for i, leaf in enumerate(self.leaves) if set(subjects) & set(leaf["nth"])]


def sealed(value: bytes, blobs: dict[str, dict[str, str]]) -> str:
    """The commitment to a text or photo, which is put among the blobs."""
    salt = sha(b"salt" + value)[:16]
    name = "sha256:" + sha(salt + value).hex()
    if value.startswith(b"\xff\xd8"):
        blobs[name] = {"base64": b64(value), "salt": b64(salt), "type": "image/jpeg"}
    else:
        blobs[name] = {"salt": b64(salt), "text": value.decode()}
    return name


def entry_id(number: int) -> str:
    return f"0197a000-0000-7000-8000-{number:012x}"


def large_book() -> Book:
    """Forty-four entries from five days of an invented depot."""
    book = Book()
    book.add("genesis", "2026-03-02T05:00:00.000Z", ["book:main"], title="Depot seven, water and biogas")
    for person, name in (("P-1", "Ada Quell"), ("P-2", "Bo Štěrk\u2028(nights)")):
        book.add("person", "2026-03-02T05:01:00.000Z", [f"person:{person}"], name=name.encode())
    for cylinder in ("C-11", "C-12"):
        book.add("cylinder-received", "2026-03-02T05:02:00.000Z", [f"cylinder:{cylinder}"], litres="58")
    for number in range(1, 5):
        book.add("detector", "2026-03-02T05:03:00.000Z", [f"detector:D-0{number}"], model="four gases")
    for day in range(2, 7):
        for number in range(1, 5):
            failed = (day, number) == (4, 2)
            sign = {(3, 2): sign_p256, (5, 2): sign_ed25519}.get((day, number))
            book.add(
                "bump-test",
                f"2026-03-0{day}T06:{number}0:00.000Z",
                [f"detector:D-0{number}", f"cylinder:C-1{1 + number // 3}"],
                sign,
                outcome="failed" if failed else "passed",
                by="person:P-1",
                gas=[{"gas": "methane", "reading": "49.5"}, {"gas": "oxygen", "reading": "18.0"}],
            )
        if day == 4:
            book.add(
                "out-of-service",
                "2026-03-04T06:25:00.000Z",
                ["detector:D-02"],
                why='The H₂S channel stayed at zero; "cold\\tap"\n\tsensor dead?'.encode(),
            )
            book.add(
                "repaired",
                "2026-03-04T12:00:00.000Z",
                ["detector:D-02"],
                photo=b"\xff\xd8\xff\xe0 a photo",
                by_name=b"Ada Quell, workshop",
            )
            wrong = next(
                i for i in book.about("detector:D-03") if book.leaves[i]["body"]["at"] > "2026-03-03"
            )
            book.add(
                "correction",
                "2026-03-04T13:00:00.000Z",
                ["detector:D-03", "cylinder:C-12"],
                corrects=entry_id(wrong),
                action="void",
                reason=b"Hood slipped",
            )
            book.add("returned-to-service", "2026-03-04T14:00:00.000Z", ["detector:D-02"], by="person:P-2")
        book.add("handed-out", f"2026-03-0{day}T07:00:00.000Z", ["detector:D-01", "person:P-2"])
    for day in (7, 8):
        book.add(
            "bump-test",
            f"2026-03-0{day}T06:20:00.000Z",
            ["detector:D-02", "cylinder:C-11"],
            outcome="passed",
            by="person:P-2",
            photo=b"\xff\xd8\xff\xe0 a photo",
        )
    book.add("note", "2026-03-08T08:00:00.000Z", ["detector:D-04"], texts=[b"Case cracked", b"Alarm loud"])
    return book


def small_book() -> Book:
    """Seven entries, for the cases in which the form is at stake and not the content."""
    book = Book()
    book.add("genesis", "2026-03-02T05:00:00.000Z", ["book:main"])
    book.add("detector", "2026-03-02T05:01:00.000Z", ["detector:D-01"], model="one gas", serial="17")
    book.add("bump-test", "2026-03-02T06:00:00.000Z", ["detector:D-01"], sign_p256, outcome="passed")
    book.add("detector", "2026-03-02T06:01:00.000Z", ["detector:D-02"], model="one gas")
    book.add("bump-test", "2026-03-03T06:00:00.000Z", ["detector:D-01"], outcome="failed", why=b"No alarm\n")
    book.add("bump-test", "2026-03-03T07:00:00.000Z", ["detector:D-01"], sign_ed25519, outcome="passed")
    book.add(
        "note",
        "2026-03-03T08:00:00.000Z",
        ["detector:D-01", "detector:D-02"],
        text="Both über Nacht".encode(),
    )
    return book


# --- Trees (RFC 9162, section 2.1) and the texts of a bundle


def half(count: int) -> int:
    size = 1
    while size * 2 < count:
        size *= 2
    return size


def root(hashes: list[bytes]) -> bytes:
    if len(hashes) == 1:
        return hashes[0]
    k = half(len(hashes))
    return sha(b"\1" + root(hashes[:k]) + root(hashes[k:]))


def tree_lines(hashes: list[bytes], wanted: set[int], start: int = 0) -> list[str]:
    if len(hashes) == 1 or not wanted & set(range(start, start + len(hashes))):
        return []
    k = half(len(hashes))
    line = f"{root(hashes[:k]).hex()} {root(hashes[k:]).hex()}\n"
    return [line, *tree_lines(hashes[:k], wanted, start), *tree_lines(hashes[k:], wanted, start + k)]


def consistency(old: int, hashes: list[bytes], whole: bool = True) -> list[bytes]:
    """SUBPROOF(m, D[n], b) of RFC 9162, section 2.1.4.1, word for word."""
    if old == len(hashes):
        return [] if whole else [root(hashes)]
    k = half(len(hashes))
    if old <= k:
        return [*consistency(old, hashes[:k], whole), root(hashes[k:])]
    return [*consistency(old - k, hashes[k:], False), root(hashes[:k])]


def checkpoint_text(book: Book, census: bytes | None = None, origin: str = ORIGIN) -> str:
    census = jcs(book.census()) if census is None else census
    head = f"{origin}\n{len(book.leaves)}\n{b64(root(book.hashes()))}\n"
    return head + f"pitbird-census/1 sha256:{sha(census).hex()}\n"


def entry_line(book: Book, index: int, blobs: bool = True) -> bytes:
    value: dict[str, Any] = {"index": index, "leaf": book.leaves[index]}
    if blobs and book.sealed[index]:
        value["sealed"] = book.sealed[index]
    return jcs(value) + b"\n"


def scope(subjects: dict[str, int], since: Any = None, **changed: Any) -> bytes:
    asked: Any = {
        "detectors": ["D-02"],
        "from": "2026-03-02",
        "people": [],
        "sites": [],
        "until": "2026-03-08",
    }
    value = {"asked": asked, "format": "pitbird-bundle/1", "since": since, "subjects": subjects, **changed}
    return jcs(value)


def consistency_json(book: Book, old: int) -> bytes:
    proof = [] if old == len(book.leaves) else consistency(old, book.hashes())
    return jcs({"from": old, "proof": [item.hex() for item in proof], "to": len(book.leaves)}) + b"\n"


def unsigned(
    book: Book,
    subjects: dict[str, int],
    indices: Iterable[int] | None = None,
    *,
    since: str | None = None,
    withhold: Iterable[int] = (),
    key: Key = KEEPER,
    witnesses: tuple[Key, ...] = (),
) -> Files:
    """The files of a bundle but for the manifest: the entries about the subjects, or those of the indices."""
    chosen = sorted(book.about(*subjects) if indices is None else indices)
    tree = tree_lines(book.hashes(), set(chosen))
    lines = [entry_line(book, i, i not in set(withhold)) for i in chosen]
    return {
        "README.txt": b"A bundle of an invented book. See docs/bundle.md.\n",
        "census.json": jcs(book.census()),
        "checkpoint.note": note(checkpoint_text(book), key, *witnesses),
        "entries.jsonl": b"".join(lines),
        "key.txt": key.line.encode() + b"\n",
        "papers/certificate.txt": b"Detector D-02: bump tests of the week\n",
        "scope.json": scope(subjects, since),
        "tree.txt": "".join(tree).encode(),
    }


def manifest_text(files: Files, origin: str = ORIGIN) -> str:
    names = sorted(name for name in files if name != "MANIFEST.note")
    rows = [f"{sha(files[name]).hex()} {len(files[name])} {name}\n" for name in names]
    return f"pitbird-bundle/1\n{origin}\n" + "".join(rows)


def listed(files: Files, *keys: Key) -> Files:
    """The files with their manifest, signed."""
    return {"MANIFEST.note": note(manifest_text(files), *(keys or (KEEPER,))), **files}


def change_of_key(
    number: int, old: Key, new: Key, *, signers: tuple[Key, ...] | None = None, **changed: Any
) -> bytes:
    rows = ["pitbird-key/1", changed.get("origin", ORIGIN), str(number), old.line, new.line]
    return note("".join(f"{row}\n" for row in rows), *(signers if signers is not None else (old, new)))


def altered(book: Book, index: int, change: Callable[[dict[str, Any]], None]) -> Book:
    """A copy of the book in which one leaf is changed before anything is hashed."""
    made = book.until(len(book.leaves))
    change(made.leaves[index])
    return made
