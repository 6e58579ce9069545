"""Erasing a person, or a text of an entry: what goes, what stays, and the code typed once more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from pitbird.fleet.state import PersonState
from pitbird.intake.faults import EntryRefused
from pitbird.services import erasing
from pitbird.services.accounts import CannotClose, why_not_closed
from pitbird.services.erasing import Considered, Erased, Sealed
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web.entries import tell_all
from pitbird.web.forms.erasing import Choice, ErasePersonForm, EraseTextsForm
from pitbird.web.names import Names
from pitbird.web.vocabulary import field_word, kind_word
from pitbird.web.who import require_keeper, zone_of

_SHOWN: Final = 240


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def erase_person(request: HttpRequest, code: str) -> HttpResponse:
    """Erase a person's name and what else is sealed about them; the keeper's to do."""
    actor = require_keeper(request)
    state = Now().state(f"person:{code}")
    if not isinstance(state, PersonState):
        raise Http404(code)
    found, names = erasing.consider(state.subject), Names([])
    blocked = why_not_closed(state.subject, by=actor.person) if found.account else None
    whole = [each.sealed.commitment for each in found.naming if each.whole]
    form = ErasePersonForm(
        code,
        request.POST if request.method == "POST" else None,
        shared=_choices(found.shared, names),
        naming=_choices([each.sealed for each in found.naming], names),
        ticked=[*whole, *(one.commitment for one in found.shared)],
        account="" if blocked else found.account or "",
        close=bool(state.left),
    )
    status = 200
    if request.method == "POST":
        if form.is_valid() and _erase_person(request, form, found) is not None:
            return redirect("person", code=code)
        status = 422
    context = {
        "here": "people",
        "code": code,
        "form": form,
        "found": found,
        "nothing": not (found.own or found.shared or found.naming or found.account),
        "own": _choices(found.own, names),
        "blocked": blocked,
        "zone": zone_of(state.home),
    }
    return render(request, "pitbird/erase_person.html", context, status=status)


def _erase_person(request: HttpRequest, form: ErasePersonForm, found: Considered) -> Erased | None:
    data = form.cleaned_data
    try:
        done = erasing.erase_person(
            found.person,
            [*data.get("shared", ()), *data.get("naming", ())],
            data["because"],
            require_keeper(request),
            close=bool(data.get("close")),
        )
    except (EntryRefused, CannotClose) as refused:
        form.add_error(None, str(refused))
        return None
    say(request, done)
    return done


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def erase_texts(request: HttpRequest, index: int) -> HttpResponse:
    """Erase texts or photos of one entry; the keeper's to do."""
    actor = require_keeper(request)
    row = book.at_index(index) if index < 2**62 else None
    if row is None:
        raise Http404(str(index))
    names = Names([])
    texts = [(one.commitment, _words(one)) for one in erasing.sealed_of([row])]
    form = EraseTextsForm(str(index), request.POST if request.method == "POST" else None, texts=texts)
    status = 200
    if request.method == "POST":
        if form.is_valid():
            data = form.cleaned_data
            try:
                done = erasing.erase_texts(index, data["texts"], data["because"], actor)
            except EntryRefused as refused:
                form.add_error(None, str(refused))
            else:
                say(request, done)
                return redirect("entry", index=index)
        status = 422
    (told,) = tell_all([row], names)
    context = {"here": "book", "told": told, "form": form, "nothing": not texts}
    return render(request, "pitbird/erase_texts.html", context, status=status)


def say(request: HttpRequest, done: Erased) -> None:
    """What was erased, and where that stands. Without a name: messages travel in a cookie."""
    places = ", ".join(str(each.index) for each in done.entries)
    if done.entries:
        said = ngettext(
            "%(count)d name, text or photo is erased for good; entry %(places)s says so.",
            "%(count)d names, texts and photos are erased for good; entry %(places)s says so.",
            done.count,
        )
        messages.success(request, said % {"count": done.count, "places": places})
    if done.account_closed:
        messages.success(request, _("The account is closed, and signed out everywhere."))
    say_whether_overwritten(request, done.overwritten)
    messages.warning(
        request,
        _("Exports, backups and printed pages made before still hold it. Deal with those too."),
    )


def say_whether_overwritten(request: HttpRequest, overwritten: bool) -> None:
    """A warning where stale copies may still lie in the database's files."""
    if not overwritten:
        messages.warning(
            request,
            _(
                "The database's files could not be rewritten just now, so stale copies may lie in them. "
                "Run “pitbird erase --rewrite” when nobody else is at work."
            ),
        )


def _choices(sealed: Sequence[Sealed], names: Names) -> list[Choice]:
    return [(one.commitment, f"{_words(one)} ({_place(one, names)})") for one in sealed]


def _words(one: Sealed) -> str:
    label = str(field_word(one.field.rpartition(".")[2]))
    if one.text is None:
        return label
    return f"{label}: “{one.text[:_SHOWN]}{'…' if len(one.text) > _SHOWN else ''}”"


def _place(one: Sealed, names: Names) -> str:
    about = ", ".join(naming.code(subject) for subject in one.about[:3])
    return _("%(kind)s, %(about)s, entry %(index)d") % {
        "kind": kind_word(one.kind),
        "about": about,
        "index": one.index,
    }
