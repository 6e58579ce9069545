"""Forms of their own: where the fields depend on what is written about, or stand in rows."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import Any, Final
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState
from pitbird.fleet.times import text_of
from pitbird.record.canonical import parse
from pitbird.record.errors import RecordError
from pitbird.rules.decision import Verdict
from pitbird.rules.loading import document_of, load_shipped, shipped
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.entries import body_of, tell_all
from pitbird.web.forms.base import (
    MAKERS,
    NOTE,
    Ask,
    EntryForm,
    Text,
    TimeField,
    chosen,
    day_field,
    keyed_field,
    number_field,
    text_field,
)
from pitbird.web.telling import tell_decision
from pitbird.web.vocabulary import choices_of, field_word, word

CODE: Final = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")


def _from_store(form: EntryForm, ask: Ask) -> forms.Field:
    return forms.TypedChoiceField(
        choices=[("yes", _("Out of the store")), ("no", _("From another wearer"))],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )


def _zone(form: EntryForm, ask: Ask) -> forms.Field:
    listed = sorted(name for name in available_timezones() if "/" in name and not name.startswith("Etc/"))
    return forms.ChoiceField(choices=[("", _("choose")), ("UTC", "UTC"), *((name, name) for name in listed)])


class ClocksField(forms.CharField):
    """Times of day, several in one line."""

    def clean(self, value: Any) -> list[str]:  # type: ignore[override]
        """The times, one by one; whether each is one is for the entry's kind to say."""
        return [part for part in re.split(r"[\s,;]+", super().clean(value)) if part]


def _clocks(form: EntryForm, ask: Ask) -> forms.Field:
    return ClocksField()


MAKERS.update({"from_store": _from_store, "zone": _zone, "clocks": _clocks})


class HandedOut(EntryForm):
    """Handing out: against the gate's word only as a fact that has happened already."""

    def build(self) -> None:
        """The fields of the table, and the tick that is asked for where the gate does not say yes."""
        super().build()
        state = self.setting.state
        held = isinstance(state, DetectorState) and state.custody is not None and state.custody.holder
        self.fields["from_store"].initial = "no" if held else "yes"
        self.fields["gone"] = forms.BooleanField(
            label=_("It has gone out already; this writes down what happened."),
            required=False,
            widget=forms.HiddenInput if self._may_go() else forms.CheckboxInput,
        )

    def _may_go(self, wearer: str | None = None) -> bool:
        row = gate_one(self.setting.subject, now=self.setting.now, wearer=wearer)
        return row.decision.verdict is Verdict.MAY_GO_OUT

    def clean(self) -> dict[str, Any]:
        """Refuse a hand-over that the gate does not allow, unless it is said to have happened already."""
        cleaned = super().clean() or self.cleaned_data
        wearer = cleaned.get("to")
        if wearer and not cleaned.get("gone"):
            row = gate_one(self.setting.subject, now=self.setting.now, wearer=wearer)
            if row.decision.verdict is not Verdict.MAY_GO_OUT:
                told = tell_decision(row, self.setting.zone, self.setting.names)
                self.fields["gone"].widget = forms.CheckboxInput()
                self.add_error(
                    "gone",
                    _(
                        "The gate does not let it go out: %(why)s Leave it in, or tick that it has gone already."
                    )
                    % {"why": told.reason},
                )
        return cleaned


