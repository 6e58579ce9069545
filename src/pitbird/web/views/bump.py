"""The bump test page: choose a detector, give it gas, write what it showed, see what the gate says now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from pitbird.fleet import bump
from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState
from pitbird.fleet.times import Ms
from pitbird.intake.faults import EntryRefused
from pitbird.record.leaf import read_leaf
from pitbird.rules.decision import Outcome, Verdict
from pitbird.services import clock, gate
from pitbird.services.knowing import Now
from pitbird.services.loud import held_for
from pitbird.services.writing import Actor, IdTaken, write
from pitbird.store import book
from pitbird.web.names import Names, address, code
from pitbird.web.secure import is_secure
from pitbird.web.telling import ToldDecision, answer_words, tell_decision, tell_loud
from pitbird.web.views import bump_form, bump_gas, bump_words
from pitbird.web.views.bump_form import FieldFault
from pitbird.web.views.slips import may_take_back
from pitbird.web.who import actor_of, may_write, roles_of

_REASONS: Final = ("hood-slipped", "gas-ran-out", "broken-off", "wrong-gas")


@dataclass(frozen=True)
class ChannelLine:
    """A channel as the page names it; ``slug`` makes ids, since names may hold spaces."""

    name: str
    slug: str
    wanted: str
    """What it must read in clean air, in words."""
    alarm: str
    """Its must-show alarm in words; "" if none is shown by gas."""


@dataclass(frozen=True)
class Field:
    """One field of the form as it is drawn: its value as typed, and what is wrong with it."""

    name: str
    id: str
    label: str
    value: str
    wrong: str


class Fields:
    """Makes fields, and keeps those that are wrong in the order in which they stand on the page."""

    def __init__(self, values: Mapping[str, str], faults: Iterable[FieldFault]) -> None:
        self.values = values
        self.wrong: dict[str, str] = {}
        self.at_fault: list[Field] = []
        for fault in faults:
            before = self.wrong.get(fault.name)
            self.wrong[fault.name] = f"{before} {fault.problem}" if before else fault.problem

    def __call__(self, name: str, label: object, id_: str | None = None) -> Field:
        """The field of a name; ``id_`` where the name itself cannot be an id."""
        made = Field(
            name, id_ or f"f-{name}", str(label), self.values.get(name, ""), self.wrong.get(name, "")
        )
        if made.wrong:
            self.at_fault.append(made)
        return made

    def elsewhere(self) -> str:
        """Faults of no field on the page."""
        drawn = {each.name for each in self.at_fault}
        return " ".join(problem for name, problem in self.wrong.items() if name not in drawn)


@require_GET
@never_cache
def choose(request: HttpRequest) -> HttpResponse:
    """Which detector is to be tested: keyed in, scanned, or picked from those that need a test."""
    actor = actor_of(request)
    now = clock.now()
    typed = request.GET.get("detector", "").strip()
    near: list[str] = []
    if typed:
        matches = find(typed)
        if len(matches) == 1:
            return redirect("test-detector", code(matches[0]))
        near = matches or near_names(typed)
    told = gate.gate(now=now, site=actor.site)
    rows = [row for row in told.rows if row.decision.verdict is not Verdict.MAY_GO_OUT]
    held = [code(row.state.subject) for row in rows if held_for(row.state) is not None]
    rows = [row for row in rows if held_for(row.state) is None]
    context = {
        "here": "test",
        "typed": typed,
        "near": [code(subject) for subject in near],
        "rows": [
            {
                "told": _told(row, actor.zone),
                "loud": tell_loud(row.state, now, actor.zone, Names(())),
            }
            for row in rows
        ],
        "held": held,
        "secure": is_secure(request),
        "may_table": may_write("detector", roles_of(request)),
        "answer": answer_words({verdict: told.count(verdict) for verdict in Verdict}),
        "site": Names(())(actor.site),
        "now": now,
        "zone": actor.zone,
    }
    return render(request, "pitbird/bump/choose.html", context, status=404 if typed else 200)


def _told(row: gate.GateRow, zone: str) -> ToldDecision:
    return tell_decision(row, zone, Names(()))


def find(typed: str) -> list[str]:
    """The detectors that a typed or scanned text means: by code (also as a subject or at the end of an
    address), else by the maker's serial number."""
    text = typed.rstrip("/").rpartition("/")[2].removeprefix("detector:").casefold()
    by_code = [subject for subject in book.subjects("detector") if code(subject).casefold() == text]
    if by_code:
        return by_code
    return [
        state.subject for state in Now().all_of(DetectorState) if state.serial.casefold() == typed.casefold()
    ]


