"""Folded states that this process has decoded and can use again, as long as they are still the ones.

A state is held by its subject and the SHA-256 of its stored text, worked out here over the text that it was
decoded from. It is used only where the database says, when the question is asked, that the subject's text has
this digest. So nothing has to be told when a state changes: not by another process, a transaction that is
taken back, a fold anew, or another book. A state whose text and digest do not agree is never held.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from pitbird.fleet.state import State
from pitbird.services.decoding import decode_state
from pitbird.store import book

#: So many states are held; a detector's takes some 12 kB.
KEPT: Final = 16_384

_held: Final[dict[str, tuple[bytes, State]]] = {}


def states(wanted: Sequence[tuple[str, bytes]]) -> list[Any]:
    """The states of subjects with the digests of their texts, in the same order.

    Those that are not held are read; one that has changed since is given as it now is, one that has gone is
    left out.
    """
    found: dict[str, State] = {}
    missing: list[str] = []
    for subject, digest in wanted:
        known = _held.get(subject)
        if known is not None and known[0] == digest:
            found[subject] = known[1]
        else:
            missing.append(subject)
    for subject, (text, digest) in book.standings_marked(missing).items():
        state = found[subject] = decode_state(subject, text)
        if digest == book.digest_of(text) and (subject in _held or len(_held) < KEPT):
            _held[subject] = (digest, state)
    return [found[subject] for subject, _ in wanted if subject in found]


def let_go() -> None:
    """Hold nothing any more."""
    _held.clear()
