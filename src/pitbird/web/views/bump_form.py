"""The form that records a bump test, read: plain fields -> facts, draft of the entry, and every fault.

Field names are those of ``pitbird/bump/record.html``; channels stand in them by name, gas applications by
number: ``check-battery``, ``air-H2S`` and ``read-H2S`` (right or not, reading), ``gas-0-cylinder``,
``gas-0-on``, ``reach-0-H2S``, ``after-0-H2S``, ``signal-sound``, ``cleared-peaks``, ``because``. Times come
from the phone's clock where its script ran; without it the seconds of gas are typed, and the moment at which
the gas went off, if that is not now.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from django.utils.translation import gettext as _

from pitbird.fleet import bump
from pitbird.fleet.kinds.base import INSTANT
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.intake.faults import Fault
from pitbird.web.times import NoSuchTime, read_typed

MOST_APPLICATIONS: Final = 6
LONGEST_S: Final = 3600
_ANSWERS: Final = ("yes", "no")
_PATH: Final = re.compile(r"(clean_air|applications)\[(\d+)\](?:\.channels\[(\d+)\])?(?:\.(\w+))?")
_OF_GAS: Final = {
    "cylinder": "cylinder",
    "regulator": "regulator",
    "gauge_bar": "gauge",
    "gas_on": "seconds",
    "gas_off": "seconds",
}


@dataclass(frozen=True)
class FieldFault:
    """What is wrong with one field of the form (name; "" for the whole), in words."""

    name: str
    problem: str


@dataclass
class Reading:
    """What the form says: the draft to write, its outcome with reasons, and the faults that stop it."""

    draft: dict[str, Any]
    outcome: bump.Outcome
    reasons: tuple[str, ...]
    faults: list[FieldFault] = field(default_factory=list)
    numbers: tuple[int, ...] = ()
    """Which application of the form each application of the draft is."""


def read(values: Mapping[str, str], plan: bump.Plan, *, detector: str, now: Ms, zone: str) -> Reading:
    """Read the posted fields. The outcome is worked out here, never taken from the form."""
    faults: list[FieldFault] = []
    applications, numbers = _applications(values, faults, now, zone)
    facts: dict[str, Any] = {
        "checks": _answers(values, "check-"),
        "clean_air": _clean_air(values),
        "applications": applications,
        "signals": _answers(values, "signal-", (*_ANSWERS, "not-fitted")),
        "cleared": _answers(values, "cleared-"),
    }
    because = values.get("because", "").strip()
    if because:
        facts["spoiled_because"] = because
    elif not faults and not any(facts.values()):
        problem = _("Nothing was answered. Say what you saw, or at the end why the try was spoiled.")
        faults.append(FieldFault("", problem))
    outcome, reasons = bump.outcome(plan, facts)
    ended = max((application["gas_off"] for application in applications), default=text_of(now))
    draft: dict[str, Any] = {
        "kind": "bump-test",
        "detector": detector,
        "at": ended,
        **facts,
        "outcome": outcome,
    }
    if values.get("id", "").strip():
        draft["id"] = values["id"].strip()
    if outcome == "spoiled":
        draft["spoiled_because"] = bump.spoiled_because(facts, reasons)
    else:
        draft.pop("spoiled_because", None)
    if temperature := decimal(values.get("temperature", "")):
        draft["temperature_c"] = temperature
    if note := values.get("note", "").strip():
        draft["note"] = note
    if slip := values.get("slip", "").strip():
        draft["slip"] = {"number": slip}
        if countersigned := values.get("countersigned", "").strip():
            draft["slip"]["countersigned_by"] = f"person:{countersigned.removeprefix('person:')}"
    return Reading(draft, outcome, reasons, faults, numbers)


def told_by_slip(draft: Mapping[str, Any], values: Mapping[str, str], person: str) -> dict[str, Any]:
    """The draft of a test entered from a paper slip, by the tester who stands on it; whoever enters it
    (``person``) is told beside it. It is the tester's training that counts."""
    tester = f"person:{values.get('tester', '').strip().removeprefix('person:')}"
    entered = {} if tester == person else {"entered_by": person}
    return {**draft, "by": tester, "slip": {**draft["slip"], **entered}}


