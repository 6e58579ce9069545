"""The leaf: the bytes of one entry that are hashed into the book.

A leaf is the canonical JSON of {"body": ..., "nth": {subject: n}, "recorded_at": time[, "signature": ...]}.
``nth`` is the running number of the entry for each subject it is about; without a gap, nothing was left out.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any

from pitbird.record.canonical import MAX_INT, STANDARD, Codec, canonical, parse_canonical
from pitbird.record.errors import BadLeaf, BadSignature, BadTime
from pitbird.record.merkle import leaf_hash
from pitbird.record.signature import read_signature, verify_signature

TIME = re.compile(r"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d)\.(\d{3})Z", re.ASCII)
"""UTC to the millisecond, one of the forms of RFC 3339; use ``fullmatch``."""
SUBJECT = re.compile(r"[a-z]+:[A-Za-z0-9._-]+", re.ASCII)
"""What an entry is about: a kind of thing, a colon, its name in the book; use ``fullmatch``."""
KIND = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*", re.ASCII)
"""The kind of an entry, in kebab-case; use ``fullmatch``."""
ENTRY_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", re.ASCII)
"""A UUID of version 7 (RFC 9562 section 5.7) in lower case; use ``fullmatch``."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """One entry as it stands in the book. Two leaves are equal when their bytes are.

    ``raw`` is what counts; the other fields are read from it and are not to be changed.
    """

    body: dict[str, Any] = field(compare=False)
    recorded_at: str = field(compare=False)
    nth: dict[str, int] = field(compare=False)
    signature: dict[str, str] | None = field(compare=False)
    raw: bytes
    hash: bytes = field(compare=False)


def make_leaf(
    body: Mapping[str, Any],
    *,
    recorded_at: str,
    nth: Mapping[str, int],
    signature: Mapping[str, str] | None = None,
    codec: Codec = STANDARD,
    fitting: bool = False,
) -> Leaf:
    """Make the leaf of a new entry.

    ``fitting`` says that the caller knows the body to lie inside the subset of ``canonical``, and that nobody
    else holds it: then it is not looked at for that.

    ``signature``, where given, must verify over the body: a signature that nobody can check has no place in a
    book that cannot be changed. Raises NotCanonical, BadLeaf (all faults at once) or BadSignature.
    """
    value: dict[str, Any] = {"body": dict(body), "nth": dict(nth), "recorded_at": recorded_at}
    if signature is not None:
        value["signature"] = dict(signature)
    leaf = _leaf(value, codec.encode(value)) if fitting else _made_quickly(value, codec)
    if leaf is None:
        raw = canonical(value, codec)
        leaf = _leaf(codec.decode(raw.decode("utf-8")), raw)
    if leaf.signature is not None:
        verify_signature(leaf.body, leaf.signature)
    return leaf


def _made_quickly(value: dict[str, Any], codec: Codec) -> Leaf | None:
    """The leaf of a value that equals what a codec's fitting decoder reads back from it; else None."""
    if codec.decode_fitting is None:
        return None
    try:
        raw = codec.encode(value)
        back = codec.decode_fitting(raw.decode("utf-8"))
    except (ValueError, TypeError, OverflowError, RecursionError):
        return None
    return _leaf(back, raw) if back == value else None


def read_leaf(raw: bytes, codec: Codec = STANDARD) -> Leaf:
    """Read a leaf from its bytes; only the canonical form is taken.

    The shape of a signature is checked, not the signature: see ``signature.verify_signature``.
    Raises NotCanonical, DuplicateKey or BadLeaf.
    """
    return _leaf(parse_canonical(raw, codec), bytes(raw))


def leaf_of(value: Any, codec: Codec = STANDARD, *, raw: bytes | None = None) -> Leaf:
    """Read a leaf from its value, as ``parse_canonical`` gave it alone or as part of a line.

    ``raw`` are the bytes of that part where the caller has them. As ``read_leaf``; raises BadLeaf.
    """
    return _leaf(value, codec.encode(value) if raw is None else raw)


def format_time(moment: datetime) -> str:
    """Write a time as UTC to the millisecond, cut off, never rounded up. Raises BadTime without a zone."""
    if moment.utcoffset() is None:
        raise BadTime(
            f"the time {moment.isoformat()} has no zone",
            where="time",
            remedy="Say which zone, for example UTC.",
        )
    try:
        utc = moment.astimezone(UTC)
    except OverflowError:
        raise BadTime(
            f"the time {moment.isoformat()} has no UTC form", where="time", remedy="Check the year."
        ) from None
    return f"{utc.replace(tzinfo=None, microsecond=0).isoformat()}.{utc.microsecond // 1000:03d}Z"


def parse_time(text: str) -> datetime:
    """Read a time of the form YYYY-MM-DDTHH:MM:SS.mmmZ that exists in the calendar. Raises BadTime."""
    match = TIME.fullmatch(text) if type(text) is str else None
    if match is None:
        raise BadTime(f"{_shown(text)} is not a time", where="time", remedy=_TIME_FORM)
    year, month, day, hour, minute, second, milli = map(int, match.groups())
    try:
        return datetime(year, month, day, hour, minute, second, milli * 1000, tzinfo=UTC)
    except ValueError as error:
        raise BadTime(f"{_shown(text)} does not exist: {error}", where="time", remedy=_TIME_FORM) from None


