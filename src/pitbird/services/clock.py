"""Now, and new ids: the two things that are never the same twice."""

from __future__ import annotations

import time

from uuid6 import uuid7

from pitbird.fleet.times import Ms


def now() -> Ms:
    """The present instant."""
    return Ms(time.time_ns() // 1_000_000)


def new_id() -> str:
    """A new entry id (UUID version 7, RFC 9562)."""
    return str(uuid7())
