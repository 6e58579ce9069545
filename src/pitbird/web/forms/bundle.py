"""The form of an audit bundle: what the auditor wants to see."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.services.bundle_scope import Asked
from pitbird.services.knowing import Now


class CodesField(forms.CharField):
    """Codes of things of one sort, with commas or spaces between; each must be in the book."""

    def __init__(self, sort: str, **given: Any) -> None:
        super().__init__(required=False, max_length=20_000, **given)
        self._sort = sort
        self.widget.attrs.update(autocomplete="off", autocapitalize="none", spellcheck="false")

    def clean(self, value: Any) -> tuple[str, ...]:
        """The subjects. Every code that is not in the book is named."""
        typed = re.split(r"[\s,;]+", str(super().clean(value) or ""))
        subjects = tuple(
            dict.fromkeys(f"{self._sort}:{code.removeprefix(f'{self._sort}:')}" for code in typed if code)
        )
        known = Now().some(subjects)
        unknown = [code[len(self._sort) + 1 :] for code in subjects if code not in known]
        if unknown:
            raise forms.ValidationError(
                _("The book does not know %(codes)s.") % {"codes": ", ".join(unknown[:20])}
            )
        return subjects


class BundleForm(forms.Form):
    """Which detectors, sites and people, over which days, with names or without."""

    use_required_attribute = False
    detectors = CodesField(
        "detector",
        label=gettext_lazy("Detectors"),
        help_text=gettext_lazy("Their codes, with commas between: D‑017, D‑018."),
    )
    sites = forms.MultipleChoiceField(
        label=gettext_lazy("All detectors of"), widget=forms.CheckboxSelectMultiple, required=False
    )
    people = CodesField(
        "person",
        label=gettext_lazy("People"),
        help_text=gettext_lazy("Their codes: everything about them, and the tests they made."),
    )
    first = forms.DateField(
        label=gettext_lazy("First day"),
        required=False,
        help_text=gettext_lazy("Left empty: from the beginning of the book."),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    last = forms.DateField(
        label=gettext_lazy("Last day"),
        required=False,
        help_text=gettext_lazy("Of the tables and papers. The entries go on to the newest."),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    without_names = forms.BooleanField(
        label=gettext_lazy("Leave out names, texts and photos"),
        required=False,
        help_text=gettext_lazy("Codes stay. The auditor is told how many texts are withheld."),
    )
    paper = forms.ChoiceField(
        label=gettext_lazy("Papers on"), choices=[("a4", "A4"), ("us-letter", "US Letter")], initial="a4"
    )
    since_size = forms.IntegerField(
        label=gettext_lazy("Entries in a checkpoint that the auditor holds"),
        required=False,
        min_value=1,
        help_text=gettext_lazy(
            "The number in its second line. The bundle then shows that the book only grew since."
        ),
    )

    def __init__(self, sites: Sequence[tuple[str, str]], data: Any = None) -> None:
        super().__init__(data, auto_id="f-%s")
        self.fields["sites"].choices = sites  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Something is asked for, and the period does not end before it begins."""
        data = super().clean() or {}
        asked = ("detectors", "sites", "people")
        if not any(data.get(name) or name in self.errors for name in asked):
            self.add_error("detectors", _("Name at least one detector, site or person."))
        first, last = data.get("first"), data.get("last")
        if first and last and last < first:
            self.add_error("last", _("It lies before the first day."))
        return data

    def asked(self) -> Asked:
        """What was asked for, once the form is valid."""
        data = self.cleaned_data
        return Asked(
            detectors=data["detectors"],
            sites=tuple(data["sites"]),
            people=data["people"],
            first=data["first"],
            last=data["last"],
            texts=not data["without_names"],
            paper=data["paper"],
            since_size=data["since_size"],
        )
