"""Saying what shall stand instead of an entry, in the entry's own form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from pitbird.fleet.folding import fold
from pitbird.fleet.state import DetectorState, State
from pitbird.fleet.times import text_of
from pitbird.services import clock
from pitbird.services.correcting import what_counts
from pitbird.services.knowing import Now
from pitbird.services.loud import held_for
from pitbird.services.writing import Appended, EntryRefused, IdTaken, write
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web.entries import body_of, tell_all
from pitbird.web.forms.base import NOTE, Ask, EntryForm, Question, Setting
from pitbird.web.forms.questions import QUESTIONS
from pitbird.web.forms.replacing import WHY, correction_of, instead, prefill, put_faults, says_the_same
from pitbird.web.forms.special import FORMS
from pitbird.web.names import Names
from pitbird.web.views import bump_replacing
from pitbird.web.views.write import THINGS, say, site_of, subject_named
from pitbird.web.who import actor_of, require_right

#: A whole set of rules stands in it; what is wrong there is put right by adopting another.
_WITHOUT: Final = frozenset({"correction", "rules-adopted"})
#: A bare result from elsewhere, of which nothing was seen.
REPORTED: Final = Question(
    "bump-test",
    "detector",
    gettext_lazy("What did the test from elsewhere show?"),
    "",
    "",
    (
        Ask("outcome", "choice", required=True),
        Ask("spoiled_because", "choice", gettext_lazy("Where spoiled: why")),
        NOTE,
    ),
)


def question_of(body: Mapping[str, Any]) -> Question | None:
    """The form by which an entry is written by hand; None for one that has no form of its own."""
    if body["kind"] == "bump-test":
        return REPORTED if body.get("footing") == "reported" else None
    return None if body["kind"] in _WITHOUT else QUESTIONS.get(body["kind"])


def has_own_form(row: book.Row) -> bool:
    """Whether an entry can be replaced by its own form."""
    return row.kind == "bump-test" or (row.kind not in _WITHOUT and row.kind in QUESTIONS)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def replace_entry(request: HttpRequest, index: int) -> HttpResponse:
    """The entry's own form, filled with what counts now; ``?about=`` moves it to another thing."""
    row = book.at_index(index) if index < 2**62 else None
    if row is None or not has_own_form(row):
        raise Http404(str(index))
    require_right(request, "correction")
    counts = what_counts(row)
    stands = {**(counts or body_of(row)), "id": row.entry_id}
    question = question_of(stands)
    if question is None:
        return bump_replacing.replace_test(request, row, stands, voided=counts is None)
    setting = _setting(request, row, question, stands)
    data = request.POST if request.method == "POST" else None
    form = FORMS[question.form](question, setting, data)
    prefill(form, stands)
    status = 200
    if data is not None and "more" not in data:
        written = _write(form, row, stands, voided=counts is None) if form.is_valid() else None
        if written is not None:
            say(request, written, setting.zone)
            return redirect("entry", index=index)
        status = 422
    elif data is not None:
        form.errors.clear()
    return render(request, "pitbird/replace.html", _context(row, form), status=status)


def _setting(request: HttpRequest, row: book.Row, question: Question, stands: Mapping[str, Any]) -> Setting:
    """Who corrects, on the clock of the entry, about what: as it was, or about what ``?about=`` names."""
    now = clock.now()
    given = {name: str(value) for name, value in request.GET.items()}
    own = stands.get(question.subject_field or question.kind, "")
    if question.kind in THINGS:
        state: State | None = fold(own, [(row.index, stands, text_of(now))])
        subject: str | None = own
    else:
        about = given.get("about", "").strip()
        subject = subject_named(question, about) if about else own
        if subject is None:
            raise Http404(about)
        state = Now().state(subject) if subject else None
    actor = replace(actor_of(request, site_of(state)), zone=stands["zone"])
    return Setting(actor, now, subject or "", state, given, corrects=True)


def _write(form: EntryForm, row: book.Row, stands: Mapping[str, Any], *, voided: bool) -> Appended | None:
    """Write the correction; None where it was refused, with every fault at its field."""
    replacement = instead(form, stands)
    if not voided and says_the_same(stands, replacement):
        form.add_error(None, _("Nothing differs from what stands. Change what is wrong first."))
        return None
    draft = correction_of(
        row.entry_id, str(form.cleaned_data["entry_id"]), form.cleaned_data[WHY], replacement
    )
    try:
        return write(draft, form.setting.actor)
    except EntryRefused as refused:
        put_faults(form, refused.faults)
    except IdTaken as taken:
        form.add_error(None, taken_words(taken))
    return None


def taken_words(taken: IdTaken) -> str:
    """What is said where a form was sent a second time with other words."""
    return _(
        "This page was sent before with other words, and stands as entry %(index)d. Open a new page to write "
        "more."
    ) % {"index": taken.index}


def _context(row: book.Row, form: EntryForm) -> dict[str, Any]:
    names = Names()
    setting = form.setting
    movable = form.question.kind not in THINGS and form.question.about in {"detector", "cylinder", "person"}
    return {
        "here": "book",
        "form": form,
        "question": form.question,
        "setting": setting,
        "told": tell_all([row], names)[0],
        "code": naming.code(setting.subject) if setting.subject else "",
        "movable": movable,
        "sort": form.question.about,
        "subjects": [naming.code(each) for each in book.subjects(form.question.about)] if movable else [],
        "rows": form.question.kind in {"detector", "cylinder"},
        "held": isinstance(setting.state, DetectorState) and held_for(setting.state) is not None,
    }
