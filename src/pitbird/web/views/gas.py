"""Test gas: the cylinders, and the page of one."""

from __future__ import annotations

from datetime import timedelta
from difflib import get_close_matches
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_safe

from pitbird.fleet.state import CylinderState, OtherState
from pitbird.fleet.times import Ms, local
from pitbird.rules import words
from pitbird.services import clock
from pitbird.services.balancing import balanced
from pitbird.services.gas_left import gas_left
from pitbird.services.gas_questions import GasQuestion, gas_questions, unanswered
from pitbird.services.knowing import Now
from pitbird.services.serving import GAS_ON_S, against, regulator_of
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.views import serving
from pitbird.web.views.asked import zone_here
from pitbird.web.views.detectors import actions, pages_of
from pitbird.web.vocabulary import mixture, word
from pitbird.web.who import may_write, roles_of, zone_of

GROUPS: Final = (
    ("in-question", gettext_lazy("In question"), gettext_lazy("No cylinder is in question.")),
    ("in-use", gettext_lazy("In use"), gettext_lazy("No cylinder is in use.")),
    ("in-stock", gettext_lazy("In stock"), gettext_lazy("No cylinder is in stock.")),
    ("quarantined", gettext_lazy("Quarantined"), gettext_lazy("No cylinder is in doubt.")),
    ("emptied", gettext_lazy("Emptied"), gettext_lazy("No cylinder has been emptied.")),
)
_EMPTIED_SHOWN: Final = 20


def standing(state: CylinderState, now: Ms, *, in_question: bool = False) -> str:
    """Where a cylinder belongs on the page; what is in doubt or empty is never listed as in use."""
    if state.emptied_at is not None and state.emptied_at <= now:
        return "emptied"
    if state.withdrawn_at(now) is not None:
        return "quarantined"
    if in_question:
        return "in-question"
    return "in-use" if state.opened_at is not None else "in-stock"


def today(now: Ms, zone: str | None) -> str:
    """The day it is at a site, ``2026-03-02``."""
    return local(now, zone or "UTC").date().isoformat()


def warning(state: CylinderState, now: Ms, zone: str | None) -> str:
    """What is wrong with a cylinder, or soon will be; "" for nothing."""
    here = today(now, zone)
    soon = (local(now, zone or "UTC").date() + timedelta(days=30)).isoformat()
    problems = []
    if state.described_by is None:
        problems.append(_("not described in the book"))
    if state.expires is None:
        problems.append(_("no last day of use is known"))
    elif state.expires < here:
        problems.append(_("out of date"))
    elif state.expires <= soon:
        problems.append(_("out of date soon"))
    if state.gauges and state.minimum_pressure_bar is not None:
        try:
            low = float(state.gauges[0].bar) <= float(state.minimum_pressure_bar)
        except ValueError:
            low = True
        if low:
            problems.append(_("at or below its minimum pressure"))
    return ", ".join(problems)


def question_words(question: GasQuestion, zone: str | None) -> str:
    """Why a cylinder is in question, in a sentence."""
    failure = question.failure
    tests = ngettext("%d test failed on it in a row", "%d tests failed on it in a row", failure.in_a_row)
    detectors = ngettext(
        "%d detector failed among its last ten tests",
        "%d detectors failed among its last ten tests",
        failure.detectors,
    )
    return _("In question since %(when)s: %(tests)s, %(detectors)s.") % {
        "when": times.short(failure.at, zone),
        "tests": tests % failure.in_a_row,
        "detectors": detectors % failure.detectors,
    }


def _codes() -> list[str]:
    return [naming.code(state.subject) for state in Now().all_of(CylinderState)]


def _scanned(text: str) -> list[CylinderState]:
    """The cylinders of a code, else of a lot, whatever the case of its letters."""
    wanted = text.casefold().removeprefix("cylinder:")
    states = Now().all_of(CylinderState)
    return [each for each in states if naming.code(each.subject).casefold() == wanted] or [
        each for each in states if (each.lot or "").casefold() == wanted
    ]


