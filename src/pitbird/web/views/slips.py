"""Taking an entry back at once after a slip."""

from __future__ import annotations

from typing import Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from pitbird.services import clock
from pitbird.services.slips import NotTakenBack, WhyNot, take_back, why_not
from pitbird.store import book
from pitbird.web.entries import tell_all
from pitbird.web.names import Names
from pitbird.web.who import NoPerson, actor_of, roles_of

WHY_NOT: Final[dict[WhyNot, Promise]] = {
    WhyNot.KIND: _("An entry of this kind is not taken back."),
    WhyNot.OTHER_PERSON: _("Only the one who wrote an entry takes it back. A keeper can correct it."),
    WhyNot.TOO_LATE: _("It was written more than ten minutes ago. A keeper can correct it."),
    WhyNot.CORRECTED: _("It has been corrected already."),
    WhyNot.A_FAIL: _("What speaks against a detector or a cylinder is taken back by a keeper only. Ask one."),
}


def may_take_back(request: HttpRequest, row: book.Row) -> bool:
    """Whether the one who looks wrote an entry just now and can take it back."""
    try:
        person = actor_of(request).person
    except NoPerson:
        return False
    return why_not(row, person, keeper="keeper" in roles_of(request), now=clock.now()) is None


@require_http_methods(["GET", "HEAD", "POST"])
def slip(request: HttpRequest, index: int) -> HttpResponse:
    """Ask once, then write the void correction."""
    row = book.at_index(index) if index < 2**62 else None
    if row is None:
        raise Http404(str(index))
    actor = actor_of(request)
    keeper = "keeper" in roles_of(request)
    if request.method == "POST":
        try:
            written = take_back(row, actor, keeper=keeper)
        except NotTakenBack as not_taken:
            return _page(request, row, not_taken.why)
        text = _("Entry %(index)d is taken back, by entry %(by)d. Both stay in the book.")
        messages.success(request, str(text) % {"index": index, "by": written.index})
        return redirect("entry", index=index)
    return _page(request, row, why_not(row, actor.person, keeper=keeper, now=clock.now()))


def _page(request: HttpRequest, row: book.Row, why: WhyNot | None) -> HttpResponse:
    (told,) = tell_all([row], Names([]))
    context = {"here": "book", "told": told, "why_not": WHY_NOT[why] if why is not None else None}
    return render(request, "pitbird/slip.html", context, status=200 if why is None else 409)
