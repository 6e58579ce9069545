"""What every page knows."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest


def everywhere(request: HttpRequest) -> dict[str, Any]:
    """Whether this is the demonstration. No database here: error pages use it too."""
    return {"demo": settings.DEMO}
