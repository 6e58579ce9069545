"""Forms of their own: where the fields depend on what is written about."""

from __future__ import annotations

import json
import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState, FailedOn
from pitbird.fleet.times import text_of
from pitbird.record.canonical import parse
from pitbird.record.errors import RecordError
from pitbird.rules.decision import RuleSet, Verdict
from pitbird.rules.loading import document_of, load_shipped, shipped
from pitbird.services.gas_questions import unanswered
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
    number_field,
)
from pitbird.web.forms.things import Cylinder, Detector, Thing
from pitbird.web.telling import tell_decision
from pitbird.web.vocabulary import field_word, mixture, word


def _from_store(form: EntryForm, ask: Ask) -> forms.Field:
    return forms.TypedChoiceField(
        choices=[("yes", _("Out of the store")), ("no", _("From another wearer"))],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )


MAKERS["from_store"] = _from_store


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
            widget=forms.HiddenInput if self.setting.corrects or self._may_go() else forms.CheckboxInput,
        )

    def _may_go(self, wearer: str | None = None) -> bool:
        row = gate_one(self.setting.subject, now=self.setting.now, wearer=wearer)
        return row.decision.verdict is Verdict.MAY_GO_OUT

    def clean(self) -> dict[str, Any]:
        """Refuse a hand-over that the gate does not allow, unless it is said to have happened already."""
        cleaned = super().clean() or self.cleaned_data
        wearer = cleaned.get("to")
        if wearer and not cleaned.get("gone") and not self.setting.corrects:
            row = gate_one(self.setting.subject, now=self.setting.now, wearer=wearer)
            if row.decision.verdict is not Verdict.MAY_GO_OUT:
                told = tell_decision(row, self.setting.zone, self.setting.names)
                self.fields["gone"].widget = forms.CheckboxInput()
                self.add_error(
                    "gone",
                    _("The gate does not let it go out: %(why)s Leave it in, or tick that it has gone.")
                    % {"why": told.reason},
                )
        return cleaned


class IssuedUntested(EntryForm):
    """Issuing untested: never what is out of service, which is not untested but known to be in doubt."""

    def clean(self) -> dict[str, Any]:
        """Refuse a detector that is out of service."""
        cleaned = super().clean() or self.cleaned_data
        if self.setting.corrects:
            return cleaned
        row = gate_one(self.setting.subject, now=self.setting.now)
        if row.decision.verdict is Verdict.OUT_OF_SERVICE:
            told = tell_decision(row, self.setting.zone, self.setting.names)
            self.add_error(
                None,
                _("It is out of service, and nobody's authority mends that: %(why)s Take another detector.")
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
    """Cylinders that may serve a detector: described, not emptied, at its site (else anywhere)."""
    left = [each for each in Now().all_of(CylinderState) if each.described_by and each.emptied_at is None]
    near = [each for each in left if isinstance(state, DetectorState) and each.site == state.site]
    return near or left


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
                    _("%(when)s: %(what)s")
                    % {
                        "when": times.short(each.at, self.setting.zone),
                        "what": told[each.entry].sentence if each.entry in told else word(each.because),
                    },
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
    """The open quarantines and the failed tests to tick."""

    def build(self) -> None:
        """What is open now: quarantines, and failed tests that no release has named."""
        state = self.setting.state
        zone = self.setting.zone
        choices: list[tuple[str, str]] = []
        if isinstance(state, CylinderState):
            choices = [
                (
                    each.entry,
                    _("%(when)s: quarantined, %(why)s")
                    % {"when": times.short(each.since, zone), "why": word(each.because)},
                )
                for each in state.withdrawn
                if each.until is None
            ]
            choices += [(each.entry, _failed_on(each, zone)) for each in unanswered(state)]
        self.fields["answers"] = forms.MultipleChoiceField(
            label=_("Open questions"),
            choices=choices,
            widget=forms.CheckboxSelectMultiple,
            error_messages={"required": _("Tick at least one: what is not named stays open.")},
            help_text="" if choices else _("No question about this cylinder is open."),
        )
        super().build()

    def draft(self) -> dict[str, Any]:
        """The entry, naming what it answers."""
        return {**super().draft(), "answers": self.cleaned_data["answers"]}


def _failed_on(failure: FailedOn, zone: str) -> str:
    values = {
        "when": times.short(failure.at, zone),
        "detector": naming.code(failure.detector),
        "count": failure.in_a_row,
    }
    if failure.in_a_row > 1:
        return _("%(when)s: %(detector)s failed on it, %(count)d in a row") % values
    return _("%(when)s: %(detector)s failed on it") % values


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
            choices=[(name, load_shipped(name).title) for name in shipped()],
            widget=forms.RadioSelect,
            help_text=_("What differs from the rules in force stands below; look at it before you adopt."),
            initial=self.setting.given.get("rules"),
        )
        self.ask_where_and_when()

    def ask_where_and_when(self) -> None:
        """Sites, from when, and a note."""
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
                    "That lies in the past. Yesterday's tests were made under yesterday's rules; leave it "
                    "empty for now."
                )
            )
        return typed or now

    def rule_set(self) -> RuleSet:
        """The set that is adopted."""
        return load_shipped(self.cleaned_data["rules"])

    def draft(self) -> dict[str, Any]:
        """The adoption, with the whole set of rules in it."""
        rules = self.rule_set()
        made: dict[str, Any] = {
            "kind": "rules-adopted",
            "id": str(self.cleaned_data["entry_id"]),
            "rules": f"rules:{rules.id}",
            "sites": self.cleaned_data["sites"],
            "effective": self.cleaned_data["effective"],
            "document": document_of(rules),
        }
        if self.cleaned_data.get("note"):
            made["note"] = self.cleaned_data["note"]
        return made


FORMS: Final[dict[str, type[EntryForm]]] = {
    "": EntryForm,
    "handed-out": HandedOut,
    "issued-untested": IssuedUntested,
    "calibration": Calibration,
    "returned-to-service": ReturnedToService,
    "cylinder-released": CylinderReleased,
    "thing": Thing,
    "detector": Detector,
    "cylinder": Cylinder,
    "correction": Correction,
    "rules-adopted": RulesAdopted,
}
