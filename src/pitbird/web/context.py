"""What every page knows."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import translation
from django.utils.translation import gettext as _

from pitbird.web import language


def everywhere(request: HttpRequest) -> dict[str, Any]:
    """Whether this is the demonstration, and the languages: all by their own names, the one that the reader
    wants, and a sentence in it where the page is not. No database here: error pages use it too."""
    wanted, only = language.wanted(request), ""
    if wanted != translation.get_language():
        with translation.override(wanted):
            only = _("This page is in English only so far.")
    languages = [(tag, name, tag == wanted) for tag, name in language.names().items()]
    return {"demo": settings.DEMO, "languages": languages, "wanted_language": wanted, "only_english": only}
