"""Entries whose clock cannot be right: what is left out, and a second person saying when it happened."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from pitbird.fleet.times import Ms, ms_of
from pitbird.services import clock
from pitbird.services.doubts import Doubt, NotCountersigned, countersign, doubts
from pitbird.services.writing import EntryRefused
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.entries import Told, tell_all
from pitbird.web.forms.doubts import CountersignForm
from pitbird.web.names import Names
from pitbird.web.views.asked import zone_here
from pitbird.web.views.replacing import has_own_form
from pitbird.web.views.write import say
from pitbird.web.who import NoPerson, actor_of, may_write, require_right, roles_of


@never_cache
@require_safe
def doubtful(request: HttpRequest) -> HttpResponse:
    """Every entry that is left out for its clock, the newest first."""
    found = doubts()
    told = tell_all([doubt.row for doubt in found])
    context = {
        "here": "book",
        "now": clock.now(),
        "zone": zone_here(request),
        "lines": [_line(doubt, each, _me(request)) for doubt, each in zip(found, told, strict=True)],
        "may_correct": may_write("correction", roles_of(request)),
    }
    return render(request, "pitbird/doubts.html", context)


def _me(request: HttpRequest) -> str:
    try:
        return actor_of(request).person
    except NoPerson:
        return ""


def _line(doubt: Doubt, told: Told, me: str) -> dict[str, Any]:
    return {
        "told": told,
        "dated": ms_of(doubt.body["at"]),
        "ahead": times.span(doubt.ahead),
        "mine": doubt.row.by == me,
        "own_form": has_own_form(doubt.row),
        "about": [
            (naming.code(subject), naming.address(subject))
            for subject in doubt.body["about"]
            if naming.address(subject)
        ],
    }


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def countersigning(request: HttpRequest, index: int) -> HttpResponse:
    """Say when an entry of doubtful clock really happened; a keeper's to do who did not write it."""
    row = book.at_index(index) if index < 2**62 else None
    if row is None:
        raise Http404(str(index))
    require_right(request, "correction")
    actor = actor_of(request)
    doubt = next((one for one in doubts() if one.row.entry_id == row.entry_id), None)
    if doubt is None:
        return _page(
            request, row, None, _("Its clock is not in doubt, or it has been put right already."), 409
        )
    if row.by == actor.person:
        return _page(
            request,
            row,
            None,
            _("Who wrote an entry does not say when it happened. Ask another keeper."),
            409,
        )
    zone = str(doubt.body.get("zone") or actor.zone)
    form = CountersignForm(zone, Ms(row.recorded_at), request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            written = countersign(
                row.entry_id, ms_of(form.cleaned_data["at"]), form.cleaned_data["reason"], actor
            )
        except NotCountersigned as refused:
            form.add_error("at", _sentence(str(refused)))
        except EntryRefused as refused:
            for fault in refused.faults:
                form.add_error(None, f"{fault.where}: {fault.problem}")
        else:
            say(request, written, zone)
            left = len(doubts())
            if left:
                messages.info(request, _("Entries still left out for their clock: %d.") % left)
            return redirect("entry", index=index)
    return _page(request, row, doubt, "", 422 if request.method == "POST" else 200, form)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _page(
    request: HttpRequest,
    row: book.Row,
    doubt: Doubt | None,
    why_not: str,
    status: int,
    form: CountersignForm | None = None,
) -> HttpResponse:
    (told,) = tell_all([row], Names([]))
    context = {
        "here": "book",
        "told": told,
        "why_not": why_not,
        "form": form,
        "dated": ms_of(doubt.body["at"]) if doubt else Ms(row.at),
        "ahead": times.span(doubt.ahead) if doubt else "",
    }
    return render(request, "pitbird/countersign.html", context, status=status)
