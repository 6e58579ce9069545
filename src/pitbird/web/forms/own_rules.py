"""The forms of the page on which a keeper brings rules of their own: the text, and then its adoption."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.rules.decision import RuleSet
from pitbird.rules.loading import read_rules
from pitbird.web.forms.special import RulesAdopted

#: Bytes and characters; the largest set that comes with the package has some 10,000.
MOST: Final = 262_144


def one_line_end(text: str) -> str:
    """The text with the line ends that a file has here; browsers send others."""
    return text.replace("\r\n", "\n").replace("\r", "\n")


def rules_in(text: str) -> RuleSet:
    """The rule set of a TOML text. Raises ``ValidationError`` with every fault, each with its line."""
    rules, faults = read_rules(text)
    if rules is None:
        raise ValidationError([str(fault) for fault in faults])
    return rules


class LookForm(forms.Form):
    """The text of a rule set, from a file or typed; nothing is written by it."""

    use_required_attribute = False
    file = forms.FileField(
        label=gettext_lazy("A TOML file"),
        required=False,
        widget=forms.FileInput(attrs={"accept": ".toml,text/plain,application/toml"}),
    )
    text = forms.CharField(
        label=gettext_lazy("Or its text"),
        required=False,
        strip=False,
        max_length=MOST,
        widget=forms.Textarea(attrs={"rows": 16, "spellcheck": "false", "class": "serial"}),
    )

    def __init__(self, data: Any = None, files: Any = None, *, text: str = "") -> None:
        super().__init__(data, files, initial={"text": text}, auto_id="f-%s")
        self.rules: RuleSet | None = None
        self.read = ""

    def clean_text(self) -> str:
        """The text with one sort of line end."""
        return one_line_end(str(self.cleaned_data["text"]))

    def clean_file(self) -> str | None:
        """The file's text; None where no file was given."""
        file = self.cleaned_data["file"]
        if file is None:
            return None
        if (file.size or 0) > MOST:
            raise ValidationError(_("The file is too large to be a set of rules."))
        try:
            return one_line_end(file.read().decode("utf-8"))
        except UnicodeDecodeError as fault:
            raise ValidationError(
                _("The file is not UTF-8 text (byte %(at)d). Save it as UTF-8 and give it again.")
                % {"at": fault.start}
            ) from None

    def clean(self) -> dict[str, Any]:
        """A file wins over what stood in the box."""
        data = super().clean() or self.cleaned_data
        if self.errors:
            return data
        self.read = data["text"] if data["file"] is None else data["file"]
        if not self.read.strip():
            raise ValidationError(_("Give a file, or put the text of one into the box."))
        try:
            self.rules = rules_in(self.read)
        except ValidationError as faults:
            self.add_error("text", faults)
        return data


class OwnRulesAdopted(RulesAdopted):
    """Rules of one's own that were looked at, the sites, and from when."""

    text = forms.CharField(strip=False, max_length=MOST, widget=forms.HiddenInput)

    def build(self) -> None:
        """Where and from when; which rules is settled."""
        self.ask_where_and_when()

    def clean_text(self) -> str:
        """The text as it was looked at, held to the same checks."""
        text = one_line_end(str(self.cleaned_data["text"]))
        self._rules = rules_in(text)
        return text

    def rule_set(self) -> RuleSet:
        """The set that is adopted."""
        return self._rules
