"""Entries of one kind as they count: corrected ones in place of their originals, voided ones left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pitbird.fleet.times import Ms, ms_of
from pitbird.services.quick import QUICK
from pitbird.store import book


def counted(kind: str, *, since: Ms | None = None, until: Ms | None = None) -> Iterator[Mapping[str, Any]]:
    """The bodies of a kind that happened in ``[since, until)``, by their own time or by a correction's."""
    corrections: dict[str, Mapping[str, Any]] = {}
    for row in book.of_kind("correction"):
        body = QUICK.decode(row.leaf)["body"]
        corrections[body["corrects"]] = body
    seen = set()
    for row in book.of_kind(kind, since=since, until=until):
        seen.add(row.entry_id)
        body = QUICK.decode(row.leaf)["body"]
        correction = corrections.get(row.entry_id)
        said = body if correction is None else correction.get("replacement")
        if said is not None and _within(said, since, until):
            yield said
    for corrected, correction in corrections.items():
        replacement = correction.get("replacement")
        if replacement is None or replacement["kind"] != kind or corrected in seen:
            continue
        if _within(replacement, since, until):
            yield replacement


def _within(body: Mapping[str, Any], since: Ms | None, until: Ms | None) -> bool:
    at = ms_of(body["at"])
    return (since is None or since <= at) and (until is None or at < until)
