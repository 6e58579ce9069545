"""The frame of a bundle: its key, the signed list of files, the checkpoint with its census, the scope."""

from __future__ import annotations

import re
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from pitbird.record.archive import NAME
from pitbird.record.bundle.report import Desk
from pitbird.record.canonical import parse_canonical
from pitbird.record.checkpoint import Checkpoint, read_census, read_checkpoint
from pitbird.record.errors import BadArchive, RecordError
from pitbird.record.key_chain import follow_keys
from pitbird.record.leaf import SUBJECT, parse_time
from pitbird.record.note import ED25519, VerifierKey, read_note, read_verifier_key, verify_note

FORMAT: Final = "pitbird-bundle/1"
MANIFEST: Final = "MANIFEST.note"
NEEDED: Final = (
    MANIFEST,
    "census.json",
    "checkpoint.note",
    "entries.jsonl",
    "key.txt",
    "scope.json",
    "tree.txt",
)
HASH: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)
_LISTED: Final = re.compile(r"([0-9a-f]{64}) (0|[1-9][0-9]{0,18}) (.+)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Frame:
    """What entries are held against; ``first`` is the number of the first entry of each complete subject."""

    keys: tuple[VerifierKey, ...]
    checkpoint: Checkpoint | None
    census: dict[str, int] | None
    first: dict[str, int]
    since: str | None


def read_frame(desk: Desk, fingerprint: str | None) -> Frame:
    """Read and check everything but the entries and the tree. Raises Refused."""
    names = set(desk.files.names)
    for name in sorted(names):
        if not NAME.fullmatch(name):
            raise desk.refuse("name", name, "not a name that a bundle uses")
    for name in NEEDED:
        if name not in names:
            raise desk.refuse("missing", name, "is not in the bundle")
    key = _key(desk)
    keys = _keys(desk, key, names)
    _trusted(desk, fingerprint, key, keys)
    _digests(desk, _manifest(desk, key), names)
    checkpoint = _checkpoint(desk, key)
    census = _census(desk, checkpoint) if checkpoint else None
    first, since = _scope(desk, census)
    return Frame(keys, checkpoint, census, first, since)


def _key(desk: Desk) -> VerifierKey:
    try:
        key = read_verifier_key(desk.one_line("key.txt"))
    except RecordError:
        raise desk.refuse("key", "key.txt", "not a verifier key") from None
    if key.kind != ED25519:
        raise desk.refuse("key", "key.txt", "the key of a witness, not that of a book")
    desk.report.fingerprint = _fingerprint(key)
    return key


def _keys(desk: Desk, key: VerifierKey, names: set[str]) -> tuple[VerifierKey, ...]:
    changes = sorted(name for name in names if name.startswith("keys/"))
    if not changes:
        return (key,)
    notes: list[bytes] = []
    keys: tuple[VerifierKey, ...] = ()
    for at, name in enumerate(changes, start=1):
        try:
            if name != f"keys/{at:04d}.note":
                raise BadArchive("the changes of the key do not follow one another")
            notes.append(desk.whole(name))
            keys = follow_keys(notes, key.name)
        except RecordError as error:
            desk.fault("keys", name, error.what)
            return (key,)
    if keys[-1] != key:
        desk.fault("keys", changes[-1], "the last change does not lead to the key in key.txt")
        return (key,)
    return keys


def _trusted(desk: Desk, given: str | None, key: VerifierKey, keys: tuple[VerifierKey, ...]) -> None:
    if given is None:
        return
    wanted = "".join(given.split()).lower()
    if not HASH.fullmatch(wanted):
        raise desk.refuse("key", "key.txt", "the fingerprint given is not one: 64 hexadecimal digits")
    if wanted not in map(_fingerprint, keys):
        desk.fault("key", "key.txt", f"not the key of the fingerprint given, but {_fingerprint(key)}")


def _manifest(desk: Desk, key: VerifierKey) -> dict[str, tuple[str, int]]:
    name = "MANIFEST.note"
    try:
        note = read_note(desk.whole(name))
    except RecordError as error:
        raise desk.refuse("manifest", name, error.what) from error
    lines = note.text.split("\n")[:-1]
    if len(lines) < 2 or lines[0] != FORMAT:
        raise desk.refuse("manifest", name, f"its first line is not {FORMAT}")
    if not lines[1] or not lines[1].isprintable():
        raise desk.refuse("manifest", name, "its second line is not the origin of a book")
    desk.report.origin = lines[1]
    listed: dict[str, tuple[str, int]] = {}
    for line in lines[2:]:
        match = _LISTED.fullmatch(line)
        if not match or not NAME.fullmatch(match[3]) or match[3] == name:
            raise desk.refuse("manifest", name, f"{line[:120]!a} is not a line of a file")
        if listed and match[3] <= next(reversed(listed)):
            raise desk.refuse("manifest", name, f"{match[3]} is not in its place")
        listed[match[3]] = (match[1], int(match[2]))
    if lines[1] != key.name:
        desk.fault("manifest-signature", name, "the key is that of another book")
    try:
        if key not in verify_note(note, (key,)):
            desk.fault("manifest-signature", name, "not signed by the key in key.txt")
    except RecordError as error:
        desk.fault("manifest-signature", name, error.what)
    return listed


def _digests(desk: Desk, listed: dict[str, tuple[str, int]], names: set[str]) -> None:
    for name in sorted(listed.keys() - names):
        desk.fault("absent", name, "the manifest lists it, but it is not here")
    for name in sorted(names - listed.keys() - {"MANIFEST.note"}):
        desk.fault("unlisted", name, "the manifest does not list it")
    for name in sorted(names & listed.keys()):
        digest, size = sha256(), 0
        for piece in desk.pieces(name):
            digest.update(piece)
            size += len(piece)
        if (digest.hexdigest(), size) != listed[name]:
            desk.fault("file", name, "its bytes are not those that the manifest lists")


def _checkpoint(desk: Desk, key: VerifierKey) -> Checkpoint | None:
    name = "checkpoint.note"
    data = desk.whole(name)
    try:
        note = read_note(data)
        found = read_checkpoint(note.text)
    except RecordError as error:
        desk.fault("checkpoint", name, error.what)
        return None
    if found.origin != desk.report.origin:
        desk.fault("checkpoint", name, f"it is of {found.origin!a}, the manifest of another book")
    if found.origin != key.name:
        desk.fault("checkpoint-signature", name, "the key is that of another book")
    if found.size == 0:
        desk.fault("checkpoint", name, "it is of a book without entries")
        return None
    try:
        if key not in verify_note(note, (key,)):
            desk.fault("checkpoint-signature", name, "not signed by the key in key.txt")
    except RecordError as error:
        desk.fault("checkpoint-signature", name, error.what)
    desk.report.size, desk.report.root = found.size, found.root.hex()
    desk.report.witnesses = [
        item.name for item in note.signatures if (item.name, item.key_id) != (key.name, key.key_id)
    ]
    return found


def _census(desk: Desk, checkpoint: Checkpoint) -> dict[str, int] | None:
    try:
        return read_census(desk.whole("census.json"), checkpoint)
    except RecordError as error:
        desk.fault("census", "census.json", error.what)
        return None


def _scope(desk: Desk, census: dict[str, int] | None) -> tuple[dict[str, int], str | None]:
    try:
        value = parse_canonical(desk.whole("scope.json"))
        if type(value) is not dict or value.keys() != {"asked", "format", "since", "subjects"}:
            raise BadArchive("not an object of asked, format, since and subjects")
        since, subjects = value["since"], value["subjects"]
        if value["format"] != FORMAT:
            raise BadArchive(f"not of {FORMAT}")
        if type(value["asked"]) is not dict or not all(map(_is_asked, value["asked"].values())):
            raise BadArchive("asked is not of texts and lists of texts")
        if since is not None:
            parse_time(since)
        if type(subjects) is not dict or not all(map(_is_scoped, subjects.items())):
            raise BadArchive("subjects does not give a first number from 1 for each")
    except RecordError as error:
        desk.fault("scope", "scope.json", error.what)
        return {}, None
    desk.report.asked = value["asked"]
    for subject in subjects:
        if census is not None and subject not in census:
            desk.fault("scope", "scope.json", f"the census does not know {subject}")
    return subjects, since


def _fingerprint(key: VerifierKey) -> str:
    return key.fingerprint().replace(" ", "")


def _is_scoped(item: tuple[str, Any]) -> bool:
    subject, number = item
    return bool(SUBJECT.fullmatch(subject)) and type(number) is int and number >= 1


def _is_asked(value: Any) -> bool:
    return type(value) is str or (type(value) is list and all(type(item) is str for item in value))