def slip_faults(values: Mapping[str, str], *, on_its_page: bool = False) -> list[FieldFault]:
    """What is wrong with a test entered from a paper slip. Its time is that on the slip, never the time of
    entering, which would let a pass hold longer than it does: ``on_its_page`` a slip cannot do without its
    number, or it would be taken for a test of here and now."""
    given = {name for name, value in values.items() if value.strip()}
    faults = []
    if "countersigned" in given and "slip" not in given:
        faults.append(FieldFault("slip", _("Write the number of the slip that was countersigned.")))
    if "tester" in given and "slip" not in given:
        faults.append(FieldFault("slip", _("Write the number of the slip on which the tester stands.")))
    if "slip" not in given and on_its_page and not faults:
        faults.append(FieldFault("slip", _("Write the number of the slip.")))
    if "slip" not in given:
        return faults
    if "tester" not in given:
        faults.append(FieldFault("tester", _("Write the code of who tested, as on the slip.")))
    if any(re.fullmatch(r"gas-[0-9]+-(on|off)", name) for name in given):
        problem = _(
            "This gas was timed here and now, so it is not from a slip. Enter the slip on its own page."
        )
        faults.append(FieldFault("slip", problem))
    if "ended" not in given:
        faults.append(
            FieldFault("ended", _("Type the day and the time at which the gas went off, as on the slip."))
        )
    return faults


def decimal(text: str) -> str:
    """A number as people type it, in the book's form: a comma is a point, a plus and outer spaces fall away.

    What is no number is left as it stands, so that the refusal can repeat it.
    """
    plain = text.strip().replace(",", ".").replace("−", "-").removeprefix("+")
    try:
        number = Decimal(plain)
    except InvalidOperation:
        return plain
    return format(number, "f") if number.is_finite() else plain


def _answers(values: Mapping[str, str], prefix: str, allowed: tuple[str, ...] = _ANSWERS) -> dict[str, str]:
    """The answers of a group of fields; what was left unanswered is absent, never fine."""
    return {
        name.removeprefix(prefix): answer
        for name, answer in values.items()
        if name.startswith(prefix) and answer in allowed
    }


def _clean_air(values: Mapping[str, str]) -> list[dict[str, str]]:
    seen = []
    for channel, right in _answers(values, "air-").items():
        item = {"channel": channel, "right": right}
        if reading := decimal(values.get(f"read-{channel}", "")):
            item["reading"] = reading
        seen.append(item)
    return seen


def _applications(
    values: Mapping[str, str], faults: list[FieldFault], now: Ms, zone: str
) -> tuple[list[dict[str, Any]], tuple[int, ...]]:
    """The gas applications that were made, in order. Those without exact times are set end to end before
    the moment at which the gas went off."""
    applications: list[dict[str, Any]] = []
    numbers: list[int] = []
    end = _ended(values, faults, now, zone)
    for number in reversed(range(MOST_APPLICATIONS)):
        reached = _answers(values, f"reach-{number}-")
        times = [values.get(f"gas-{number}-{name}", "").strip() for name in ("on", "off", "seconds")]
        if not reached and not any(times):
            continue
        span = _span(number, times, end, faults)
        cylinder = values.get(f"gas-{number}-cylinder", "").strip()
        if not cylinder:
            problem = _("Say which cylinder this gas came from.")
            faults.append(FieldFault(f"gas-{number}-cylinder", problem))
        if span is None or not cylinder:
            continue
        on, off = span
        end = min(end, on)
        application: dict[str, Any] = {
            "cylinder": f"cylinder:{cylinder}", "gas_on": text_of(on), "gas_off": text_of(off),
        }  # fmt: skip
        if regulator := values.get(f"gas-{number}-regulator", "").strip():
            application["regulator"] = f"regulator:{regulator}"
        if gauge := decimal(values.get(f"gas-{number}-gauge", "")):
            application["gauge_bar"] = gauge
        application["channels"] = [
            _shown(channel, answer, values.get(f"after-{number}-{channel}", ""))
            for channel, answer in reached.items()
        ]
        applications.append(application)
        numbers.append(number)
    faults.reverse()
    return applications[::-1], tuple(reversed(numbers))


