"""The gate: what may go out now?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from pitbird.fleet.state import PersonState
from pitbird.rules.decision import Verdict
from pitbird.services import gate as gate_service
from pitbird.services.gate import GateRow
from pitbird.services.knowing import Now
from pitbird.services.waiting import waiting
from pitbird.web import names as naming
from pitbird.web.names import Names
from pitbird.web.telling import (
    ToldDecision,
    ToldLoud,
    answer_words,
    count_words,
    subjects_in,
    tell_decision,
    tell_loud,
)
from pitbird.web.views import asked
from pitbird.web.who import roles_of

HEADINGS: Final = {
    Verdict.OUT_OF_SERVICE: gettext_lazy("Out of service"),
    Verdict.CANNOT_TELL: gettext_lazy("Cannot tell"),
    Verdict.NOT_YET: gettext_lazy("Not yet"),
    Verdict.MAY_GO_OUT: gettext_lazy("May go out"),
}


@dataclass(frozen=True)
class Line:
    """One detector on the page."""

    told: ToldDecision
    type: str
    serial: str
    holder: str
    site: str
    loud: tuple[ToldLoud, ...]


@dataclass(frozen=True)
class Group:
    """The detectors of one verdict."""

    verdict: str
    heading: str
    count: str
    lines: tuple[Line, ...]


@require_safe
def gate(request: HttpRequest) -> HttpResponse:
    """What may go out, worst first; the list alone where htmx asks for it."""
    question = asked.read(request)
    names = Names()
    search = request.GET.get("q", "").strip()
    wanted = request.GET.get("verdict", "")
    fleet: gate_service.Gate | None = None
    if not question.faults:
        fleet = gate_service.gate(**question.arguments)
    rows = [row for row in fleet.rows if matches(row, search, names)] if fleet else []
    counts = {verdict: sum(row.decision.verdict is verdict for row in rows) for verdict in HEADINGS}
    if wanted in set(Verdict):
        rows = [row for row in rows if row.decision.verdict == wanted]
    names.read(subjects_in(finding for row in rows for finding in row.decision.telling))
    zones = {state.subject: state.zone for state in naming.sites()}
    context: dict[str, Any] = {
        "here": "gate",
        "question": question,
        "groups": _groups(rows, names, zones),
        "counts": [
            (verdict.value, str(HEADINGS[verdict]), count_words(counts[verdict])) for verdict in HEADINGS
        ],
        "total": sum(counts.values()),
        "answer": answer_words(counts) if fleet else "",
        "sites": naming.sites(),
        "places": [(naming.code(site.subject), site.name) for site in naming.sites()],
        "place": naming.code(question.site) if question.site else "",
        "wearers": _wearers(names),
        "verdicts": [(verdict.value, heading) for verdict, heading in HEADINGS.items()],
        "wanted": wanted,
        "search": search,
        "site_name": names(question.site),
        "wearer_name": names(question.wearer),
        "at_typed": request.GET.get("at", ""),
        "known_typed": request.GET.get("known", ""),
        "waits": len(waiting()) if "keeper" in roles_of(request) else 0,
        "narrowed": bool(search or wanted or question.site or question.wearer),
    }
    part = context["part"] = request.headers.get("HX-Request") == "true"
    template = "pitbird/_gate_list.html" if part else "pitbird/gate.html"
    response = render(request, template, context, status=422 if question.faults else 200)
    response["Vary"] = "HX-Request, Cookie"
    response["Cache-Control"] = "no-store"
    return response


def matches(row: GateRow, search: str, names: Names) -> bool:
    """Whether a detector answers to a search: code, serial number, make, model or the holder's name."""
    if not search:
        return True
    state = row.state
    holder = names(state.custody.holder) if state.custody and state.custody.holder else ""
    words = (naming.code(state.subject), state.serial, state.make, state.model, holder)
    text = " ".join(words).casefold()
    return all(part in text for part in search.casefold().split())


def _groups(rows: list[GateRow], names: Names, zones: dict[str, str]) -> list[Group]:
    groups = []
    for verdict, heading in HEADINGS.items():
        lines = tuple(_line(row, names, zones) for row in rows if row.decision.verdict is verdict)
        if lines:
            groups.append(Group(verdict.value, str(heading), count_words(len(lines)), lines))
    return groups


def _line(row: GateRow, names: Names, zones: dict[str, str]) -> Line:
    state = row.state
    zone = zones.get(state.site or "")
    return Line(
        told=tell_decision(row, zone, names, all_findings=False),
        type=f"{state.make} {state.model}".strip(),
        serial=state.serial,
        holder=names(state.custody.holder) if state.custody and state.custody.holder else _("store"),
        site=names(state.site),
        loud=tell_loud(state, row.decision.as_of, zone, names),
    )


def _wearers(names: Names) -> list[tuple[str, str]]:
    people = [state for state in Now().all_of(PersonState) if state.described_by and not state.left]
    return sorted(
        ((state.subject, names(state.subject)) for state in people), key=lambda pair: pair[1].casefold()
    )