def near_names(typed: str) -> list[str]:
    """Detectors with a code much like what was typed."""
    codes = {code(subject).casefold(): subject for subject in book.subjects("detector")}
    return [codes[near] for near in get_close_matches(typed.casefold(), codes, n=5, cutoff=0.6)]


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def record(request: HttpRequest, code: str) -> HttpResponse:
    """Record a bump test of one detector; after writing, what the gate says now."""
    actor = actor_of(request)
    state = Now().state(f"detector:{code}")
    if not isinstance(state, DetectorState):
        return redirect(f"{reverse('test')}?{urlencode({'detector': code})}")
    if request.method == "POST":
        return _post(request, state, actor)
    written = request.GET.get("written")
    if written and (shown := _written(request, state, actor, written)):
        return shown
    from_slip = "slip" in request.GET
    if (held := held_for(state)) is not None and not from_slip and not request.GET.get("although-held"):
        context = {"here": "test", "code": code, "held": held, "zone": actor.zone, "detector": state}
        return render(request, "pitbird/bump/held.html", context)
    slip = {"slip": request.GET["slip"].strip()} if from_slip else {}
    return form_page(request, state, actor, clock.now(), first=slip)


def _post(request: HttpRequest, state: DetectorState, actor: Actor) -> HttpResponse:
    """Write the test. A form that was sent before is held to the moment at which it was recorded then."""
    values = {name: request.POST.get(name, "") for name in request.POST if name != "csrfmiddlewaretoken"}
    before = book.by_id(values.get("id", ""))
    now = Ms(before.recorded_at) if before else clock.now()
    reading = bump_form.read(values, bump.plan(state), detector=state.subject, now=now, zone=actor.zone)
    status = 422
    faults = [*bump_form.slip_faults(values, on_its_page="slip" in request.GET), *reading.faults]
    if not faults:
        try:
            draft = reading.draft
            if "slip" in draft:
                draft = bump_form.told_by_slip(draft, values, actor.person)
            appended = write(draft, actor, now=now)
        except EntryRefused as refused:
            faults = [bump_form.placed(fault, reading) for fault in refused.faults]
        except IdTaken as taken:
            faults, status = [FieldFault("", _taken(taken.index))], 409
        else:
            page = reverse("test-detector", args=[code(state.subject)])
            return redirect(f"{page}?written={appended.entry_id}")
    return form_page(request, state, actor, now, values=values, faults=faults, status=status)


def _taken(index: int) -> str:
    return _(
        "This test stands in the book already, as entry %(index)s, and says something else. "
        "What stands in the book is not changed: begin a new test, or have the keeper write a correction."
    ) % {"index": index}