class Calibration(EntryForm):
    """A row for each channel: applied, as found, as left, and how it came out."""

    ROW: Final = ("applied", "as_found", "as_left", "adjusted", "result")

    def build(self) -> None:
        """Cylinders, zeroing, a group for each channel, the result."""
        cylinders = usable_cylinders(self.setting.state)
        self.fields["cylinders"] = forms.MultipleChoiceField(
            label=_("Cylinders used"),
            choices=[(each.subject, f"{naming.code(each.subject)}: {mixture(each)}") for each in cylinders],
            widget=forms.CheckboxSelectMultiple,
            required=False,
        )
        self.ask(Ask("zeroed", "choice"))
        for place, channel in enumerate(self.channels):
            for name in ("applied", "as_found", "as_left"):
                made = number_field(self, Ask(name, "number"))
                made.label, made.required = f"{channel.name}: {field_word(name)}, {word(channel.unit)}", False
                self.fields[f"channels-{place}-{name}"] = made
            adjusted = chosen(("yes", "no"))
            adjusted.label, adjusted.required = f"{channel.name}: {field_word('adjusted')}", False
            self.fields[f"channels-{place}-adjusted"] = adjusted
            result = chosen(("within", "outside"))
            result.label, result.required = f"{channel.name}: {field_word('result')}", False
            self.fields[f"channels-{place}-result"] = result
        for ask in (
            Ask("tolerance_pct", "number"),
            Ask("certificate", "keyed"),
            Ask("result", "choice", _("Result for the detector"), required=True),
            NOTE,
        ):
            self.ask(ask)
        self.ask_when()

    @property
    def channels(self) -> tuple[ChannelFact, ...]:
        """The detector's channels."""
        return self.setting.state.channels if isinstance(self.setting.state, DetectorState) else ()

    def groups_of_names(self) -> list[tuple[Text, list[str]]]:
        """One group for each channel."""
        return [
            (_("%(channel)s (leave empty if it was not calibrated)") % {"channel": channel.name},
             [f"channels-{place}-{name}" for name in self.ROW])
            for place, channel in enumerate(self.channels)
        ]  # fmt: skip

    def _rows(self) -> list[tuple[int, dict[str, str]]]:
        """The channels that were filled in, with their place on the page."""
        rows = []
        for place, channel in enumerate(self.channels):
            row = {
                name: value
                for name in self.ROW
                if (value := self.cleaned_data.get(f"channels-{place}-{name}"))
            }
            if row:
                rows.append((place, {"channel": channel.name, **row}))
        return rows

    def draft(self) -> dict[str, Any]:
        """The entry, with the channels that were filled in."""
        made: dict[str, Any] = {
            "kind": "calibration",
            "id": str(self.cleaned_data["entry_id"]),
            "detector": self.setting.subject,
            "channels": [row for _place, row in self._rows()],
        }
        for name in ("cylinders", "zeroed", "tolerance_pct", "certificate", "result", "note", "at"):
            if self.cleaned_data.get(name):
                made[name] = self.cleaned_data[name]
        return made

    def field_of(self, path: str) -> str | None:
        """A fault in the nth channel written belongs to the row that it was typed in."""
        found = re.match(r"channels\[(\d+)\](.*)", path)
        if found:
            places = [place for place, _row in self._rows()]
            if int(found[1]) < len(places):
                path = f"channels[{places[int(found[1])]}]{found[2]}"
            return super().field_of(path) or f"channels-{places[0] if places else 0}-applied"
        if path == "channels" and self.channels:
            return "channels-0-applied"
        return super().field_of(path)


def usable_cylinders(state: Any) -> list[CylinderState]:
    """Cylinders that may serve a detector: described, not emptied, at its site (anywhere, if there is none)."""
    left = [each for each in Now().all_of(CylinderState) if each.described_by and each.emptied_at is None]
    near = [each for each in left if isinstance(state, DetectorState) and each.site == state.site]
    return near or left


def mixture(state: CylinderState) -> str:
    """A mixture in one line, as certified."""
    parts = [f"{each.gas} {each.amount} {word(each.unit)}" for each in state.components]
    return ", ".join([*parts, _("rest %(gas)s") % {"gas": state.balance}])


