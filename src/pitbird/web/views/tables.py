"""Whole tables from elsewhere, pasted: all lines are checked first, and all are written, or none."""

from __future__ import annotations

from typing import Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from pitbird.intake.faults import Fault
from pitbird.intake.tables import TableKind, documented, read_table
from pitbird.services.writing import EntryRefused, write_all
from pitbird.web.who import actor_of, require_right

TABLES: Final[dict[str, tuple[TableKind, Promise, str]]] = {
    "detectors": ("detector", gettext_lazy("Which detectors are there?"), "detectors"),
    "people": ("person", gettext_lazy("Who is there?"), "people"),
    "cylinders": ("cylinder", gettext_lazy("Which cylinders are there?"), "gas"),
    "tests": ("bump-test", gettext_lazy("Which tests were made elsewhere?"), "gate"),
}
_FAULTS_SHOWN: Final = 50


class TableForm(forms.Form):
    """A table as text."""

    use_required_attribute = False
    table = forms.CharField(
        label=gettext_lazy("The table"),
        help_text=gettext_lazy("Its first line names the columns."),
        widget=forms.Textarea(attrs={"rows": 12, "spellcheck": "false", "wrap": "off"}),
        strip=False,
    )

    def put_faults(self, faults: tuple[Fault, ...]) -> None:
        """Every fault with its line; where there are very many, the first and how many more."""
        for fault in faults[:_FAULTS_SHOWN]:
            self.add_error("table", str(fault))
        more = len(faults) - _FAULTS_SHOWN
        if more > 0:
            self.add_error("table", ngettext("%d more fault.", "%d more faults.", more) % more)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def table(request: HttpRequest, name: str) -> HttpResponse:
    """Read a pasted table of one sort into the book; the keeper's to do."""
    if name not in TABLES:
        raise Http404(name)
    kind, question, back = TABLES[name]
    require_right(request, "detector")
    form = TableForm(request.POST if request.method == "POST" else None, auto_id="f-%s")
    if request.method == "POST" and form.is_valid():
        drafts, faults = read_table(kind, form.cleaned_data["table"])
        try:
            if faults:
                raise EntryRefused(faults)
            written = write_all(
                [each.draft for each in drafts], actor_of(request), lines=[each.line for each in drafts]
            )
        except EntryRefused as refused:
            form.put_faults(refused.faults)
        else:
            said = ngettext("%d entry was written.", "%d entries were written.", len(written)) % len(written)
            messages.success(request, said)
            return redirect(back)
    context = {
        "form": form,
        "question": question,
        "columns": documented(kind),
        "several": kind in ("detector", "cylinder"),
        "reported": _("They count only where the site rules let reported tests count.")
        if kind == "bump-test"
        else "",
    }
    return render(request, "pitbird/table.html", context, status=422 if form.errors else 200)
