"""Phones that write entries: which there are, a link to pair another, the end of one."""

from __future__ import annotations

import io
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from pitbird.intake.faults import EntryRefused
from pitbird.services import clock, phones
from pitbird.services.writing import Actor
from pitbird.web import names as naming
from pitbird.web.forms.phones import EndForm, PairForm
from pitbird.web.secure import is_secure, is_this_machine
from pitbird.web.vocabulary import word
from pitbird.web.who import require_keeper, zone_of


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def devices(request: HttpRequest) -> HttpResponse:
    """Every phone, and the form for a link to pair another. The keeper's to do."""
    actor = require_keeper(request)
    sites = [(state.subject, state.name or naming.code(state.subject)) for state in naming.sites()]
    form = PairForm(sites, request.POST if request.method == "POST" else None)
    if request.method != "POST":
        return _page(request, form, actor)
    if not form.is_valid():
        return _page(request, form, actor, status=422)
    data = form.cleaned_data
    at = Actor(actor.person, data["site"], zone_of(data["site"]))
    try:
        secret, until = phones.pair(f"device:{data['device']}", at, label=data["label"], now=clock.now())
    except EntryRefused as refused:
        for fault in refused.faults:
            form.add_error(fault.where if fault.where in form.fields else None, fault.problem)
        return _page(request, form, actor, status=422)
    link = f"{request.build_absolute_uri('/field/pair')}#{secret}"
    fresh = {"link": link, "until": until, "code": data["device"], "drawn": drawn(link)}
    return _page(request, PairForm(sites), actor, fresh=fresh)


@require_POST
def end(request: HttpRequest, code: str) -> HttpResponse:
    """End a phone's registration."""
    actor = require_keeper(request)
    form = EndForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Say why; nothing was written."))
        return redirect("devices")
    try:
        done = phones.end(f"device:{code}", form.cleaned_data["because"], actor)
    except LookupError:
        raise Http404(code) from None
    if done is None:
        messages.info(request, _("Its registration had ended before."))
    else:
        messages.success(request, _("Written. What %s sends from here on waits for you.") % code)
    return redirect("devices")


def drawn(link: str) -> SafeString:
    """The link as a code to scan: SVG without style of its own."""
    import segno

    out = io.BytesIO()
    segno.make(link, error="m", micro=False).save(
        out, kind="svg", xmldecl=False, svgns=False, scale=5, border=4, light="#ffffff", dark="#000000",
        svgclass="qr", lineclass=None, omitsize=False, title=_("The link as a code to scan"),
    )  # fmt: skip
    return mark_safe(out.getvalue().decode())  # noqa: S308 - drawn here, from an address of our own


def _page(
    request: HttpRequest, form: PairForm, actor: Actor, *, status: int = 200, fresh: Any = None
) -> HttpResponse:
    context = {
        "here": "people",
        "form": form,
        "fresh": fresh,
        "zone": actor.zone,
        "secure": is_secure(request),
        "this_machine": is_this_machine(request),
        "lines": [
            {
                "phone": each,
                "code": naming.code(each.subject),
                "site": naming.code(each.site),
                "because": word(each.because),
                "end": EndForm(auto_id=f"f-{naming.code(each.subject)}-%s"),
            }
            for each in phones.phones()
        ],
    }
    return render(request, "pitbird/devices.html", context, status=status)