class ReturnedToService(EntryForm):
    """The open reasons to tick, the cause, and the test that was made after it."""

    def build(self) -> None:
        """The reasons as they stand now."""
        state = self.setting.state
        reasons = state.open_reasons if isinstance(state, DetectorState) else ()
        rows = {row.entry_id: row for each in reasons if (row := book.by_id(each.entry))}
        told = {each.entry_id: each for each in tell_all(list(rows.values()))}
        self.fields["answers"] = forms.MultipleChoiceField(
            label=_("Open reasons"),
            choices=[
                (
                    each.entry,
                    f"{times.short(each.at, self.setting.zone)}: "
                    f"{told[each.entry].sentence if each.entry in told else word(each.because)}",
                )
                for each in reasons
            ],
            widget=forms.CheckboxSelectMultiple,
            error_messages={"required": _("Tick at least one reason: what is not named stays open.")},
        )
        self.ask(Ask("cause", "choice", _("Cause as found"), required=True))
        tests = state.tests if isinstance(state, DetectorState) else ()
        self.fields["tested"] = forms.ChoiceField(
            label=_("Which test showed that it is right again"),
            choices=[
                ("", _("none named")),
                *(
                    (test.entry, f"{times.short(test.at, self.setting.zone)}: {word(test.outcome)}")
                    for test in tests
                ),
            ],
            required=False,
        )
        self.ask(NOTE)
        self.ask_when()

    def draft(self) -> dict[str, Any]:
        """The entry, naming what it answers."""
        made: dict[str, Any] = {
            "kind": "returned-to-service",
            "id": str(self.cleaned_data["entry_id"]),
            "detector": self.setting.subject,
            "answers": self.cleaned_data["answers"],
        }
        for name in ("cause", "tested", "note", "at"):
            if self.cleaned_data.get(name):
                made[name] = self.cleaned_data[name]
        return made


class CylinderReleased(EntryForm):
    """The open quarantines to tick."""

    def build(self) -> None:
        """The quarantines that are open now."""
        state = self.setting.state
        spans = (
            [each for each in state.withdrawn if each.until is None]
            if isinstance(state, CylinderState)
            else []
        )
        self.fields["answers"] = forms.MultipleChoiceField(
            label=_("Open questions"),
            choices=[
                (each.entry, f"{times.short(each.since, self.setting.zone)}: {word(each.because)}")
                for each in spans
            ],
            widget=forms.CheckboxSelectMultiple,
            error_messages={"required": _("Tick at least one: what is not named stays open.")},
        )
        super().build()

    def draft(self) -> dict[str, Any]:
        """The entry, naming what it answers."""
        return {**super().draft(), "answers": self.cleaned_data["answers"]}


class Thing(EntryForm):
    """A thing that the entry brings into the book, or describes anew: its code comes first."""

    def build(self) -> None:
        """The code, then the table's fields."""
        self.ask_code()
        super().build()

    def ask_code(self) -> None:
        """The code: asked for a new thing, shown for one that is described anew."""
        made = keyed_field(self, Ask("code", "keyed"))
        made.label = _("Code in this book")
        made.help_text = _("Short, as on the label: letters, digits, dash, dot; it cannot be changed later.")
        if self.setting.subject:
            made.widget = forms.HiddenInput()
            made.initial = naming.code(self.setting.subject)
        self.fields["code"] = made

    def clean_code(self) -> str:
        """A code that can stand in the book; a new thing gets one that no other has."""
        code = str(self.cleaned_data["code"]).strip()
        if not CODE.match(code):
            raise ValidationError(_("Write letters, digits, dots and dashes only, such as D-017."))
        subject = f"{self.question.kind}:{code}"
        if self.setting.subject and subject != self.setting.subject:
            raise ValidationError(_("The code cannot be changed; this page describes another one."))
        taken = not self.setting.subject and Now().state(subject) is not None
        if taken and book.by_id(str(self.data.get("entry_id", ""))) is None:
            raise ValidationError(
                _("The book has one with this code already. Open it, or choose another code.")
            )
        return code

    @property
    def new_subject(self) -> str:
        """What the entry is about."""
        return f"{self.question.kind}:{self.cleaned_data['code']}"

    def draft(self) -> dict[str, Any]:
        """The entry, with its subject."""
        made = super().draft()
        made.pop(self.question.subject_field, None)
        return {**made, self.question.kind: self.new_subject}

    def field_of(self, path: str) -> str | None:
        """A fault of the subject belongs to the code."""
        return "code" if path == self.question.kind else super().field_of(path)


