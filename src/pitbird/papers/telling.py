"""One sentence for each entry of the book, for papers that list many of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from pitbird.fleet.kinds.base import DECIMAL, INSTANT, SEALED, SUBJECT
from pitbird.papers.reading import Reader, Written, capital, code, joined, topic_words, word

Body = Mapping[str, Any]

#: Kinds whose own letters do not read as words.
_KINDS: Final = {
    "genesis": "The book was begun", "cylinder": "Cylinder described", "site": "Site described",
    "person": "Person described", "detector": "Detector described", "sensor": "Sensor described",
    "regulator": "Regulator described", "happened": "Something happened",
    "out-of-service": "Taken out of service", "cylinder-opened": "Cylinder put to use",
    "look-back": "Look-back decided", "rules-adopted": "Site rules adopted",
    "epoch": "The book was restored", "key-changed": "The key of the book was changed",
    "audit-opened": "A link to read was given", "audit-closed": "A link to read was taken back",
    "device": "Phone registered", "device-ended": "Phone no longer registered",
    "fresh-air-set": "Fresh-air set",
}  # fmt: skip
#: Fields that a line says elsewhere, or that say nothing on paper.
_SAID: Final = frozenset(
    {"kind", "v", "id", "at", "zone", "by", "where", "about", "note", "photo", "document", "of_about",
     "replacement", "commitments", "known_root", "format", "phone", "entered", "key", "alg", "label"}
)  # fmt: skip
_IS: Final = {
    name: re.compile(text)
    for name, text in {"subject": SUBJECT, "instant": INSTANT, "sealed": SEALED, "decimal": DECIMAL}.items()
}
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_ID: Final = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


def kind_words(kind: str) -> str:
    """A kind of entry in words."""
    return _KINDS.get(kind) or capital(word(kind))


def sentence(body: Body, reader: Reader) -> str:
    """What an entry says, in a sentence or two; a kind without words of its own by its fields."""
    tell = _TELLERS.get(body["kind"])
    said = tell(body, reader) if tell else f"{kind_words(body['kind'])}: {_fields(body, reader)}."
    note = body.get("note")
    return f"{said} Note: {reader.text(note)}" if note else said


def listed(entry: Written, reader: Reader) -> tuple[str, ...]:
    """An entry as a line of a list: its sentence, and beside it what corrections made of it."""
    lines = [sentence(entry.body, reader)]
    if entry.corrections:
        last = entry.corrections[-1]
        instead = last.body.get("replacement")
        if instead:
            lines.append(f"Does not count: entry {last.index} puts in its place: {sentence(instead, reader)}")
        else:
            lines.append(f"Does not count: voided by entry {last.index}.")
    elif entry.amounts_to and entry.amounts_to != entry.body.get("outcome"):
        lines.append(f"WHAT WAS RECORDED OF IT AMOUNTS TO: {entry.amounts_to}.")
    if entry.left_out:
        lines.append("LEFT OUT: its clock cannot be right, so that it counts for nothing that permits.")
    return tuple(lines)


def _fields(body: Body, reader: Reader) -> str:
    return "; ".join(
        f"{word(name)} {said}"
        for name, value in body.items()
        if name not in _SAID and (said := _value(value, reader))
    )


def _value(value: Any, reader: Reader) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return joined([_value(each, reader) for each in value])
    if isinstance(value, Mapping):
        return ", ".join(filter(None, (_value(each, reader) for each in value.values())))
    if not isinstance(value, str):
        return str(value)
    if _IS["sealed"].match(value):
        return reader.text(value)
    if _IS["subject"].match(value):
        return reader.name(value)
    if _IS["instant"].match(value):
        return reader.moment(value)
    if _ID.fullmatch(value):
        return f"the entry {value}"
    if _IS["decimal"].match(value):
        return reader.number(value)
    return reader.day(value) if _DAY.fullmatch(value) else word(value)


def _bump(body: Body, reader: Reader) -> str:
    detector, outcome = code(body["detector"]), body["outcome"]
    if body.get("footing") == "reported":
        return f"Bump test of {detector} reported from elsewhere as {outcome}."
    gas = joined(dict.fromkeys(code(each["cylinder"]) for each in body.get("applications", ())))
    under = f"; gas from {gas}" if gas else "; no cylinder named"
    if outcome == "spoiled":
        why = word(body.get("spoiled_because", "other"))
        return f"Bump test of {detector} spoiled: {why}. It proves nothing."
    missed = joined(
        dict.fromkeys(
            channel["channel"]
            for each in body.get("applications", ())
            for channel in each.get("channels", ())
            if channel["reached"] == "no"
        )
    )
    on = f" on {missed}" if outcome == "failed" and missed else ""
    return f"Bump test of {detector} {outcome}{on}{under}."


def _calibration(body: Body, reader: Reader) -> str:
    channels = joined(channel["channel"] for channel in body["channels"])
    if body["result"] == "passed":
        return f"{code(body['detector'])} calibrated, left within tolerance: {channels}."
    return f"Calibration of {code(body['detector'])} failed: {channels}."


def _untested(body: Body, reader: Reader) -> str:
    return (
        f"{code(body['detector'])} ISSUED UNTESTED to {reader.name(body['to'])} on the authority of "
        f"{reader.name(body['authority'])} until {reader.moment(body['until'])}. Reason: "
        f"{reader.text(body['reason'])}"
    )


def _out(body: Body, reader: Reader) -> str:
    held = " It is held for the investigation." if body["because"] == "incident" else ""
    return f"{code(body['detector'])} taken out of service: {word(body['because'])}.{held}"


def _handed_out(body: Body, reader: Reader) -> str:
    how = "handed out from the store" if body.get("from_store") else "handed over"
    return f"{code(body['detector'])} {how} to {reader.name(body['to'])}."


def _handed_back(body: Body, reader: Reader) -> str:
    by = f" by {reader.name(body['back_from'])}" if body.get("back_from") else ""
    return f"{code(body['detector'])} handed back{by}."


def _returned(body: Body, reader: Reader) -> str:
    count = len(body["answers"])
    reasons = "one reason" if count == 1 else f"{count} reasons"
    return f"{code(body['detector'])} returned to service; {reasons} answered. Cause: {word(body['cause'])}."


def _alarm(body: Body, reader: Reader) -> str:
    peak = f", highest reading {reader.number(body['peak'])}" if body.get("peak") else ""
    return f"{code(body['detector'])} alarmed in use on {body['channel']}{peak}."


def _training(body: Body, reader: Reader) -> str:
    who, topic = reader.name(body["person"]), topic_words(body["topic"])
    if body.get("result", "passed") == "failed":
        return f"{who} did not pass the training in {topic}."
    until = f"; holds until {reader.day(body['valid_until'])}" if body.get("valid_until") else ""
    return f"{who} trained in {topic}{until}."


def _adopted(body: Body, reader: Reader) -> str:
    document = body["document"]
    title = document.get("title") or document.get("id") or code(body["rules"])
    sites = joined(reader.name(site) for site in body["sites"])
    since = reader.moment(body["effective"])
    return f"Site rules “{title}”, version {document.get('version', '?')}, adopted at {sites} from {since}."


def _correction(body: Body, reader: Reader) -> str:
    how = "Voids" if body["how"] == "void" else "Replaces"
    return f"{how} the entry {body['corrects']}: {reader.text(body['reason'])}"


def _described(body: Body, reader: Reader) -> str:
    return (
        f"Detector {code(body['detector'])} described: {body['make']} {body['model']}, serial number "
        f"{body['serial']}; channels {joined(channel['name'] for channel in body['channels'])}."
    )


def _cylinder(body: Body, reader: Reader) -> str:
    lot = f", lot {body['lot']}" if body.get("lot") else ""
    return f"Cylinder {code(body['cylinder'])} described{lot}; last day of use {reader.day(body['expires'])}."


def _bar(body: Body, reader: Reader) -> str:
    return f": {reader.number(body['gauge_bar'], 'bar')}" if body.get("gauge_bar") else ""


def _person(body: Body, reader: Reader) -> str:
    roles = joined(word(role) for role in body.get("roles", ()))
    left = f"; left on {reader.day(body['left'])}" if body.get("left") else ""
    return f"Person {code(body['person'])}, {reader.text(body['name'])}: {roles or 'no role'}{left}."


_TELLERS: Final[dict[str, Callable[[Body, Reader], str]]] = {
    "bump-test": _bump,
    "calibration": _calibration,
    "issued-untested": _untested,
    "out-of-service": _out,
    "handed-out": _handed_out,
    "handed-back": _handed_back,
    "returned-to-service": _returned,
    "alarm-in-use": _alarm,
    "training": _training,
    "rules-adopted": _adopted,
    "correction": _correction,
    "detector": _described,
    "cylinder": _cylinder,
    "person": _person,
    "cylinder-received": lambda body, reader: (
        f"Cylinder {code(body['cylinder'])} received at {reader.name(body['at_site'])}."
    ),
    "cylinder-opened": lambda body, reader: (
        f"Cylinder {code(body['cylinder'])} put to use at {reader.name(body['at_site'])}{_bar(body, reader)}."
    ),
    "cylinder-emptied": lambda body, reader: f"Cylinder {code(body['cylinder'])} emptied.",
    "cylinder-quarantined": lambda body, reader: (
        f"Cylinder {code(body['cylinder'])} quarantined: {word(body['because'])}."
    ),
    "cylinder-released": lambda body, reader: f"Cylinder {code(body['cylinder'])} released.",
    "gauge-read": lambda body, reader: (
        f"Gauge of cylinder {code(body['cylinder'])} read{_bar(body, reader)}."
    ),
    "fresh-air-set": lambda body, reader: f"Fresh-air set of {code(body['detector'])}: {word(body['air'])}.",
    "happened": lambda body, reader: f"{code(body['detector'])}: {word(body['what'])}.",
    "repaired": lambda body, reader: f"{code(body['detector'])} repaired. Cause: {word(body['cause'])}.",
    "note": lambda body, reader: f"Note about {reader.name(body['subject'])}: {reader.text(body['text'])}",
    "erasure": lambda body, reader: (
        f"Texts about {code(body['subject'])} erased: {word(body['because'])}. Their places stand."
    ),
}
