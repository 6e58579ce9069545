"""An entry's own form, filled with what stands, and read back as what shall stand instead of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _

from pitbird.fleet.differing import differences
from pitbird.fleet.kinds import KINDS
from pitbird.fleet.times import ms_of
from pitbird.intake.drafts import take_texts
from pitbird.intake.entries import read_body
from pitbird.intake.faults import Fault
from pitbird.services import people
from pitbird.store import book
from pitbird.web import times
from pitbird.web.entries import tell_all
from pitbird.web.facts import sealed_in
from pitbird.web.forms.base import EntryForm, TimeField
from pitbird.web.forms.special import Calibration

#: The field that asks why; entries have a reason of their own.
WHY: Final = "why"
#: What a replacement keeps from what it replaces unless the form says otherwise.
_KEPT: Final = ("v", "kind", "at", "zone", "by", "where")
_ROW: Final = re.compile(r"(\w+?)-(\d+)-(\w+)")


def prefill(form: EntryForm, body: Mapping[str, Any]) -> None:
    """Put what an entry says into its own form, and ask why something else shall stand."""
    opened = people.texts(sealed_in(body))
    sealed = KINDS[body["kind"]].SEALED
    for name, field in form.fields.items():
        if name in {"entry_id", "code", "rows", "gone"}:
            continue
        row = _ROW.fullmatch(name)
        if row is not None:
            _prefill_row(form, body, field, row[1], int(row[2]), row[3])
        elif name in sealed:
            commitment = body.get(name)
            field.initial = opened.get(commitment or "", "")
            if commitment and commitment not in opened:
                field.help_text = _("Erased since. Left empty, its place in the book stands.")
        else:
            field.initial = _initial(field, body.get(name))
    if "answers" in form.fields:
        _keep_answers(form, body)
    when = form.fields.get("at")
    if when is not None:
        when.help_text = _("The clock is that of %(zone)s. Left empty, the time stays.") % {
            "zone": form.setting.zone
        }
    form.fields[WHY] = forms.CharField(
        label=_("Why the entry is wrong"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Kept apart from the book's leaves, and can be erased."),
    )


def _initial(field: forms.Field, value: Any) -> Any:
    if isinstance(field, TimeField):
        return times.typed(ms_of(value), field.zone) if value else None
    if isinstance(field, forms.TypedChoiceField) and isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple) and not isinstance(field, forms.MultipleChoiceField):
        return ", ".join(map(str, value))
    return value


def _prefill_row(
    form: EntryForm, body: Mapping[str, Any], field: forms.Field, part: str, place: int, name: str
) -> None:
    rows = body.get(part, ())
    if isinstance(form, Calibration):
        wanted = form.channels[place].name
        row: Mapping[str, Any] = next((each for each in rows if each["channel"] == wanted), {})
    else:
        row = rows[place] if place < len(rows) else {}
    if name not in {"alarms", "other_gases"}:  # written as lines, by the form itself
        field.initial = row.get(name)


def _keep_answers(form: EntryForm, body: Mapping[str, Any]) -> None:
    """What the entry answered stands open no more, and can be ticked all the same."""
    field = form.fields["answers"]
    assert isinstance(field, forms.MultipleChoiceField)  # noqa: S101 (both forms that have it)
    listed: list[Any] = list(field.choices)  # type: ignore[arg-type] # made from a list, by the form
    offered = {value for value, _words in listed}
    rows = [row for each in body.get("answers", ()) if each not in offered and (row := book.by_id(each))]
    field.choices = [*listed, *((told.entry_id, told.sentence) for told in tell_all(rows))]


def instead(form: EntryForm, body: Mapping[str, Any]) -> dict[str, Any]:
    """What the filled form says shall stand instead of ``body``: a whole entry, texts given plainly.

    Times that were not touched stay to the millisecond, texts that were not touched keep their commitment,
    and what the form does not ask for stays as it was.
    """
    said = {name: value for name, value in form.draft().items() if name != "id"}
    parts = {found[1] for name in form.fields if (found := _ROW.fullmatch(name))}
    asked = {*form.fields, *parts, *_KEPT, "id", "about"}
    made = {name: body[name] for name in _KEPT if name in body}
    made |= {name: value for name, value in body.items() if name not in asked}
    made |= said
    _keep_times(form, body, made)
    _keep_texts(form, body, made)
    return {**made, "id": body["id"]}


def _keep_times(form: EntryForm, body: Mapping[str, Any], made: dict[str, Any]) -> None:
    for name, field in form.fields.items():
        if not isinstance(field, TimeField) or name not in body:
            continue
        text = str(form.data.get(name, "")).strip()
        if text == times.typed(ms_of(body[name]), field.zone) or (not text and name == "at"):
            made[name] = body[name]


def _keep_texts(form: EntryForm, body: Mapping[str, Any], made: dict[str, Any]) -> None:
    opened = people.texts(sealed_in(body))
    for name in KINDS[body["kind"]].SEALED:
        commitment = body.get(name)
        if not commitment or name not in form.fields:
            continue
        text = str(form.cleaned_data.get(name) or "")
        untouched = _lines(text) == _lines(opened[commitment]) if commitment in opened else not text
        if untouched:
            made[name] = commitment


def _lines(text: str) -> list[str]:
    return text.strip().splitlines()


def says_the_same(body: Mapping[str, Any], replacement: Mapping[str, Any]) -> bool:
    """Whether a replacement differs in nothing from what stands; one at fault is said to differ."""
    rest, texts = take_texts(replacement)
    read, faults = read_body(rest)
    if texts or faults or read is None:
        return False
    return not differences(body, read.as_body())


def put_faults(form: EntryForm, faults: Iterable[Fault]) -> None:
    """Tie the faults of a refused correction to the fields of the entry's own form."""
    own = []
    for fault in faults:
        if fault.field.startswith("replacement."):
            own.append(Fault(f"entry.{fault.field.removeprefix('replacement.')}", fault.value, fault.problem))
        elif fault.field == "reason":
            form.add_error(WHY, fault.problem)
        else:
            own.append(fault)
    form.put_faults(own)


def correction_of(
    entry_id: str, correction_id: str, why: str, replacement: Mapping[str, Any]
) -> dict[str, Any]:
    """The draft of the correction that puts ``replacement`` in an entry's place."""
    return {
        "kind": "correction", "id": correction_id, "corrects": entry_id, "how": "replace",
        "replacement": dict(replacement), "reason": why,
    }  # fmt: skip
