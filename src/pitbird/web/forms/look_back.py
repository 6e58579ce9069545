"""The form that records what was decided about a look-back."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.services.look_back_list import LookBack, draft
from pitbird.store import book
from pitbird.web.forms.base import Ask, EntryForm, Question, Setting

DECIDE: Final = Question(
    "look-back",
    "",
    gettext_lazy("Is earlier work affected?"),
    "",
    gettext_lazy("Record the decision"),
    (
        Ask("outcome", "choice", gettext_lazy("What was found"), required=True),
        Ask(
            "assessed_by",
            "person",
            gettext_lazy("Who assessed it"),
            required=True,
            initial=lambda setting: setting.actor.person,
            roles=("keeper", "competent"),
        ),
        Ask(
            "done",
            "note",
            gettext_lazy("What was done, and what the decision rests on"),
            required=True,
            help=gettext_lazy("Kept apart from the book's leaves, and can be erased."),
        ),
    ),
)


class DecideForm(EntryForm):
    """Outcome, who assessed it, what was done; it carries the size of the book that the list was made of."""

    book_size = forms.IntegerField(widget=forms.HiddenInput, min_value=1)

    def __init__(self, setting: Setting, looked: LookBack, data: Any = None) -> None:
        self.looked = looked
        super().__init__(DECIDE, setting, data)
        self.initial["book_size"] = looked.book_size

    def build(self) -> None:
        """The questions; the decision is made now, so nothing asks when."""
        for ask in DECIDE.asks:
            self.ask(ask)

    def clean_book_size(self) -> int:
        """No more than the book holds."""
        size = int(self.cleaned_data["book_size"])
        if size > book.head().size:
            raise forms.ValidationError(_("Open the page anew: the book holds fewer entries than it says."))
        return size

    def draft(self) -> dict[str, Any]:
        """The decision as an entry."""
        said = self.cleaned_data
        made = draft(
            self.looked,
            assessed_by=said["assessed_by"],
            outcome=said["outcome"],
            done=said["done"],
            book_size=said["book_size"],
        )
        return {**made, "id": str(said["entry_id"])}
