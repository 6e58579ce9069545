"""How often tests passed, failed or were spoiled: by detector, by cylinder, by person."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from pitbird.fleet.times import DAY, Ms, local
from pitbird.services import clock
from pitbird.services.attempts import Attempts, Count, day_at
from pitbird.services.attempts import attempts as count_attempts
from pitbird.services.knowing import Now
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.views.asked import BadQuestion, zone_here
from pitbird.web.vocabulary import word
from pitbird.web.who import NoPerson, login_of, roles_of, zone_of

USUAL_DAYS: Final = 90


@never_cache
@require_safe
def attempts(request: HttpRequest) -> HttpResponse:
    """The counts of a period; those of other people are the keeper's to see."""
    now = clock.now()
    faults: list[BadQuestion] = []
    site = _site(request, faults)
    zone = zone_of(site) if site else zone_here(request)
    since, until = _period(request, now, zone, faults)
    found: Attempts | None = None
    if not faults:
        found = count_attempts(since=since, until=until, site=site)
    context = {
        "here": "attempts",
        "faults": faults,
        "zone": zone,
        "since": since,
        "until": until,
        "site": site,
        "site_name": Names([])(site),
        "sites": naming.sites(),
        "since_typed": request.GET.get("since", "")[:40],
        "until_typed": request.GET.get("until", "")[:40],
        "usual_days": USUAL_DAYS,
        "totals": _totals(found),
        "groups": _groups(request, found),
    }
    return render(request, "pitbird/attempts.html", context, status=422 if faults else 200)


def _site(request: HttpRequest, faults: list[BadQuestion]) -> str | None:
    typed = request.GET.get("site", "").strip()
    if not typed:
        return None
    subject = typed if typed.startswith("site:") else f"site:{typed}"
    if Now().state(subject) is None:
        faults.append(BadQuestion("site", typed[:80], _("the book knows none of this name")))
        return None
    return subject


def _period(request: HttpRequest, now: Ms, zone: str, faults: list[BadQuestion]) -> tuple[Ms, Ms]:
    """``since`` and ``until`` as a day (that day included) or a time; left out: up to now, 90 days back."""
    until = _edge(request, "until", zone, faults) or Ms(now + 1)
    usual = day_at(local(Ms(until - USUAL_DAYS * DAY), zone).date(), zone)[0]
    since = _edge(request, "since", zone, faults) or usual
    if not faults and since >= until:
        faults.append(
            BadQuestion(
                "since", request.GET.get("since", "")[:40], _("does not lie before the end asked for")
            )
        )
    return since, until


def _edge(request: HttpRequest, name: str, zone: str, faults: list[BadQuestion]) -> Ms | None:
    text = request.GET.get(name, "").strip()
    if not text:
        return None
    try:
        if len(text) == len("2026-03-02"):
            start, end = day_at(date.fromisoformat(text), zone)
            return end if name == "until" else start
        return times.read_typed(text.replace(" ", "+"), zone, later=name == "until")
    except (times.NoSuchTime, ValueError, OverflowError):
        faults.append(BadQuestion(name, text[:40], _("not a day such as 2026-03-02, nor a time")))
        return None


def _totals(found: Attempts | None) -> dict[str, int]:
    """Of all attempts; each has one detector, so these are not counted twice."""
    counts = found.detectors if found else ()
    return {
        "all": sum(count.all for count in counts),
        **{name: sum(count.outcomes[name] for count in counts) for name in ("passed", "failed", "spoiled")},
    }


def _groups(request: HttpRequest, found: Attempts | None) -> list[dict[str, Any]]:
    if found is None:
        return []
    names = Names([])
    names.read(count.subject for count in found.people)
    keeper = "keeper" in roles_of(request)
    try:
        me = login_of(request).person
    except NoPerson:
        me = ""
    people = found.people if keeper else tuple(count for count in found.people if count.subject == me)
    groups = (
        ("detectors", _("By detector"), _("Detector"), found.detectors, ""),
        ("cylinders", _("By cylinder"), _("Cylinder"), found.cylinders, ""),
        (
            "people",
            _("By person"),
            _("Person"),
            people,
            "" if keeper else _("Only your own: others' are for the keeper."),
        ),
    )
    return [
        {
            "key": key,
            "heading": heading,
            "head": head,
            "note": note,
            "lines": [_line(each, names) for each in counts],
        }
        for key, heading, head, counts, note in groups
    ]


def _line(count: Count, names: Names) -> dict[str, Any]:
    return {
        "name": names(count.subject),
        "address": naming.address(count.subject),
        "keyed": naming.sort(count.subject) != "person",
        "passed": count.outcomes["passed"],
        "failed": count.outcomes["failed"],
        "spoiled": count.outcomes["spoiled"],
        "reasons": ", ".join(f"{word(reason)} ({times_})" for reason, times_ in count.reasons.most_common()),
    }
