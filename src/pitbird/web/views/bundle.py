"""An audit bundle on a page: what the auditor wants to see, how far it is, and the file."""

from __future__ import annotations

import os
import re
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from pitbird.papers.bundle.writing import BundleRefused
from pitbird.services import bundle_keeping
from pitbird.services.book_keys import CheckpointRefused, public_key
from pitbird.services.bundle_keeping import Ready
from pitbird.services.bundles import Progress
from pitbird.services.moving import BookEmpty
from pitbird.web import names as naming
from pitbird.web.forms.bundle import BundleForm
from pitbird.web.who import require_keeper

_NAME: Final = re.compile(r"[0-9a-f-]{36}")
#: Where the page is cut: before it, it is sent at once; what lies behind it, when the bundle is made.
_CUT: Final = "<!-- how far it is -->"
#: So many lines of a sort say how far it is.
_LINES: Final = 8

Steps = Generator[Progress, None, Ready]


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def bundle(request: HttpRequest) -> HttpResponseBase:
    """The question; once it is answered, the bundle is made while the page is read. The keeper's to do."""
    require_keeper(request)
    sites = [(state.subject, state.name or naming.code(state.subject)) for state in naming.sites()]
    form = BundleForm(sites, request.POST if request.method == "POST" else None)
    home = Path(settings.CONFIG.home)
    bundle_keeping.drop_old(home)
    if request.method != "POST" or not form.is_valid():
        return _asked(request, form, 422 if request.method == "POST" else 200)
    steps = bundle_keeping.keep_bundle(form.asked(), home, _passphrase())
    try:
        first = next(steps)
    except (BundleRefused, CheckpointRefused, BookEmpty) as refused:
        for line in str(refused).splitlines():
            form.add_error(None, line)
        return _asked(request, form, 422)
    response = StreamingHttpResponse(_made(request, first, steps, home), content_type="text/html")
    response["Content-Type"] = "text/html; charset=utf-8"
    return response


def _asked(request: HttpRequest, form: BundleForm, status: int) -> HttpResponse:
    return render(request, "pitbird/bundle.html", {"here": "book", "form": form}, status=status)


def _passphrase() -> bytes | None:
    return os.environ.get("PITBIRD_KEY_PASSPHRASE", "").encode() or None


def _made(request: HttpRequest, first: Progress, steps: Steps, home: Path) -> Iterator[str]:
    """The page in pieces: its head, lines that say how far it is, and the file or why there is none."""
    page = render_to_string("pitbird/bundle_making.html", {"here": "book"}, request)
    head, _mark, foot = page.partition(_CUT)
    yield head
    context: dict[str, Any]
    try:
        ready = yield from _lines(first, steps)
        context = {
            "address": ready.name,
            "made": ready.made,
            "length": ready.made.length,
            "fingerprint": public_key(home).fingerprint(),
        }
    except (BundleRefused, CheckpointRefused, OSError) as refused:
        context = {"faults": str(refused).splitlines()}
    finally:
        steps.close()  # where the reader went away, nothing half stays
    yield render_to_string("pitbird/_bundle_made.html", context, request)
    yield foot


def _lines(first: Progress, steps: Steps) -> Generator[str, None, Ready]:
    progress, shown = first, ("", -1)
    while True:
        mark = progress.what, _LINES * progress.count // max(1, progress.total)
        if mark != shown:
            shown = mark
            yield format_html("<li>{}</li>\n", _how_far(progress))
        try:
            progress = next(steps)
        except StopIteration as end:
            ready: Ready = end.value
            return ready


def _how_far(progress: Progress) -> str:
    values = {"count": progress.count, "total": progress.total}
    if progress.what == "papers":
        return _("%(count)d of %(total)d papers") % values
    return _("%(count)d of %(total)d entries") % values


@never_cache
@require_safe
def file(request: HttpRequest, name: str) -> HttpResponseBase:
    """The file of a bundle that was made within the last day."""
    require_keeper(request)
    path = bundle_keeping.kept_bundle(Path(settings.CONFIG.home), name) if _NAME.fullmatch(name) else None
    if path is None:
        raise Http404(name)
    response = FileResponse(path.open("rb"), as_attachment=True, filename="audit-bundle.zip")
    response["Content-Type"] = "application/zip"
    response["Cache-Control"] = "no-store"
    return response
