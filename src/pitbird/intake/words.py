"""pydantic's errors in plain words: what is wrong with a field, and what to write instead."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from pydantic import BaseModel, ValidationError

from pitbird.fleet.kinds import base
from pitbird.intake.faults import listed, shown

Path = tuple[str | int, ...]

DECIMAL_FORM: Final = 'write digits with a point, such as "20.9": no unit, no exponent, at most six decimals'
INSTANT_FORM: Final = "write UTC as YYYY-MM-DDTHH:MM:SS.mmmZ, such as 2026-03-02T06:41:00.000Z"
DAY_FORM: Final = "write it as YYYY-MM-DD"

_FORMS: Final = {
    base.INSTANT: f"not a time; {INSTANT_FORM}",
    base.DECIMAL: f"not a decimal; {DECIMAL_FORM}",
    base.UUID7: "not an entry's id; write a UUID of version 7 in lower case, "
    "such as 0195a000-0000-7000-8000-000000000001",
    base.ROOT: "must be the root of a tree: 64 hexadecimal digits in lower case",
    base.PUBLIC_KEY: "must be a public key in base64url without padding: 43 characters of Ed25519, 87 of "
    "ES256",
    base.SEALED: "must be the commitment to a text kept apart: sha256: and 64 hexadecimal digits",
    base.SUBJECT: "not a reference to a thing; write its sort, a colon and its code, such as detector:D-017",
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$": f"not a date; {DAY_FORM}",
    r"^([01][0-9]|2[0-3]):[0-5][0-9]$": "not a time of day; write it as HH:MM, from 00:00 to 23:59",
    r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,31}$": "not the name of a channel; write up to 32 letters, digits, "
    "spaces, points, dashes or underscores, a letter or digit first",
    r"^[A-Za-z0-9][A-Za-z0-9-]{0,31}$": "not the number of a slip; write up to 32 letters, digits or dashes",
    r"^[a-z][a-z0-9-]{0,23}$": "not the name of an alarm; write up to 24 small letters, digits or dashes, "
    "a letter first",
}
_EXAMPLES: Final = {
    "detector": "D-017", "sensor": "S-5521", "cylinder": "C-112", "regulator": "R-03",
    "person": "P-07", "site": "north-works", "rules": "strict", "book": "main", "device": "PH-01",
}  # fmt: skip
_SPOKEN_UNITS: Final = {
    "%lel": "pct_lfl", "%lfl": "pct_lfl", "lel": "pct_lfl", "lfl": "pct_lfl",
    "%vol": "vol_pct", "vol%": "vol_pct", "%": "vol_pct", "%v/v": "vol_pct", "umol/mol": "ppm", "ppmv": "ppm",
}  # fmt: skip
_BOOK_INSTANT = re.compile(base.INSTANT)
_BOOK_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def path_text(path: Path) -> str:
    """``("applications", 0, "gas_on")`` as ``applications[0].gas_on``."""
    text = ""
    for step in path:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def near(word: str, words: Iterable[str]) -> str:
    """``; did you mean a or b?`` for names that are near, "" where none is."""
    folded = {each.lower().replace("_", "-"): each for each in words}
    close = difflib.get_close_matches(word.lower().replace("_", "-").strip(), folded, n=3, cutoff=0.6)
    return f"; did you mean {listed(folded[each] for each in close)}?" if close else ""


def put_in_words(kind: type[BaseModel], refused: ValidationError) -> Iterator[tuple[Path, str, str]]:
    """Every error as path, value as shown, and problem."""
    for error in refused.errors(include_url=False):
        path: Path = error["loc"]
        value = error["input"]
        sort = error["type"]
        context: dict[str, Any] = error.get("ctx") or {}
        if sort == "too_short" and len(value) >= context["min_length"]:
            continue  # pydantic counts the items that were right; their own faults are said.
        if sort == "missing":
            yield path, "", "missing; it must be given"
        elif sort == "extra_forbidden":
            yield path, shown(value), f"no such field{near(str(path[-1]), _fields_at(kind, path[:-1]))}"
        elif sort == "string_pattern_mismatch" and context["pattern"] == base.SEALED:
            yield path, "", _FORMS[base.SEALED]  # The text itself may be a name: it is not repeated.
        elif sort == "value_error" and isinstance(value, Mapping | BaseModel):
            yield path, "", str(context["error"])
        else:
            yield path, shown(value), _problem(sort, path, value, context, error["msg"])


def _problem(sort: str, path: Path, value: object, context: Mapping[str, Any], message: str) -> str:
    match sort:
        case "literal_error":
            return _not_one_of(path, value, re.findall(r"'([^']*)'|(\d+)", str(context["expected"])))
        case "string_type":
            return _not_text(value)
        case "string_pattern_mismatch":
            return _not_of_the_form(str(context["pattern"]), value)
        case "string_too_short":
            return "must not be empty"
        case "string_too_long":
            return f"too long; at most {context['max_length']} signs"
        case "string_unicode":
            return "holds half of a surrogate pair, which is no character; write it again"
        case "too_short":
            return f"too few; at least {context['min_length']}"
        case "too_long":
            return f"too many; at most {context['max_length']}"
        case "tuple_type":
            return "must be a list: [ … ]"
        case "model_type" | "dict_type":
            return "must be an object with named fields: { … }"
        case "bool_type":
            return "must be true or false"
        case "value_error":
            return _no_such_value(value, str(context["error"]))
        case _:
            return message


def _not_one_of(path: Path, value: object, expected: list[tuple[str, str]]) -> str:
    allowed = [word or number for word, number in expected]
    if value is None:
        return f"must not be null; leave it out, or write {listed(allowed)}"
    hint = ""
    if isinstance(value, str):
        spoken = _SPOKEN_UNITS.get(value.lower().replace(" ", "").replace(".", "").replace("µ", "u"))
        hint = f"; did you mean {spoken}?" if spoken in allowed else near(value, allowed)
    what = "not a unit that is known here" if path[-1] == "unit" else "not one of the words allowed"
    return f"{what}; write {listed(allowed)}{hint}"


def _not_text(value: object) -> str:
    if value is None:
        return "must not be null; leave the field out if there is nothing to say"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f'a bare number; write "{shown(value)}" as a string'
    return "must be text"


def _not_of_the_form(pattern: str, value: object) -> str:
    if pattern == base.DECIMAL and isinstance(value, str) and re.fullmatch(r"-?[0-9]{1,9},[0-9]{1,6}", value):
        return f'not a decimal; write "{value.replace(",", ".")}" with a point'
    if pattern in _FORMS:
        return _FORMS[pattern]
    reference = re.match(r"\^([a-z]+):", pattern)
    if reference:
        sort = reference[1]
        example = f"{sort}:{_EXAMPLES.get(sort, '1')}"
        if isinstance(value, str) and value.startswith(f"{sort}:"):
            return (
                "not a code; write up to 64 letters, digits, points, dashes or underscores, a letter or "
                f"digit first, such as {example}"
            )
        return f"not a reference to a {sort}; write {sort}: and its code, such as {example}"
    return "not of the form that is wanted here"


def _no_such_value(value: object, message: str) -> str:
    if isinstance(value, str) and _BOOK_INSTANT.fullmatch(value):
        return f"no such time ({message}); {INSTANT_FORM}"
    if isinstance(value, str) and _BOOK_DAY.fullmatch(value):
        return f"not a date; {DAY_FORM}"
    if "time zone" in message:
        return "not a time zone; use an IANA name such as Europe/Lisbon"
    return message


def _fields_at(kind: type[BaseModel], path: Path) -> list[str]:
    """The names of the fields of the part of a kind that lies at a path."""
    schema = kind.model_json_schema()
    parts = schema.get("$defs", {})
    here: Mapping[str, Any] = schema
    for step in path:
        here = here.get("items", {}) if isinstance(step, int) else here.get("properties", {}).get(step, {})
        here = parts.get(here["$ref"].rpartition("/")[2], {}) if "$ref" in here else here
    return list(here.get("properties", {}))
