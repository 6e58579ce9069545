"""Look-back: which earlier uses a failure puts in question, and what was decided about them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from pitbird.fleet.times import Ms
from pitbird.services import clock
from pitbird.services.attempts import day_at
from pitbird.services.gate import UnknownSubject
from pitbird.services.knowing import Now
from pitbird.services.look_back import NothingFailed
from pitbird.services.look_back import after_failure as look_after_failure
from pitbird.services.look_back_decisions import decisions
from pitbird.services.look_back_doubt import AfterFailure
from pitbird.services.look_back_list import Awaiting, LookBack, awaiting
from pitbird.services.look_back_rate import evidence_rate
from pitbird.services.look_back_trials import AfterTrials, after_gas, after_tester, lot_of
from pitbird.services.writing import EntryRefused, IdTaken, write
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.forms.base import Setting
from pitbird.web.forms.look_back import DECIDE, DecideForm
from pitbird.web.look_back_words import (
    failure_words,
    parts_words,
    told_cylinders,
    told_decisions,
    told_group,
    told_rested,
    told_untrained,
    trial_words,
    uses_words,
)
from pitbird.web.names import Names
from pitbird.web.views.asked import BadQuestion, zone_here
from pitbird.web.views.write import say, site_of
from pitbird.web.vocabulary import word
from pitbird.web.who import actor_of, may_write, require_right, roles_of, zone_of

PAGE: Final = 25
DECIDED: Final = 10
YEAR_DAYS: Final = 365.25
#: In place of a rate: the upper limit that the book's own record gives.
FROM_RECORD: Final = "record"


@dataclass
class Asked:
    """What a page was asked, with what is wrong with it."""

    faults: list[BadQuestion] = field(default_factory=list)
    rate: float | None = None
    since: Ms | None = None
    until: Ms | None = None


# --- The working list


@never_cache
@require_safe
def look_backs(request: HttpRequest) -> HttpResponse:
    """What still has no decision, the newest first, and what was decided last."""
    site = _site(request)
    text = request.GET.get("before", "")
    before = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None
    # Who tested untrained is told to those who may decide about it, as on the page of the person's tests.
    may_decide = may_write("look-back", roles_of(request))
    found = awaiting(site, limit=PAGE + 1, before=before, people=may_decide)
    names = Names()
    made = decisions()[:DECIDED]
    context = {
        "here": "look-back",
        "now": clock.now(),
        "zone": zone_of(site) if site else zone_here(request),
        "site": site,
        "site_name": names(site),
        "sites": naming.sites(),
        "lines": [_line(each, names) for each in found[:PAGE]],
        "earlier": found[PAGE - 1].entry.index if len(found) > PAGE else None,
        "paged": before is not None,
        "with_people": may_decide,
        "decided": [
            {
                "index": each.row.index,
                "at": Ms(each.row.at),
                "zone": each.body["zone"],
                "of": ", ".join(naming.code(subject) for subject in each.body["of"]),
                "outcome": word(each.body["outcome"]),
                "by": names(each.body["assessed_by"]),
                "address": _address(each.body),
            }
            for each in made
        ],
    }
    return render(request, "pitbird/look_back_list.html", context)


def _site(request: HttpRequest) -> str | None:
    typed = request.GET.get("site", "").strip()
    if not typed:
        return None
    subject = typed if typed.startswith("site:") else f"site:{typed}"
    if Now().state(subject) is None:
        raise Http404(subject)
    return subject


def _line(each: Awaiting, names: Names) -> dict[str, Any]:
    look = each.look
    state = Now().state(each.subject)
    return {
        "sort": each.sort,
        "code": naming.code(each.subject),
        "name": names(each.subject) if each.sort == "tester" else "",
        "address": naming.address(each.subject),
        "index": each.entry.index,
        "at": Ms(each.entry.at),
        "zone": zone_of(site_of(state)),
        "site": names(site_of(state)),
        "because": _because(each, names),
        "uses": len(look.uses) if look else None,
        "known": sorted({word(event.what) for group in look.groups for event in group.known}) if look else [],
        "decision": each.decision.row.index if each.decision else None,
        "newer": len(each.newer),
    }


def _because(each: Awaiting, names: Names) -> str:
    if each.sort == "tester":
        zone = zone_of(site_of(Now().state(each.subject)))
        (*_others, last) = told_untrained(each.tests, zone, names)
        n = len(each.tests)
        count = ngettext("%d test without valid training", "%d tests without valid training", n) % n
        return f"{count}: {last['sentence']}"
    if each.look is None:
        return word(each.because)
    parts = dict.fromkeys(part for group in each.look.groups for part in group.parts)
    return f"{trial_words(each.look.failed)}: {parts_words(parts)}"


def _address(body: Any) -> str:
    if "failed" in body:
        row = book.by_id(body["failed"])
        return f"/look-back/{row.index}" if row else ""
    sort = naming.sort(body["of"][0])
    return f"/look-back/{'gas' if sort == 'cylinder' else 'person'}/{naming.code(body['of'][0])}"


# --- One look-back


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def after_failure(request: HttpRequest, index: int) -> HttpResponse:
    """From a failed test or calibration: the uses since it was last shown to be good; a POST decides."""
    row = book.at_index(index) if index < 2**62 else None
    if row is None:
        raise Http404(str(index))
    asked = Asked()
    from_record = request.GET.get("rate", "").strip() == FROM_RECORD
    rate = None if from_record else _rate(request, asked)
    try:
        looked = look_after_failure(row.entry_id, rate_per_day=rate)
        if from_record:
            rate = evidence_rate(looked.detector, [part for group in looked.groups for part in group.parts])
            looked = look_after_failure(row.entry_id, rate_per_day=rate)
    except NothingFailed as told:
        context = {"here": "look-back", "index": index, "why": str(told)}
        return render(request, "pitbird/look_back_none.html", context, status=404)
    names = Names()
    zone = zone_of(looked.site)
    context = {
        "looked": looked,
        "code": naming.code(looked.detector),
        "index": index,
        "words": failure_words(looked, zone),
        "groups": [told_group(group, names) for group in looked.groups],
        "rate_typed": "" if from_record else request.GET.get("rate", "")[:20],
        "rate_words": f"{rate * YEAR_DAYS:.2g}" if rate is not None else "",
        "from_record": from_record,
        "rated": looked.rate_per_day is not None,
    }
    return _page(request, "pitbird/look_back.html", looked, looked.site, asked, context)


@require_safe
def by_id(request: HttpRequest, entry_id: str) -> HttpResponse:
    """To the look-back from the entry with an id."""
    row = book.by_id(entry_id)
    if row is None:
        raise Http404(entry_id)
    return redirect("look-back-failure", index=row.index)


def _rate(request: HttpRequest, asked: Asked) -> float | None:
    """Failures in one sensor-year as typed, as failures a day; None where nothing was typed."""
    typed = request.GET.get("rate", "").strip()
    if not typed:
        return None
    try:
        rate = float(typed)
    except ValueError:
        rate = math.nan
    if not (math.isfinite(rate) and 0 <= rate <= 1e6):
        problem = _("not a number from 0, such as 0.2 failures in one sensor-year")
        asked.faults.append(BadQuestion("rate", typed[:20], problem))
        return None
    return rate / YEAR_DAYS


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def gas_in_doubt(request: HttpRequest, code: str) -> HttpResponse:
    """From a cylinder (``lot=1``: all cylinders of its lot) to the uses that rested on it; a POST decides."""
    subject = f"cylinder:{code}"
    try:
        lot, whole = lot_of(subject)
    except UnknownSubject:
        raise Http404(subject) from None
    site = site_of(Now().state(subject))
    asked = _period(request, zone_of(site))
    wanted = request.GET.get("lot", "") not in ("", "0")
    cylinders = whole if wanted else (subject,)
    looked = after_gas(cylinders, since=asked.since, until=asked.until, lot=lot if wanted else None)
    context = {
        "code": code,
        "name": code,
        "address": naming.address(subject),
        "lot": lot,
        "whole_lot": wanted and lot is not None,
        "cylinders": told_cylinders(looked),
        "others_of_lot": len(whole) - 1,
    }
    return _of_trials(request, looked, site, asked, context)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def tester_in_doubt(request: HttpRequest, code: str) -> HttpResponse:
    """From somebody who tested to the uses that rested on their tests; a POST decides. It lists what one
    person did: for those who may decide about it."""
    require_right(request, "look-back")
    subject = f"person:{code}"
    site = site_of(Now().state(subject))
    zone = zone_of(site) if site else zone_here(request)
    asked = _period(request, zone)
    untrained = request.GET.get("untrained", "") not in ("", "0")
    try:
        looked = after_tester(subject, since=asked.since, until=asked.until, untrained=untrained)
    except UnknownSubject:
        raise Http404(subject) from None
    names = Names([])
    context = {
        "code": code,
        "name": names(subject),
        "address": naming.address(subject),
        "untrained": untrained,
        "reasons": told_untrained(looked.untrained or (), zone, names),
    }
    return _of_trials(request, looked, site, asked, context)


def _of_trials(
    request: HttpRequest, looked: AfterTrials, site: str | None, asked: Asked, context: dict[str, Any]
) -> HttpResponse:
    names = Names()
    context |= {
        "looked": looked,
        "uses_words": uses_words(len(looked.uses)),
        "rested": [told_rested(each, names) for each in looked.rested],
        "since_typed": request.GET.get("since", "")[:40],
        "until_typed": request.GET.get("until", "")[:40],
    }
    return _page(request, "pitbird/look_back_trials.html", looked, site, asked, context)


def _period(request: HttpRequest, zone: str) -> Asked:
    """``since`` and ``until`` as a day (that day included) or a time; left out: everything."""
    asked = Asked()
    for name in ("since", "until"):
        typed = request.GET.get(name, "").strip()
        if not typed:
            continue
        try:
            if len(typed) == len("2026-03-02"):
                start, end = day_at(date.fromisoformat(typed), zone)
                at = end if name == "until" else start
            else:
                at = times.read_typed(typed.replace(" ", "+"), zone, later=name == "until")
        except (times.NoSuchTime, ValueError, OverflowError):
            problem = _("not a day such as 2026-03-02, nor a time")
            asked.faults.append(BadQuestion(name, typed[:40], problem))
            continue
        setattr(asked, name, at)
    if asked.since is not None and asked.until is not None and asked.since >= asked.until:
        problem = _("does not lie before the end asked for")
        asked.faults.append(BadQuestion("since", request.GET["since"][:40], problem))
    return asked


# --- The page around, and the decision


def _page(
    request: HttpRequest,
    template: str,
    looked: LookBack,
    site: str | None,
    asked: Asked,
    context: dict[str, Any],
) -> HttpResponse:
    form: DecideForm | None = None
    status = 422 if asked.faults else 200
    if request.method == "POST":
        require_right(request, "look-back")
    if not asked.faults and may_write("look-back", roles_of(request)):
        data = request.POST if request.method == "POST" else None
        form = DecideForm(Setting(actor_of(request, site), clock.now()), looked, data)
        if data is not None:
            if form.is_valid() and _decide(request, form):
                return redirect(request.get_full_path())
            status = 422
    names = Names()
    context |= {
        "here": "look-back",
        "now": clock.now(),
        "zone": form.setting.zone if form else zone_of(site) if site else zone_here(request),
        "site_name": names(site),
        "faults": asked.faults,
        "form": form,
        "question": DECIDE,
        "decided": told_decisions(looked, names),
        "of_failure": isinstance(looked, AfterFailure),
    }
    return render(request, template, context, status=status)


def _decide(request: HttpRequest, form: DecideForm) -> bool:
    """Write the decision; False where it was refused, with every fault tied to its field."""
    try:
        written = write(form.draft(), form.setting.actor)
    except EntryRefused as refused:
        form.put_faults(refused.faults)
        return False
    except IdTaken as taken:
        form.add_error(
            None, _("This page was sent before with other words, and stands as entry %d.") % taken.index
        )
        return False
    say(request, written, form.setting.zone)
    late = form.looked.newer(form.cleaned_data["book_size"])
    if late:
        messages.warning(
            request, _("Written since the list was shown, and not on it: %d. Look at it again.") % len(late)
        )
    return True
