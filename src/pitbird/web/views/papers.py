"""Papers that leave the house, as PDF: the same rights as the page that each belongs to."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_safe

from pitbird.services.papers.making import Made, NoSuchPaper, Order, PaperRefused
from pitbird.services.papers.press import Press
from pitbird.services.papers.signing import signed
from pitbird.web import names as naming


@require_safe
def bump_test(request: HttpRequest, index: int) -> HttpResponse:
    """The record of a bump test."""
    from pitbird.services.papers.bump_test import bump_test as make

    return _sent(request, lambda order: make(index, order))


@require_safe
def calibration_certificate(request: HttpRequest, index: int) -> HttpResponse:
    """The certificate of a calibration."""
    from pitbird.services.papers.calibration_certificate import calibration_certificate as make

    return _sent(request, lambda order: make(index, order))


@require_safe
def detector_history(request: HttpRequest, code: str) -> HttpResponse:
    """The entries about a detector, of a period of days where ``first`` or ``last`` are given."""
    from pitbird.services.papers.detector_history import detector_history as make

    def history(order: Order) -> Made:
        first, last = _days(request, "first", "last")
        return make(f"detector:{code}", order, first=first, last=last)

    return _sent(request, history)


@require_safe
def key_sheet(request: HttpRequest) -> HttpResponse:
    """By which key the book signs."""
    from pitbird.services.papers.key_sheet import key_sheet as make

    return _sent(request, make)


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """Sheets of labels ``of`` a sort of things, of a ``site`` where one is given."""
    from pitbird.services.papers.labels import all_of
    from pitbird.services.papers.labels import labels as make

    def sheets(order: Order) -> Made:
        text = request.GET.get("start", "1").strip() or "1"
        start = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
        listed = all_of(request.GET.get("of", ""), _site(request))
        return make(listed, order, grid=request.GET.get("grid", ""), start=start)

    return _sent(request, sheets)


@require_safe
def labels_asked(request: HttpRequest) -> HttpResponse:
    """Which labels: of what, of which site, on which sheets."""
    from pitbird.papers.labels import GRIDS

    context = {
        "here": "detectors",
        "of": request.GET.get("of", "detectors"),
        "sites": [(naming.code(state.subject), state.name) for state in naming.sites()],
        "grids": [(paper, text) for paper, texts in GRIDS.items() for text in texts],
    }
    return render(request, "pitbird/labels.html", context)


@require_safe
def slips(request: HttpRequest) -> HttpResponse:
    """Slips to be filled in by hand: of each ``detector`` named, else of all of a ``site``."""
    from pitbird.services.papers.labels import all_of
    from pitbird.services.papers.slips import slips as make

    def sheets(order: Order) -> Made:
        named = [
            f"detector:{code.strip().removeprefix('detector:')}" for code in request.GET.getlist("detector")
        ]
        site = _site(request)
        return make(named or (all_of("detectors", site) if site else []), order)

    return _sent(request, sheets)


@require_safe
def morning_sheet(request: HttpRequest) -> HttpResponse:
    """What may go out at a ``site``, for its wall."""
    from pitbird.services.papers.morning_sheet import morning_sheet as make

    def page(order: Order) -> Made:
        site = _site(request)
        if site is None:
            raise PaperRefused("site: missing; a sheet is for the wall of one site")
        return make(site, order)

    return _sent(request, page)


@require_safe
def book_page(request: HttpRequest) -> HttpResponse:
    """The entries of a ``day``, at a ``site`` where one is given."""
    from pitbird.services.papers.book_page import book_page as make

    def page(order: Order) -> Made:
        (day,) = _days(request, "day")
        if day is None:
            raise PaperRefused("day: missing; write it like 2026-03-02")
        return make(day, order, site=_site(request))

    return _sent(request, page)


@require_safe
def cylinder_standing(request: HttpRequest, code: str) -> HttpResponse:
    """The standing of a cylinder."""
    from pitbird.services.papers.cylinder_standing import cylinder_standing as make

    return _sent(request, lambda order: make(f"cylinder:{code}", order))


@require_safe
def training_record(request: HttpRequest, code: str) -> HttpResponse:
    """The training record of a person."""
    from pitbird.services.papers.training_record import training_record as make

    return _sent(request, lambda order: make(f"person:{code}", order))


def _site(request: HttpRequest) -> str | None:
    """The site that an address names, if any."""
    code = request.GET.get("site", "").strip().removeprefix("site:")
    return f"site:{code}" if code else None


def _days(request: HttpRequest, *fields: str) -> list[date | None]:
    """The days that an address gives, None where it gives none. Raises PaperRefused with every fault."""
    found: list[date | None] = []
    faults = []
    for field in fields:
        text = request.GET.get(field, "").strip()
        try:
            found.append(date.fromisoformat(text) if text else None)
        except ValueError:
            faults.append(f"{field}: {text[:40]!r} is not a day; write it like 2026-03-02")
    if faults:
        raise PaperRefused("\n".join(faults))
    return found


def _asked_on(request: HttpRequest) -> str:
    """The page of this book on which a paper was asked for, as far as the browser tells; else the gate."""
    before = request.headers.get("Referer", "")
    if url_has_allowed_host_and_scheme(before, {request.get_host()}, require_https=request.is_secure()):
        return before
    return reverse("gate")


def _sent(request: HttpRequest, make: Callable[[Order], Made]) -> HttpResponse:
    """A paper made and sent; 404 for what the book has not, 422 with every fault for what cannot be asked."""
    order = Order(
        home=Path(settings.CONFIG.home),
        passphrase=os.environ.get("PITBIRD_KEY_PASSPHRASE", "").encode() or None,
        paper=request.GET.get("paper", "a4"),
        locale=request.GET.get("locale", "en-GB"),
    )
    try:
        with Press() as press:
            made = signed(make(replace(order, press=press)))
    except NoSuchPaper as none:
        raise Http404(str(none)) from None
    except PaperRefused as refused:
        context = {"here": "book", "faults": str(refused).splitlines(), "back": _asked_on(request)}
        return render(request, "pitbird/paper_refused.html", context, status=422)
    response = HttpResponse(made.pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{made.name}"'
    response["Cache-Control"] = "no-store"
    return response
