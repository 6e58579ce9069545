"""The machinery: a form made from a question, its draft, and a refused entry's faults tied to its fields."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.state import DetectorState, PersonState, State
from pitbird.fleet.times import Ms, text_of
from pitbird.intake.faults import Fault
from pitbird.services import clock
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.vocabulary import choices_of, field_word, word

Text = str | Promise
_INDEXED: Final = re.compile(r"\[(\d+)\]")
#: Entries that only help a detector to go out; a doubtful hour of theirs is read as the earlier one.
_PERMITS: Final = frozenset(
    {"returned-to-service", "handed-back", "cylinder-released", "calibration", "training", "handed-out"}
)


@dataclass(frozen=True)
class Setting:
    """What stands around a form: who writes, on which clock, about what, and as of when."""

    actor: Actor
    now: Ms
    subject: str = ""
    state: State | None = None
    given: Mapping[str, str] = field(default_factory=dict)
    #: The form says what shall stand instead of an entry: what happened is not asked for again.
    corrects: bool = False

    @property
    def zone(self) -> str:
        """The clock that times are typed on."""
        return self.actor.zone

    @property
    def names(self) -> Names:
        """Names of people and sites."""
        return Names()


@dataclass(frozen=True)
class Ask:
    """One thing that a page asks for: the entry's field, how it is asked, and what is said beside it."""

    name: str
    how: str
    label: Text = ""
    required: bool = False
    help: Text = ""
    initial: Callable[[Setting], Any] | None = None
    roles: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """A page that writes one kind of entry: the question at its top, and what it asks for."""

    kind: str
    about: str
    question: Text
    lead: Text
    button: Text
    asks: tuple[Ask, ...]
    caution: Text = ""
    grave: bool = False
    form: str = ""

    @property
    def subject_field(self) -> str:
        """The entry's field that holds what it is about."""
        return "subject" if self.kind == "note" else self.about


class EntryForm(forms.Form):
    """A form that writes one entry. It carries the entry's id, so that sending it twice is harmless."""

    use_required_attribute = False
    entry_id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, question: Question, setting: Setting, data: Any = None) -> None:
        super().__init__(data, initial={"entry_id": clock.new_id()}, auto_id="f-%s")
        self.question = question
        self.setting = setting
        self.build()

    def build(self) -> None:
        """Add the fields; forms of their own override it."""
        for ask in self.question.asks:
            self.ask(ask)
        self.ask_when()

    def ask(self, ask: Ask) -> None:
        """Add one field of the table."""
        made = MAKERS[ask.how](self, ask)
        made.label = str(ask.label or field_word(ask.name))
        made.required = ask.required
        made.help_text = str(ask.help)
        if ask.initial is not None:
            made.initial = ask.initial(self.setting)
        self.fields[ask.name] = made

    def ask_when(self) -> None:
        """Ask when it happened; empty means now."""
        help_text = _("Leave it empty for now. The clock is that of %(zone)s; it shows %(now)s.") % {
            "zone": self.setting.zone,
            "now": times.shown(self.setting.now, self.setting.zone),
        }
        self.fields["at"] = TimeField(
            self.setting.zone,
            later=self.question.kind not in _PERMITS,
            label=_("When it happened"),
            required=False,
            help_text=help_text,
        )

    def draft(self) -> dict[str, Any]:
        """The entry as typed, empty fields left out."""
        made: dict[str, Any] = {"kind": self.question.kind, "id": str(self.cleaned_data["entry_id"])}
        if self.setting.subject:
            made[self.question.subject_field] = self.setting.subject
        names = [ask.name for ask in self.question.asks]
        for name in (*names, "at"):
            value = self.cleaned_data.get(name)
            if value not in (None, "", [], ()):
                made[name] = value
        return made

    def put_faults(self, faults: Iterable[Fault]) -> None:
        """Tie every fault of a refused entry to its field; one without a field is told with its place."""
        for fault in faults:
            name = self.field_of(fault.field)
            if name is not None:
                self.add_error(name, _sentence(fault.problem))
            else:
                place = f"{fault.where} = {fault.value}" if fault.value else fault.where
                self.add_error(None, f"{place}: {fault.problem}")

    def field_of(self, path: str) -> str | None:
        """The form's field for the path of an entry's field: the nearest that there is."""
        flat = _INDEXED.sub(r"-\1", path).replace(".", "-")
        parts = flat.split("-")
        for end in range(len(parts), 0, -1):
            name = "-".join(parts[:end])
            if name in self.fields:
                return name
        return None

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        """The fields that stand in no group, hidden ones included."""
        grouped = {name for _, names in self.groups_of_names() for name in names}
        return [self[name] for name in self.fields if name not in grouped and name != "at"]

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Fields that stand together under a heading."""
        return [(str(legend), [self[name] for name in names]) for legend, names in self.groups_of_names()]

    def groups_of_names(self) -> list[tuple[Text, list[str]]]:
        """Legend and names of each group; none here."""
        return []

    @property
    def when_field(self) -> forms.BoundField | None:
        """The field that asks when it happened; it stands last."""
        return self["at"] if "at" in self.fields else None


def _sentence(problem: str) -> str:
    return problem[:1].upper() + problem[1:] + ("" if problem.endswith((".", "?")) else ".")


class TimeField(forms.CharField):
    """A local time on a site's clock; gives the book's form of the instant."""

    def __init__(self, zone: str, *, later: bool = False, **options: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"type": "datetime-local"}), **options)
        self.zone = zone
        self.later = later

    def clean(self, value: Any) -> str:
        """The instant in the book's form, "" for nothing typed."""
        text = super().clean(value)
        if not text:
            return ""
        try:
            return text_of(times.read_typed(text, self.zone, later=self.later))
        except times.NoSuchTime as fault:
            raise ValidationError(str(fault)) from fault


