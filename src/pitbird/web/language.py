"""The language of an answer: what its reader chose, else what the browser asks for, else English.

Only addresses whose every word is translated are answered in it. All others are English throughout, with
English dates: no page is half in one language and half in another.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import formats, translation
from django.utils.cache import patch_vary_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

ENGLISH: Final = "en"
#: What is translated whole: the gate, the field page with what it is sent, and the gate's answers of the API.
_WHOLE: Final = re.compile(r"/(?:|language|field/.*|api/field/.*|api/gate|api/detectors/[^/]*)")


def names() -> dict[str, str]:
    """Every language there is, each by its own name."""
    return dict(settings.LANGUAGES)


def wanted(request: HttpRequest) -> str:
    """What the reader wants: ``?lang=`` of an address of the API, the cookie, the browser's list, English."""
    asked = request.GET.get("lang", "") if request.path_info.startswith("/api/") else ""
    return asked if asked in names() else translation.get_language_from_request(request)


def is_whole(path: str) -> bool:
    """Whether what stands at an address is translated whole."""
    return _WHOLE.fullmatch(path) is not None


class Speaking:
    """Answers each request in its language, and says so in ``Content-Language`` and ``Vary``."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer a request with its language active."""
        language = wanted(request) if is_whole(request.path_info) else ENGLISH
        with translation.override(language):
            response = self.get_response(request)
        patch_vary_headers(response, ("Accept-Language", "Cookie"))
        response.headers.setdefault("Content-Language", language)
        return response


@require_POST
def choose(request: HttpRequest) -> HttpResponse:
    """Keep the language that was chosen in a cookie for a year, and go back to the page."""
    back = request.POST.get("next", "")
    safe = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
    response = redirect(back if safe else "/")
    chosen = request.POST.get("language", "")
    if chosen in names():
        response.set_cookie(
            settings.LANGUAGE_COOKIE_NAME, chosen, max_age=settings.LANGUAGE_COOKIE_AGE, httponly=True,
            samesite="Lax", secure=settings.SESSION_COOKIE_SECURE,
        )  # fmt: skip
    return response


def number(text: str) -> str:
    """A decimal as the language writes it; its digits stay as they were recorded."""
    return text.replace(".", formats.get_format("DECIMAL_SEPARATOR"))
