"""Slowing down who tries passwords: after some wrong ones, that account waits, from wherever it is tried.

The counts live in this process (Django's cache in memory): a restart forgets them, and each worker counts
for itself.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Final

from django.core.cache import cache

#: So many wrong passwords for one account are taken as slips.
TRIES: Final = 5
#: Then it waits, in seconds.
WAIT: Final = 300


def _key(account: str) -> str:
    return "sign-in-" + sha256(account.strip().casefold().encode()).hexdigest()


def must_wait(account: str) -> bool:
    """Whether no password is looked at for an account just now."""
    return int(cache.get(_key(account), 0)) >= TRIES


def wrong(account: str) -> None:
    """One more wrong password."""
    key = _key(account)
    if not cache.add(key, 1, WAIT):
        cache.incr(key)


def right(account: str) -> None:
    """The right password: earlier slips are forgotten."""
    cache.delete(_key(account))