def read_alarms(text: str) -> list[dict[str, str]]:
    """Alarms, one a line: name, set-point, then ``rising`` or ``falling``, then ``gas``, ``self-check`` or ``none``.

    What is left out: rising, and shown by gas. A word that is not understood is refused with its line.
    """
    alarms = []
    for number, line in enumerate(text.splitlines(), start=1):
        words = [part for part in re.split(r"[\s;]+", line.strip()) if part]
        if not words:
            continue
        if len(words) < 2:
            raise ValidationError(
                _("Line %(number)d: write the alarm's name and its set-point, such as: low 5")
                % {"number": number}
            )
        alarm = {"name": words[0].lower(), "at": words[1]}
        for extra in (each.lower() for each in words[2:]):
            if extra in ("rising", "falling") and "direction" not in alarm:
                alarm["direction"] = extra
            elif extra in ("gas", "self-check", "none") and "shown_by" not in alarm:
                alarm["shown_by"] = extra
            else:
                raise ValidationError(
                    _("Line %(number)d: “%(word)s” is not understood. After the set-point may stand: rising or "
                      "falling, then gas, self-check or none.") % {"number": number, "word": extra}
                )  # fmt: skip
        alarms.append(alarm)
    return alarms


def write_alarms(channel: ChannelFact) -> str:
    """Alarms as ``read_alarms`` reads them."""
    return "\n".join(f"{a.name} {a.at} {a.direction} {a.shown_by}" for a in channel.alarms)


class AlarmsField(forms.CharField):
    """Alarms, one a line."""

    def clean(self, value: Any) -> list[dict[str, str]]:  # type: ignore[override]
        """The alarms as an entry holds them."""
        return read_alarms(super().clean(value))


class Rows(Thing):
    """A thing with parts in rows, which can be copied from one like it."""

    PART: Final[str] = ""
    FIRST_ROWS: Final[int] = 1
    MOST_ROWS: Final[int] = 12
    ROW: tuple[str, ...] = ()

    @property
    def like(self) -> Any:
        """The state of the one to copy from, or of the one that is described anew."""
        return self.setting.state

    def given_parts(self) -> list[dict[str, Any]]:
        """The parts of the one to copy from, as the fields' first values."""
        return []

    def rows(self) -> int:
        """How many rows the page has: what was sent, or what is copied and a blank one."""
        if self.data:
            try:
                count = int(self.data.get("rows", "1"))
            except ValueError:
                count = 1
            return max(1, min(self.MOST_ROWS, count + (1 if "more" in self.data else 0)))
        parts = self.given_parts()
        return min(self.MOST_ROWS, len(parts) + 1) if parts else self.FIRST_ROWS

    def build_rows(self) -> None:
        """Add the fields of every row."""
        given = self.given_parts()
        count = self.rows()
        self.fields["rows"] = forms.IntegerField(widget=forms.HiddenInput, required=False)
        self.initial["rows"] = count
        for place in range(count):
            first = given[place] if place < len(given) else {}
            for name in self.ROW:
                made = self.row_field(name)
                made.label, made.required = field_word(name), False
                made.initial = first.get(name)
                self.fields[f"{self.PART}-{place}-{name}"] = made
        if self.data and "rows" in self.data:
            self.data = self.data.copy()
            self.data["rows"] = str(count)

    def row_field(self, name: str) -> forms.Field:
        """The field for one thing in a row."""
        raise NotImplementedError

    @property
    def count_rows(self) -> int:
        """How many rows stand on the page."""
        return int(self.data.get("rows", 1)) if self.data else int(self.initial["rows"])

    def filled_rows(self) -> list[tuple[int, dict[str, Any]]]:
        """The rows in which anything is written, with their place."""
        found = []
        for place in range(self.count_rows):
            row = {
                name: value
                for name in self.ROW
                if (value := self.cleaned_data.get(f"{self.PART}-{place}-{name}")) not in (None, "", [])
            }
            if row:
                found.append((place, row))
        return found

    def groups_of_names(self) -> list[tuple[Text, list[str]]]:
        """One group for each row."""
        return [
            (self.legend(place), [f"{self.PART}-{place}-{name}" for name in self.ROW])
            for place in range(self.count_rows)
        ]

    def legend(self, place: int) -> str:
        """The heading of a row."""
        return f"{place + 1}"

    def draft(self) -> dict[str, Any]:
        """The entry, with the rows that were filled in."""
        made = super().draft()
        made[self.PART] = [row for _place, row in self.filled_rows()]
        for name in self.whole_fields():
            value = self.cleaned_data.get(name)
            if value not in (None, "", []):
                made[name] = value
        return made

    def whole_fields(self) -> Iterable[str]:
        """The fields of the whole thing."""
        return ()

    def field_of(self, path: str) -> str | None:
        """A fault in the nth part written belongs to the row that it was typed in."""
        found = re.match(rf"{self.PART}\[(\d+)\]\.?([a-z0-9_]*)", path)
        places = [place for place, _row in self.filled_rows()]
        if found and int(found[1]) < len(places):
            place, name = places[int(found[1])], found[2]
            return f"{self.PART}-{place}-{name if name in self.ROW else self.ROW[0]}"
        if path == self.PART:
            return f"{self.PART}-0-{self.ROW[0]}"
        return super().field_of(path)


