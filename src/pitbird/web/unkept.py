"""What is answered here is of its moment, and names people: browsers keep none of it unless it says so."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest
from django.http.response import HttpResponseBase


class Unkept:
    """Gives each answer ``Cache-Control: no-store`` that has nothing of its own to say about being kept.

    Else the Back button shows a page as it was before a failed test, with its yes (RFC 9111, 5.2.2.5).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, not to be kept."""
        response = self._get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")
        return response
