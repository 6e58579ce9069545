"""The form by which a keeper gives an auditor a link: who, what of, until when."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from pitbird.services.audits import LONGEST_DAYS
from pitbird.web.forms.bundle import BundleForm


class AuditForm(BundleForm):
    """As for a bundle, with a reader and an end; without what only a file has."""

    paper = None  # type: ignore[assignment]
    since_size = None  # type: ignore[assignment]
    reader = forms.CharField(
        label=gettext_lazy("Who may read"),
        max_length=200,
        help_text=gettext_lazy("A name or an office. It can be erased later; that the link was given stays."),
    )
    days = forms.IntegerField(
        label=gettext_lazy("For so many days"), min_value=1, max_value=LONGEST_DAYS, initial=14
    )

    def __init__(self, sites: Sequence[tuple[str, str]], data: Any = None) -> None:
        super().__init__(sites, data)
        self.fields["last"].help_text = gettext_lazy(
            "For the reader's own use: entries go on to the newest, so that nothing can hide behind it."
        )

    def clean(self) -> dict[str, Any]:
        """As for a bundle."""
        data = super().clean()
        return {"paper": "a4", "since_size": None, **data}