class Detector(Rows):
    """A detector: new, like an existing one, or described anew."""

    PART: Final = "channels"
    FIRST_ROWS: Final = 1
    ROW = (
        "name", "gas", "principle", "unit", "range_high", "clean_air", "clean_air_tolerance", "alarms",
        "lfl_basis", "t90_s", "sensor_serial", "sensor_fitted", "sensor_ends",
    )  # fmt: skip
    WHOLE: Final = (
        ("make", "text"), ("model", "text"), ("serial", "keyed"), ("firmware", "text"), ("draws", "choice"),
        ("signals", "several"), ("home", "site"), ("activated", "day"), ("life_ends", "day"),
    )  # fmt: skip

    def build(self) -> None:
        """Code, description, channels, note."""
        self.ask_code()
        like = self.like if isinstance(self.like, DetectorState) else None
        anew = bool(self.setting.subject)
        for name, how in self.WHOLE:
            required = name in {"make", "model", "serial", "signals", "home", "draws"}
            self.ask(Ask(name, how, required=required))
            if like is not None and (
                anew or name in {"make", "model", "firmware", "draws", "signals", "home"}
            ):
                self.fields[name].initial = getattr(like, "site" if name == "home" else name, None)
        if like is None:
            self.fields["home"].initial = self.setting.actor.site
        self.fields["calibrated_by_maker_only"] = forms.BooleanField(
            label=field_word("calibrated_by_maker_only"),
            required=False,
            initial=bool(like and like.maker_calibrates),
        )
        self.build_rows()
        self.ask(NOTE)
        self.ask_when()

    def given_parts(self) -> list[dict[str, Any]]:
        """The channels of the one to copy from; the life of a sensor is its own and is not copied to another."""
        if not isinstance(self.like, DetectorState):
            return []
        anew = bool(self.setting.subject)
        return [
            {
                "name": channel.name,
                "gas": channel.gas,
                "principle": channel.principle,
                "unit": channel.unit,
                "range_high": channel.range_high,
                "clean_air": channel.clean_air,
                "clean_air_tolerance": channel.clean_air_tolerance,
                "alarms": write_alarms(channel),
                "lfl_basis": channel.lfl_basis,
                "t90_s": channel.t90_s,
                "sensor_ends": channel.sensor_ends if anew else None,
            }
            for channel in self.like.channels
        ]

    def row_field(self, name: str) -> forms.Field:
        """The field for one thing about a channel."""
        if name in {"principle", "unit", "lfl_basis"}:
            values = choices_of("detector", f"channels.{name}")
            return forms.ChoiceField(choices=[("", _("choose")), *((value, word(value)) for value in values)])
        if name == "alarms":
            return AlarmsField(
                widget=forms.Textarea(attrs={"rows": 3, "spellcheck": "false"}),
                help_text=_(
                    "One a line: name, set-point; then falling if it comes below it; then self-check or none if "
                    "a test does not show it by gas. Such as: low 5, next line high 10."
                ),
            )
        if name in {"sensor_fitted", "sensor_ends"}:
            return day_field(self, Ask(name, "day"))
        if name in {"range_high", "clean_air", "clean_air_tolerance", "t90_s"}:
            return number_field(self, Ask(name, "number"))
        return (
            keyed_field(self, Ask(name, "keyed"))
            if name == "sensor_serial"
            else text_field(self, Ask(name, "text"))
        )

    def legend(self, place: int) -> str:
        """The heading of a channel."""
        return _("Channel %(number)d (leave empty if there is none)") % {"number": place + 1}

    def whole_fields(self) -> Iterable[str]:
        """The fields of the whole detector."""
        return [*(name for name, _how in self.WHOLE), "calibrated_by_maker_only", "note", "at"]


