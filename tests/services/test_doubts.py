"""An entry of doubtful clock counts when a second person, a keeper, says when it really happened."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitbird.fleet.state import DetectorState
from pitbird.rules.decision import Verdict
from pitbird.services.appending import append
from pitbird.services.correcting import CorrectsNothing
from pitbird.services.doubts import NotCountersigned, at_another_time, countersign, doubts
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.services.refolding import refold_in_full
from pitbird.services.writing import Actor, EntryRefused, write
from pitbird.store import book
from tests.bodies import at, body, bump, ms

D = "detector:D-017"


@pytest.fixture
def ahead(fleet: Actor) -> tuple[Actor, str]:
    """A pass from a phone whose clock runs four hours ahead, sent at 08:00."""
    test = bump(at("11:55"), by="person:P-07")
    append(test, recorded_at=ms("08:00"))
    return fleet, test["id"]


def test_it_is_listed_and_counts_once_countersigned_with_its_gas_times(ahead: tuple[Actor, str]) -> None:
    keeper, entry = ahead
    assert [(one.row.entry_id, one.ahead // 60_000) for one in doubts()] == [(entry, 235)]
    assert gate_one(D, now=ms("08:05")).decision.verdict is Verdict.NOT_YET
    countersign(entry, ms("07:55"), "Phone's clock seen to be wrong", keeper, now=ms("08:10"))
    assert doubts() == ()
    decision = gate_one(D, now=ms("08:11")).decision
    assert decision.verdict is Verdict.MAY_GO_OUT
    state = Now().state(D)
    assert isinstance(state, DetectorState)
    assert state.tests[0].at == ms("07:55")


def test_not_to_a_time_after_it_was_recorded(ahead: tuple[Actor, str]) -> None:
    keeper, entry = ahead
    with pytest.raises(NotCountersigned, match="cannot have happened later"):
        countersign(entry, ms("08:01"), "?", keeper, now=ms("08:10"))
    assert len(doubts()) == 1


@pytest.mark.parametrize(
    ("person", "words"), [("person:P-07", "only a keeper"), ("person:K-1", "second person")]
)
def test_not_by_a_tester_nor_by_the_one_who_wrote_it(fleet: Actor, person: str, words: str) -> None:
    test = bump(at("11:55"), by="person:K-1")
    append(test, recorded_at=ms("08:00"))
    with pytest.raises(NotCountersigned, match=words):
        countersign(test["id"], ms("07:55"), "?", replace(fleet, person=person), now=ms("08:10"))


def test_only_what_is_left_out_is_countersigned(fleet: Actor) -> None:
    test = bump(at("07:00"), by="person:P-07")
    append(test, recorded_at=ms("07:01"))
    with pytest.raises(NotCountersigned, match="correct it instead"):
        countersign(test["id"], ms("06:55"), "?", fleet, now=ms("08:10"))


def test_nor_by_a_correction_that_the_one_who_wrote_it_makes(fleet: Actor) -> None:
    test = bump(at("11:55"), by="person:K-1")
    append(test, recorded_at=ms("08:00"))
    draft = {"kind": "correction", "corrects": test["id"], "how": "replace", "reason": "my clock",
             "replacement": at_another_time(test, ms("07:55"))}  # fmt: skip
    with pytest.raises(EntryRefused, match="a second person says when it happened"):
        write(draft, fleet, now=ms("08:10"))
    failed = {**at_another_time(test, ms("07:55")), "outcome": "failed"}
    write({**draft, "replacement": failed}, fleet, now=ms("08:10"))
    assert gate_one(D, now=ms("08:11")).decision.verdict is Verdict.OUT_OF_SERVICE


def test_no_correction_makes_a_doubtful_pass_count_at_a_time_after_it_was_recorded(
    ahead: tuple[Actor, str],
) -> None:
    keeper, entry = ahead
    (doubt,) = doubts()
    warmer = {**doubt.body, "temperature_c": "14"}  # the hours pass, and its clock seems right by then
    draft = {"kind": "correction", "corrects": entry, "how": "replace", "reason": "x", "replacement": warmer}
    with pytest.raises(EntryRefused, match="cannot have happened later"):
        write(draft, keeper, now=ms("12:30"))
    assert gate_one(D, now=ms("12:31")).decision.verdict is Verdict.NOT_YET


def test_nor_where_the_correction_came_in_with_an_export(ahead: tuple[Actor, str]) -> None:
    """What was typed would have been refused; a foreign hand may have appended it all the same."""
    _, entry = ahead
    (doubt,) = doubts()
    warmer = {**doubt.body, "temperature_c": "14"}
    fix = body(
        "correction", at("12:00"), by="person:K-1", corrects=entry, of_about=doubt.body["about"],
        how="replace", replacement=warmer,
    )  # fmt: skip
    append(fix, recorded_at=ms("12:30"))
    assert gate_one(D, now=ms("12:31")).decision.verdict is Verdict.NOT_YET
    assert Now().state(D) == refold_in_full(D)
    (still,) = doubts()
    assert still.body["temperature_c"] == "14", "what is countersigned is the entry as it counts"
    assert still.ahead == 235 * 60_000


@pytest.mark.parametrize(
    ("corrects", "words"),
    [("nothing", "no entry of this book before it"), ("genesis", "cannot be corrected")],
)
def test_a_correction_without_an_original_is_not_taken(fleet: Actor, corrects: str, words: str) -> None:
    first = book.at_index(0)
    assert first is not None
    named = first.entry_id if corrects == "genesis" else bump(at("07:00"))["id"]
    about = ["book:main"] if corrects == "genesis" else [D]
    fix = body("correction", at("08:00"), corrects=named, of_about=about, about=about)
    size = book.head().size
    with pytest.raises(CorrectsNothing, match=words):
        append(fix, recorded_at=ms("08:00"))
    assert book.head().size == size
