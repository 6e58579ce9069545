"""The snapshot that a phone carries into the field, as plain JSON values with their words: docs/field.md."""

from __future__ import annotations

import gzip
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

import msgspec
from django.utils.translation import get_language, gettext

from pitbird.fleet.state import CylinderState, DetectorState, PersonState, SiteState
from pitbird.fleet.times import Ms, local, text_of
from pitbird.intake.checks import AUTHORITY
from pitbird.rules.decision import Finding
from pitbird.rules.words import remedy, sentence
from pitbird.services import carrying, gate, handing, people, pins
from pitbird.services.field import FIELD_KINDS
from pitbird.services.gas_left import gas_left
from pitbird.services.gate import GateRow
from pitbird.services.knowing import Now
from pitbird.services.phones import Phone
from pitbird.services.waiting import waiting_by_detector
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.language import number
from pitbird.web.names import Names, code
from pitbird.web.telling import subjects_in, tell_decision, tell_loud
from pitbird.web.views import bump_gas

FORMAT: Final = "pitbird-field/1"
#: What differs each time it is asked for, and makes no other snapshot.
_PASSING: Final = ("as_of", "server_time", "csrf")


@dataclass(frozen=True)
class Carried:
    """A snapshot with its tag; the tag leaves out what only says when it was asked for."""

    value: dict[str, Any]
    tag: str

    def bytes(self, *, packed: bool) -> bytes:
        """The JSON, gzipped where the browser takes it."""
        plain = msgspec.json.encode(self.value)
        return gzip.compress(plain, 6, mtime=0) if packed else plain


def snapshot(site: SiteState, now: Ms, *, person: str | None, phone: Phone | None) -> Carried:
    """Everything that a phone carries for one site."""
    zone = site.zone or "UTC"
    asks = carrying.asks_of(site.subject, now)
    told = gate.gate(now=now, site=site.subject)
    cylinders = carrying.cylinders_at(site.subject, Now().all_of(CylinderState))
    kinds: dict[carrying.Type, int] = {}
    for row in told.rows:
        kinds.setdefault(carrying.type_of(row.state), len(kinds))
    value: dict[str, Any] = {
        "format": FORMAT,
        "book": book_id(),
        "language": get_language() or "en",
        "as_of": text_of(now),
        "server_time": text_of(now),
        "until": text_of(carrying.over_at(site, now)),
        "ends": [text_of(end) for end in carrying.ends_ahead(site, now)],
        "site": {
            "code": code(site.subject), "name": site.name, "zone": zone,
            "change_overs": list(site.change_overs),
        },
        "sites": [{"code": code(each.subject), "name": each.name} for each in naming.sites()],
        "person": code(person) if person else None,
        "device": _device(phone),
        "rules": _rules(asks),
        "types": [_type(kind, cylinders, asks, site.subject, now, zone) for kind in kinds],
        "detectors": detectors(told.rows, zone, now, kinds),
        "elsewhere": {code(name): code(where) for name, where in carrying.elsewhere(site.subject).items()},
        "cylinders": [_cylinder(state, site.subject, now, zone) for state in cylinders],
        "regulators": [code(name) for name in book.subjects("regulator")],
        "people": _people(site.subject, now, zone),
        "last_cylinder": code(last) if (last := carrying.last_used(cylinders)) else None,
    }  # fmt: skip
    lasting = {name: part for name, part in value.items() if name not in _PASSING}
    return Carried(value, sha256(msgspec.json.encode(lasting)).hexdigest()[:32])


def book_id() -> str:
    """The book's own id: that of its first entry."""
    first = book.at_index(0)
    return first.entry_id if first is not None else ""


def _device(phone: Phone | None) -> dict[str, Any] | None:
    if phone is None:
        return None
    return {
        "code": code(phone.subject), "label": phone.label, "site": code(phone.site),
        "ended": phone.ended is not None, "fingerprint": phone.fingerprint,
    }  # fmt: skip


def _rules(asks: carrying.Asks | None) -> dict[str, Any] | None:
    if asks is None:
        return None
    return {
        "id": asks.rules, "version": asks.version, "checks": list(asks.checks),
        "clean_air": asks.clean_air, "cleared": asks.cleared, "tries": asks.tries,
        "gas_on_s": {"least": asks.least_s, "most": asks.most_s},
    }  # fmt: skip


def _type(
    kind: carrying.Type,
    cylinders: Sequence[CylinderState],
    asks: carrying.Asks | None,
    site: str,
    now: Ms,
    zone: str,
) -> dict[str, Any]:
    make, model, _draws, _signals, _pump, channels = kind
    offered = bump_gas.choices(channels, cylinders, site=site, now=now, zone=zone)
    order, unserved = bump_gas.plan_gas(channels, offered)
    least = asks.least_s if asks else None
    fitted = carrying.regulators()
    return {
        "make": make,
        "model": model,
        "plan": carrying.plan_of(kind),
        "gas": {
            code(state.subject): carrying.in_gas(kind, state, least, fitted.get(state.regulator or ""))
            for state in cylinders
        },
        "order": [choice.code for choice in order],
        "unserved": unserved,
    }


def detectors(
    rows: Iterable[GateRow], zone: str, now: Ms, kinds: dict[carrying.Type, int] | None = None
) -> list[dict[str, Any]]:
    """Detectors with the gate's answer in words; ``type`` only where the types are told beside them."""
    listed = list(rows)
    names = Names([])
    waits = waiting_by_detector() if listed else {}
    others = handing.for_others(listed)
    made = []
    for row in listed:
        found = _detector(row, zone, now, names, waits.get(row.state.subject, 0), kinds)
        part = others.get(row.state.subject)
        if part is not None:
            found["for_others"] = _part(part, zone, names, {handing.SOMEBODY: "{name}"})
        made.append(found)
    return made