def form_page(
    request: HttpRequest,
    state: DetectorState,
    actor: Actor,
    now: Ms,
    *,
    values: Mapping[str, str] | None = None,
    faults: Iterable[FieldFault] = (),
    first: Mapping[str, str] | None = None,
    status: int = 200,
    template: str = "pitbird/bump/record.html",
    also: Mapping[str, Any] | None = None,
) -> HttpResponse:
    """The page with the form, ``first`` what an address put into it; ``template`` and ``also`` make it the
    page that replaces a test."""
    plan = bump.plan(state)
    site = actor.site or state.site
    offered = bump_gas.choices(
        state.channels, Now().all_of(CylinderState), site=site, now=now, zone=actor.zone
    )
    order, unserved = bump_gas.plan_gas(state.channels, offered)
    given = dict(values) if values is not None else _first_values(order) | dict(first or {})
    from_slip = "slip" in request.GET or bool(given.get("slip", "").strip())
    fields = Fields(given, faults)
    context = {
        "here": "test",
        "detector": state,
        "code": code(state.subject),
        "entry_id": given.get("id") or clock.new_id(),
        "person": actor.person,
        "row": _told(gate.gate_one(state.subject, now=clock.now()), actor.zone),
        "warnings": _warnings(state, offered, unserved),
        "reasons": [(name, bump_words.BECAUSE[name]) for name in _REASONS],
        "offered": offered,
        "regulators": [code(subject) for subject in book.subjects("regulator")],
        "refused": bool(faults),
        "from_slip": from_slip,
        "site": Names(())(site),
        "zone": actor.zone,
        "now": now,
        **_drawn(fields, plan, state, len(order), {choice.code for choice in offered}, actor.zone, from_slip),
        "for_script": {
            "plan": plan,
            "serves": {choice.code: list(choice.serves) for choice in offered},
            "regulators": {choice.code: choice.regulator for choice in offered},
            "expired": [choice.code for choice in offered if choice.expired],
            "words": bump_words.for_script(),
            "now": clock.now(),
        },
    }
    context |= {"why": fields("why", _("Why the entry is wrong")), **(also or {})}
    context |= {"faults": fields.at_fault, "general": fields.elsewhere()}
    return render(request, template, context, status=status)


def _drawn(
    fields: Fields,
    plan: bump.Plan,
    state: DetectorState,
    planned: int,
    offered: set[str],
    zone: str,
    from_slip: bool,
) -> dict[str, Any]:
    """Every field of the form, in the order of the page."""
    lines = [line(number, channel) for number, channel in enumerate(state.channels)]
    return {
        "lines": lines,
        "temperature": fields("temperature", _("Temperature here, °C")),
        "checks": [fields(f"check-{name}", bump_words.CHECKS[name]) for name in plan["checks"]],
        "air": [
            {
                "right": fields(f"air-{each.name}", each.wanted, f"f-air-{each.slug}"),
                "reading": fields(f"read-{each.name}", _("%s reads") % each.name, f"f-read-{each.slug}"),
            }
            for each in lines
        ],
        "applications": _applications(fields, lines, planned, offered),
        "signals": [fields(f"signal-{name}", bump_words.SIGNALS[name]) for name in plan["signals"]],
        "cleared": [fields(f"cleared-{name}", bump_words.CLEARED[name]) for name in plan["cleared"]],
        "ended": fields(
            "ended",
            _("When the gas went off, as on the slip")
            if from_slip
            else _("When the gas went off, if not just now"),
        ),
        "ended_help": _("On this site's clock (%s), such as 2026-03-02 06:41") % zone,
        "note": fields("note", _("Note")),
        "slip": fields("slip", _("Number of the paper slip")),
        "tester": fields("tester", _("Code of who tested, as on the slip")),
        "countersigned": fields("countersigned", _("Code of who countersigned it")),
        "because": fields("because", _("Why the try proves nothing")),
    }


def line(number: int, channel: ChannelFact) -> ChannelLine:
    """A channel as the page names it."""
    alarm = channel.must_show
    unit = bump_gas.shown_unit(channel.unit)
    return ChannelLine(
        name=channel.name,
        slug=f"c{number}",
        wanted=_("%(name)s: %(value)s %(unit)s, give or take %(tolerance)s")
        % {
            "name": channel.name,
            "value": channel.clean_air,
            "unit": unit,
            "tolerance": channel.clean_air_tolerance,
        },
        alarm=bump_words.alarm(alarm.name, alarm.at, unit) if alarm else "",
    )


def _first_values(order: list[bump_gas.Choice]) -> dict[str, str]:
    """What stands in the form before anybody touched it: the planned cylinders with their regulators."""
    values: dict[str, str] = {}
    for number, choice in enumerate(order[: bump_form.MOST_APPLICATIONS]):
        values[f"gas-{number}-cylinder"] = choice.code
        values[f"gas-{number}-regulator"] = choice.regulator
    return values


