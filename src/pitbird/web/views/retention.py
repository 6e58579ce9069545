"""Retention: which sealed names and texts are past their period, and erasing them in one go."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from pitbird.intake.faults import EntryRefused
from pitbird.rules import words
from pitbird.services import clock
from pitbird.services import retention as service
from pitbird.services.periods import OWN_FILE, WHO_SAW, Period, PeriodsRefused, read_periods
from pitbird.services.retention import Survey
from pitbird.web import names as naming
from pitbird.web.forms.erasing import RetentionForm
from pitbird.web.names import Names
from pitbird.web.views.erasing import say
from pitbird.web.vocabulary import kind_word
from pitbird.web.who import require_keeper


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def retention(request: HttpRequest) -> HttpResponse:
    """What is held, what is past its period, by which periods; the keeper's to see and to do."""
    actor = require_keeper(request)
    try:
        periods = read_periods(settings.CONFIG.home)
    except PeriodsRefused as refused:
        context: dict[str, Any] = {"refused": refused, "own_file": OWN_FILE}
        return render(request, "pitbird/retention.html", context, status=422)
    found = service.survey(periods, zone=actor.zone)
    form = RetentionForm(str(found.count), request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        if form.is_valid():
            try:
                gone = service.erase_past(form.cleaned_data["mark"], periods, actor, zone=actor.zone)
            except EntryRefused as fault:
                form.add_error(None, str(fault))
            else:
                _say(request, gone)
                return redirect("retention")
        status = 422
    return render(
        request, "pitbird/retention.html", _context(found, periods, form, actor.zone), status=status
    )


def _say(request: HttpRequest, gone: service.Gone) -> None:
    if gone.sights:
        said = ngettext(
            "%d line of who saw what is erased.", "%d lines of who saw what are erased.", gone.sights
        )
        messages.success(request, said % gone.sights)
    if gone.erased is not None:
        say(request, gone.erased)


def _context(found: Survey, periods: tuple[Period, ...], form: RetentionForm, zone: str) -> dict[str, Any]:
    names = Names([])
    return {
        "here": "retention",
        "found": found,
        "form": form,
        "zone": zone,
        "now": clock.now(),
        "kinds": [
            {
                "words": kind_word(each.kind),
                "count": each.count,
                "oldest": each.oldest.isoformat(),
                "past": each.past,
                "periods": [_length(period) for period in each.periods],
            }
            for each in found.kinds
        ],
        "left": [
            {
                "code": naming.code(each.person),
                "name": names(each.person),
                "left": each.left.isoformat(),
                "count": each.count,
                "past": each.past,
                "ends": each.ends.isoformat() if each.ends else "",
            }
            for each in found.left
        ],
        "periods": [_told(period) for period in periods],
        "own_file": OWN_FILE,
    }


def _length(period: Period) -> str:
    years = ngettext("%d year", "%d years", period.years) % period.years
    if period.start == "left" and not period.years:
        return _("until they have left")
    if period.start == "left":
        return _("%(years)s after they left") % {"years": years}
    if period.start == "retired":
        if not period.years:
            return _("life of the instrument")
        return _("life of the instrument and %(years)s") % {"years": years}
    return years


def _told(period: Period) -> dict[str, Any]:
    known = words.KNOWN.get(period.known)
    plain = period.source.startswith("common practice")
    edition = f" ({period.edition})" if period.edition != "none" else ""
    return {
        "about": period.about,
        "length": _length(period),
        "kinds": ", ".join(
            _("who saw what") if kind == WHO_SAW else kind_word(kind) for kind in period.kinds
        ),
        "source": period.source + edition,
        "known": "" if plain or known is None else known(_),
        "applies": period.applies,
        "own": period.own,
    }
