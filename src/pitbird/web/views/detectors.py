"""Detectors: the list, and the page of one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from pitbird.fleet.state import DetectorState
from pitbird.services import clock
from pitbird.services import gate as gate_service
from pitbird.services.gate import GateRow, UnknownSubject
from pitbird.services.knowing import Now
from pitbird.services.loud import held_for, loud
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.entries import tell_all
from pitbird.web.forms.questions import ACTION_WORDS, ACTIONS
from pitbird.web.names import Names
from pitbird.web.telling import ToldLoud, ending_words, tell_decision, tell_loud
from pitbird.web.views import asked
from pitbird.web.views.gate import matches
from pitbird.web.vocabulary import unit, word
from pitbird.web.who import may_write, roles_of, zone_of

PAGE: Final = 25


@dataclass(frozen=True)
class Action:
    """One thing that can be written from a page."""

    kind: str
    words: str
    grave: bool = False


def actions(sort: str, roles: frozenset[str]) -> list[Action]:
    """What somebody with these roles can write about a thing."""
    return [
        Action(kind, str(ACTION_WORDS[kind]), kind in {"out-of-service", "issued-untested"})
        for kind in ACTIONS[sort]
        if may_write(kind, roles)
    ]


@require_safe
def detectors(request: HttpRequest) -> HttpResponse:
    """Every detector, found by code, serial number, type or holder."""
    search = request.GET.get("q", "").strip()
    names = Names()
    fleet = gate_service.gate(now=clock.now())
    exact = [row for row in fleet.rows if _is(row.state, search)] if search else []
    if len(exact) == 1 and request.headers.get("HX-Request") != "true":
        return redirect("detector", code=naming.code(exact[0].state.subject))
    rows = sorted(
        (row for row in fleet.rows if matches(row, search, names)), key=lambda row: row.state.subject
    )
    zones = {state.subject: state.zone for state in naming.sites()}
    lines = [
        {
            "told": tell_decision(row, zones.get(row.state.site or ""), names, all_findings=False),
            "state": row.state,
            "type": f"{row.state.make} {row.state.model}".strip(),
            "holder": names(row.state.custody.holder)
            if row.state.custody and row.state.custody.holder
            else _("store"),
            "site": names(row.state.site),
            "channels": ", ".join(channel.name for channel in row.state.channels),
            "loud": tell_loud(row.state, row.decision.as_of, zones.get(row.state.site or ""), names),
        }
        for row in rows
    ]
    context = {
        "here": "detectors",
        "lines": lines,
        "search": search,
        "total": len(fleet.rows),
        "may_add": may_write("detector", roles_of(request)),
    }
    part = request.headers.get("HX-Request") == "true"
    response = render(request, "pitbird/_detectors_list.html" if part else "pitbird/detectors.html", context)
    response["Vary"] = "HX-Request, Cookie"
    response["Cache-Control"] = "no-store"
    return response


def _is(state: DetectorState, search: str) -> bool:
    wanted = search.casefold().removeprefix("detector:")
    return wanted in {naming.code(state.subject).casefold(), state.serial.casefold()}


@require_safe
def detector(request: HttpRequest, code: str) -> HttpResponse:
    """One detector: its stamp, why, what it is, who has it, its tests, its pages of the book."""
    subject = f"detector:{code}"
    state = Now().state(subject)
    if not isinstance(state, DetectorState):
        raise Http404(subject)
    zone = zone_of(state.site)
    question = asked.read(request, zone=zone)
    if question.faults:
        row = gate_service.gate_one(subject, now=question.now)
    else:
        try:
            row = gate_service.gate_one(
                subject,
                now=question.now,
                at=question.at,
                wearer=question.wearer,
                known_below=question.known_below,
            )
        except UnknownSubject:
            return _not_then(request, code)
    names = Names()
    context = {
        "here": "detectors",
        "question": question,
        "zone": zone,
        "told": tell_decision(row, zone, names),
        **_described(row, names, zone),
        **pages_of(request, subject, names),
        **_offered(row.state, roles_of(request)),
        "may_describe": may_write("detector", roles_of(request)),
    }
    response = render(request, "pitbird/detector.html", context, status=422 if question.faults else 200)
    response["Cache-Control"] = "no-store"
    return response


#: What would change a detector that is kept as it is for an investigation.
_CHANGES_IT: Final = frozenset({"fresh-air-set", "calibration", "repaired", "issued-untested"})


def _offered(state: DetectorState, roles: frozenset[str]) -> dict[str, list[Action]]:
    """What can be written; of a detector that is held, apart from it what should not be done to it now."""
    offered = actions("detector", roles)
    if held_for(state) is None:
        return {"actions": offered, "held_back": []}
    return {
        "actions": [action for action in offered if action.kind not in _CHANGES_IT],
        "held_back": [action for action in offered if action.kind in _CHANGES_IT],
    }


def _not_then(request: HttpRequest, code: str) -> HttpResponse:
    return render(request, "pitbird/not_then.html", {"here": "detectors", "code": code}, status=404)


def pages_of(request: HttpRequest, subject: str, names: Names) -> dict[str, Any]:
    """The entries about a subject, newest first, a page of them, with where the next page begins."""
    text = request.GET.get("before", "")
    before = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None
    rows = book.newest(PAGE + 1, before=before, subject=subject)
    told = tell_all(rows[:PAGE], names)
    return {
        "entries": told,
        "earlier": told[-1].index if len(rows) > PAGE else None,
        "paged": before is not None,
    }


def _described(row: GateRow, names: Names, zone: str) -> dict[str, Any]:
    state = row.state
    custody = state.custody
    found = loud(state, row.decision.as_of, zone)
    issue = found.untested
    tests = [
        {
            "at": test.at,
            "outcome": word(test.outcome),
            "by": names(test.by),
            "cylinders": [(naming.code(each), naming.address(each)) for each in test.cylinders],
            "missed": ", ".join(shown.channel for shown in test.shown if not shown.reached),
            "counts": test.counts,
            "why": word(test.spoiled_because) if test.spoiled_because else "",
            "relied_on": test.entry == row.decision.test,
            "look_back": test.index if test.outcome == "failed" else None,
        }
        for test in state.tests[:8]
    ]
    calibrated = {fact.channel: fact for fact in state.calibrations}
    channels = [
        {
            "name": channel.name,
            "gas": channel.gas,
            "unit": unit(channel.unit),
            "range": channel.range_high,
            "alarms": [
                {
                    "name": alarm.name,
                    "at": alarm.at,
                    "falling": alarm.direction == "falling",
                    "shown_by": alarm.shown_by,
                    "shown_words": word(alarm.shown_by),
                    "highest": alarm == channel.must_show,
                }
                for alarm in channel.alarms
            ],
            "calibrated": calibrated.get(channel.name),
            "sensor_ends": channel.sensor_ends,
        }
        for channel in state.channels
    ]
    return {
        "state": state,
        "code": naming.code(state.subject),
        "site_name": names(state.site),
        "holder": names(custody.holder) if custody and custody.holder else "",
        "custody": custody,
        "untested": {
            "to": names(issue.to),
            "authority": names(issue.authority),
            "until": times.shown(issue.until, zone),
            "entry": issue.entry,
        }
        if issue is not None
        else None,
        "held": found.held,
        "ended": any(ending.days_left < 0 for ending in found.endings),
        "endings": [ToldLoud(ending_words(ending), grave=ending.days_left < 0) for ending in found.endings],
        "tests": tests,
        "channels": channels,
        "signals": ", ".join(word(each) for each in state.signals),
        "draws": word(state.draws),
        "reasons": [
            (reason, word(reason.because), ", ".join(reason.channels)) for reason in state.open_reasons
        ],
    }
