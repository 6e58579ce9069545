"""Look-back: what a failed test, gas in doubt or an untrained tester puts in question; never a clearance."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.services.gate import gate
from pitbird.services.writing import Actor, EntryRefused, write
from pitbird.store import book
from tests.bodies import at, bump, entry_id, ms

D = "detector:D-017"
NEXT = "2026-03-03"


def decision(failed: str | None, **changes: Any) -> dict[str, Any]:
    """The draft of a decision."""
    made = {
        "kind": "look-back", "of": [D], "failed": failed, "book_size": 1, "assessed_by": "person:K-1",
        "outcome": "no-work-affected", "done": "Nobody entered; the permit was not used.", **changes,
    }  # fmt: skip
    return {name: value for name, value in made.items() if value is not None}


# --- The entry ----------------------------------------------------------------------------------------------


def test_a_decision_changes_no_verdict_and_is_taken_once(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    failed = write(bump(at("07:30"), missed="CO", by="person:P-07"), fleet, now=ms("07:31"))
    before = gate(now=ms("08:00"))
    written = write(decision(failed.entry_id), fleet, now=ms("07:50"))
    after = gate(now=ms("08:00"))
    assert [row.decision for row in after.rows] == [row.decision for row in before.rows]
    assert after.rows[0].state.count == before.rows[0].state.count + 1
    assert after.rows[0].state.not_understood == ()
    body = book.by_id(written.entry_id)
    assert body is not None
    assert "permit was not used" not in body.leaf


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"failed": entry_id()}, "look-back.failed"),
        ({"book_size": 9999}, "holds no more than"),
        ({"assessed_by": "person:P-99"}, "look-back.assessed_by"),
        ({"looked_to": "2026-03-09T00:00:00.000Z"}, "lies in the future"),
    ],
)
def test_a_decision_that_cannot_be_true_is_refused(fleet: Actor, changes: dict[str, Any], words: str) -> None:
    failed = write(bump(at("07:30"), missed="CO"), fleet, now=ms("07:31"))
    with pytest.raises(EntryRefused, match=words):
        write({**decision(failed.entry_id), **changes}, fleet, now=ms("08:00"))


def test_a_decision_names_a_test_of_the_detector_it_is_of(fleet: Actor) -> None:
    note = write({"kind": "note", "subject": D, "text": "x"}, fleet, now=ms("07:31"))
    with pytest.raises(EntryRefused, match="is no bump test or calibration of detector:D-017"):
        write(decision(note.entry_id), fleet, now=ms("08:00"))
