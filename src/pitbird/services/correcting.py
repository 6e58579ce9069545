"""What a correction must be about: everything that the corrected entry ever touched.

A correction that moves an entry makes another subject hear of it. If a later correction of the same entry
did not tell that subject too, its state would go on believing the earlier one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from pitbird.services.quick import QUICK
from pitbird.store import book

#: What no correction may name; what it said is corrected at the entry that it names.
NEVER_CORRECTED: Final = frozenset(
    {"correction", "genesis", "erasure", "key-changed", "audit-opened", "audit-closed"}
    | {"device", "device-ended"}
)


class CorrectionRefused(ValueError):
    """A correction that the book does not take; ``field`` is where it is at fault."""

    field = "correction.corrects"


class CorrectsNothing(CorrectionRefused):
    """A correction of an entry that does not stand before it in the book, or that is never corrected."""

    def __init__(self, entry_id: str, kind: str | None) -> None:
        what = (
            "no entry of this book before it has that id; a correction stands behind what it corrects"
            if kind is None
            else f"a {kind} cannot be corrected; correct the entry that it names anew instead"
        )
        super().__init__(f"the correction of {entry_id} is not taken: {what}")


class CorrectionIncomplete(CorrectionRefused):
    """A correction that leaves out something that the corrected entry touched."""

    field = "correction.of_about"

    def __init__(self, entry_id: str, missing: tuple[str, ...]) -> None:
        super().__init__(
            f"the correction of {entry_id} must also be about {', '.join(missing)}, which the entry or an "
            "earlier correction of it touched; leave 'of_about' out and it is filled in"
        )
        self.missing = missing


def touched_by(entry_id: str) -> tuple[str, ...]:
    """Everything that an entry and all corrections of it so far are about, the entry's own first.

    Empty if the book has no such entry.
    """
    row = book.by_id(entry_id)
    if row is None:
        return ()
    original = QUICK.decode(row.leaf)["body"]
    touched = dict.fromkeys(original["about"])
    for other in sorted(book.corrections_about(original["about"][0]), key=lambda found: found.index):
        body = QUICK.decode(other.leaf)["body"]
        if body["corrects"] == entry_id:
            touched.update(dict.fromkeys(body["about"]))
    return tuple(touched)


def require_complete(body: Mapping[str, Any]) -> None:
    """Refuse a correction that does not tell everything its original touched, or has no original.

    Raises CorrectionIncomplete or CorrectsNothing.
    """
    row = book.by_id(body["corrects"])
    if row is None or row.kind in NEVER_CORRECTED:
        raise CorrectsNothing(body["corrects"], row.kind if row else None)
    missing = tuple(subject for subject in touched_by(body["corrects"]) if subject not in body["about"])
    if missing:
        raise CorrectionIncomplete(body["corrects"], missing)


def completed(draft: Mapping[str, Any]) -> dict[str, Any]:
    """A draft of a correction with ``of_about`` filled in where it says too little; others as they are.

    What does not belong there is left, to be found at fault.
    """
    filled = dict(draft)
    if filled.get("kind") == "correction" and isinstance(filled.get("corrects"), str):
        touched, given = touched_by(filled["corrects"]), filled.get("of_about", [])
        if isinstance(given, list) and all(subject in touched for subject in given):
            filled["of_about"] = list(touched)
    return filled


def is_corrected(entry_id: str) -> bool:
    """Whether any correction names an entry."""
    return bool(corrections_of(entry_id))


def corrections_of(entry_id: str) -> tuple[tuple[book.Row, dict[str, Any]], ...]:
    """Every correction that names an entry, with its body, in the book's order: the last one counts."""
    row = book.by_id(entry_id)
    if row is None:
        return ()
    about = QUICK.decode(row.leaf)["body"]["about"]
    found = [(other, QUICK.decode(other.leaf)["body"]) for other in book.corrections_about(about[0])]
    mine = [(other, body) for other, body in found if body["corrects"] == entry_id]
    return tuple(sorted(mine, key=lambda pair: pair[0].index))


def what_counts(row: book.Row) -> dict[str, Any] | None:
    """What an entry says as it counts now: itself, or what the last correction put in its place; None where
    that voids it."""
    made = corrections_of(row.entry_id)
    if not made:
        body: dict[str, Any] = QUICK.decode(row.leaf)["body"]
        return body
    replacement: dict[str, Any] | None = made[-1][1].get("replacement")
    return replacement
