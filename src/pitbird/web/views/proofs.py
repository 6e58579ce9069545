"""Proofs on pages: of an entry that it stands in the book, of a detector that its record is complete; the
leaf of an entry byte for byte."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from pitbird.services import clock, proving
from pitbird.services.proofs import NoCheckpoint, NoProof
from pitbird.store import book
from pitbird.web.entries import tell_all
from pitbird.web.names import Names
from pitbird.web.views.asked import zone_here

#: So many of the newest entries are listed; the file has all of them.
LISTED: Final = 200


def proof_of(index: int) -> dict[str, Any]:
    """For a page of an entry: the way to the root of the newest checkpoint, or why there is none."""
    try:
        return {"proof": proving.entry_proof(index, Path(settings.CONFIG.home))}
    except NoProof as fault:
        return {"proof": None, "no_proof": _why(fault)}


def _why(fault: NoProof) -> str:
    """Why there is no proof, for a page: it leads to where a checkpoint is made, no command does."""
    if isinstance(fault, NoCheckpoint):
        return _("there is no checkpoint yet; the first one covers every entry that stands in the book then")
    return fault.what


@require_safe
def leaf(request: HttpRequest, index: int) -> HttpResponse:
    """The leaf of an entry as it was hashed."""
    row = book.at_index(index) if index < 2**62 else None
    if row is None:
        raise Http404(str(index))
    response = HttpResponse(row.leaf.encode(), content_type="application/json")
    response["Content-Disposition"] = f'attachment; filename="leaf-{index}.json"'
    response["Cache-Control"] = "no-store"
    return response


@require_safe
def complete(request: HttpRequest, code: str) -> HttpResponse:
    """Whether every entry about a detector up to the newest checkpoint is here, and what shows it."""
    subject = f"detector:{code}"
    if not book.count_about(subject)[0]:
        raise Http404(subject)
    context: dict[str, Any] = {
        "here": "detectors", "code": code, "subject": subject, "zone": zone_here(request), "now": clock.now(),
    }  # fmt: skip
    try:
        found = proving.subject_proof(subject, Path(settings.CONFIG.home))
    except NoProof as fault:
        context |= {"complete": None, "no_proof": _why(fault)}
    else:
        rows = book.newest(LISTED, before=found.complete.size, subject=subject)
        hashes = {row.index: row.leaf_hash.hex() for row in rows}
        told = tell_all(rows, Names([]))
        context |= {
            "complete": found.complete,
            "root": found.complete.root.hex(),
            "later": found.later,
            "listed": [
                (found.complete.count - place, each, hashes[each.index]) for place, each in enumerate(told)
            ],
        }
    response = render(request, "pitbird/complete.html", context)
    response["Cache-Control"] = "no-store"
    return response
