"""Pages for what went wrong; they say whether anything was written."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import loader


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """403: signed in, but without the right."""
    return render(request, "403.html", status=403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """404."""
    return render(request, "404.html", status=404)


def broken(request: HttpRequest) -> HttpResponse:
    """500: a page that needs nothing but itself."""
    return HttpResponse(loader.get_template("500.html").render(), status=500)


def csrf_failed(request: HttpRequest, reason: str = "", **_: Any) -> HttpResponse:
    """403: the form had lain open too long, or did not come from this book."""
    return render(request, "403_csrf.html", status=403)
