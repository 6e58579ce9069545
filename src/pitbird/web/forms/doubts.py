"""The form that says when an entry of doubtful clock really happened."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from pitbird.fleet.times import Ms
from pitbird.web import times
from pitbird.web.forms.base import TimeField


class CountersignForm(forms.Form):
    """When it really happened, on the clock of the entry's site, and how that is known."""

    use_required_attribute = False
    reason = forms.CharField(
        label=gettext_lazy("How you know"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=gettext_lazy(
            "A paper, somebody who was there, another clock. Kept apart from the book's leaves; it can be "
            "erased."
        ),
    )
    field_order = ("at", "reason")

    def __init__(self, zone: str, recorded_at: Ms, data: Any = None) -> None:
        super().__init__(data, auto_id="f-%s")
        # Of an hour that the clocks show twice the earlier one: a pass must not outlive its day.
        at = TimeField(zone, label=_("When it really happened"))
        at.help_text = _(
            "On the clock of %(zone)s. It was recorded at %(recorded)s, so it happened by then."
        ) % {
            "zone": zone,
            "recorded": times.shown(recorded_at, zone),
        }
        at.widget.attrs["max"] = times.typed(recorded_at, zone)
        self.fields["at"] = at
        self.order_fields(self.field_order)