def _applications(
    fields: Fields, lines: list[ChannelLine], planned: int, offered: set[str]
) -> list[dict[str, Any]]:
    """All gas applications that the form has room for; those beyond the plan are shown when wanted."""
    touched = [
        number
        for number in range(bump_form.MOST_APPLICATIONS)
        if any(fields.values.get(f"gas-{number}-{name}") for name in ("cylinder", "on", "seconds"))
    ]
    last = max([planned - 1, 0, *touched])
    made = []
    for number in range(bump_form.MOST_APPLICATIONS):
        nth = _("Cylinder") if last == 0 and number == 0 else _("Cylinder %s") % (number + 1)
        own = {
            name: fields(f"gas-{number}-{name}", label)
            for name, label in (
                ("cylinder", nth),
                ("regulator", _("Regulator")),
                ("gauge", _("Gauge, bar")),
                ("seconds", _("Seconds of gas")),
                ("on", ""),
                ("off", ""),
            )
        }
        channels = [
            {
                "line": each,
                "reach": fields(
                    f"reach-{number}-{each.name}",
                    _("%(name)s: %(alarm)s") % {"name": each.name, "alarm": each.alarm},
                    f"f-reach-{number}-{each.slug}",
                ),
                "after": fields(
                    f"after-{number}-{each.name}", _("after, s"), f"f-after-{number}-{each.slug}"
                ),
            }
            for each in lines
            if each.alarm
        ]
        cylinder = own["cylinder"].value
        made.append(
            {
                "number": number,
                "ordinal": number + 1,
                "wanted": number <= last,
                "far": number > last + 1,
                "elsewhere": bool(cylinder) and cylinder not in offered,
                "channels": channels,
                **own,
            }
        )
    return made


def _warnings(state: DetectorState, offered: list[bump_gas.Choice], unserved: list[str]) -> list[str]:
    """What is to be said before gas is wasted."""
    said = []
    if held_for(state) is not None:
        said.append(
            _(
                "This detector is held for an investigation. Do not test, zero, charge or repair it: keep "
                "it, and its records, as they are."
            )
        )
    elif state.open_reasons:
        said.append(
            _(
                "This detector is out of service. A test may show whether it is mended, and is recorded; "
                "it goes out again only when it is returned to service."
            )
        )
    for choice in offered:
        if choice.in_use and choice.against:
            said.append(
                _("Do not use cylinder %(code)s. %(why)s")
                % {"code": choice.code, "why": " ".join(choice.against)}
            )
    if unserved and state.channels:
        said.append(
            _(
                "By the certificates in the book no usable cylinder here brings %(channels)s to the "
                "alarm. Fetch the right gas, or choose the cylinder yourself."
            )
            % {"channels": ", ".join(unserved)}
        )
    return said


def _written(request: HttpRequest, state: DetectorState, actor: Actor, entry_id: str) -> HttpResponse | None:
    """The result page: what was written, and what the gate says now."""
    row = book.by_id(entry_id)
    if row is None or row.kind != "bump-test":
        return None
    body = read_leaf(row.leaf.encode()).body
    if body["detector"] != state.subject:
        return None
    decided = gate.gate_one(state.subject, now=clock.now())
    told = _told(decided, actor.zone)
    _outcome, reasons = bump.outcome(bump.plan(state), body)
    context = {
        "here": "test",
        "code": code(state.subject),
        "detector": state,
        "entry": row,
        "outcome": body["outcome"],
        "heading": bump_words.HEADINGS[body["outcome"]],
        "advice": bump_words.ADVICE[body["outcome"]],
        "reasons": bump_words.told(reasons, body.get("spoiled_because")),
        "row": told,
        "findings": sorted(
            (each for each in told.findings if each.outcome != Outcome.DOES_NOT_APPLY.value),
            key=lambda each: (not each.decisive, each.outcome == Outcome.MET.value),
        ),
        "site": Names(())(actor.site or state.site),
        "zone": actor.zone,
        "now": decided.decision.as_of,
        "detector_address": address(state.subject),
        "may_be_slip": may_take_back(request, row),
    }
    return render(request, "pitbird/bump/written.html", context)
