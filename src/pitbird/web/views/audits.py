"""Links for auditors: given and taken back by the keeper."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from pitbird.fleet.times import Ms
from pitbird.intake.faults import EntryRefused
from pitbird.services import clock
from pitbird.services.audits import DAY, Audit, audits, close_audit, open_audit
from pitbird.services.checkpoints import CheckpointRefused, make_checkpoint, public_key
from pitbird.services.moving import BookEmpty
from pitbird.web import names as naming
from pitbird.web.forms.audits import AuditForm
from pitbird.web.names import Names
from pitbird.web.secure import is_this_machine
from pitbird.web.views.asked import zone_here
from pitbird.web.who import require_keeper


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def given(request: HttpRequest) -> HttpResponse:
    """Every link, and the form for another. The keeper's to do."""
    actor = require_keeper(request)
    sites = [(state.subject, state.name or naming.code(state.subject)) for state in naming.sites()]
    form = AuditForm(sites, request.POST if request.method == "POST" else None)
    if request.method != "POST":
        return _page(request, form)
    if not form.is_valid():
        return _page(request, form, status=422)
    home = Path(settings.CONFIG.home)
    now = clock.now()
    try:
        until = Ms(now + form.cleaned_data["days"] * DAY)
        secret, _appended = open_audit(form.asked(), form.cleaned_data["reader"], until, actor, now=now)
        make_checkpoint(home, os.environ.get("PITBIRD_KEY_PASSPHRASE", "").encode() or None)
    except EntryRefused as refused:
        for fault in refused.faults:
            form.add_error(fault.where if fault.where in form.fields else None, fault.problem)
        return _page(request, form, status=422)
    except (CheckpointRefused, BookEmpty) as refused:
        form.add_error(None, str(refused))
        return _page(request, form, status=422)
    link = request.build_absolute_uri(reverse("audit-enter", args=[secret]))
    fresh = {"link": link, "until": until, "fingerprint": public_key(home).fingerprint()}
    return _page(request, AuditForm(sites), fresh=fresh)


@require_POST
def take_back(request: HttpRequest, entry_id: str) -> HttpResponse:
    """Take a link back: it opens nothing from here on."""
    actor = require_keeper(request)
    try:
        done = close_audit(entry_id, actor)
    except LookupError:
        raise Http404(entry_id) from None
    if done is None:
        messages.info(request, _("It was taken back before."))
    else:
        messages.success(request, _("The link opens nothing any more."))
    return redirect("audits")


def _page(request: HttpRequest, form: AuditForm, *, status: int = 200, fresh: Any = None) -> HttpResponse:
    now, names = clock.now(), Names([])
    lines = [_line(audit, now, names) for audit in audits()]
    context = {"here": "book", "form": form, "lines": lines, "fresh": fresh, "zone": zone_here(request)}
    context["this_machine"] = is_this_machine(request)
    return render(request, "pitbird/audits.html", context, status=status)


def _line(audit: Audit, now: Ms, names: Names) -> dict[str, Any]:
    asked = audit.asked
    what = [names(subject) for subject in (*asked.sites, *asked.people)]
    what += [naming.code(subject) for subject in asked.detectors]
    return {
        "audit": audit,
        "reader": audit.reader if audit.reader is not None else _("(name withheld)"),
        "by": names(audit.by),
        "what": ", ".join(what[:20]) + (" …" if len(what) > 20 else ""),
        "open": audit.open_at(now),
        "state": _("taken back") if audit.closed else _("open") if now < audit.until else _("ended"),
    }