class Cylinder(Rows):
    """A cylinder with its certificate: new, like an existing one, or described anew."""

    PART: Final = "components"
    FIRST_ROWS: Final = 4
    MOST_ROWS: Final = 16
    ROW = ("gas", "amount", "unit", "expanded_uncertainty_pct")
    WHOLE: Final = (
        ("lot", "keyed"), ("certificate", "keyed"), ("traceable_to", "text"), ("balance", "text"),
        ("made", "day"), ("expires", "day"), ("water_capacity_l", "number"), ("free_gas_l", "number"),
        ("full_pressure_bar", "number"), ("minimum_pressure_bar", "number"),
        ("minimum_temperature_c", "number"), ("home", "site"),
    )  # fmt: skip

    def build(self) -> None:
        """Code, certificate, components, note."""
        self.ask_code()
        like = self.like if isinstance(self.like, CylinderState) else None
        anew = bool(self.setting.subject)
        own = {"lot", "certificate", "made", "expires"}
        for name, how in self.WHOLE:
            self.ask(Ask(name, how, required=name in {"balance", "expires", "minimum_pressure_bar", "home"}))
            if like is not None and (anew or name not in own):
                self.fields[name].initial = getattr(like, "site" if name == "home" else name, None)
        if like is None:
            self.fields["home"].initial = self.setting.actor.site
        self.build_rows()
        self.ask(NOTE)
        self.ask_when()

    def given_parts(self) -> list[dict[str, Any]]:
        """The components of the one to copy from."""
        if not isinstance(self.like, CylinderState):
            return []
        return [
            {
                "gas": part.gas,
                "amount": part.amount,
                "unit": part.unit,
                "expanded_uncertainty_pct": part.expanded_uncertainty_pct,
            }
            for part in self.like.components
        ]

    def row_field(self, name: str) -> forms.Field:
        """The field for one thing about a component."""
        if name == "unit":
            values = choices_of("cylinder", "components.unit")
            return forms.ChoiceField(choices=[("", _("choose")), *((value, word(value)) for value in values)])
        return (
            text_field(self, Ask(name, "text")) if name == "gas" else number_field(self, Ask(name, "number"))
        )

    def legend(self, place: int) -> str:
        """The heading of a component."""
        return _("Gas %(number)d (leave empty if there is none)") % {"number": place + 1}

    def whole_fields(self) -> Iterable[str]:
        """The fields of the whole cylinder."""
        return [*(name for name, _how in self.WHOLE), "note", "at"]


