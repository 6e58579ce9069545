"""Saying what shall stand instead of a bump test, on the form that records one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from pitbird.fleet import bump
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms, ms_of
from pitbird.intake.faults import EntryRefused
from pitbird.services import clock, people
from pitbird.services.doubts import at_another_time
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, IdTaken, write
from pitbird.store import book
from pitbird.web.entries import tell_all
from pitbird.web.facts import sealed_in
from pitbird.web.forms.replacing import correction_of, says_the_same
from pitbird.web.names import Names, code
from pitbird.web.times import NoSuchTime, read_typed, typed
from pitbird.web.views import bump as bump_page
from pitbird.web.views import bump_form
from pitbird.web.views.bump_form import FieldFault
from pitbird.web.views.write import say
from pitbird.web.who import actor_of


def replace_test(
    request: HttpRequest, row: book.Row, stands: Mapping[str, Any], *, voided: bool
) -> HttpResponse:
    """The bump test's form filled with what counts now; ``?about=`` moves the test to another detector."""
    state = _detector(request, stands)
    actor = replace(actor_of(request, state.site), zone=stands["zone"])
    if request.method != "POST":
        return _page(request, row, state, actor, values_of(stands))
    values = {name: request.POST.get(name, "") for name in request.POST if name != "csrfmiddlewaretoken"}
    replacement, faults = read_instead(values, state, stands)
    why = values.get("why", "").strip()
    if not why:
        faults.append(FieldFault("why", _("Say why the entry is wrong.")))
    if not faults and not voided and says_the_same(stands, replacement):
        faults.append(FieldFault("", _("Nothing differs from what stands. Change what is wrong first.")))
    if not faults:
        try:
            draft = correction_of(row.entry_id, values.get("id", ""), why, replacement)
            written = write(draft, actor)
        except EntryRefused as refused:
            faults = _placed(refused, values, state, stands)
        except IdTaken as taken:
            faults = [FieldFault("", _("This page was sent before, and stands as entry %d.") % taken.index)]
        else:
            say(request, written, actor.zone)
            return redirect("entry", index=row.index)
    return _page(request, row, state, actor, values, faults)


def _detector(request: HttpRequest, stands: Mapping[str, Any]) -> DetectorState:
    about = request.GET.get("about", "").strip()
    named = bump_page.find(about) if about else [stands["detector"]]
    state = Now().state(named[0]) if len(named) == 1 else None
    if not isinstance(state, DetectorState):
        raise Http404(about)
    return state


def values_of(body: Mapping[str, Any]) -> dict[str, str]:
    """The fields of the form as somebody would have filled them to write this test."""
    opened = people.texts(sealed_in(body))
    values = {f"check-{name}": said for name, said in body.get("checks", {}).items()}
    for air in body.get("clean_air", ()):
        values[f"air-{air['channel']}"] = air["right"]
        values[f"read-{air['channel']}"] = air.get("reading", "")
    for number, gas in enumerate(body.get("applications", ())):
        values |= _values_of_gas(number, gas)
    values |= {f"signal-{name}": said for name, said in body.get("signals", {}).items()}
    values |= {f"cleared-{name}": said for name, said in body.get("cleared", {}).items()}
    values["because"] = body.get("spoiled_because", "")
    values["temperature"] = body.get("temperature_c", "")
    values["slip"] = body.get("slip", {}).get("number", "")
    values["countersigned"] = code(body.get("slip", {}).get("countersigned_by", ""))
    values["note"] = opened.get(body.get("note", ""), "")
    values["ended"] = typed(ms_of(body["at"]), body["zone"])
    return values


