"""People: who they are, what they were trained in, who may act as what."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from pitbird.fleet.state import DetectorState, PersonState, TrainingFact
from pitbird.fleet.times import Ms
from pitbird.services import clock
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.store.models import Login
from pitbird.web import names as naming
from pitbird.web.names import Names
from pitbird.web.telling import tell_decision, tell_loud
from pitbird.web.views.asked import zone_here
from pitbird.web.views.detectors import actions, pages_of
from pitbird.web.views.gas import today
from pitbird.web.vocabulary import word
from pitbird.web.who import may_write, roles_of, zone_of


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    """Everybody in the book, with what they are trained in."""
    names, now = Names(), clock.now()
    here = today(now, zone_here(request))
    signed = set(Login.objects.values_list("person", flat=True))
    states = [state for state in Now().all_of(PersonState) if state.described_by]
    lines = [
        {
            "code": naming.code(state.subject),
            "name": names(state.subject),
            "roles": ", ".join(word(role) for role in state.roles),
            "home": names(state.home),
            "left": state.left,
            "trainings": held(state, here),
            "signs_in": state.subject in signed,
        }
        for state in states
    ]
    lines.sort(key=lambda line: (bool(line["left"]), str(line["name"]).casefold()))
    roles = roles_of(request)
    return render(request, "pitbird/people.html", {"lines": lines, "may_add": may_write("person", roles)})


def held(state: PersonState, here: str) -> list[tuple[str, str | None, bool]]:
    """Per topic the newest training: topic, last day, whether it holds on a day."""
    newest: dict[str, tuple[str, str | None, bool]] = {}
    for fact in state.trainings:
        newest.setdefault(fact.topic, (word(fact.topic), fact.until, holds(fact, here)))
    return list(newest.values())


def holds(fact: TrainingFact, here: str) -> bool:
    """Whether a training holds on a day; its last day is one on which it does."""
    return fact.passed and (fact.until is None or fact.until >= here)


def _with_them(state: DetectorState, now: Ms, names: Names) -> dict[str, Any]:
    """A detector that somebody has: what the gate says of it now, and what is loud about it."""
    zone = zone_of(state.site)
    row = gate_one(state.subject, now=now)
    return {
        "told": tell_decision(row, zone, names, all_findings=False),
        "type": f"{state.make} {state.model}".strip(),
        "since": state.custody.since if state.custody else None,
        "loud": tell_loud(state, now, zone, names),
    }


@require_safe
def person(request: HttpRequest, code: str) -> HttpResponse:
    """One person: roles, trainings, the detectors they have, their pages of the book."""
    subject = f"person:{code}"
    state = Now().state(subject)
    if not isinstance(state, PersonState):
        raise Http404(subject)
    names, now = Names(), clock.now()
    zone = zone_of(state.home) if state.home else zone_here(request)
    has = [each for each in Now().all_of(DetectorState) if each.custody and each.custody.holder == subject]
    here = today(now, zone)
    roles = roles_of(request)
    context = {
        "state": state,
        "code": code,
        "name": names(subject),
        "zone": zone,
        "now": now,
        "home": names(state.home),
        "roles": ", ".join(word(role) for role in state.roles),
        "trainings": [(fact, word(fact.topic), holds(fact, here)) for fact in state.trainings],
        "detectors": [_with_them(each, now, names) for each in has],
        "actions": actions("person", roles),
        "may_describe": may_write("person", roles),
        "may_look_back": may_write("look-back", roles),
        **pages_of(request, subject, names),
    }
    return render(request, "pitbird/person.html", context)