_TIME_FORM = "Write UTC as YYYY-MM-DDTHH:MM:SS.mmmZ."


def _leaf(value: Any, raw: bytes) -> Leaf:
    if not _is_sound(value):
        faults = list(_faults(value))
        if faults:
            raise BadLeaf(faults)
    return Leaf(
        body=value["body"],
        recorded_at=value["recorded_at"],
        nth=value["nth"],
        signature=value.get("signature"),
        raw=raw,
        hash=leaf_hash(raw),
    )


def _is_sound(value: Any) -> bool:
    """Whether ``_faults`` surely finds nothing; False of a leaf with a signature. It is met by millions."""
    if type(value) is not dict or len(value) != 3:
        return False
    body, nth = value.get("body"), value.get("nth")
    if type(body) is not dict or type(nth) is not dict or not _is_time(value.get("recorded_at")):
        return False
    about, kind, name = body.get("about"), body.get("kind"), body.get("id")
    if type(about) is not list or not about or len(nth) != len(about):
        return False
    for subject in about:
        number = nth.get(subject) if type(subject) is str and _is_subject(subject) else None
        if type(number) is not int or not 1 <= number <= MAX_INT:
            return False
    return (
        len(nth) == len(set(about))
        and type(kind) is str
        and _is_kind(kind)
        and _is_count(body.get("v"))
        and type(name) is str
        and ENTRY_ID.fullmatch(name) is not None
        and _is_time(body.get("at"))
    )


@lru_cache(maxsize=65536)
def _is_subject(text: str) -> bool:
    return SUBJECT.fullmatch(text) is not None


@lru_cache(maxsize=256)
def _is_kind(text: str) -> bool:
    return KIND.fullmatch(text) is not None


def _faults(value: Any) -> Iterator[str]:
    if type(value) is not dict:
        yield "$ is not an object"
        return
    for key in ("body", "nth", "recorded_at"):
        if key not in value:
            yield f"$.{key} is missing"
    if len(value) > 3:
        for key in sorted(value.keys() - {"body", "nth", "recorded_at", "signature"}):
            yield f"$.{_key(key)} does not belong in a leaf"
    if "recorded_at" in value and not _is_time(value["recorded_at"]):
        yield f"$.recorded_at is {_shown(value['recorded_at'])}, not a UTC time YYYY-MM-DDTHH:MM:SS.mmmZ"
    if "signature" in value:
        try:
            read_signature(value["signature"])
        except BadSignature as error:
            yield f"$.{error.where}: {error.what}"
    if "body" in value:
        yield from _body_faults(value["body"])
    if "nth" in value:
        yield from _nth_faults(value["nth"], value.get("body"))


def _body_faults(body: Any) -> Iterator[str]:
    if type(body) is not dict:
        yield "$.body is not an object"
        return
    for key, (good, wanted) in _BODY.items():
        if key not in body:
            yield f"$.body.{key} is missing"
        elif not good(body[key]):
            yield f"$.body.{key} is {_shown(body[key])}, not {wanted}"


def _nth_faults(nth: Any, body: Any) -> Iterator[str]:
    if type(nth) is not dict:
        yield "$.nth is not an object"
        return
    for subject, number in nth.items():
        if not _is_count(number):
            yield f"$.nth.{_key(subject)} is {_shown(number)}, not a running number from 1"
    about: Any = body.get("about") if type(body) is dict else None
    if _is_about(about) and nth.keys() != set(about):
        for subject in about:
            if subject not in nth:
                yield f"$.nth has no number for {subject}"
        for subject in nth:
            if subject not in about:
                yield f"$.nth numbers {_shown(subject)}, which $.body.about does not name"


_CLOCK = re.compile(r"\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}Z", re.ASCII)


def _is_time(value: Any) -> bool:
    """As ``parse_time``, without making the time."""
    return type(value) is str and _CLOCK.fullmatch(value) is not None and _is_day(value[:10])


@lru_cache(maxsize=4096)
def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _is_count(value: Any) -> bool:
    return type(value) is int and 1 <= value <= MAX_INT


def _is_about(value: Any) -> bool:
    if type(value) is not list or not value:
        return False
    for item in value:
        if type(item) is not str or SUBJECT.fullmatch(item) is None:
            return False
    return len(set(value)) == len(value)


def _matches(pattern: re.Pattern[str]) -> Callable[[Any], bool]:
    return lambda value: type(value) is str and pattern.fullmatch(value) is not None


_BODY: dict[str, tuple[Callable[[Any], bool], str]] = {
    "kind": (_matches(KIND), "a kind in lower case with hyphens"),
    "v": (_is_count, "a schema version from 1"),
    "id": (_matches(ENTRY_ID), "a UUID of version 7 in lower case"),
    "at": (_is_time, "a UTC time YYYY-MM-DDTHH:MM:SS.mmmZ"),
    "about": (_is_about, "a list of distinct subjects such as detector:d-07"),
}


def _shown(value: object) -> str:
    text = ascii(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


def _key(key: str) -> str:
    return _shown(key)[1:-1] if len(key) <= 60 else f"{ascii(key[:60])[1:-1]}..."
