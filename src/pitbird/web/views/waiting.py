"""The waiting room: what phones sent and the book did not take, and the keeper's decision on each."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from pitbird.fleet.times import Ms
from pitbird.services import field, waiting
from pitbird.services.writing import Actor, EntryRefused
from pitbird.store.models import Waiting
from pitbird.web import names as naming
from pitbird.web.forms.phones import AsideForm, CorrectForm
from pitbird.web.names import Names
from pitbird.web.vocabulary import kind_word, word
from pitbird.web.who import require_keeper

WHY_WORDS = {
    "not-registered": gettext_lazy("The phone is not registered."),
    "device-ended": gettext_lazy("The phone's registration has ended."),
    "not-this-device": gettext_lazy("It was signed with a key that is not the phone's."),
    "signature": gettext_lazy("Its signature does not fit: it was changed after it was signed."),
    "not-known-here": gettext_lazy("The person was never known on this phone, by PIN or account."),
    "left": gettext_lazy("The person had left."),
    "no-right": gettext_lazy("The person may not write this on a phone."),
    "refused": gettext_lazy("What it says does not fit what the book knows."),
    "id-taken": gettext_lazy("An entry of the same number says something else."),
    "not-readable": gettext_lazy("It cannot be read as an entry."),
}


@never_cache
@require_safe
def waiting_room(request: HttpRequest) -> HttpResponse:
    """What waits, the oldest first, and what was decided."""
    actor = require_keeper(request)
    names = Names([])
    kept, done = waiting.waiting(), waiting.settled()
    names.read({each.person for each in (*kept, *done)} | {each.settled_by for each in done})
    context = {
        "here": "book",
        "zone": actor.zone,
        "lines": [_line(each, names) for each in kept],
        "done": [_line(each, names) for each in done],
    }
    return render(request, "pitbird/waiting.html", context)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def one(request: HttpRequest, number: int) -> HttpResponse:
    """One of them: try it again, have it written with a correction, or set it aside."""
    actor = require_keeper(request)
    kept = Waiting.objects.filter(number=number).first() if number < 2**62 else None
    if kept is None:
        raise Http404(str(number))
    draft = waiting.draft_of(kept)
    if request.method != "POST":
        return _one(request, kept, actor, CorrectForm(draft), AsideForm())
    act = request.POST.get("act", "")
    correct = CorrectForm(draft, request.POST if act == "correct" else None)
    aside = AsideForm(request.POST if act == "aside" else None)
    try:
        if act == "again":
            return _again(request, kept, actor)
        if act == "correct" and correct.is_valid():
            appended = waiting.write_corrected(kept.number, correct.draft(), actor)
            messages.success(request, _("Written, with your name beside that of who did it."))
            return redirect("entry", index=appended.index)
        if act == "aside" and aside.is_valid():
            waiting.set_aside(kept.number, aside.cleaned_data["reason"], actor)
            messages.success(request, _("Set aside. It stays here with your reason."))
            return redirect("waiting")
    except waiting.Settled:
        messages.info(request, _("This was decided before."))
        return redirect("waiting-one", number=kept.number)
    except EntryRefused as refused:
        for fault in refused.faults:
            said = f"{fault.value}: {fault.problem}" if fault.value else fault.problem
            correct.add_error(_field_of(correct, fault.field), said)
    return _one(request, kept, actor, correct, aside, status=422)


def _field_of(form: CorrectForm, path: str) -> str | None:
    if path in form.fields:
        return path
    if path.startswith("applications[") and path.endswith("].cylinder"):
        name = f"cylinder-{path[len('applications[') : -len('].cylinder')]}"
        return name if name in form.fields else "entry"
    return "entry"


def _again(request: HttpRequest, kept: Waiting, actor: Actor) -> HttpResponse:
    answer = field.try_again(kept.number, actor)
    if answer.status == "waiting" or answer.index is None:
        messages.info(request, _("It still cannot be written; the reasons below are those of now."))
        return redirect("waiting-one", number=kept.number)
    messages.success(request, _("Written as it came."))
    return redirect("entry", index=answer.index)


def _one(
    request: HttpRequest,
    kept: Waiting,
    actor: Actor,
    correct: CorrectForm,
    aside: AsideForm,
    *,
    status: int = 200,
) -> HttpResponse:
    names = Names([kept.person, kept.sent_by, kept.settled_by])
    context = {
        "here": "book",
        "zone": actor.zone,
        "line": _line(kept, names),
        "correct": correct,
        "may_correct": bool(correct.draft_before),
        "aside": aside,
        "content": _shown(kept.content),
    }
    return render(request, "pitbird/waiting_one.html", context, status=status)


def _shown(content: str) -> str:
    """What came, broken into lines where it is JSON; else as it is."""
    try:
        return json.dumps(json.loads(content), indent=1, ensure_ascii=False)
    except (ValueError, RecursionError):
        return content


def _line(kept: Waiting, names: Names) -> dict[str, Any]:
    return {
        "kept": kept,
        "came_at": Ms(kept.came_at),
        "settled_at": Ms(kept.settled_at) if kept.settled_at is not None else None,
        "kind": kind_word(kept.kind) if kept.kind else _("Something that cannot be read"),
        "detector": naming.code(kept.detector),
        "person": names(kept.person) if kept.person.startswith("person:") else kept.person,
        "device": naming.code(kept.device),
        "why": [WHY_WORDS.get(each, each) for each in kept.why.split()],
        "faults": waiting.faults_of(kept),
        "settled_by": names(kept.settled_by) if kept.settled_by else "",
        "state": _("written") if kept.state == waiting.WRITTEN else _("set aside"),
        "open": kept.state == waiting.WAITING,
        "word": word,
    }
