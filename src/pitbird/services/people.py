"""Names for ids: opened from the sealed blobs, or said to be withheld where they were erased."""

from __future__ import annotations

from collections.abc import Iterable

from pitbird.fleet.state import PersonState
from pitbird.services.knowing import Now
from pitbird.store import blobs


def names(people: Iterable[str] | None = None) -> dict[str, str]:
    """The names of people by id (all, or some); an erased name is absent."""
    if people is None:
        states = Now().all_of(PersonState)
    else:
        states = [state for state in Now().some(people).values() if isinstance(state, PersonState)]
    found = blobs.get(state.name for state in states if state.name)
    return {state.subject: found[state.name].text for state in states if state.name in found}


def texts(commitments: Iterable[str]) -> dict[str, str]:
    """Sealed texts by commitment; an erased one is absent."""
    return {
        name: blob.text for name, blob in blobs.get(commitments).items() if blob.media_type == "text/plain"
    }
