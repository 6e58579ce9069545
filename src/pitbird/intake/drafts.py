"""Drafts: entries as a person or a page writes them, and what makes them whole.

A draft has the kind's own fields; plain text may stand where the entry holds a commitment (``SEALED``
fields), times may be written with any offset, and ``v``, ``id``, ``at``, ``zone``, ``by`` and ``where`` may
be left out.
The way of a draft: ``complete``, ``with_book_times``, ``take_texts``; the texts are sealed elsewhere;
``put_commitments``; then ``entries.read_body``.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.kinds.base import INSTANT, SEALED
from pitbird.fleet.times import ms_from, text_of
from pitbird.intake.faults import Fault, shown
from pitbird.intake.words import path_text

#: The fields, of whatever kind, that hold an instant.
INSTANTS: Final = frozenset({
    "at", "due_back", "until", "since", "effective", "gas_on", "gas_off", "looked_from", "looked_to",
    "contact",
})  # fmt: skip

#: Where an ``at`` is a time; an alarm's ``at`` is its set-point.
_ENTRIES: Final = ((), ("replacement",))
_COMMITMENT = re.compile(SEALED)
_BOOK_INSTANT = re.compile(INSTANT)


def complete(
    draft: Mapping[str, Any], *, new_id: str, at: str, zone: str, by: str, where: str | None
) -> dict[str, Any]:
    """The draft with whatever it left out (absent or null) filled in; what it says itself stays."""
    filled = copy.deepcopy(dict(draft))
    for field, value in (
        ("v", 1), ("id", new_id), ("at", at), ("zone", zone), ("by", by), ("where", where),
    ):  # fmt: skip
        if filled.get(field) is None:
            filled.pop(field, None)
            if value is not None:
                filled[field] = value
    return filled


def with_book_times(
    draft: Mapping[str, Any], *, line: int | None = None
) -> tuple[dict[str, Any], tuple[Fault, ...]]:
    """The draft with its times in the book's form: UTC, milliseconds (further digits are cut off), ``Z``.

    Times may be written in ISO 8601 with an offset or ``Z``. One without is a fault: its zone would be a
    guess. Times at fault are left as they are.
    """
    tidy = copy.deepcopy(dict(draft))
    faults: list[Fault] = []
    for holder, field, path in _instants(tidy, ()):
        text = holder[field]
        try:
            holder[field] = book_time(text)
        except ValueError as refused:
            head = tidy["kind"] if tidy.get("kind") in KINDS else "entry"
            faults.append(Fault(f"{head}.{path_text(path)}", shown(text), str(refused), line))
    return tidy, tuple(faults)


def book_time(text: str) -> str:
    """A time in ISO 8601 with offset or ``Z`` in the book's form; ValueError says what is wrong with it."""
    if _BOOK_INSTANT.fullmatch(text):
        return text
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError("not a time; write date, time and offset, such as 2026-03-02T06:41+00:00") from None
    if moment.tzinfo is None:
        raise ValueError(
            "a time without its zone; add Z for UTC, or the offset of the clock it was read from, "
            "such as +01:00"
        )
    if not 1970 <= moment.year <= 9998:
        raise ValueError("no year in which a detector was tested")
    return text_of(ms_from(moment))


def _instants(value: Any, path: tuple[str | int, ...]) -> Iterator[tuple[Any, str, tuple[str | int, ...]]]:
    if isinstance(value, dict):
        for key, item in value.items():
            if key in INSTANTS and isinstance(item, str) and (key != "at" or path in _ENTRIES):
                yield value, key, (*path, key)
            elif key not in {"document", "alarms"}:  # an alarm's "at" is a set-point
                yield from _instants(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _instants(item, (*path, index))


def take_texts(draft: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """Take the plain texts out of the draft's SEALED fields: the draft without them, and the texts by path.

    A correction's replacement is looked into as well (``replacement.note``). Commitments (``sha256:…``) stay
    where they are; a blank text counts as none. What is no text stays, to be found at fault.
    """
    rest = copy.deepcopy(dict(draft))
    texts = _take(rest, "")
    replacement = rest.get("replacement")
    if rest.get("kind") == "correction" and isinstance(replacement, dict):
        texts |= _take(replacement, "replacement.")
    return rest, texts


def _take(rest: dict[str, Any], prefix: str) -> dict[str, str]:
    kind = rest.get("kind")
    texts: dict[str, str] = {}
    for field in KINDS[kind].SEALED if isinstance(kind, str) and kind in KINDS else ():
        text = rest.get(field)
        if isinstance(text, str) and not _COMMITMENT.fullmatch(text):
            del rest[field]
            if text.strip():
                texts[prefix + field] = text
    return texts


def put_commitments(draft: Mapping[str, Any], commitments: Mapping[str, str]) -> dict[str, Any]:
    """The draft with a commitment at each path that ``take_texts`` named."""
    whole = dict(draft)
    for path, commitment in commitments.items():
        holder, _, field = path.rpartition(".")
        if holder:
            whole[holder] = {**whole[holder], field: commitment}
        else:
            whole[field] = commitment
    return whole
