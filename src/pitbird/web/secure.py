"""Whether a page came to the browser in a way that gives it keys, camera and working without signal."""

from __future__ import annotations

from typing import Final

from django.conf import settings
from django.http import HttpRequest

_THIS_MACHINE: Final = ("localhost", "127.0.0.1", "[::1]")


def is_secure(request: HttpRequest) -> bool:
    """Whether it came by https, or to this machine itself (W3C Secure Contexts, section 3.1).

    Behind a proxy that ends TLS, PITBIRD_HTTPS says so.
    """
    return request.is_secure() or settings.CONFIG.https or is_this_machine(request)


def is_this_machine(request: HttpRequest) -> bool:
    """Whether the address is one that leads each machine to itself: no phone comes here by it."""
    host = request.get_host()
    name = host[: host.rindex("]") + 1] if host.startswith("[") else host.partition(":")[0]
    return name in _THIS_MACHINE or name.endswith(".localhost")
