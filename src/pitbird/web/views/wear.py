"""Which sensors are likely to need replacing soon."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from pitbird.fleet.times import DAY, Ms, local
from pitbird.services import clock
from pitbird.services.wear import AHEAD_DAYS, WORN, Wear, WearAhead, wear_ahead
from pitbird.web import names as naming
from pitbird.web import times


@require_safe
def wear(request: HttpRequest) -> HttpResponse:
    """The sensors whose sensitivity may fall below a limit within a time, with dates and bands."""
    faults: list[str] = []
    worn = _number(request, "worn", 100 * WORN, 1, 99, faults)
    days = _number(request, "days", AHEAD_DAYS, 1, 1000, faults)
    sites = {state.subject: state for state in naming.sites()}
    site = request.GET.get("site", "")
    chosen = sites.get(site)
    told = wear_ahead(now=clock.now(), worn=worn / 100, days=days, site=chosen.subject if chosen else None)
    zone = (chosen.zone if chosen else None) or "UTC"
    context = {
        "told": told,
        "worn": f"{worn:g}",
        "days": f"{days:g}",
        "site": chosen.subject if chosen else "",
        "sites": {subject: state.name for subject, state in sites.items()},
        "faults": faults,
        "lines": [_line(each, told, zone) for each in told.sensors],
    }
    return render(request, "pitbird/wear.html", context, status=422 if faults else 200)


def _number(
    request: HttpRequest, name: str, usual: float, low: float, high: float, faults: list[str]
) -> float:
    text = request.GET.get(name, "").strip()
    if not text:
        return usual
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = low - 1
    if low <= value <= high:
        return value
    problem = _("“%(text)s” cannot be used here; write a number from %(low)g to %(high)g.")
    faults.append(problem % {"text": text[:20], "low": low, "high": high})
    return usual


def _line(each: Wear, told: WearAhead, zone: str) -> dict[str, Any]:
    start = each.readings[0].at if each.readings else Ms(0)

    def date(days: float | None) -> str:
        if days is None:
            return _("later")
        when = Ms(int(start + days * DAY))
        if when <= told.now:
            return _("already")
        return times.day_shown(local(when, zone).date().isoformat())

    passing = each.passing
    return {
        "code": naming.code(each.detector),
        "channel": each.channel,
        "gas": each.gas,
        "ends": each.ends,
        "left": "" if each.left is None else f"{100 * each.left:.0f} %",
        "readings": len(each.readings),
        "chance": "" if each.drift is None else f"{100 * each.chance:.0f} %",
        "early": date(passing.early_days) if passing else "",
        "median": date(passing.median_days) if passing else "",
        "late": date(passing.late_days) if passing else "",
        "why": each.drift.why if each.drift is not None else "",
    }
