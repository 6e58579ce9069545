"""Which sensors are likely to need replacing soon."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import DAY, Ms, local
from pitbird.papers.charts.drawing import NARROW, WIDE
from pitbird.papers.charts.evidence import creep as creep_chart
from pitbird.services import clock
from pitbird.services.creep import Creep, creep_of
from pitbird.services.knowing import Now
from pitbird.services.wear import AHEAD_DAYS, WORN, Wear, WearAhead, wear_ahead
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.who import zone_of


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


@require_safe
def one(request: HttpRequest, code: str) -> HttpResponse:
    """One detector: whether its sensors grow slow, by the seconds that its tests took to the alarm."""
    subject = f"detector:{code}"
    state = Now().state(subject)
    if not isinstance(state, DetectorState):
        raise Http404(subject)
    zone = zone_of(state.site)
    now = clock.now()
    told = wear_ahead(now=now, only=subject, least_chance=0.0)
    context = {
        "code": code,
        "zone": zone,
        "now": now,
        "lines": [_line_or_why(each, told, zone) for each in told.sensors],
        "channels": [_slow(each, now, zone) for each in creep_of(state, now=now, days=AHEAD_DAYS)],
        "days": f"{AHEAD_DAYS:g}",
        "worn": f"{100 * WORN:g}",
    }
    return render(request, "pitbird/wear_one.html", context)


def _line_or_why(each: Wear, told: WearAhead, zone: str) -> dict[str, Any]:
    """As in the list of all; where nothing was carried on, why not."""
    from pitbird.science.drift import FEWEST

    line = _line(each, told, zone)
    if each.drift is None:
        far = told.looked_at and each.left is not None and len(each.readings) >= FEWEST
        line["why"] = (
            _("Not near the limit, even at three times its fastest fall so far.")
            if far
            else _("Too few calibrations to carry on.")
        )
    return line


def _slow(each: Creep, now: Ms, zone: str) -> dict[str, Any]:
    label = _("t90 of %(channel)s by the month") % {"channel": each.channel}
    rows = [(local(month.at, zone).date().isoformat(), month.t90_s) for month in each.months]
    charts = {
        name: creep_chart(rows, each.stated_s, each.limit_s, label, size=size)
        for name, size in (("wide", WIDE), ("narrow", NARROW))
        if len(rows) > 1
    }
    return {
        "creep": each,
        "charts": charts,
        "chance": None if each.chance is None else _share(each.chance),
        "months": [
            {"day": times.day_shown(day), "t90": f"{t90:.0f}", "tests": month.tests}
            for (day, t90), month in zip(rows, each.months, strict=True)
        ],
        "why": each.drift.why if each.drift is not None else "",
    }


def _share(chance: float) -> str:
    return f"{100 * chance:.0f} %" if chance >= 0.01 else _("below 1 %")


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
        "chance": "" if each.drift is None else _share(each.chance),
        "early": date(passing.early_days) if passing else "",
        "median": date(passing.median_days) if passing else "",
        "late": date(passing.late_days) if passing else "",
        "why": each.drift.why if each.drift is not None else "",
    }
