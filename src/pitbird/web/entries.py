"""Entries of the book in words: one sentence each, and all that stands in them as pairs of term and value."""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from pitbird.fleet.differing import differences
from pitbird.fleet.kinds.base import INSTANT, SEALED, SUBJECT
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms, ms_of
from pitbird.record.leaf import read_leaf
from pitbird.services import people
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.store.models import Entry
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.vocabulary import FIELD_WORDS, VALUE_WORDS, field_word, kind_word, word

_SUBJECT = re.compile(SUBJECT)
_INSTANT = re.compile(INSTANT)
_SEALED = re.compile(SEALED)
_ENTRY = re.compile(r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$")
_DAY = re.compile(r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")
#: Fields that the page says elsewhere: in its sentence, its margin or at its foot.
_SAID: Final = frozenset({"kind", "v", "id", "at", "zone", "by", "where", "about"})
#: The order in which a form lists what stands in an entry: as the kinds name their fields, the thing first.
_FIRST: Final = ("kind", "detector", "cylinder", "person", "site", "channel", "name", "gas", "regulator")
_ORDER: Final = {name: place for place, name in enumerate(dict.fromkeys((*_FIRST, *FIELD_WORDS)))}
#: Fields whose text is the writer's own, never a word from a list.
_OWN_WORDS: Final = frozenset(
    {"make", "model", "serial", "firmware", "lot", "certificate", "traceable_to", "balance", "name", "title",
     "permit", "alarm", "channel", "channels", "sensor_serial", "replaced"}
)  # fmt: skip


@dataclass(frozen=True)
class Fact:
    """One line of a printed form: a label and its value, or its parts."""

    label: str
    text: str = ""
    link: str = ""
    keyed: bool = False
    withheld: bool = False
    parts: tuple[tuple[Fact, ...], ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def plain(self) -> bool:
        """Whether it is one label and one short text."""
        return not (self.parts or self.lines or self.withheld)


@dataclass(frozen=True)
class Differs:
    """One thing in which a replacement differs: what, as it was, as it is instead."""

    what: str
    old: str
    new: str


@dataclass(frozen=True)
class ToldCorrection:
    """One correction of an entry, beside it: ``holds`` is false where a later one stands in its place."""

    index: int
    entry_id: str
    void: bool
    holds: bool
    by: str
    by_name: str
    recorded_at: Ms
    zone: str
    reason: str
    instead: str
    differs: tuple[Differs, ...]
    replacement: Mapping[str, Any] | None


@dataclass(frozen=True)
class Told:
    """One entry as a page shows it."""

    index: int
    entry_id: str
    kind: str
    kind_words: str
    at: Ms
    recorded_at: Ms
    zone: str
    by: str
    by_name: str
    site_name: str
    sentence: str
    note: str
    note_withheld: bool
    about: tuple[tuple[str, str], ...]
    corrected_by: int | None
    corrects: int | None
    voided: bool
    body: Mapping[str, Any]
    corrections: tuple[ToldCorrection, ...] = ()


def body_of(row: book.Row) -> dict[str, Any]:
    """The body of a stored entry."""
    return dict(read_leaf(row.leaf.encode()).body)


def sealed_in(value: Any) -> list[str]:
    """Every commitment in a body, wherever it stands."""
    if isinstance(value, Mapping):
        return [found for part in value.values() for found in sealed_in(part)]
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [found for part in value for found in sealed_in(part)]
    return [value] if isinstance(value, str) and _SEALED.match(value) else []


Made = tuple[book.Row, Mapping[str, Any]]


def corrections_of(rows: Sequence[book.Row]) -> dict[str, list[Made]]:
    """By the id of an entry: its corrections with their bodies, in the book's order; the last one counts."""
    if not rows:
        return {}
    wanted = {row.entry_id for row in rows}
    # A correction stands behind what it corrects.
    found = Entry.objects.filter(kind="correction", index__gt=min(row.index for row in rows))
    made: dict[str, list[Made]] = {}
    for entry in found.order_by("index").values_list(*book.Row.__struct_fields__):
        row = book.row_of(entry)
        body = body_of(row)
        if body["corrects"] in wanted:
            made.setdefault(body["corrects"], []).append((row, body))
    return made


def tell_corrections(
    body: Mapping[str, Any], made: Sequence[Made], names: Names, opened: Mapping[str, str]
) -> tuple[ToldCorrection, ...]:
    """The corrections of an entry in words, each with what differs from the entry as it was written."""
    told = []
    for place, (row, correction) in enumerate(made, start=1):
        replacement = correction.get("replacement")
        told.append(
            ToldCorrection(
                index=row.index,
                entry_id=row.entry_id,
                void=replacement is None,
                holds=place == len(made),
                by=row.by,
                by_name=names(row.by),
                recorded_at=Ms(row.recorded_at),
                zone=correction.get("zone") or times.UTC_NAME,
                reason=_sealed(correction, "reason", opened),
                instead=sentence(replacement, names, opened) if replacement else "",
                differs=tell_differences(body, replacement, names, opened) if replacement else (),
                replacement=replacement,
            )
        )
    return tuple(told)


def tell_differences(
    old: Mapping[str, Any], new: Mapping[str, Any], names: Names, opened: Mapping[str, str]
) -> tuple[Differs, ...]:
    """What differs between an entry and what stands instead of it, in words."""
    zone = old.get("zone") or times.UTC_NAME
    return tuple(
        Differs(
            what=_path_words(each.path),
            old=_value_words(each.path, each.old, names, opened, zone),
            new=_value_words(each.path, each.new, names, opened, zone),
        )
        for each in differences(old, new)
    )


def _path_words(path: tuple[str, ...]) -> str:
    if path == ("at",):
        return _("When it happened")
    return ", ".join(field_word(step) if step in FIELD_WORDS else step for step in path)


def _value_words(
    path: tuple[str, ...], value: Any, names: Names, opened: Mapping[str, str], zone: str
) -> str:
    if value is None:
        return _("nothing")
    fact = _fact(path[-1], value, names, opened, zone)
    return "; ".join(fact.lines) or fact.text or _("something of several parts; look at both entries")


def worked_out(rows: Sequence[book.Row]) -> dict[str, str]:
    """By the id of a bump test: the outcome that its facts amount to, as far as the states remember it."""
    detectors = {body_of(row)["detector"] for row in rows if row.kind == "bump-test"}
    if not detectors:
        return {}
    return {
        test.entry: test.outcome
        for state in Now().some(sorted(detectors)).values()
        if isinstance(state, DetectorState)
        for test in state.tests
    }


def tell_all(rows: Sequence[book.Row], names: Names | None = None, *, withhold: bool = False) -> list[Told]:
    """Entries in words, reading names, sealed texts and corrections once for all of them.

    ``withhold`` leaves every sealed text closed, and says so.
    """
    bodies = [body_of(row) for row in rows]
    namer = names or Names([])
    namer.read(
        subject
        for body in bodies
        for subject in (body.get("by", ""), body.get("where", ""), *body.get("about", ()))
    )
    corrected = corrections_of(rows)
    beside = [body for made in corrected.values() for _row, body in made]
    opened = _unsealed([*bodies, *beside], withhold=withhold)
    amounts_to = worked_out(rows)
    told = []
    for row, body in zip(rows, bodies, strict=True):
        corrections = tell_corrections(body, corrected.get(row.entry_id, ()), namer, opened)
        corrects = book.by_id(body["corrects"]) if row.kind == "correction" else None
        note = body.get("note")
        told.append(
            Told(
                index=row.index,
                entry_id=row.entry_id,
                kind=row.kind,
                kind_words=kind_word(row.kind),
                at=Ms(row.at),
                recorded_at=Ms(row.recorded_at),
                zone=body.get("zone") or times.UTC_NAME,
                by=row.by,
                by_name=namer(row.by),
                site_name=namer(row.site),
                sentence=sentence(body, namer, opened) + _remark(row, body, amounts_to, corrected),
                note=opened.get(note or "", ""),
                note_withheld=bool(note) and note not in opened,
                about=tuple((namer(subject), naming.address(subject)) for subject in body.get("about", ())),
                corrected_by=corrections[-1].index if corrections else None,
                corrects=corrects.index if corrects else None,
                voided=bool(corrections) and corrections[-1].void,
                body=body,
                corrections=corrections,
            )
        )
    return told


def _unsealed(bodies: Sequence[Mapping[str, Any]], *, withhold: bool) -> dict[str, str]:
    """The sealed texts of bodies that are still there, or for each that it is withheld."""
    sealed = [found for body in bodies for found in sealed_in(body)]
    return dict.fromkeys(sealed, _("(withheld from this reader)")) if withhold else people.texts(sealed)


def _remark(
    row: book.Row,
    body: Mapping[str, Any],
    amounts_to: Mapping[str, str],
    corrected: Container[str],
) -> str:
    """Where a test was stated as better than its facts are, that is said at once."""
    outcome = amounts_to.get(row.entry_id)
    if outcome is None or row.entry_id in corrected or outcome == body.get("outcome"):
        return ""
    return " " + _("What was recorded of it amounts to: %(outcome)s.") % {"outcome": word(outcome)}


def facts(body: Mapping[str, Any], names: Names, *, withhold: bool = False) -> tuple[Fact, ...]:
    """Everything a body says, as lines of a printed form; sealed texts opened or said to be withheld."""
    opened = _unsealed([body], withhold=withhold)
    zone = body.get("zone") or times.UTC_NAME
    return _facts(body, names, opened, zone, top=True)


def _gathered(label: str, parts: list[tuple[Fact, ...]], *, single: bool = False) -> Fact:
    """Parts as lines where each is short, else as forms of their own."""
    if not all(fact.plain for part in parts for fact in part):
        return Fact(label, parts=tuple(parts))
    if single:
        return Fact(label, lines=tuple(f"{fact.label}: {fact.text}" for fact in parts[0]))
    return Fact(label, lines=tuple(_line(part) for part in parts))


def _line(part: tuple[Fact, ...]) -> str:
    """``CH4; alarm came: yes; after, s: 8``: the first value stands for itself."""
    first, *rest = part
    return "; ".join(
        [first.text, *(f"{fact.label[:1].lower()}{fact.label[1:]}: {fact.text}" for fact in rest)]
    )


def _facts(
    body: Mapping[str, Any], names: Names, opened: Mapping[str, str], zone: str, *, top: bool
) -> tuple[Fact, ...]:
    found = []
    for key, value in sorted(body.items(), key=lambda pair: _ORDER.get(pair[0], len(_ORDER))):
        if top and key in _SAID:
            continue
        if key == "document":
            text = f"{value.get('title') or value.get('id', '')}, {_('version')} {value.get('version', '')}"
            found.append(Fact(field_word(key), text))
        else:
            found.append(_fact(key, value, names, opened, zone))
    return tuple(found)


def _fact(key: str, value: Any, names: Names, opened: Mapping[str, str], zone: str) -> Fact:
    label = field_word(key)
    if isinstance(value, Mapping):
        return _gathered(label, [_facts(value, names, opened, zone, top=False)], single=True)
    if isinstance(value, list | tuple):
        if value and all(isinstance(each, Mapping) for each in value):
            return _gathered(label, [_facts(each, names, opened, zone, top=False) for each in value])
        said = [_fact(key, each, names, opened, zone).text for each in value]
        return Fact(label, ", ".join(said))
    if not isinstance(value, str):
        return Fact(label, word(str(value)))
    if _SEALED.match(value):
        text = opened.get(value)
        return Fact(
            label,
            text or _("withheld: this text was erased, its place in the book stands"),
            withheld=text is None,
        )
    if _SUBJECT.match(value):
        return Fact(
            label, names(value), naming.address(value), keyed=naming.sort(value) not in {"person", "site"}
        )
    if _INSTANT.match(value):
        return Fact(label, times.shown(ms_of(value), zone, form="D j M Y, H:i:s"))
    if _ENTRY.match(value):
        row = book.by_id(value)
        return (
            Fact(label, _("entry %d") % row.index, f"/book/{row.index}")
            if row
            else Fact(label, value, keyed=True)
        )
    if _DAY.match(value):
        return Fact(label, times.day_shown(value))
    if key in _OWN_WORDS:
        return Fact(label, value, keyed=key in {"serial", "lot", "certificate", "sensor_serial"})
    return Fact(label, word(value) if value in VALUE_WORDS else value)


# --- One sentence for each kind

_Teller = Callable[[Mapping[str, Any], Names, Mapping[str, str]], str]


def sentence(body: Mapping[str, Any], names: Names, opened: Mapping[str, str]) -> str:
    """The entry in one sentence; an entry that cannot be put in words is named by its kind."""
    tell = _TELLERS.get(body["kind"])
    if tell is None:
        return kind_word(body["kind"])
    return tell(body, names, opened)


def _sealed(body: Mapping[str, Any], field: str, opened: Mapping[str, str]) -> str:
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
        "reason": _sealed(body, "reason", opened),
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
        "reason": _sealed(body, "reason", opened),
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
        "done": _sealed(body, "done", opened),
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
            elif isinstance(value, str) and field not in _OWN_WORDS:
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