def _values_of_gas(number: int, gas: Mapping[str, Any]) -> dict[str, str]:
    values = {
        f"gas-{number}-cylinder": code(gas["cylinder"]),
        f"gas-{number}-regulator": code(gas["regulator"]) if "regulator" in gas else "",
        f"gas-{number}-gauge": gas.get("gauge_bar", ""),
        f"gas-{number}-seconds": _seconds(gas),
        f"gas-{number}-on": gas["gas_on"],
        f"gas-{number}-off": gas["gas_off"],
    }
    for channel in gas.get("channels", ()):
        values[f"reach-{number}-{channel['channel']}"] = channel["reached"]
        values[f"after-{number}-{channel['channel']}"] = channel.get("after_s", "")
    return values


def _seconds(gas: Mapping[str, Any]) -> str:
    return f"{(ms_of(gas['gas_off']) - ms_of(gas['gas_on'])) / 1000:g}"


def read_instead(
    values: Mapping[str, str], state: DetectorState, stands: Mapping[str, Any]
) -> tuple[dict[str, Any], list[FieldFault]]:
    """The test that shall stand instead, its outcome worked out anew, and what is wrong with the form.

    Gas on and off stay as they were where their seconds were not touched; another time of the test moves
    them.
    """
    reading = _read(values, state, stands)
    faults = list(reading.faults)
    made = {name: stands[name] for name in ("v", "zone", "by", "where", "footing") if name in stands}
    made |= {**reading.draft, "id": stands["id"], "at": stands["at"]}
    entered_by = stands.get("slip", {}).get("entered_by")
    if entered_by and "slip" in made:
        made["slip"] = {**made["slip"], "entered_by": entered_by}
    commitment = stands.get("note")
    if commitment:
        opened = people.texts([commitment]).get(commitment, "")
        if values.get("note", "").strip().splitlines() == opened.strip().splitlines():
            made["note"] = commitment
    text = values.get("ended", "").strip()
    if text and text != typed(ms_of(stands["at"]), stands["zone"]):
        try:
            made = at_another_time(made, read_typed(text, stands["zone"], later=False))
        except NoSuchTime as fault:
            faults.append(FieldFault("ended", str(fault)))
    return made, faults


def _read(values: Mapping[str, str], state: DetectorState, stands: Mapping[str, Any]) -> bump_form.Reading:
    """The form, with gas on and off as they were wherever their seconds are."""
    read = {name: value for name, value in values.items() if name not in {"ended", "id", "why"}}
    was = stands.get("applications", ())
    for number in range(bump_form.MOST_APPLICATIONS):
        typed_seconds = bump_form.decimal(values.get(f"gas-{number}-seconds", ""))
        if number >= len(was) or typed_seconds != bump_form.decimal(_seconds(was[number])):
            read[f"gas-{number}-on"] = read[f"gas-{number}-off"] = ""
    ended = max((ms_of(gas["gas_off"]) for gas in was), default=ms_of(stands["at"]))
    return bump_form.read(read, bump.plan(state), detector=state.subject, now=Ms(ended), zone=stands["zone"])


def _placed(
    refused: EntryRefused, values: Mapping[str, str], state: DetectorState, stands: Mapping[str, Any]
) -> list[FieldFault]:
    reading = _read(values, state, stands)
    return [
        bump_form.placed(
            replace(fault, where=fault.where.replace("correction.replacement.", "bump-test.")), reading
        )
        for fault in refused.faults
    ]


def _page(
    request: HttpRequest,
    row: book.Row,
    state: DetectorState,
    actor: Actor,
    values: Mapping[str, str],
    faults: list[FieldFault] | None = None,
) -> HttpResponse:
    also = {
        "here": "book",
        "told": tell_all([row], Names())[0],
        "movable": True,
        # No gas is spent: what the gas is worth today says nothing about a test of another day.
        "correcting": True,
        "warnings": [],
        "sort": "detector",
        "subjects": [code(each) for each in book.subjects("detector")],
    }
    return bump_page.form_page(
        request, state, actor, clock.now(), values=values, faults=faults or (),
        status=422 if faults else 200, template="pitbird/bump/replace.html", also=also,
    )  # fmt: skip
