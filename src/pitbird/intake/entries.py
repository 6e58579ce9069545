"""Raw values or JSON text -> a typed entry, or every fault in it, in plain words."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from math import isfinite
from typing import Any, Final

from pydantic import ValidationError

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.kinds.base import Body
from pitbird.intake.faults import Fault, shown
from pitbird.intake.words import Path, near, path_text, put_in_words
from pitbird.record.canonical import MAX_DEPTH, MAX_INT, fits, parse
from pitbird.record.errors import DuplicateKey, NotCanonical, NotJson

#: Kinds that cannot stand in for another entry.
NEVER_REPLACEMENTS: Final = (
    "genesis", "correction", "erasure", "key-changed", "audit-opened", "audit-closed",
    "device", "device-ended",
)  # fmt: skip

#: Kinds that hold values of others' making. What passes the schema of any other kind can be written as it is.
FREE: Final = frozenset({"rules-adopted", "correction"})

_Found = tuple[Path, str, str]


def parse_body(data: bytes | str, *, line: int | None = None) -> tuple[Body | None, tuple[Fault, ...]]:
    """Read one entry from strict JSON text: see ``read_body`` for what is then asked of it.

    Text that is no JSON or no UTF-8 is refused with its place, an object that names a key twice with the key.
    Floats and numbers too big for the book become faults of their fields, beside all others.
    """
    try:
        raw: object = parse(data)
    except NotJson as refused:
        place = f" (at {refused.where})" if refused.where else ""
        return None, (Fault("entry", "", f"{refused.what}{place}; send one JSON object in UTF-8", line),)
    except DuplicateKey as refused:
        where = refused.where.removeprefix("$").removeprefix(".") or "entry"
        problem = f"the key {refused.key!a} stands twice in one object; keep one of the two"
        return None, (Fault(where, "", problem, line),)
    except NotCanonical as refused:
        return None, _faults_despite(data, refused, line)
    return read_body(raw, line=line)


def _faults_despite(data: bytes | str, refused: NotCanonical, line: int | None) -> tuple[Fault, ...]:
    """All faults of a text that is JSON but holds something that the book cannot."""
    first = Fault(refused.where.removeprefix("$").removeprefix(".") or "entry", "", refused.what, line)
    try:
        raw = json.loads(data)
    except (ValueError, RecursionError):
        return (first,)
    return read_body(raw, line=line)[1] or (first,)


def read_body(
    raw: object, *, line: int | None = None, from_book: bool = False
) -> tuple[Body | None, tuple[Fault, ...]]:
    """Turn raw JSON values into a typed entry of their kind, or say everything that is wrong with them.

    A correction's ``replacement`` is held to its own kind, and comes back complete, with its ``about``.
    Exactly one of the two results is empty. ``from_book`` says that the values come from canonical bytes,
    so that nothing in them can be unwritable.
    """
    body, found = _read(raw, writable=from_book)
    if not found:
        return body, ()
    kind = raw.get("kind") if isinstance(raw, Mapping) else None
    head = kind if isinstance(kind, str) and kind in KINDS else "entry"
    faults = [
        Fault(f"{head}.{path_text(path)}" if path else head, value, problem, line)
        for path, value, problem in found
    ]
    return None, tuple(faults)


def _read(raw: object, *, writable: bool = False) -> tuple[Body | None, list[_Found]]:
    if not isinstance(raw, Mapping):
        return None, [((), shown(raw), "not an entry; an entry is an object with a 'kind'")]
    body = _read_sound(raw)
    if body is not None:
        return body, []
    # The walk that says what is wrong is spared where nothing is.
    unwritable = [] if writable or fits(raw) else list(_unwritable(raw, ()))
    if any(len(path) >= MAX_DEPTH for path, _, _ in unwritable):
        return None, unwritable
    kind = raw.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        return None, [_unknown_kind(raw), *unwritable]
    given = dict(raw)
    found: list[_Found] = []
    if kind == "correction" and isinstance(given.get("replacement"), Mapping):
        found = _read_replacement(given)
    if "v" in given and type(given["v"]) in (bool, float):
        found.append((("v",), shown(given["v"]), "must be the whole number 1"))
    try:
        body = KINDS[kind].model_validate(given)
    except ValidationError as refused:
        found = [*put_in_words(KINDS[kind], refused), *found]
    said = {path for path, _, _ in found}
    found += [each for each in unwritable if each[0] not in said]
    return body, found


def _read_sound(raw: Mapping[str, Any]) -> Body | None:
    """The entry where nothing in it can be wrong, which its schema alone tells; else None."""
    kind, version = raw.get("kind"), raw.get("v", 1)
    if type(kind) is not str or kind in FREE or kind not in KINDS or type(version) is not int:
        return None
    try:
        return KINDS[kind].model_validate(dict(raw))
    except ValidationError:
        return None


def _read_replacement(given: dict[str, Any]) -> list[_Found]:
    """Hold a correction's replacement to its kind; put it back complete where it has no fault."""
    replacement = given["replacement"]
    if replacement.get("kind") in NEVER_REPLACEMENTS:
        problem = "cannot stand in for another entry; write an entry of the kind that is corrected"
        return [(("replacement", "kind"), shown(replacement["kind"]), problem)]
    body, found = _read(replacement)
    if body is not None and not found:
        given["replacement"] = body.as_body()
    else:
        # Its faults are said in full; what it is about cannot be told and must not be asked for as well.
        given["replacement"] = {}
    return [(("replacement", *path), value, problem) for path, value, problem in found]


def _unknown_kind(raw: Mapping[str, Any]) -> _Found:
    kind = raw.get("kind")
    if kind is None:
        return ("kind",), "", f"missing; every entry names its kind, such as {', '.join(list(KINDS)[:4])}"
    if not isinstance(kind, str):
        return ("kind",), shown(kind), "must be the name of a kind, as text"
    return ("kind",), shown(kind), f"no such kind of entry{near(kind, KINDS)}"


def _unwritable(value: object, path: Path) -> Iterator[_Found]:
    """Whatever in the value has no place in the book, wherever it stands."""
    if isinstance(value, Mapping | list | tuple):
        if len(path) >= MAX_DEPTH:
            yield path[:MAX_DEPTH], "", f"nested deeper than {MAX_DEPTH} levels; send a flatter entry"
            return
        items = value.items() if isinstance(value, Mapping) else enumerate(value)
        for key, item in items:
            if isinstance(value, Mapping) and not (isinstance(key, str) and key.isascii()):
                yield path, shown(key), "the name of a field must be ASCII text"
            else:
                yield from _unwritable(item, (*path, key))
    elif isinstance(value, float):
        text = shown(value)
        advice = f'a bare number; write "{text}" as a string' if isfinite(value) else "no number at all"
        yield path, text, advice
    elif isinstance(value, str):
        if not _is_unicode(value):
            yield path, "", "holds half of a surrogate pair, which is no character; write it again"
    elif isinstance(value, int):
        if abs(value) > MAX_INT:
            yield path, shown(value), "a number too big for the book; write it as a string"
    elif value is not None:
        yield path, shown(value), "is no JSON value"


def _is_unicode(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
