"""Forms for things: what an entry brings into the book, or describes anew; some have parts in rows."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, ClassVar, Final
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web.forms.base import (
    MAKERS,
    NOTE,
    Ask,
    EntryForm,
    Text,
    day_field,
    keyed_field,
    number_field,
    text_field,
)
from pitbird.web.forms.lines import AlarmsField, OtherGasesField, write_alarms, write_other_gases
from pitbird.web.vocabulary import choices_of, field_word, word

CODE: Final = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")


def _zone(form: EntryForm, ask: Ask) -> forms.Field:
    listed = sorted(name for name in available_timezones() if "/" in name and not name.startswith("Etc/"))
    return forms.ChoiceField(choices=[("", _("choose")), ("UTC", "UTC"), *((name, name) for name in listed)])


class ClocksField(forms.CharField):
    """Times of day, several in one line."""

    def clean(self, value: Any) -> list[str]:
        """The times, one by one; whether each is one is for the entry's kind to say."""
        return [part for part in re.split(r"[\s,;]+", super().clean(value)) if part]


def _clocks(form: EntryForm, ask: Ask) -> forms.Field:
    return ClocksField()


MAKERS.update({"zone": _zone, "clocks": _clocks})


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


class Rows(Thing):
    """A thing with parts in rows, which can be copied from one like it."""

    PART: ClassVar[str] = ""
    FIRST_ROWS: ClassVar[int] = 1
    MOST_ROWS: ClassVar[int] = 12
    ROW: ClassVar[tuple[str, ...]] = ()

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
            sent: Any = self.data.copy()  # type: ignore[attr-defined] # a QueryDict is not to be changed
            sent["rows"] = str(count)
            self.data = sent

    def row_field(self, name: str) -> forms.Field:
        """The field for one thing in a row."""
        raise NotImplementedError

    @property
    def count_rows(self) -> int:
        """How many rows stand on the page."""
        return int(self.initial["rows"])

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

    PART = "channels"
    FIRST_ROWS = 1
    ROW = (
        "name", "gas", "principle", "unit", "range_high", "clean_air", "clean_air_tolerance", "alarms",
        "lfl_basis", "t90_s", "t90_fast_s", "other_gases", "sensor_serial", "sensor_fitted", "sensor_ends",
    )  # fmt: skip
    WHOLE: Final = (
        ("make", "text"), ("model", "text"), ("serial", "keyed"), ("firmware", "text"), ("draws", "choice"),
        ("pump_l_min", "number"),
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
                anew or name in {"make", "model", "firmware", "draws", "pump_l_min", "signals", "home"}
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
        """The channels of the one to copy from; the life of a sensor is not copied to another."""
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
                "t90_fast_s": channel.t90_fast_s,
                "other_gases": write_other_gases(channel),
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
                    "One a line: name, set-point; then falling if it comes below it; then self-check or none "
                    "if a test does not show it by gas. Such as: low 5, next line high 10."
                ),
            )
        if name == "other_gases":
            return OtherGasesField(
                widget=forms.Textarea(attrs={"rows": 2, "spellcheck": "false"}),
                help_text=_(
                    "As the instrument's manual says, one a line: so much of another gas, and what the "
                    "channel then reads. Such as: 50 pct_lfl propane reads 39; or 100 ppm hydrogen reads 20."
                ),
            )
        if name in {"sensor_fitted", "sensor_ends"}:
            return day_field(self, Ask(name, "day"))
        if name in {"range_high", "clean_air", "clean_air_tolerance", "t90_s", "t90_fast_s"}:
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

    PART = "components"
    FIRST_ROWS = 4
    MOST_ROWS = 16
    ROW = (
        "gas", "amount", "unit", "expanded_uncertainty_pct", "label_pct_lfl", "label_lfl_vol_pct",
    )  # fmt: skip
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
                "label_pct_lfl": part.label_pct_lfl,
                "label_lfl_vol_pct": part.label_lfl_vol_pct,
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
