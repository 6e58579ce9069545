"""Writing an entry by hand: one page for each kind, each answering one question."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from pitbird.fleet.state import CylinderState, DetectorState, PersonState, SiteState, State
from pitbird.rules.decision import Verdict
from pitbird.services import clock
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.services.loud import held_for
from pitbird.services.writing import Appended, EntryRefused, IdTaken, write
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web.entries import tell_all
from pitbird.web.forms.base import EntryForm, Question, Setting
from pitbird.web.forms.questions import QUESTIONS
from pitbird.web.forms.special import FORMS
from pitbird.web.names import Names
from pitbird.web.telling import ToldDecision, tell_decision
from pitbird.web.views.would import sets_to_choose
from pitbird.web.who import actor_of, require_right

DO_NOT_USE: Final = gettext_lazy("Do not use it. Do not start the work that needs it.")
#: Kinds that bring a thing into the book; ``about`` then means: describe this one anew.
THINGS: Final = frozenset({"person", "site", "regulator", "detector", "cylinder"})
_DETECTORS_SAID: Final = 4
_SHOW_THE_GATE: Final = frozenset({"handed-out", "issued-untested", "returned-to-service"})


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def write_entry(request: HttpRequest, kind: str) -> HttpResponse:
    """The page that writes one kind of entry about ``?about=``, or first asks what about."""
    question = QUESTIONS.get(kind)
    if question is None:
        raise Http404(kind)
    require_right(request, kind)
    setting = _setting(request, question)
    if setting is None:
        return _pick(request, question)
    data = request.POST if request.method == "POST" else None
    form = FORMS[question.form](question, setting, data)
    status = 200
    if data is not None and "more" not in data:
        written = write_typed(request, form) if form.is_valid() else None
        if written is not None:
            return redirect(_after(written, setting, form))
        status = 422
    elif data is not None:
        form = _with_more(form)
    return render(request, "pitbird/write.html", _context(request, form), status=status)


def _with_more(form: EntryForm) -> EntryForm:
    """The same form with what was typed and one more row, nothing found fault with yet."""
    form.errors.clear()
    return form


def _setting(request: HttpRequest, question: Question) -> Setting | None:
    """Who writes about what; None where it is still to be said what about."""
    given = {name: str(value) for name, value in request.GET.items()}
    about = given.get("about", "").strip()
    actor = actor_of(request)
    now = clock.now()
    if question.form == "correction":
        text = given.get("entry", "")
        if not (text.isascii() and text.isdigit() and len(text) < 18) or book.at_index(int(text)) is None:
            raise Http404("entry")
        return Setting(actor, now, given=given)
    if question.kind in THINGS:
        return _setting_of_thing(request, question, Setting(actor, now, given=given), about)
    if not question.about:
        return Setting(actor, now, given=given)
    subject = subject_named(question, about)
    if subject is None:
        return None
    state = Now().state(subject)
    if state is None:
        return None
    return Setting(actor_of(request, site_of(state)), now, subject, state, given)


def _setting_of_thing(request: HttpRequest, question: Question, setting: Setting, about: str) -> Setting:
    """A thing: new, like another (``like``), or described anew (``about``)."""
    for name, anew in (("about", True), ("like", False)):
        text = about if anew else setting.given.get("like", "").strip()
        if not text:
            continue
        subject = text if ":" in text else f"{question.kind}:{text}"
        state = Now().state(subject)
        if naming.sort(subject) != question.kind or state is None:
            raise Http404(name)
        return replace(setting, subject=subject if anew else "", state=state)
    return setting


def subject_named(question: Question, text: str) -> str | None:
    """What was said: ``D-017``, ``d-017`` or ``detector:D-017``; None where the book knows no such thing."""
    if not text:
        return None
    if question.about == "any":
        return text if Now().state(text) is not None else None
    subject = text if ":" in text else f"{question.about}:{text}"
    if naming.sort(subject) != question.about:
        return None
    if Now().state(subject) is not None:
        return subject
    folded = [each for each in book.subjects(question.about) if each.casefold() == subject.casefold()]
    if len(folded) == 1:
        return folded[0]
    if question.about != "detector":
        return None
    serial = [
        each.subject for each in Now().all_of(DetectorState) if each.serial.casefold() == text.casefold()
    ]
    return serial[0] if len(serial) == 1 else None


def site_of(state: State | None) -> str | None:
    """The site whose clock governs a thing."""
    if isinstance(state, SiteState):
        return state.subject
    if isinstance(state, PersonState):
        return state.home
    return state.site if isinstance(state, DetectorState | CylinderState) else None


def _pick(request: HttpRequest, question: Question) -> HttpResponse:
    """Ask first what the entry is about."""
    said = request.GET.get("about", "").strip()
    sorts = ("detector", "cylinder", "person") if question.about == "any" else (question.about,)
    context = {
        "question": question,
        "said": said[:80],
        "subjects": [
            (each if question.about == "any" else naming.code(each))
            for sort in sorts
            for each in book.subjects(sort)
        ],
        "sort": question.about,
    }
    return render(request, "pitbird/write_pick.html", context, status=404 if said else 200)


def _context(request: HttpRequest, form: EntryForm) -> dict[str, Any]:
    setting, question = form.setting, form.question
    names = Names()
    told: ToldDecision | None = None
    if isinstance(setting.state, DetectorState) and setting.subject:
        row = gate_one(setting.subject, now=setting.now)
        told = tell_decision(row, setting.zone, names, all_findings=False)
    corrected = None
    if question.form == "correction":
        row_corrected = book.at_index(int(setting.given["entry"]))
        corrected = tell_all([row_corrected], names)[0] if row_corrected else None
    likes: list[str] = []
    if question.kind in {"detector", "cylinder"} and not setting.subject:
        likes = [naming.code(each) for each in book.subjects(question.kind)]
    return {
        "here": {"detector": "detectors", "cylinder": "gas", "correction": "book"}.get(
            naming.sort(setting.subject) or question.kind, ""
        ),
        "form": form,
        "question": question,
        "setting": setting,
        "code": naming.code(setting.subject) if setting.subject else "",
        "subject_name": names(setting.subject),
        "subject_address": naming.address(setting.subject) if setting.subject else "",
        "told": told,
        "warn_first": question.kind in _SHOW_THE_GATE and told is not None and told.verdict != "may-go-out",
        "corrected": corrected,
        "likes": likes,
        "like": naming.code(setting.state.subject) if setting.state and not setting.subject else "",
        "rows": question.kind in {"detector", "cylinder"},
        "held": isinstance(setting.state, DetectorState) and held_for(setting.state) is not None,
        "sets": sets_to_choose(names) if question.kind == "rules-adopted" else None,
    }


def write_typed(request: HttpRequest, form: EntryForm) -> Appended | None:
    """Write what the form says; None where it was refused, with every fault tied to its field."""
    try:
        written = write(form.draft(), form.setting.actor)
    except EntryRefused as refused:
        form.put_faults(refused.faults)
        return None
    except IdTaken as taken:
        form.add_error(
            None,
            _(
                "This page was sent before with other words, and stands as entry %(index)d. "
                "Open a new page to write more."
            )
            % {"index": taken.index},
        )
        return None
    say(request, written, form.setting.zone)
    return written


def say(request: HttpRequest, written: Appended, zone: str) -> None:
    """Say what was written, and for every detector it is about what the gate says now."""
    row = book.at_index(written.index)
    told = tell_all([row])[0] if row is not None else None
    sentence = told.sentence if told else ""
    if written.again:
        messages.info(request, _("It stood in the book already, as entry %(index)d: %(what)s") % {
            "index": written.index, "what": sentence,
        })  # fmt: skip
    else:
        wrote = _("Entry %(index)d: %(what)s") % {"index": written.index, "what": sentence}
        slip = str(written.index) if told and told.kind != "correction" else ""
        messages.success(request, wrote, extra_tags=slip)
    for subject in _detectors_of(told.body if told else {}):
        decided = gate_one(subject, now=clock.now())
        said = tell_decision(decided, zone, Names(), all_findings=False)
        if decided.decision.verdict is Verdict.MAY_GO_OUT:
            messages.info(
                request, _("%(code)s may go out until %(until)s.") % {"code": said.code, "until": said.until}
            )
        else:
            messages.warning(request, f"{said.code}: {said.words}. {said.reason} {DO_NOT_USE}")


def _detectors_of(body: Any) -> list[str]:
    about = [subject for subject in body.get("about", ()) if naming.sort(subject) == "detector"]
    return about[:_DETECTORS_SAID]


def _after(written: Appended, setting: Setting, form: EntryForm) -> str:
    """Where to go afterwards: to what it was about, else to the entry."""
    subject = setting.subject or str(getattr(form, "new_subject", ""))
    place = naming.address(subject) if subject else ""
    if form.question.kind == "rules-adopted":
        return "/rules"
    return place or f"/book/{written.index}"
