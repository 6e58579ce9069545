"""Who saw what: the list, for the keeper."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from pitbird.services import seeing as service
from pitbird.services.seeing import LINK, PHONE, TERMINAL, Sight
from pitbird.web import names as naming
from pitbird.web.names import Names
from pitbird.web.who import require_keeper

PAGE: Final = 100
WHAT_WORDS: Final[dict[str, Promise]] = {
    "people": gettext_lazy("the list of people"),
    "person": gettext_lazy("the page of a person"),
    "account": gettext_lazy("how a person signs in"),
    "attempts": gettext_lazy("the counts of people's tests"),
    "erasing": gettext_lazy("what erasing would take"),
    "name-search": gettext_lazy("a search by name or wearer"),
    "export": gettext_lazy("the export of the book"),
    "api": gettext_lazy("an answer of the API"),
    "audit": gettext_lazy("a part of the book, by an auditor's link"),
}


@never_cache
@require_safe
def seen(request: HttpRequest) -> HttpResponse:
    """The newest lines, of one person or about one person where asked for."""
    actor = require_keeper(request)
    about, by = (_person(request.GET.get(name, "")) for name in ("person", "by"))
    text = request.GET.get("before", "")
    before = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None
    found = service.sights(person=about, by=by, before=before, most=PAGE + 1)
    names, shown = Names([]), found[:PAGE]
    accounts = dict(
        User.objects.filter(pk__in={each.account for each in shown}).values_list("pk", "username")
    )
    context = {
        "here": "seen",
        "on": settings.SEEN,
        "zone": actor.zone,
        "lines": [_line(each, names, accounts) for each in shown],
        "about": naming.code(about),
        "by": naming.code(by),
        "earlier": shown[-1].at if len(found) > PAGE else None,
        "count": service.count(),
        "paged": before is not None,
    }
    return render(request, "pitbird/seen.html", context)


def _line(sight: Sight, names: Names, accounts: dict[int, str]) -> dict[str, object]:
    if sight.account == TERMINAL:
        account = _("at the terminal")
    elif sight.account == LINK:
        account = _("by a link")
    elif sight.account == PHONE:
        account = _("by a phone")
    else:
        account = accounts.get(sight.account) or _("account %d, closed") % sight.account
    return {
        "at": sight.at,
        "who": names(sight.person) if sight.person else account,
        "who_address": naming.address(sight.person) if sight.person else "",
        "account": account,
        "what": WHAT_WORDS.get(sight.what, sight.what),
        "about": _("the link") if sight.account == LINK else names(sight.about),
        "about_address": _about_address(sight),
    }


def _about_address(sight: Sight) -> str:
    if sight.account == LINK:
        return reverse("entry-by-id", args=[sight.about])
    return naming.address(sight.about) if sight.about else ""


def _person(text: str) -> str:
    text = text.strip()[:80]
    return text if not text or text.startswith("person:") else f"person:{text}"