def _shown(channel: str, answer: str, after: str) -> dict[str, str]:
    shown = {"channel": channel, "reached": answer}
    if answer == "yes" and (seconds := decimal(after)):
        shown["after_s"] = seconds
    return shown


def _span(number: int, times: list[str], end: Ms, faults: list[FieldFault]) -> tuple[Ms, Ms] | None:
    """When gas was on and off: by the phone's clock, else by the seconds typed, up to ``end``."""
    on, off, seconds = times
    where = f"gas-{number}-seconds"
    if on or off:
        if not (on and off):
            faults.append(
                FieldFault(where, _("The gas was put on and never off. Close it, then press Gas off."))
            )
            return None
        if not (_is_instant(on) and _is_instant(off)) or off < on:
            faults.append(
                FieldFault(where, _("The times of this gas cannot be read. Type the seconds of gas."))
            )
            return None
        return ms_of(on), ms_of(off)
    try:
        length = Decimal(decimal(seconds))
    except InvalidOperation:
        length = Decimal(0)
    if not (length.is_finite() and 0 < length <= LONGEST_S):
        problem = _("Type for how many seconds the gas was on, from 1 to 3600.")
        faults.append(FieldFault(where, problem))
        return None
    return Ms(end - int(length * 1000)), end


def _is_instant(text: str) -> bool:
    if not re.fullmatch(INSTANT, text):
        return False
    try:
        ms_of(text)
    except ValueError:
        return False
    return True


def _ended(values: Mapping[str, str], faults: list[FieldFault], now: Ms, zone: str) -> Ms:
    """When the last gas went off: as typed in the site's local time, else now."""
    text = values.get("ended", "").strip()
    if not text:
        return now
    try:
        return read_typed(text, zone)
    except NoSuchTime as fault:
        faults.append(FieldFault("ended", str(fault)))
        return now


def placed(fault: Fault, reading: Reading) -> FieldFault:
    """A fault of the entry, tied to the field of the form that it comes from."""
    problem = f"{fault.value}: {fault.problem}" if fault.value else fault.problem
    return FieldFault(_field_of(fault.field, reading), problem)


def _field_of(path: str, reading: Reading) -> str:
    group, _dot, rest = path.partition(".")
    if group in ("checks", "signals", "cleared") and rest:
        return f"{ {'checks': 'check', 'signals': 'signal'}.get(group, group) }-{rest}"
    if path in ("temperature_c", "note", "spoiled_because", "at", "by"):
        named = {"temperature_c": "temperature", "spoiled_because": "because", "at": "ended", "by": "tester"}
        return named.get(path, path)
    if group == "slip":
        return "countersigned" if rest == "countersigned_by" else "slip"
    found = _PATH.match(path)
    if not found:
        return ""
    place, inner, name = int(found[2]), found[3], found[4] or ""
    try:
        if found[1] == "clean_air":
            channel = reading.draft["clean_air"][place]["channel"]
            return f"read-{channel}" if name == "reading" else f"air-{channel}"
        number = reading.numbers[place]
        if inner is not None:
            channel = reading.draft["applications"][place]["channels"][int(inner)]["channel"]
            return f"after-{number}-{channel}" if name == "after_s" else f"reach-{number}-{channel}"
    except (IndexError, KeyError):
        return ""
    return f"gas-{number}-{_OF_GAS.get(name, 'seconds')}"