class Correction(EntryForm):
    """Void an entry, or say what stands instead of it."""

    def build(self) -> None:
        """What it is worth now, why, and the replacement as JSON."""
        self.row = book.at_index(int(self.setting.given["entry"]))
        self.ask(
            Ask("how", "choice", _("What is it worth now"), required=True, initial=lambda setting: "void")
        )
        self.ask(Ask("reason", "note", _("Why"), required=True))
        self.fields["replacement"] = forms.CharField(
            label=_("What stands instead, as JSON"),
            required=False,
            widget=forms.Textarea(attrs={"rows": 14, "spellcheck": "false", "class": "serial"}),
            help_text=_(
                "Only for “replaced”. Sealed texts stand as sha256:…; leave them, or write the text itself."
            ),
            initial=self._as_it_stands(),
        )

    def _as_it_stands(self) -> str:
        if self.row is None:
            return ""
        body = {key: value for key, value in body_of(self.row).items() if key not in {"id", "about", "v"}}
        return json.dumps(body, indent=2, ensure_ascii=False)

    def clean(self) -> dict[str, Any]:
        """The replacement must be read as strict JSON; a key that stands twice is refused."""
        cleaned = super().clean() or self.cleaned_data
        self.parsed: dict[str, Any] | None = None
        if cleaned.get("how") == "replace":
            try:
                parsed = parse(cleaned.get("replacement", ""))
            except RecordError as fault:
                self.add_error("replacement", str(fault))
                return cleaned
            if isinstance(parsed, dict):
                self.parsed = parsed
            else:
                self.add_error("replacement", _("Write one JSON object: { … }."))
        return cleaned

    def draft(self) -> dict[str, Any]:
        """The correction."""
        assert self.row is not None  # noqa: S101 (the view refuses a missing entry before)
        stands = body_of(self.row)
        made: dict[str, Any] = {
            "kind": "correction",
            "id": str(self.cleaned_data["entry_id"]),
            "corrects": self.row.entry_id,
            "of_about": list(stands["about"]),
            "how": self.cleaned_data["how"],
            "reason": self.cleaned_data["reason"],
        }
        if self.parsed is not None:
            replacement = {key: stands[key] for key in ("kind", "at", "zone", "by", "where") if key in stands}
            made["replacement"] = {**replacement, **self.parsed, "id": self.row.entry_id, "v": 1}
        return made


class RulesAdopted(EntryForm):
    """A shipped set of rules, the sites, and from when."""

    def build(self) -> None:
        """The sets that come with the package."""
        self.fields["rules"] = forms.ChoiceField(
            label=_("Set of rules"),
            choices=[(name, f"{name}: {load_shipped(name).title}") for name in shipped()],
            widget=forms.RadioSelect,
        )
        self.fields["sites"] = forms.MultipleChoiceField(
            label=_("At which sites"),
            choices=[(state.subject, state.name) for state in naming.sites()],
            widget=forms.CheckboxSelectMultiple,
        )
        self.fields["effective"] = TimeField(
            self.setting.zone,
            label=_("In force from"),
            required=False,
            help_text=_(
                "Leave it empty for now. Rules cannot be adopted for the past. The clock is that of %(zone)s."
            )
            % {"zone": self.setting.zone},
        )
        self.ask(NOTE)

    def clean_effective(self) -> str:
        """Empty means now; the past is refused."""
        typed = str(self.cleaned_data["effective"])
        now = text_of(self.setting.now)
        if typed and typed < now:
            raise ValidationError(
                _(
                    "That lies in the past. Yesterday's tests were made under yesterday's rules; leave it empty for now."
                )
            )
        return typed or now

    def draft(self) -> dict[str, Any]:
        """The adoption, with the whole set of rules in it."""
        chosen_set = self.cleaned_data["rules"]
        made: dict[str, Any] = {
            "kind": "rules-adopted",
            "id": str(self.cleaned_data["entry_id"]),
            "rules": f"rules:{chosen_set}",
            "sites": self.cleaned_data["sites"],
            "effective": self.cleaned_data["effective"],
            "document": document_of(load_shipped(chosen_set)),
        }
        if self.cleaned_data.get("note"):
            made["note"] = self.cleaned_data["note"]
        return made


FORMS: Final[dict[str, type[EntryForm]]] = {
    "": EntryForm,
    "handed-out": HandedOut,
    "calibration": Calibration,
    "returned-to-service": ReturnedToService,
    "cylinder-released": CylinderReleased,
    "thing": Thing,
    "detector": Detector,
    "cylinder": Cylinder,
    "correction": Correction,
    "rules-adopted": RulesAdopted,
}

__all__ = ["FORMS", "mixture", "read_alarms", "write_alarms"]
