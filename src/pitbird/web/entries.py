"""Entries of the book as pages show them: each in a sentence, with its corrections beside it."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from pitbird.fleet.differing import differences
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms
from pitbird.record.leaf import read_leaf
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.store.models import Entry
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.facts import fact_of, unsealed
from pitbird.web.names import Names
from pitbird.web.sentences import sealed_text, sentence
from pitbird.web.vocabulary import FIELD_WORDS, field_word, kind_word, word


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
                reason=sealed_text(correction, "reason", opened),
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
    fact = fact_of(path[-1], value, names, opened, zone)
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
    opened = unsealed([*bodies, *beside], withhold=withhold)
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
