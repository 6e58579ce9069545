"""An entry of the book in one sentence, by its kind."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from pitbird.fleet.kinds.base import SEALED, SUBJECT
from pitbird.fleet.times import ms_of
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.vocabulary import kind_word, word

_SUBJECT = re.compile(SUBJECT)
_SEALED = re.compile(SEALED)
#: Fields whose text is the writer's own, never a word from a list.
OWN_WORDS: Final = frozenset(
    {"make", "model", "serial", "firmware", "lot", "certificate", "traceable_to", "balance", "name", "title",
     "permit", "alarm", "channel", "channels", "sensor_serial", "replaced"}
)  # fmt: skip

_Teller = Callable[[Mapping[str, Any], Names, Mapping[str, str]], str]


def sentence(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    """The entry in one sentence; an entry that cannot be put in words is named by its kind."""
    tell = _TELLERS.get(body["kind"])
    if tell is None:
        return kind_word(body["kind"])
    return tell(body, names, opened)


def sealed_text(body: Mapping[str, Any], field: str, opened: Mapping[str, str]) -> str:
    """A sealed text of an entry, or that it is withheld."""
    return opened.get(body.get(field, ""), _("(withheld)"))


def _channels(given: Iterable[str]) -> str:
    return ", ".join(given)


def _bump(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    detector = naming.code(body["detector"])
    gas = ", ".join(dict.fromkeys(naming.code(each["cylinder"]) for each in body.get("applications", ())))
    values = {"detector": detector, "gas": gas or _("no cylinder named")}
    if body.get("footing") == "reported":
        return _("Bump test of %(detector)s reported from elsewhere as %(outcome)s.") % {
            "detector": detector, "outcome": word(body["outcome"])
        }  # fmt: skip
    if body["outcome"] == "spoiled":
        return _("Bump test of %(detector)s spoiled: %(why)s. It proves nothing.") % {
            "detector": detector, "why": word(body.get("spoiled_because", "other"))
        }  # fmt: skip
    if body["outcome"] == "failed":
        missed = dict.fromkeys(
            channel["channel"]
            for each in body.get("applications", ())
            for channel in each.get("channels", ())
            if channel["reached"] == "no"
        )
        if missed:
            return _("Bump test of %(detector)s failed on %(channels)s; gas from %(gas)s.") % {
                **values, "channels": _channels(missed)
            }  # fmt: skip
        return _("Bump test of %(detector)s failed; gas from %(gas)s.") % values
    return _("Bump test of %(detector)s passed; gas from %(gas)s.") % values


def _calibration(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    values = {
        "detector": naming.code(body["detector"]),
        "channels": _channels(channel["channel"] for channel in body["channels"]),
    }
    if body["result"] == "passed":
        return _("%(detector)s calibrated, left within tolerance: %(channels)s.") % values
    return _("Calibration of %(detector)s failed: %(channels)s.") % values


def _handed_out(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    values = {"detector": naming.code(body["detector"]), "to": names(body["to"])}
    if body.get("from_store"):
        return _("%(detector)s handed out to %(to)s from the store.") % values
    return _("%(detector)s handed over to %(to)s.") % values


def _handed_back(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    values = {"detector": naming.code(body["detector"]), "from": names(body.get("back_from"))}
    if body.get("back_from"):
        return _("%(detector)s handed back by %(from)s.") % values
    return _("%(detector)s handed back.") % values


def _returned(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    return ngettext(
        "%(detector)s returned to service; one reason answered. Cause: %(cause)s.",
        "%(detector)s returned to service; %(count)d reasons answered. Cause: %(cause)s.",
        len(body["answers"]),
    ) % {
        "detector": naming.code(body["detector"]),
        "count": len(body["answers"]),
        "cause": word(body["cause"]),
    }


def _untested(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    return _(
        "%(detector)s issued untested to %(to)s on the authority of %(authority)s until %(until)s. "
        "Reason: %(reason)s"
    ) % {
        "detector": naming.code(body["detector"]),
        "to": names(body["to"]),
        "authority": names(body["authority"]),
        "until": times.shown(ms_of(body["until"]), body.get("zone")),
        "reason": sealed_text(body, "reason", opened),
    }


def _alarm(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    values = {
        "detector": naming.code(body["detector"]),
        "channel": body["channel"],
        "peak": body.get("peak", ""),
    }
    if body.get("peak"):
        return _("%(detector)s alarmed in use on %(channel)s, highest reading %(peak)s.") % values
    return _("%(detector)s alarmed in use on %(channel)s.") % values


def _training(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    values = {
        "person": names(body["person"]),
        "topic": word(body["topic"]),
        "until": times.day_shown(body.get("valid_until")),
    }
    if body.get("result", "passed") == "failed":
        return _("%(person)s did not pass the training in %(topic)s.") % values
    if body.get("valid_until"):
        return _("%(person)s trained in %(topic)s; holds until %(until)s.") % values
    return _("%(person)s trained in %(topic)s.") % values


def _adopted(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    document = body["document"]
    return _("Site rules “%(title)s”, version %(version)s, adopted at %(sites)s from %(from)s.") % {
        "title": document.get("title") or document.get("id") or naming.code(body["rules"]),
        "version": document.get("version", "?"),
        "sites": ", ".join(names(site) for site in body["sites"]),
        "from": times.shown(ms_of(body["effective"]), body.get("zone")),
    }


def _correction(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    row = book.by_id(body["corrects"])
    values = {
        "entry": _("entry %d") % row.index if row else body["corrects"],
        "reason": sealed_text(body, "reason", opened),
    }
    if body["how"] == "void":
        return _("Voids %(entry)s: %(reason)s") % values
    return _("Replaces %(entry)s: %(reason)s") % values


def _look_back(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    row = book.by_id(body["failed"]) if "failed" in body else None
    values = {
        "of": ", ".join(names(subject) for subject in body["of"]),
        "entry": _("entry %d") % row.index if row else body.get("failed", ""),
        "outcome": word(body["outcome"]),
        "by": names(body["assessed_by"]),
        "done": sealed_text(body, "done", opened),
    }
    if "failed" in body:
        return _("Looked back from %(of)s after %(entry)s: %(outcome)s, by %(by)s. Done: %(done)s") % values
    return _("Looked back from %(of)s: %(outcome)s, by %(by)s. Done: %(done)s") % values


def _opened(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    values = {
        "cylinder": naming.code(body["cylinder"]),
        "site": names(body["at_site"]),
        "bar": body.get("gauge_bar", ""),
    }
    if body.get("gauge_bar"):
        return _("Cylinder %(cylinder)s put to use at %(site)s with %(bar)s bar.") % values
    return _("Cylinder %(cylinder)s put to use at %(site)s.") % values


def _plain(template: Callable[[], str], *fields: str) -> _Teller:
    """A teller for kinds whose sentence is a template over plain fields."""

    def tell(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
        values: dict[str, str] = {}
        for field in fields:
            value = body.get(field)
            if isinstance(value, str) and _SEALED.match(value):
                values[field] = opened.get(value, _("(withheld)"))
            elif isinstance(value, str) and _SUBJECT.match(value):
                values[field] = names(value)
            elif isinstance(value, str) and field not in OWN_WORDS:
                values[field] = word(value)
            elif isinstance(value, list | tuple):
                values[field] = _channels(str(each) for each in value)
            else:
                values[field] = "" if value is None else str(value)
        return template() % values

    return tell


_TELLERS: Final[dict[str, _Teller]] = {
    "genesis": _plain(lambda: _("The book “%(title)s” was begun."), "title"),
    "site": _plain(lambda: _("Site %(name)s, clock %(site_zone)s."), "name", "site_zone"),
    "person": _plain(lambda: _("Person %(name)s."), "name"),
    "detector": _plain(
        lambda: _("Detector %(detector)s described: %(make)s %(model)s, serial number %(serial)s."),
        "detector", "make", "model", "serial",
    ),
    "sensor": _plain(lambda: _("Sensor %(sensor)s described, %(gas)s."), "sensor", "gas"),
    "regulator": _plain(lambda: _("Regulator %(regulator)s described, flow %(flow)s."), "regulator", "flow"),
    "cylinder": _plain(
        lambda: _("Cylinder %(cylinder)s described, lot %(lot)s."), "cylinder", "lot"
    ),
    "handed-out": _handed_out,
    "handed-back": _handed_back,
    "bump-test": _bump,
    "fresh-air-set": _plain(lambda: _("Fresh-air set of %(detector)s: %(air)s."), "detector", "air"),
    "calibration": _calibration,
    "happened": _plain(lambda: _("%(detector)s: %(what)s."), "detector", "what"),
    "out-of-service": _plain(
        lambda: _("%(detector)s taken out of service: %(because)s."), "detector", "because"
    ),
    "repaired": _plain(lambda: _("%(detector)s repaired. Cause: %(cause)s."), "detector", "cause"),
    "returned-to-service": _returned,
    "issued-untested": _untested,
    "alarm-in-use": _alarm,
    "cylinder-received": _plain(
        lambda: _("Cylinder %(cylinder)s received at %(at_site)s."), "cylinder", "at_site"
    ),
    "cylinder-opened": _opened,
    "gauge-read": _plain(
        lambda: _("Gauge of cylinder %(cylinder)s read: %(gauge_bar)s bar."), "cylinder", "gauge_bar"
    ),
    "cylinder-emptied": _plain(lambda: _("Cylinder %(cylinder)s emptied."), "cylinder"),
    "cylinder-quarantined": _plain(
        lambda: _("Cylinder %(cylinder)s quarantined: %(because)s."), "cylinder", "because"
    ),
    "cylinder-released": _plain(lambda: _("Cylinder %(cylinder)s released."), "cylinder"),
    "training": _training,
    "look-back": _look_back,
    "rules-adopted": _adopted,
    "note": _plain(lambda: _("%(subject)s: %(text)s"), "subject", "text"),
    "correction": _correction,
    "epoch": _plain(
        lambda: _("The book was restored from an older copy: others hold proof of %(known_size)s entries."),
        "known_size",
    ),
    "key-changed": _plain(
        lambda: _("The book signs by another key from here on: change %(number)s, %(because)s."),
        "number", "because",
    ),
    "audit-opened": lambda body, names, opened: _(
        "%(reader)s may read a part of the book by a link until %(until)s UTC."
    )
    % {
        "reader": opened.get(body["reader"], _("(withheld)")),
        "until": body["until"][:16].replace("T", " "),
    },
    "device": _plain(lambda: _("Phone %(device)s registered."), "device"),
    "device-ended": _plain(
        lambda: _("Phone %(device)s is no longer registered: %(because)s."), "device", "because"
    ),
    "audit-closed": _plain(lambda: _("A link to read a part of the book was taken back.")),
    "erasure": _plain(lambda: _("Texts about %(subject)s erased: %(because)s."), "subject", "because"),
}  # fmt: skip
