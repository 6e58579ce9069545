"""Writing down who saw what names people, where that is switched on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from pitbird.services import seeing
from pitbird.web.who import NoPerson, login_of

#: What is seen at the addresses of these names.
_PAGES: Final = {
    "people": "people",
    "person": "person",
    "look-back-person": "person",
    "paper-training-record": "person",
    "let-in": "account",
    "attempts": "attempts",
    "erase-person": "erasing",
    "book-export": "export",
    "bundle-file": "export",
}
#: Pages that name people in passing: what is written down is that somebody was looked for there.
_SEARCHED: Final = frozenset({"gate", "detectors"})
_SHOWN: Final = frozenset({200, 422})


class WhoSaw:
    """After a page was made and before it is sent: no line, no page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, once the line stands."""
        response = self._get_response(request)
        if settings.SEEN and response.status_code in _SHOWN and request.user.is_authenticated:
            what, about = seen_at(request)
            if what:
                seeing.record(what, account=request.user.pk, person=_person(request), about=about)
        return response


def seen_at(request: HttpRequest) -> tuple[str, str]:
    """What an answered request showed, and about whom (a subject, where it was one person); "" for nothing
    that is written down. What was typed into a search is never kept: it may be a name."""
    match = request.resolver_match
    if match is None or request.method == "HEAD":
        return "", ""
    if "api" in match.namespaces:
        about = request.GET.get("wearer", "") if request.method == "GET" else ""
        return ("api", _subject(about)) if request.method == "GET" else ("", "")
    name = match.url_name or ""
    if name in _PAGES:
        return _PAGES[name], _subject(match.kwargs.get("code", ""))
    if name == "paper-labels" and request.GET.get("of") == "people":
        return "people", ""
    if name == "write" and match.kwargs.get("kind") == "person" and request.GET.get("about"):
        return "person", _subject(request.GET["about"])
    if name in _SEARCHED and (request.GET.get("q", "").strip() or request.GET.get("wearer")):
        return "name-search", _subject(request.GET.get("wearer", ""))
    return "", ""


def _subject(code: str) -> str:
    code = code.strip()
    return code if not code or code.startswith("person:") else f"person:{code}"


def _person(request: HttpRequest) -> str:
    try:
        return login_of(request).person
    except NoPerson:
        return ""
