"""Canonical JSON: RFC 8785 (JSON Canonicalization Scheme), restricted to what the book may hold.

The subset: objects with ASCII keys, arrays, strings without lone surrogates, integers between -2^53 and 2^53
(both excluded), true, false and null. Floats are refused; measured values are decimal strings with a unit.
Within the subset the sorted, compact output of the standard library is RFC 8785: for ASCII keys the order of
code points (Python) and of UTF-16 code units (RFC 8785 section 3.2.3) is the same, and the escapes are those
of its section 3.2.2.2.
"""

import json
from collections import Counter
from collections.abc import Callable
from typing import Any, NamedTuple, NoReturn

from pitbird.record.errors import DuplicateKey, NotCanonical, NotJson

MAX_DEPTH = 64
MAX_INT = 2**53 - 1

_encode = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False, check_circular=False
).encode


class Codec(NamedTuple):
    """What writes and reads JSON; a caller may bring a faster one than the standard library's.

    ``encode`` is given only values inside the subset, and must give their canonical bytes. ``decode`` raises
    ValueError for what it cannot read; what it gives is used only if it lies inside the subset and encoding
    it gives the same bytes again, so that a codec which reads too much lets nothing more in.
    ``decode_fitting``, where there is one, spares the walk that looks for the latter: as ``decode``, but it
    raises ValueError also for whatever does not lie inside the subset, and may do so for what does.
    """

    encode: Callable[[Any], bytes]
    decode: Callable[[str], Any]
    decode_fitting: Callable[[str], Any] | None = None


STANDARD = Codec(lambda value: _encode(value).encode("utf-8"), json.loads)
"""The standard library's JSON."""


class _Duplicated:
    """Stands where the text has an object that names a key twice."""

    __slots__ = ("key",)

    def __init__(self, key: str) -> None:
        self.key = key


class _Number:
    """Stands where the text has a number that the subset refuses."""

    __slots__ = ("text",)

    def __init__(self, text: str) -> None:
        self.text = text


def canonical(value: object, codec: Codec = STANDARD) -> bytes:
    """Return the one byte form of ``value`` (RFC 8785, UTF-8).

    Only the exact types dict, list, str, int, bool and None are taken; a subclass, tuple or float is refused.
    Raises NotCanonical naming the JSON path.
    """
    if not _fits(value, 0):
        _explain(value, "$", 0)
    return codec.encode(value)


def fits(value: object) -> bool:
    """Tell whether ``canonical`` takes a value."""
    return _fits(value, 0)


def parse(data: bytes | bytearray | memoryview | str) -> Any:
    """Read one JSON text strictly.

    Refused: invalid UTF-8 or JSON (NotJson), a key named twice in one object (DuplicateKey), floats, NaN,
    integers of 2^53 and beyond, keys outside ASCII, lone surrogates, nesting deeper than MAX_DEPTH
    (NotCanonical). Order of keys and white space are free; see ``parse_canonical``.
    """
    text = data if type(data) is str else _decode(data)
    try:
        value = json.loads(
            text, object_pairs_hook=_object, parse_float=_Number, parse_int=_integer, parse_constant=_Number
        )
    except json.JSONDecodeError as error:
        raise NotJson(
            f"not JSON: {error.msg}",
            where=f"line {error.lineno}, column {error.colno}",
            remedy="Send one complete JSON value.",
        ) from None
    except RecursionError:
        _too_deep("$")
    if not _fits(value, 0):
        _explain(value, "$", 0)
    return value


def parse_canonical(data: bytes | bytearray | memoryview | str, codec: Codec = STANDARD) -> Any:
    """Read one JSON text and require that it is already in canonical form, byte for byte."""
    text = data if type(data) is str else _decode(data)
    # A key named twice, or a number in another spelling, does not come back as the same bytes.
    if codec.decode_fitting is not None:
        try:
            value = codec.decode_fitting(text)
            if codec.encode(value) == text.encode("utf-8"):
                return value
        except ValueError:
            pass
    try:
        value = codec.decode(text)
        if _fits(value, 0) and codec.encode(value) == text.encode("utf-8"):
            return value
    except (ValueError, RecursionError):
        pass
    # Something is wrong with it: read it again, slowly, to say what.
    value = parse(text)
    given, wanted = text.encode("utf-8"), canonical(value)
    if given != wanted:
        at = next(
            (i for i, (a, b) in enumerate(zip(given, wanted, strict=False)) if a != b),
            min(len(given), len(wanted)),
        )
        raise NotCanonical(
            "the text is not in canonical form",
            where=f"byte {at}",
            remedy="Keys sorted, no white space, the shortest escapes (RFC 8785); write it with canonical().",
        )
    return value


