"""What an auditor sees by a link: the part of the book that it opens, each entry with its proof, the bundle.

The secret comes in the address once and is kept in a cookie for these pages only; no page names it, none
sends a referrer, none is kept by the browser.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Generator
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, Final, ParamSpec

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import ms_of
from pitbird.papers.bundle.writing import BundleRefused
from pitbird.record.leaf import read_leaf
from pitbird.services import bundle_keeping, clock, proofs, seeing
from pitbird.services import gate as gate_service
from pitbird.services.audits import Reading, audit_by_secret, reading
from pitbird.services.bundle_keeping import Ready
from pitbird.services.bundles import Progress
from pitbird.services.checkpoints import CheckpointRefused, public_key
from pitbird.services.gate import UnknownSubject
from pitbird.services.knowing import Now
from pitbird.store import book as store
from pitbird.web import names as naming
from pitbird.web.entries import Told, body_of, tell_all
from pitbird.web.facts import Fact, facts
from pitbird.web.names import Names
from pitbird.web.telling import tell_decision
from pitbird.web.views import asked
from pitbird.web.who import zone_of

COOKIE: Final = "pitbird-audit"
PAGE: Final = 200

_P = ParamSpec("_P")
_View = Callable[Concatenate[HttpRequest, Reading, _P], HttpResponseBase]


def _guarded(view: _View[_P]) -> Callable[Concatenate[HttpRequest, _P], HttpResponseBase]:
    """A page that only an open link opens; nothing of it is kept or passed on."""

    @login_not_required
    @wraps(view)
    def page(request: HttpRequest, /, *args: _P.args, **kwargs: _P.kwargs) -> HttpResponseBase:
        audit = audit_by_secret(request.COOKIES.get(COOKIE, ""), clock.now())
        held = reading(audit, Path(settings.CONFIG.home)) if audit is not None else None
        if held is None:
            response: HttpResponseBase = render(request, "pitbird/audit_closed.html", status=403)
        else:
            response = view(request, held, *args, **kwargs)
            if settings.SEEN and held.audit.asked.texts and response.status_code < 300:
                seeing.record("audit", account=seeing.LINK, about=held.audit.entry_id)
        return _quiet(response)

    return page


def _quiet(response: HttpResponseBase) -> HttpResponseBase:
    response["Cache-Control"] = "no-store"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response


@login_not_required
@require_safe
def enter(request: HttpRequest, secret: str) -> HttpResponseBase:
    """Take the secret out of the address into a cookie for these pages; a wrong one opens nothing."""
    response = redirect("audit")
    audit = audit_by_secret(secret, clock.now())
    if audit is None:
        response.delete_cookie(COOKIE, path="/audit")
    else:
        response.set_cookie(
            COOKIE,
            secret,
            max_age=(audit.until - clock.now()) // 1000,
            path="/audit",
            secure=settings.SESSION_COOKIE_SECURE,
            httponly=True,
            samesite="Lax",
        )
    return _quiet(response)


@require_safe
@_guarded
def audit(request: HttpRequest, held: Reading) -> HttpResponse:
    """What the link opens: the subjects, how many entries of each, and under which signed checkpoint."""
    names = _names(held)
    lines = [
        {
            "subject": subject,
            "sort": naming.sort(subject),
            "code": naming.code(subject),
            "name": names(subject),
            "here": held.census[subject] - first + 1,
            "count": held.census[subject],
        }
        for subject, first in sorted(held.scope.first.items())
    ]
    context = {
        "held": held,
        "asked": held.audit.asked,
        "detectors": [line for line in lines if line["sort"] == "detector"],
        "others": [line for line in lines if line["sort"] != "detector"],
        "since": ms_of(held.scope.since) if held.scope.since else None,
        "entries": len(held.scope.indices),
        "root": held.checkpoint.root.hex(),
        "fingerprint": public_key(Path(settings.CONFIG.home)).fingerprint(),
    }
    return render(request, "pitbird/audit.html", context)


@require_safe
@_guarded
def about(request: HttpRequest, held: Reading, subject: str) -> HttpResponse:
    """The entries about one subject in the book's order; for a detector, what the gate says, and why."""
    rows = held.rows_about(subject)
    # An entry is often about two detectors or people; the other one's gate is none of this reader's business.
    if not rows or (naming.sort(subject) == "detector" and subject not in held.scope.first):
        raise Http404(subject)
    text = request.GET.get("after", "")
    after = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else -1
    shown = [row for row in rows if row.index > after][: PAGE + 1]
    names = _names(held)
    context = {
        "held": held,
        "subject": subject,
        "code": naming.code(subject),
        "name": names(subject),
        "entries": [_told(told, held) for told in _tell(held, shown[:PAGE], names)],
        "total": len(rows),
        "counted": held.census.get(subject),
        "first": held.scope.first.get(subject),
        "after": shown[PAGE - 1].index if len(shown) > PAGE else None,
        **(_decided(request, held, subject, names) if naming.sort(subject) == "detector" else {}),
    }
    return render(request, "pitbird/audit_about.html", context)


