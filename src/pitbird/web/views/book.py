"""The book: its newest entries, one entry whole, and the export."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from pitbird.fleet.folding.lives import found_within
from pitbird.record.leaf import read_leaf
from pitbird.services import clock
from pitbird.services.moving import BookEmpty, export_book
from pitbird.store import book as store
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.entries import body_of, tell_all, worked_out
from pitbird.web.facts import facts
from pitbird.web.names import Names, address
from pitbird.web.views.asked import zone_here
from pitbird.web.views.gas import today
from pitbird.web.views.proofs import proof_of
from pitbird.web.views.replacing import has_own_form
from pitbird.web.views.slips import may_take_back
from pitbird.web.who import NoPerson, login_of, may_write, roles_of

PAGE: Final = 50
KINDS_CORRECTED_ELSEWHERE: Final = frozenset({"genesis", "correction", "erasure", "key-changed"})


@require_safe
def book(request: HttpRequest) -> HttpResponse:
    """The newest entries, a page of them."""
    text = request.GET.get("before", "")
    before = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None
    rows = store.newest(PAGE + 1, before=before)
    entries = tell_all(rows[:PAGE])
    head = store.head()
    context = {
        "here": "book",
        "entries": entries,
        "size": head.size,
        "root": head.root().hex(),
        "zone": zone_here(request),
        "now": clock.now(),
        "earlier": entries[-1].index if len(rows) > PAGE else None,
        "paged": before is not None,
        "may_bundle": "keeper" in roles_of(request),
        **_days_page(request),
    }
    return render(request, "pitbird/book.html", context)


def _days_page(request: HttpRequest) -> dict[str, Any]:
    """What the form for a page of the book begins with: today at one's own site."""
    try:
        site = login_of(request).site or ""
    except NoPerson:
        site = ""
    return {
        "today": today(clock.now(), zone_here(request)),
        "site": naming.code(site),
        "sites": [(naming.code(state.subject), state.name) for state in naming.sites()],
    }


@require_safe
def entry(request: HttpRequest, index: int) -> HttpResponse:
    """One entry: in words, as pairs of term and value, and as it stands."""
    row = store.at_index(index) if index < 2**62 else None
    if row is None:
        raise Http404(str(index))
    names = Names([])
    (told,) = tell_all([row], names)
    leaf = read_leaf(row.leaf.encode())
    body = body_of(row)
    replacement = body.get("replacement")
    zone = body.get("zone")
    context = {
        "here": "book",
        "told": told,
        "facts": facts(body, names),
        "replacement": facts({**replacement, "zone": zone}, names) if replacement else None,
        "corrections_whole": [
            (made, facts({**made.replacement, "zone": zone}, names) if made.replacement else None)
            for made in told.corrections
        ],
        **_original(body, names),
        "leaf": json.dumps(json.loads(row.leaf), indent=2, ensure_ascii=False),
        "leaf_hash": row.leaf_hash.hex(),
        "signed": leaf.signature is not None,
        **proof_of(row.index),
        "late": row.recorded_at - row.at > 15 * 60_000,
        "size": store.head().size,
        "by_address": address(row.by),
        "may_be_slip": may_take_back(request, row),
        "look_back": failed(row, body),
        "may_correct": row.kind not in KINDS_CORRECTED_ELSEWHERE
        and may_write("correction", roles_of(request)),
        "may_replace": has_own_form(row),
    }
    return render(request, "pitbird/entry.html", context)


def failed(row: store.Row, body: Mapping[str, Any]) -> bool:
    """Whether an entry is a test or calibration that showed a failure, so that one looks back from it."""
    if row.kind == "calibration":
        outside = (found_within(channel, body.get("tolerance_pct")) is False for channel in body["channels"])
        return body["result"] == "failed" or any(outside)
    return row.kind == "bump-test" and worked_out([row]).get(row.entry_id, body["outcome"]) == "failed"


def _original(body: Mapping[str, Any], names: Names) -> dict[str, Any]:
    """For a correction: the entry it corrects, in what it differs, and a later correction that counts."""
    row = store.by_id(body["corrects"]) if body["kind"] == "correction" else None
    if row is None:
        return {}
    (told,) = tell_all([row], names)
    mine = next((made for made in told.corrections if made.entry_id == body["id"]), None)
    return {
        "original": told,
        "original_facts": facts(told.body, names),
        "differs": mine.differs if mine else (),
        "superseded": told.corrected_by if mine and not mine.holds else None,
    }


@require_safe
def by_id(request: HttpRequest, entry_id: str) -> HttpResponse:
    """To the page of the entry with an id."""
    row = store.by_id(entry_id)
    if row is None:
        raise Http404(entry_id)
    return redirect("entry", index=row.index)


@require_safe
def export(request: HttpRequest) -> HttpResponseBase:
    """The whole book as JSON Lines, as a download that is made while it is read."""
    lines = export_book()
    try:
        first = next(lines)
    except BookEmpty:
        raise Http404("book") from None
    response = StreamingHttpResponse(_chunks(first, lines), content_type="application/jsonl")
    stamp = times.shown(clock.now(), times.UTC_NAME, form="Y-m-d").partition(" ")[0]
    response["Content-Disposition"] = f'attachment; filename="book-{stamp}.jsonl"'
    response["Cache-Control"] = "no-store"
    return response


def _chunks(first: bytes, rest: Iterable[bytes]) -> Iterator[bytes]:
    """Lines put together to some 64 kB, so that a long book does not go out a line at a time."""
    piece = bytearray(_line(first))
    for line in rest:
        piece += _line(line)
        if len(piece) > 65_536:
            yield bytes(piece)
            piece.clear()
    yield bytes(piece)


def _line(line: bytes) -> bytes:
    return line if line.endswith(b"\n") else line + b"\n"
