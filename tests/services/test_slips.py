"""Who takes back what: a tester nothing whose going could let a detector out, a keeper their own slips."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitbird.fleet.state import DetectorState
from pitbird.services.appending import append
from pitbird.services.knowing import Now
from pitbird.services.slips import NotTakenBack, WhyNot, take_back, why_not
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import at, bump, ms

D, C, TESTER = "detector:D-017", "cylinder:C-112", "person:P-07"


def written(draft: dict[str, Any], keeper: Actor) -> book.Row:
    """An entry that the tester writes at 08:00, as stored."""
    row = book.by_id(write(draft, replace(keeper, person=TESTER), now=ms("08:00")).entry_id)
    assert row is not None
    return row


def came(body: dict[str, Any]) -> book.Row:
    """An entry that arrived at 08:00, whatever it says."""
    append(body, recorded_at=ms("08:00"))
    row = book.by_id(body["id"])
    assert row is not None
    return row


def answers(row: book.Row) -> tuple[WhyNot | None, WhyNot | None]:
    """What a tester and a keeper who wrote it are told a minute later."""
    return tuple(why_not(row, row.by, keeper=keeper, now=ms("08:01")) for keeper in (False, True))  # type: ignore[return-value]


FREE = {
    "a note": {"kind": "note", "subject": D, "text": "wrong one"},
    "a gauge that is high enough": {"kind": "gauge-read", "cylinder": C, "gauge_bar": "2"},
    "handed out of the store": {"kind": "handed-out", "detector": D, "to": TESTER, "from_store": True},
    "handed back": {"kind": "handed-back", "detector": D, "back_from": TESTER},
}
HELD = {
    "a drop": {"kind": "happened", "detector": D, "what": "drop"},
    "out of service": {"kind": "out-of-service", "detector": D, "because": "incident"},
    "an alarm in use": {"kind": "alarm-in-use", "detector": D, "channel": "CO", "alarm": "low"},
    "a fresh-air set": {"kind": "fresh-air-set", "detector": D, "air": "outdoors"},
    "a gauge that is too low": {"kind": "gauge-read", "cylinder": C, "gauge_bar": "1.9"},
    "opened with too little in it": {"kind": "cylinder-opened", "cylinder": C, "at_site": "site:north-works",
                                     "gauge_bar": "1"},
    "quarantined gas": {"kind": "cylinder-quarantined", "cylinder": C, "because": "leak"},
    "an empty cylinder": {"kind": "cylinder-emptied", "cylinder": C},
    "from wearer to wearer": {"kind": "handed-out", "detector": D, "to": TESTER, "from_store": False},
}  # fmt: skip


@pytest.mark.parametrize("draft", FREE.values(), ids=FREE.keys())
def test_what_only_helps_or_says_nothing_the_tester_takes_back(fleet: Actor, draft: dict[str, Any]) -> None:
    assert answers(written(draft, fleet)) == (None, None)


@pytest.mark.parametrize("draft", HELD.values(), ids=HELD.keys())
def test_what_speaks_against_or_ends_a_pass_only_a_keeper(fleet: Actor, draft: dict[str, Any]) -> None:
    assert answers(written(draft, fleet)) == (WhyNot.A_FAIL, None)


def test_a_spoiled_attempt_stays_for_the_tester_and_so_does_the_count_of_attempts(fleet: Actor) -> None:
    spoiled = came(bump(at("07:59"), by=TESTER, outcome="spoiled", spoiled_because="hood-slipped"))
    assert answers(spoiled) == (WhyNot.A_FAIL, None)
    tester = replace(fleet, person=TESTER)
    with pytest.raises(NotTakenBack):
        take_back(spoiled, tester, keeper=False, now=ms("08:01"))
    state = Now().state(D)
    assert isinstance(state, DetectorState)
    assert [test.outcome for test in state.tests] == ["spoiled"]


def test_a_test_that_says_passed_is_judged_by_its_facts(fleet: Actor) -> None:
    assert answers(came(bump(at("07:50"), by=TESTER))) == (None, None)
    missed = {**bump(at("07:51"), by=TESTER, missed="CO"), "outcome": "passed"}
    assert answers(came(missed)) == (WhyNot.A_FAIL, None)
    low = bump(at("07:54"), by=TESTER)
    low["applications"][0]["gauge_bar"] = "1"
    assert answers(came(low)) == (WhyNot.A_FAIL, None), "it says that the cylinder is nearly empty"
    dumb = bump(at("07:52"), by=TESTER, signals={"sound": "yes", "light": "yes"})
    assert answers(came(dumb)) == (WhyNot.A_FAIL, None), "a fact is missing: the attempt was spoiled"
    unknown = bump(at("07:53"), by=TESTER, detector="detector:D-900")
    assert answers(came(unknown)) == (WhyNot.A_FAIL, None), "what it had to show is not known"