def _decode(data: object) -> str:
    if not isinstance(data, bytes | bytearray | memoryview):
        raise NotJson(f"not JSON text but {type(data).__name__}", where="$", remedy="Give bytes or a string.")
    try:
        return str(data, "utf-8")
    except UnicodeDecodeError as error:
        raise NotJson(
            "not valid UTF-8", where=f"byte {error.start}", remedy="Save the text in UTF-8 and send it again."
        ) from None


def _object(pairs: list[tuple[str, object]]) -> object:
    made = dict(pairs)
    if len(made) == len(pairs):
        return made
    return _Duplicated(Counter(key for key, _ in pairs).most_common(1)[0][0])


def _integer(text: str) -> object:
    # Long digit strings are never converted: int() takes quadratic time for them.
    if len(text) > 17:
        return _Number(text)
    number = int(text)
    return number if -MAX_INT <= number <= MAX_INT else _Number(text)


def _fits(value: object, depth: int) -> bool:
    """Tell quickly whether ``value`` lies inside the subset; ``_explain`` says why not."""
    kind = type(value)
    if kind is str:
        return _encodable(value)  # type: ignore[arg-type]
    if kind is int:
        return -MAX_INT <= value <= MAX_INT  # type: ignore[operator]
    if kind is bool or value is None:
        return True
    if depth >= MAX_DEPTH:
        return False
    if kind is dict:
        for key, item in value.items():  # type: ignore[attr-defined]
            if type(key) is not str or not key.isascii():
                return False
            # Most values are ASCII text; the call is spared for them.
            if (type(item) is not str or not item.isascii()) and not _fits(item, depth + 1):
                return False
        return True
    if kind is list:
        for item in value:  # type: ignore[attr-defined]  # noqa: SIM110 (a generator takes longer)
            if not _fits(item, depth + 1):
                return False
        return True
    return False


def _encodable(text: str) -> bool:
    if text.isascii():
        return True
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _explain(value: object, path: str, depth: int) -> None:
    """Raise the error for the first fault in ``value``; return only if there is none below ``path``."""
    if isinstance(value, _Duplicated):
        raise DuplicateKey(value.key, where=path)
    if isinstance(value, _Number):
        _refuse_number(value.text, path)
    kind = type(value)
    if kind is dict or kind is list:
        if depth >= MAX_DEPTH:
            _too_deep(path)
        _explain_items(value, path, depth)
    elif kind is str:
        if not _encodable(value):  # type: ignore[arg-type]
            raise NotCanonical(
                "the string holds a lone surrogate, which has no UTF-8 form",
                where=path,
                remedy="Send well-formed Unicode text.",
            )
    elif kind is int:
        if not -MAX_INT <= value <= MAX_INT:  # type: ignore[operator]
            _refuse_number("a number of 2^53 or more", path)
    elif kind is float:
        _refuse_number(repr(value), path)
    elif kind is not bool and value is not None:
        raise NotCanonical(
            f"the type {kind.__name__} has no canonical form",
            where=path,
            remedy="Use dict, list, str, int, bool or None themselves, no subclass.",
        )


def _explain_items(value: Any, path: str, depth: int) -> None:
    if type(value) is list:
        for index, item in enumerate(value):
            _explain(item, f"{path}[{index}]", depth + 1)
        return
    for key, item in value.items():
        if type(key) is not str or not key.isascii():
            raise NotCanonical(
                f"the key {key!a} is not an ASCII string",
                where=path,
                remedy="Name keys in ASCII letters.",
            )
        _explain(item, f"{path}.{key}", depth + 1)


def _refuse_number(text: str, path: str) -> NoReturn:
    shown = text if len(text) <= 40 else f"{text[:40]}..."
    raise NotCanonical(
        f"the number {shown} is not a whole number below 2^53",
        where=path,
        remedy='Write measured values as decimal strings, for example "20.9".',
    )


def _too_deep(path: str) -> NoReturn:
    shown = path if len(path) <= 80 else f"{path[:80]}..."
    raise NotCanonical(f"nested deeper than {MAX_DEPTH} levels", where=shown, remedy="Send a flatter value.")
