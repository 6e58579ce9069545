"""The forms for erasing: what to tick, why, and the code typed once more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.services.erasing import REASONS

REASON_WORDS: Final[dict[str, Promise]] = {
    "request": gettext_lazy("The person asked for it"),
    "retention-ended": gettext_lazy("The period for keeping it has ended"),
    "mistake": gettext_lazy("It should not have been written"),
    "other": gettext_lazy("Another reason"),
}
Choice = tuple[str, str]


class Confirmed(forms.Form):
    """A grave act, confirmed by typing what it is about."""

    use_required_attribute = False
    confirm = forms.CharField(max_length=80)

    def __init__(self, wanted: str, data: Any = None) -> None:
        super().__init__(data, auto_id="f-%s")
        self._wanted = wanted
        confirm = self.fields["confirm"]
        confirm.label = _("Type %(wanted)s to erase it for good") % {"wanted": wanted}
        confirm.widget.attrs.update(autocomplete="off", autocapitalize="none", spellcheck="false")

    def clean_confirm(self) -> str:
        """Exactly what was asked for."""
        typed = str(self.cleaned_data["confirm"]).strip()
        if typed != self._wanted:
            raise forms.ValidationError(_("Not %(wanted)s. Nothing was erased.") % {"wanted": self._wanted})
        return typed


class EraseForm(Confirmed):
    """With a reason, which the entry of the erasure names."""

    because = forms.ChoiceField(
        label=gettext_lazy("Why?"), choices=list(REASON_WORDS.items()), widget=forms.RadioSelect
    )
    field_order = ("texts", "shared", "naming", "because", "close", "confirm")


class ErasePersonForm(EraseForm):
    """What of the texts that are not the person's alone goes too, and whether their account is closed."""

    shared = forms.MultipleChoiceField(
        label=gettext_lazy("Texts about this person and something else"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    naming = forms.MultipleChoiceField(
        label=gettext_lazy("Texts about something else in which the name stands"),
        help_text=gettext_lazy(
            "Ticked: the whole name stands in it. Not ticked: a part of the name does, which may mean "
            "somebody or something else. Read each."
        ),
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    close = forms.BooleanField(required=False)

    def __init__(
        self,
        wanted: str,
        data: Any = None,
        *,
        shared: Sequence[Choice] = (),
        naming: Sequence[Choice] = (),
        ticked: Sequence[str] = (),
        account: str = "",
        close: bool = False,
    ) -> None:
        super().__init__(wanted, data)
        for name, choices in (("shared", shared), ("naming", naming)):
            if choices:
                self.fields[name].choices = choices  # type: ignore[attr-defined]
                self.fields[name].initial = [each for each, _text in choices if each in ticked]
            else:
                del self.fields[name]
        if account:
            self.fields["close"].label = _("Close the account “%(account)s” too") % {"account": account}
            self.fields["close"].initial = close
        else:
            del self.fields["close"]


class EraseTextsForm(EraseForm):
    """Which texts of an entry go."""

    texts = forms.MultipleChoiceField(
        label=gettext_lazy("Erase"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Tick what is to go.")},
    )

    def __init__(self, wanted: str, data: Any = None, *, texts: Sequence[Choice] = ()) -> None:
        super().__init__(wanted, data)
        self.fields["texts"].choices = texts  # type: ignore[attr-defined]
        if len(texts) == 1:
            self.fields["texts"].initial = [texts[0][0]]


class RetentionForm(Confirmed):
    """Erasing what is past its period: the mark says what was looked at."""

    mark = forms.CharField(widget=forms.HiddenInput)


assert set(REASON_WORDS) == set(REASONS)  # noqa: S101 - a reason without words could not be chosen