@require_safe
def gas(request: HttpRequest) -> HttpResponse:
    """The cylinders by what can be done with them; a code or lot as scanned leads to the one it is."""
    scanned = request.GET.get("q", "").strip()
    fits = _scanned(scanned) if scanned else []
    if len(fits) == 1:
        return redirect("cylinder", code=naming.code(fits[0].subject))
    now, names = clock.now(), Names()
    zones = {state.subject: state.zone for state in naming.sites()}
    listed: dict[str, list[dict[str, Any]]] = {key: [] for key, _heading, _none in GROUPS}
    states = Now().all_of(CylinderState)
    asked = gas_questions(states, now)
    for state in sorted(states, key=lambda each: (each.site or "", each.expires or "", each.subject)):
        zone = zones.get(state.site or "")
        question = asked.get(state.subject)
        where = standing(state, now, in_question=question is not None)
        listed[where].append(
            {
                "code": naming.code(state.subject),
                "mixture": mixture(state),
                "site": names(state.site),
                "expires": state.expires,
                "gauge": state.gauges[0].bar if state.gauges else "",
                "gauge_at": state.gauges[0].at if state.gauges else None,
                "tests": state.tests,
                "zone": zone,
                "emptied_at": state.emptied_at,
                "warning": warning(state, now, zone) if where != "emptied" else "",
                "question": question_words(question, zone) if question else "",
            }
        )
    emptied = listed["emptied"]
    emptied.sort(key=lambda each: -(each["emptied_at"] or 0))
    context = {
        "here": "gas",
        "scanned": scanned,
        "fits": [naming.code(state.subject) for state in fits],
        "near": get_close_matches(scanned.upper(), _codes(), n=3, cutoff=0.7) if scanned and not fits else [],
        "now": now,
        "zone": zone_here(request),
        "groups": [
            {
                "key": key,
                "heading": heading,
                "none": none,
                "lines": listed[key][:_EMPTIED_SHOWN] if key == "emptied" else listed[key],
                "more": max(0, len(listed[key]) - _EMPTIED_SHOWN) if key == "emptied" else 0,
            }
            for key, heading, none in GROUPS
            if listed[key] or key != "in-question"
        ],
        "ask_first": words.REMEDIES["ask-gas-first"](_) if listed["in-question"] else "",
        "in_question": len(listed["in-question"]),
        "usable": sum(
            1 for line in listed["in-use"] if _("out of date") != line["warning"].partition(", ")[0]
        ),
        "in_use": len(listed["in-use"]),
        "in_stock": len(listed["in-stock"]),
        "may_add": may_write("cylinder", roles_of(request)),
    }
    return render(request, "pitbird/gas.html", context)


def regulator_words(state: OtherState | None) -> str:
    """A regulator's flow and hose, in words; "" where none is described."""
    said = state.description if state is not None else {}
    flow, litres, hose = said.get("flow"), said.get("flow_l_min"), said.get("hose_m")
    parts = [{"fixed": _("fixed flow"), "demand": _("demand flow")}.get(flow, flow)] if flow else []
    if litres:
        parts.append(f"{litres} l/min")
    if hose:
        parts.append(_("hose of %s m") % hose)
    return ", ".join(parts)


def label_lines(state: CylinderState) -> list[dict[str, str]]:
    """What the label says of the flammable limit, gas by gas, as far as it was written down."""
    lines = []
    for part in state.components:
        parts = [f"{part.label_pct_lfl} %LFL"] if part.label_pct_lfl else []
        if part.label_lfl_vol_pct:
            parts.append(_("100 %%LFL is %s %% vol") % part.label_lfl_vol_pct)
        if parts:
            lines.append({"gas": part.gas, "words": ", ".join(parts)})
    return lines


@require_safe
def cylinder(request: HttpRequest, code: str) -> HttpResponse:
    """One cylinder: what is in it, how much is left, what was done with it."""
    subject = f"cylinder:{code}"
    state = Now().state(subject)
    if not isinstance(state, CylinderState):
        raise Http404(subject)
    now, names, zone = clock.now(), Names(), zone_of(state.site)
    question = gas_questions([state], now).get(subject)
    where = standing(state, now, in_question=question is not None)
    context = {
        "here": "gas",
        "state": state,
        "code": code,
        "now": now,
        "zone": zone,
        "site_name": names(state.site),
        "standing": where,
        "standing_words": {key: heading for key, heading, _none in GROUPS}[where],
        "warning": warning(state, now, zone),
        "against": against(state, now, zone),
        "mixture": mixture(state) if state.components else "",
        "asked": question_words(question, zone) if question else "",
        "asked_stops": question.stops if question else False,
        "ask_first": words.REMEDIES["ask-gas-first"](_) if question else "",
        "failed_on": [(failure, naming.code(failure.detector)) for failure in unanswered(state)],
        "may_release": may_write("cylinder-released", roles_of(request)),
        "components": [(part, word(part.unit)) for part in state.components],
        "gauges": state.gauges,
        "left": serving.left_words(gas_left(state, now=now)),
        "balance": serving.balance_words(balanced(state)),
        "serves": serving.lines(state),
        "seconds": f"{GAS_ON_S:g}",
        "minutes": round(state.gas_on_ms / 60_000, 1),
        "withdrawn": [(span, word(span.because)) for span in state.withdrawn],
        "regulator": naming.code(state.regulator) if state.regulator else "",
        "regulator_words": regulator_words(regulator_of(state, Now())),
        "labels": label_lines(state),
        "actions": actions("cylinder", roles_of(request)),
        "may_describe": may_write("cylinder", roles_of(request)),
        **pages_of(request, subject, names),
    }
    return render(request, "pitbird/cylinder.html", context)
