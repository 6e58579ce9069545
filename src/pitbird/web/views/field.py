"""The field page: its shell, its manifest, and the service worker that lets it work without network."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.utils import translation
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from pitbird.web import language
from pitbird.web.views import bump_words
from pitbird.web.views.field_words import for_script as field_script
from pitbird.web.vocabulary import unit

_STATIC: Final = Path(__file__).parent.parent / "static"
#: What the page is made of beside its shell; everything else stays on the server.
_PARTS: Final = (
    "pitbird/book.css",
    "pitbird/book.svg",
    "pitbird/bump.css",
    "pitbird/bump-test.js",
    "pitbird/fonts/atkinson-hyperlegible-next-latin-wght-normal.woff2",
    "pitbird/fonts/besley-latin-wght-normal.woff2",
    "pitbird/vendor/qr/decode.js",
    "pitbird/vendor/qr/index.js",
)
_NOT_CARRIED: Final = ("worker.js",)


def parts() -> list[str]:
    """The static files that the phone keeps, by their paths under ``static``."""
    own = (path for path in (_STATIC / "pitbird" / "field").iterdir() if path.name not in _NOT_CARRIED)
    return sorted([*_PARTS, *(path.relative_to(_STATIC).as_posix() for path in own)])


def words(language: str) -> dict[str, Any]:
    """All words of the page's script in a language."""
    with translation.override(language):
        units = {name: unit(name) for name in ("ppm", "vol_pct", "pct_lfl")}
        return {**bump_words.for_script(), "units": units, "field": field_script()}


def shell() -> str:
    """The page as it is for everybody: nothing of a person, a session, a site or a reader's language stands
    in it. Its script puts the words of another language over the English ones."""
    listed = language.names()
    without = []
    for tag in listed:
        with translation.override(tag):
            said = (
                _("This page needs JavaScript."),
                _("Without it, test on the page Test or on the paper slip."),
            )
        without.append((tag, *said))
    context = {"words": {**words(language.ENGLISH), "languages": list(listed.items())}, "without": without}
    with translation.override(language.ENGLISH):
        return render_to_string("pitbird/field.html", context)


def spoken() -> dict[str, bytes]:
    """The words of each language by their address; the English ones stand in the shell."""
    return {
        f"/field/words/{tag}.json": json.dumps(words(tag), ensure_ascii=False, sort_keys=True).encode()
        for tag in language.names()
        if tag != language.ENGLISH
    }


def files() -> dict[str, str]:
    """Every address that the phone keeps, with the start of the SHA-256 of what it must hold."""
    found = {static(name): _digest((_STATIC / name).read_bytes()) for name in parts()}
    told = {address: _digest(data) for address, data in spoken().items()}
    return {"/field/": _digest(shell().encode()), **told, **found}


def _digest(data: bytes) -> str:
    return sha256(data).hexdigest()[:16]


@login_not_required
@never_cache
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """The shell; also at ``/field/pair``, where the secret stands behind ``#`` and is not sent."""
    return HttpResponse(shell())


@login_not_required
@never_cache
@require_safe
def spoken_words(request: HttpRequest, tag: str) -> HttpResponse:
    """The words of one language, for the script."""
    data = spoken().get(f"/field/words/{tag}.json")
    if data is None:
        raise Http404
    return HttpResponse(data, content_type="application/json; charset=utf-8")


@login_not_required
@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker with the list of files and their hashes before it."""
    listed = json.dumps(files(), indent=1, sort_keys=True)
    version = _digest(listed.encode())
    source = (_STATIC / "pitbird" / "field" / "worker.js").read_text(encoding="utf-8")
    text = f'"use strict";\nconst VERSION = "{version}";\nconst FILES = {listed};\n{source}'
    return HttpResponse(text, content_type="text/javascript; charset=utf-8")


@login_not_required
@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """What makes the page installable (W3C Web Application Manifest)."""
    icon = "pitbird/field/icon-{}.png"
    answer = JsonResponse(
        {
            "id": "/field/",
            "name": _("pitbird in the field"),
            "short_name": "pitbird",
            "description": _("Test portable gas detectors, with or without signal."),
            "lang": get_language() or "en",
            "start_url": "/field/",
            "scope": "/field/",
            "display": "standalone",
            "orientation": "portrait",
            "background_color": "#faf7ee",
            "theme_color": "#faf7ee",
            "icons": [
                {
                    "src": static(icon.format(size)),
                    "sizes": f"{size}x{size}",
                    "type": "image/png",
                    "purpose": "any maskable",
                }
                for size in (192, 512)
            ],
        },
        content_type="application/manifest+json",
    )
    answer["Cache-Control"] = "no-cache"
    return answer


__all__ = ["files", "manifest", "page", "parts", "shell", "spoken", "spoken_words", "words", "worker"]