def _decided(request: HttpRequest, held: Reading, subject: str, names: Names) -> dict[str, Any]:
    """The gate's answer as known at the checkpoint, for now or for the moment asked for."""
    state = Now().state(subject)
    zone = zone_of(state.site if isinstance(state, DetectorState) else None)
    question = asked.read(request, zone=zone)
    at = None if question.faults else question.at
    try:
        row = gate_service.gate_one(subject, now=question.now, at=at, known_below=held.checkpoint.size)
    except UnknownSubject:
        return {"zone": zone, "faults": question.faults, "asked_at": at}
    told = tell_decision(row, zone, names)
    links = {entry: _place(held, entry) for finding in told.findings for entry in finding.entries}
    findings = [
        (finding, [(entry, links[entry]) for entry in finding.entries])
        for finding in told.findings
        if finding.outcome != "does-not-apply"
    ]
    return {
        "told": told,
        "findings": findings,
        "zone": zone,
        "as_of": row.decision.as_of,
        "faults": question.faults,
        "asked_at": at,
    }


def _place(held: Reading, entry_id: str) -> int | None:
    row = store.by_id(entry_id)
    return row.index if row is not None and held.scope.has(row.index) else None


@require_safe
@_guarded
def entry(request: HttpRequest, held: Reading, index: int) -> HttpResponse:
    """One entry: in words, as it stands, and the proof that leads from it to the signed root."""
    row = store.at_index(index) if held.scope.has(index) else None
    if row is None:
        raise Http404(str(index))
    names = _names(held)
    (told,) = _tell(held, [row], names)
    size = held.checkpoint.size
    context = {
        "held": held,
        "told": _told(told, held),
        "facts": [
            _unlinked(each) for each in facts(body_of(row), names, withhold=not held.audit.asked.texts)
        ],
        "leaf": json.dumps(json.loads(row.leaf), indent=2, ensure_ascii=False),
        "leaf_hash": row.leaf_hash.hex(),
        "signed": read_leaf(row.leaf.encode()).signature is not None,
        "proof": [each.hex() for each in proofs.inclusion(index, size)],
        "root": held.checkpoint.root.hex(),
        "size": size,
    }
    return render(request, "pitbird/audit_entry.html", context)


@require_POST
@_guarded
def bundle(request: HttpRequest, held: Reading) -> HttpResponseBase:
    """The bundle of what the link opens, to be checked without this server."""
    home = Path(settings.CONFIG.home)
    bundle_keeping.drop_old(home)
    steps = bundle_keeping.keep_bundle(
        held.audit.asked, home, os.environ.get("PITBIRD_KEY_PASSPHRASE", "").encode() or None
    )
    try:
        path = bundle_keeping.kept_bundle(home, _finish(steps).name)
    except (BundleRefused, CheckpointRefused) as refused:
        context = {"held": held, "faults": str(refused).splitlines()}
        return render(request, "pitbird/audit_no_bundle.html", context, status=503)
    if path is None:
        raise Http404
    response = FileResponse(path.open("rb"), as_attachment=True, filename="audit-bundle.zip")
    response["Content-Type"] = "application/zip"
    return response


@require_safe
@_guarded
def checkpoint(request: HttpRequest, held: Reading) -> HttpResponse:
    """The signed checkpoint as a file."""
    response = HttpResponse(held.path.read_bytes(), content_type="text/plain; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="checkpoint.note"'
    return response


def _unlinked(fact: Fact) -> Fact:
    """The pages of things are not open to a reader by a link."""
    parts = tuple(tuple(_unlinked(each) for each in part) for part in fact.parts)
    return replace(fact, link="", parts=parts)


def _finish(steps: Generator[Progress, None, Ready]) -> Ready:
    while True:
        try:
            next(steps)
        except StopIteration as end:
            ready: Ready = end.value
            return ready


class _Withheld(Names):
    """Names of people are not told."""

    def read(self, subjects: Any) -> None:
        super().read(subject for subject in subjects if naming.sort(subject) != "person")


def _names(held: Reading) -> Names:
    return Names([]) if held.audit.asked.texts else _Withheld([])


def _tell(held: Reading, rows: list[store.Row], names: Names) -> list[Told]:
    return tell_all(rows, names, withhold=not held.audit.asked.texts)


def _told(told: Told, held: Reading) -> Told:
    """As far as the link opens it: corrections that it does not are left out."""
    corrections = tuple(each for each in told.corrections if held.scope.has(each.index))
    beyond = told.corrected_by is not None and not held.scope.has(told.corrected_by)
    return replace(
        told,
        corrections=corrections,
        corrected_by=None if beyond else told.corrected_by,
        sentence=f"{told.sentence} {_('(corrected later)')}" if beyond else told.sentence,
    )
