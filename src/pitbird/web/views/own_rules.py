"""Rules of the keeper's own: read, said what would change and what they would answer today, then adopted."""

from __future__ import annotations

from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from pitbird.rules.decision import RuleSet
from pitbird.rules.loading import shipped, shipped_text
from pitbird.services import clock
from pitbird.services.rule_sets import named
from pitbird.web import names as naming
from pitbird.web.forms.base import Setting
from pitbird.web.forms.own_rules import LookForm, OwnRulesAdopted
from pitbird.web.forms.questions import QUESTIONS
from pitbird.web.names import Names
from pitbird.web.views.rules import tell_rule
from pitbird.web.views.would import differences, today_under
from pitbird.web.views.write import write_typed
from pitbird.web.who import actor_of, require_right

_KIND: Final = "rules-adopted"


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def own(request: HttpRequest) -> HttpResponse:
    """The text of a set; once it has no fault, what it would change, and the form by which it is adopted."""
    require_right(request, _KIND)
    setting = Setting(actor_of(request), clock.now())
    if request.method == "POST" and request.POST.get("do") == "adopt":
        return _adopt(request, setting)
    if request.method != "POST":
        like = request.GET.get("like", "")
        return _page(request, setting, LookForm(text=shipped_text(like) if like in shipped() else ""))
    return _looked_at(request, setting, LookForm(request.POST, request.FILES))


def _adopt(request: HttpRequest, setting: Setting) -> HttpResponse:
    adopt = OwnRulesAdopted(QUESTIONS[_KIND], setting, request.POST)
    if adopt.is_valid() and write_typed(request, adopt) is not None:
        return redirect("rules")
    return _looked_at(request, setting, LookForm({"text": request.POST.get("text", "")}), adopt)


def _looked_at(
    request: HttpRequest, setting: Setting, look: LookForm, refused: OwnRulesAdopted | None = None
) -> HttpResponse:
    """The page after a text was given: with its faults, or with what it would change."""
    if not look.is_valid() or look.rules is None:
        if look.read:  # a file's text stands in the box, where its faults can be put right
            look = LookForm({"text": look.read})
        return _page(request, setting, look, status=422)
    adopt = refused or OwnRulesAdopted(QUESTIONS[_KIND], setting)
    adopt.initial["text"] = look.read
    status = 200 if refused is None else 422
    return _page(request, setting, LookForm(text=look.read), look.rules, adopt, status=status)


def _page(
    request: HttpRequest,
    setting: Setting,
    look: LookForm,
    rules: RuleSet | None = None,
    adopt: OwnRulesAdopted | None = None,
    *,
    status: int = 200,
) -> HttpResponse:
    names = Names()
    context: dict[str, Any] = {
        "here": "rules",
        "setting": setting,
        "look": look,
        "rules": rules,
        "adopt": adopt,
        "sites": naming.sites(),
        "shipped": shipped(),
    }
    if rules is not None:
        other = named(rules.id)
        context |= {
            "taken": other is not None and other.version == rules.version and other.digest != rules.digest,
            **today_under(rules, setting.now, names),
            "differences": differences(rules, setting.now, names),
            "listed": [tell_rule(rule) for rule in rules.rules],
        }
    return render(request, "pitbird/own_rules.html", context, status=status)
