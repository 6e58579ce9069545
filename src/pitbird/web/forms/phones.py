"""The forms about phones: a link to pair one, its end, what waits put right or set aside, a PIN."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.services import pins
from pitbird.services.phones import LABEL_LONGEST

_CODE = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"
_WRONG = gettext_lazy("Letters, digits, points, dashes and underscores only, such as PH-01.")


class _Plain(forms.Form):
    use_required_attribute = False

    def __init__(self, data: Any = None, **options: Any) -> None:
        options.setdefault("auto_id", "f-%s")
        super().__init__(data, **options)


class PairForm(_Plain):
    """What a phone is to be called, and where it is used."""

    device = forms.RegexField(
        _CODE, label=gettext_lazy("Code of the phone"), error_messages={"invalid": _WRONG},
        help_text=gettext_lazy("A code of its own, never one that another phone had: PH-01."),
    )  # fmt: skip
    label = forms.CharField(
        label=gettext_lazy("What people call it"), required=False, max_length=LABEL_LONGEST
    )
    site = forms.ChoiceField(label=gettext_lazy("Site where it is used"))

    def __init__(self, sites: Sequence[tuple[str, str]], data: Any = None) -> None:
        super().__init__(data)
        self.fields["site"].choices = list(sites)  # type: ignore[attr-defined]


class EndForm(_Plain):
    """Why a phone's registration ends."""

    because = forms.ChoiceField(
        label=gettext_lazy("Why"),
        choices=[
            ("lost", gettext_lazy("lost")),
            ("stolen", gettext_lazy("stolen")),
            ("given-up", gettext_lazy("given up")),
            ("other", gettext_lazy("other")),
        ],
    )


class AsideForm(_Plain):
    """Why something that waits is set aside."""

    prefix = "aside"
    reason = forms.CharField(
        label=gettext_lazy("Why it is set aside"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("It stays here with this reason. It is not in the book."),
    )


class CorrectForm(_Plain):
    """What waits, with the things that are wrong most often as fields and all of it below."""

    prefix = "right"

    def __init__(self, draft: Mapping[str, Any], data: Any = None) -> None:
        super().__init__(data)
        self.draft_before = dict(draft)
        for name, label in (
            ("detector", _("Detector")),
            ("by", _("Who did it")),
            ("at", _("When it happened, with the offset of the clock")),
        ):
            if isinstance(draft.get(name), str):
                self.fields[name] = forms.CharField(
                    label=label, initial=draft[name].partition(":")[2] if name != "at" else draft[name]
                )
        for place, application in enumerate(_applications(draft)):
            self.fields[f"cylinder-{place}"] = forms.CharField(
                label=_("Cylinder %d") % (place + 1), initial=str(application["cylinder"]).partition(":")[2]
            )
        self.fields["entry"] = forms.CharField(
            label=_("All of it, as it came"),
            widget=forms.Textarea(attrs={"rows": 12, "spellcheck": "false", "class": "serial"}),
            initial=json.dumps(draft, indent=1, ensure_ascii=False),
            help_text=_("For what the fields above do not hold. They count before what stands here."),
        )

    def clean_entry(self) -> dict[str, Any]:
        """The entry as an object."""
        try:
            found = json.loads(self.cleaned_data["entry"])
        except (ValueError, RecursionError) as fault:
            raise forms.ValidationError(_("This cannot be read as JSON: %s") % fault) from None
        if not isinstance(found, dict):
            raise forms.ValidationError(_("This is not one object in braces."))
        return found

    def draft(self) -> dict[str, Any]:
        """The entry to write."""
        data, made = self.cleaned_data, dict(self.cleaned_data["entry"])
        for name in ("detector", "by", "at"):
            if name in self.fields and name in self.changed_data:
                sort = {"detector": "detector:", "by": "person:"}.get(name, "")
                made[name] = sort + str(data[name]).strip().removeprefix(sort)
        for place, application in enumerate(_applications(made)):
            name = f"cylinder-{place}"
            if name in self.changed_data:
                application["cylinder"] = "cylinder:" + str(data[name]).strip().removeprefix("cylinder:")
        return made


def _applications(draft: Mapping[str, Any]) -> list[dict[str, Any]]:
    given = draft.get("applications")
    return (
        [each for each in given if isinstance(each, dict) and "cylinder" in each]
        if isinstance(given, list)
        else []
    )


class PinForm(_Plain):
    """A PIN, typed twice."""

    pin = forms.CharField(
        label=gettext_lazy("PIN"),
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text=gettext_lazy("4 to 8 digits, not all alike and not in a row."),
    )  # fmt: skip
    again = forms.CharField(
        label=gettext_lazy("The same once more"),
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def clean_pin(self) -> str:
        """Refuses what is no PIN."""
        pin = str(self.cleaned_data["pin"])
        if (problem := pins.why_not(pin)) is not None:
            raise forms.ValidationError(_(problem[:1].upper() + problem[1:] + "."))
        return pin

    def clean(self) -> dict[str, Any]:
        """Both alike."""
        data: dict[str, Any] = super().clean() or {}
        if "pin" in data and "again" in data and data["pin"] != data["again"]:
            self.add_error("again", _("This is another than the one above."))
        return data