def _part(part: handing.Part, zone: str, names: Names, called: dict[str, str]) -> dict[str, Any]:
    """What a part of the answer for a wearer says, in words; ``{name}`` stands for the wearer."""
    findings = [*([part.finding] if part.finding is not None else []), *part.warns]
    names.read(subjects_in(findings) - called.keys())
    said = {**names.mapping, **called}

    def told(finding: Finding) -> tuple[str, str]:
        words = sentence(
            finding, zone=zone, gettext=gettext, names=said, clock=times.short, day=times.day_shown,
            number=number,
        )  # fmt: skip
        return words, remedy(finding, gettext=gettext)

    found: dict[str, Any] = {
        "against": part.verdict.value if part.verdict is not None else None,
        "until": text_of(part.until) if part.until is not None else None,
        "warns": [" ".join(filter(None, told(each))) for each in part.warns],
    }
    if part.finding is not None:
        found["reason"], found["to_do"] = told(part.finding)
    return found


def for_wearer(row: GateRow, zone: str, now: Ms) -> dict[str, Any]:
    """The whole answer for a wearer: that about a detector, with what the rules warn of in the wearer."""
    [found] = detectors([row], zone, now)
    part = handing.Part(warns=handing.warnings_of(row.decision))
    return {**found, "warns": _part(part, zone, Names([]), {})["warns"]}


def _detector(
    row: GateRow, zone: str, now: Ms, names: Names, waits: int, kinds: dict[carrying.Type, int] | None
) -> dict[str, Any]:
    state, decision = row.state, row.decision
    told = tell_decision(row, zone, names, all_findings=False)
    decisive = decision.decisive
    loud = tell_loud(state, now, zone, names)
    held = carrying_held(state)
    custody, test = state.custody, state.tests[0] if state.tests else None
    found: dict[str, Any] = {
        "code": code(state.subject),
        "serial": state.serial,
        "site": code(state.site) if state.site else None,
        "verdict": decision.verdict.value,
        "until": text_of(decision.until) if decision.until is not None else None,
        "reason": told.reason,
        "to_do": told.remedy,
        "rule_code": decisive.code if decisive is not None else None,
        "held": loud[0].sentence if held and loud else None,
        "out": [reason.because for reason in state.open_reasons],
        "loud": [each.sentence for each in (loud[1:] if held else loud)],
        "waiting": waits,
        "holder": code(custody.holder) if custody and custody.holder else None,
        "due_back": text_of(custody.due_back) if custody and custody.due_back is not None else None,
        "permit": custody.permit if custody else None,
        "last_test": {
            "id": test.entry, "at": text_of(test.at), "outcome": test.outcome, "by": code(test.by),
        } if test else None,
    }  # fmt: skip
    if kinds is not None:
        found["type"] = kinds[carrying.type_of(state)]
    return found


def carrying_held(state: DetectorState) -> bool:
    """Whether a detector is held for an investigation."""
    return any(reason.because == "incident" for reason in state.open_reasons)


def _cylinder(state: CylinderState, site: str, now: Ms, zone: str) -> dict[str, Any]:
    gauge = state.gauges[0].bar if state.gauges else None
    minimum = state.minimum_pressure_bar
    against = bump_gas.against(state, now=now, zone=zone)
    return {
        "code": code(state.subject),
        "components": [
            {"gas": each.gas, "amount": each.amount, "unit": each.unit} for each in state.components
        ],
        "balance": state.balance,
        "expires": state.expires,
        "expired": bump_gas.expired(state, now=now, zone=zone),
        "regulator": code(state.regulator) if state.regulator else None,
        "in_use": carrying.in_use(state, site),
        "gauge_bar": gauge,
        "minimum_bar": minimum,
        "full_bar": state.full_pressure_bar,
        "minimum_temperature_c": state.minimum_temperature_c,
        "tests_left": gas_left(state, now=now).tests,
        "under_pressure": bool(gauge and minimum and float(gauge) < float(minimum)),
        "quarantined": state.withdrawn_at(now) is not None,
        "in_question": bump_gas.in_question(state, now),
        "against": list(against),
    }


def _people(site: str, now: Ms, zone: str) -> list[dict[str, Any]]:
    staff = carrying.staff(local(now, zone).date().isoformat())
    names = people.names(each.subject for each in staff)
    set_at, none = pins.set_at(), Names([])
    parts = handing.of_people(site, staff, now)
    return [
        {**_person(state, names, set_at), "wearing": _part(part, zone, none, {state.subject: "{name}"})}
        for state, part in zip(staff, parts, strict=True)
    ]


def _person(state: PersonState, names: dict[str, str], set_at: dict[str, Ms]) -> dict[str, Any]:
    roles = set(state.roles)
    since = set_at.get(state.subject)
    return {
        "code": code(state.subject),
        "name": names.get(state.subject),
        "tester": "tester" in roles,
        "wearer": "wearer" in roles,
        "authority": bool(AUTHORITY & roles),
        "may_write": [kind for kind, wanted in FIELD_KINDS.items() if wanted is None or wanted & roles],
        "pin": text_of(since) if since is not None else None,
    }


__all__ = ["Carried", "book_id", "detectors", "snapshot"]