def text_field(form: EntryForm, ask: Ask) -> forms.Field:
    """A short text."""
    return forms.CharField(widget=forms.TextInput(attrs={"autocomplete": "off"}))


def keyed_field(form: EntryForm, ask: Ask) -> forms.Field:
    """A code or number that is read off a label."""
    attributes = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
    return forms.CharField(widget=forms.TextInput(attrs=attributes))


def note_field(form: EntryForm, ask: Ask) -> forms.Field:
    """A free text."""
    return forms.CharField(widget=forms.Textarea(attrs={"rows": 3}))


def number_field(form: EntryForm, ask: Ask) -> forms.Field:
    """A measured value, kept as it was typed."""
    attributes = {"inputmode": "decimal", "autocomplete": "off", "class": "num"}
    return forms.CharField(widget=forms.TextInput(attrs=attributes))


def day_field(form: EntryForm, ask: Ask) -> forms.Field:
    """A day."""
    return forms.CharField(widget=forms.TextInput(attrs={"type": "date"}))


def time_field(form: EntryForm, ask: Ask) -> forms.Field:
    """An instant after the entry's own; a doubtful hour is read as the earlier."""
    return TimeField(form.setting.zone)


def choice_field(form: EntryForm, ask: Ask) -> forms.Field:
    """One of the values that the kind allows."""
    values = choices_of(form.question.kind, ask.name)
    return chosen(values)


def chosen(values: Iterable[str]) -> forms.ChoiceField:
    """One of these values, in words."""
    return forms.ChoiceField(
        choices=[(value, _capital(word(value))) for value in values], widget=forms.RadioSelect
    )


def several_field(form: EntryForm, ask: Ask) -> forms.Field:
    """Any of the values that the kind allows."""
    return forms.MultipleChoiceField(
        choices=[(value, _capital(word(value))) for value in choices_of(form.question.kind, ask.name)],
        widget=forms.CheckboxSelectMultiple,
    )


def channels_field(form: EntryForm, ask: Ask) -> forms.Field:
    """Any of the detector's channels."""
    return forms.MultipleChoiceField(
        choices=[(name, name) for name in channel_names(form.setting.state)],
        widget=forms.CheckboxSelectMultiple,
    )


def channel_field(form: EntryForm, ask: Ask) -> forms.Field:
    """One of the detector's channels."""
    return forms.ChoiceField(
        choices=[(name, name) for name in channel_names(form.setting.state)], widget=forms.RadioSelect
    )


def channel_names(state: State | None) -> list[str]:
    """The names of a detector's channels."""
    return [channel.name for channel in state.channels] if isinstance(state, DetectorState) else []


def person_field(form: EntryForm, ask: Ask) -> forms.Field:
    """Somebody of the book who has not left; with one of the roles, where roles are asked for."""
    names = form.setting.names
    people = [
        state
        for state in Now().all_of(PersonState)
        if state.described_by and not state.left and (not ask.roles or set(ask.roles) & set(state.roles))
    ]
    listed = sorted(
        ((names(state.subject), state.subject) for state in people), key=lambda pair: pair[0].casefold()
    )
    choices = [("", _("choose"))] + [
        (subject, f"{name} ({naming.code(subject)})" if naming.code(subject) not in name else name)
        for name, subject in listed
    ]
    return forms.ChoiceField(choices=choices)


def site_field(form: EntryForm, ask: Ask) -> forms.Field:
    """One of the sites."""
    choices = [("", _("choose"))] + [(state.subject, state.name) for state in naming.sites()]
    return forms.ChoiceField(choices=choices)


def regulator_field(form: EntryForm, ask: Ask) -> forms.Field:
    """One of the regulators, by its code."""
    from pitbird.store import book

    choices = [("", _("not stated"))] + [(each, naming.code(each)) for each in book.subjects("regulator")]
    return forms.ChoiceField(choices=choices)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


MAKERS: Final[dict[str, Callable[[EntryForm, Ask], forms.Field]]] = {
    "text": text_field,
    "keyed": keyed_field,
    "note": note_field,
    "number": number_field,
    "day": day_field,
    "time": time_field,
    "choice": choice_field,
    "several": several_field,
    "channels": channels_field,
    "channel": channel_field,
    "person": person_field,
    "site": site_field,
    "regulator": regulator_field,
}

NOTE: Final = Ask("note", "note", help=gettext_lazy("Kept apart from the book's leaves, and can be erased."))

assert all(kind in KINDS for kind in _PERMITS)  # noqa: S101 (a slip of the pen here would change hours)
