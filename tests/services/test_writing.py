"""Writing an entry: completed, sealed, checked, appended; every fault at once; nothing half-written."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.state import DetectorState
from pitbird.record.leaf import read_leaf
from pitbird.services.appending import IdTaken
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, EntryRefused, write
from pitbird.store import blobs, book
from tests.bodies import at, bump, entry_id, ms

NOW = ms("08:00")
NOTE = {"kind": "note", "subject": "detector:D-017", "text": "Clip is loose"}


def faults_of(draft: dict[str, Any], actor: Actor) -> list[str]:
    """What is said about a draft that is refused, with the check that nothing was written."""
    size = book.head().size
    with pytest.raises(EntryRefused) as refused:
        write(draft, actor, now=NOW)
    assert book.head().size == size
    return [str(fault) for fault in refused.value.faults]


def test_a_draft_is_completed_sealed_and_appended(fleet: Actor) -> None:
    written = write(NOTE, fleet, now=NOW)
    row = book.by_id(written.entry_id)
    assert row is not None
    leaf = read_leaf(row.leaf.encode())
    assert leaf.body["by"] == "person:K-1"
    assert leaf.body["at"] == at("08:00")
    assert "loose" not in row.leaf
    opened = blobs.get([leaf.body["text"]])
    assert [blob.text for blob in opened.values()] == ["Clip is loose"]


def test_each_subject_numbers_its_own_entries(fleet: Actor) -> None:
    before = Now().state("detector:D-017")
    assert before is not None
    written = write(NOTE, fleet, now=NOW)
    row = book.at_index(written.index)
    assert row is not None
    assert read_leaf(row.leaf.encode()).nth == {"detector:D-017": before.count + 1}


def test_the_same_id_with_the_same_words_is_harmless(fleet: Actor) -> None:
    draft = {**NOTE, "id": entry_id()}
    first = write(draft, fleet, now=NOW)
    again = write(draft, fleet, now=ms("08:05"))
    assert (again.index, again.again) == (first.index, True)
    assert book.head().size == first.index + 1


@pytest.mark.parametrize("change", [{"text": "Clip is fine"}, {"subject": "cylinder:C-112"}])
def test_the_same_id_with_other_words_is_refused(fleet: Actor, change: dict[str, str]) -> None:
    draft = {**NOTE, "id": entry_id()}
    first = write(draft, fleet, now=NOW)
    with pytest.raises(IdTaken, match="other contents"):
        write({**draft, **change}, fleet, now=NOW)
    assert book.head().size == first.index + 1


def test_typed_input_in_the_future_is_refused(fleet: Actor) -> None:
    assert any("future" in fault for fault in faults_of({**NOTE, "at": at("08:30")}, fleet))


def test_an_unknown_detector_is_named_with_one_like_it(fleet: Actor) -> None:
    (fault,) = faults_of({"kind": "happened", "detector": "detector:D-071", "what": "drop"}, fleet)
    assert "detector:D-071" in fault
    assert "detector:D-017" in fault


def test_two_faults_at_once_are_both_named(fleet: Actor) -> None:
    found = faults_of({"kind": "happened", "detector": "D-017", "what": "dropped"}, fleet)
    assert any("happened.detector" in fault for fault in found)
    assert any("happened.what" in fault for fault in found)


def test_a_time_without_its_zone_and_a_wrong_word_are_both_named(fleet: Actor) -> None:
    draft = {"kind": "happened", "detector": "detector:D-017", "what": "dropped", "at": "2026-03-02T07:00"}
    found = faults_of(draft, fleet)
    assert len(found) == 2
    assert any("without its zone" in fault for fault in found)


def test_a_local_time_with_its_offset_is_taken(fleet: Actor) -> None:
    written = write({**NOTE, "at": "2026-03-02T09:00+02:00"}, fleet, now=NOW)
    row = book.at_index(written.index)
    assert row is not None
    assert row.at == ms("07:00")


def test_a_test_of_a_channel_that_the_detector_lacks_is_refused(fleet: Actor) -> None:
    draft = bump(at("07:00"), by="person:K-1")
    draft["applications"][0]["channels"].append({"channel": "NH3", "reached": "yes"})
    draft["applications"][0].pop("regulator", None)
    assert any("NH3" in fault for fault in faults_of(draft, fleet))


def test_a_return_must_answer_an_open_reason(fleet: Actor) -> None:
    draft = {
        "kind": "returned-to-service",
        "detector": "detector:D-017",
        "answers": [entry_id()],
        "cause": "drifted",
    }
    assert any("no open reason" in fault for fault in faults_of(draft, fleet))


def test_a_correction_must_name_an_entry_and_what_it_is_about(fleet: Actor) -> None:
    written = write(NOTE, fleet, now=NOW)
    unknown = {"kind": "correction", "corrects": entry_id(), "of_about": ["detector:D-017"], "how": "void",
               "reason": "slip"}  # fmt: skip
    assert any("no entry" in fault for fault in faults_of(unknown, fleet))
    elsewhere = {**unknown, "corrects": written.entry_id, "of_about": ["cylinder:C-112"]}
    assert any("of_about" in fault for fault in faults_of(elsewhere, fleet))
    right = {**unknown, "corrects": written.entry_id}
    assert not write(right, fleet, now=NOW).again


def test_a_fail_puts_the_detector_out_of_service_and_a_void_takes_it_back(fleet: Actor) -> None:
    draft = bump(at("07:00"), missed="CO", by="person:K-1")
    failed = write(draft, fleet, now=NOW)
    state = Now().state("detector:D-017")
    assert isinstance(state, DetectorState)
    assert [reason.entry for reason in state.open_reasons] == [failed.entry_id]
    void = {"kind": "correction", "corrects": failed.entry_id, "of_about": draft["about"], "how": "void",
            "reason": "wrong detector scanned"}  # fmt: skip
    write(void, fleet, now=ms("08:10"))
    state = Now().state("detector:D-017")
    assert isinstance(state, DetectorState)
    assert state.open_reasons == ()


def test_a_later_correction_tells_everything_that_an_earlier_one_touched(fleet: Actor) -> None:
    written = write(NOTE, fleet, now=NOW)
    row = book.by_id(written.entry_id)
    assert row is not None
    stands = read_leaf(row.leaf.encode()).body
    void = {"kind": "correction", "corrects": written.entry_id, "of_about": ["detector:D-017"], "how": "void",
            "reason": "slip"}  # fmt: skip
    moved = {**stands, "subject": "cylinder:C-112", "about": ["cylinder:C-112"]}
    write({**void, "how": "replace", "replacement": moved}, fleet, now=ms("08:10"))
    last = write(void, fleet, now=ms("08:20"))
    found = book.by_id(last.entry_id)
    assert found is not None
    assert set(read_leaf(found.leaf.encode()).body["about"]) == {"detector:D-017", "cylinder:C-112"}


def test_a_change_of_key_cannot_be_written_by_hand(fleet: Actor) -> None:
    draft = {**KINDS["key-changed"].EXAMPLE, "id": "0195a000-0000-7000-8000-00000000beef"}
    with pytest.raises(EntryRefused, match="key-changed: is written by `pitbird key rotate`, never by hand"):
        write(draft, fleet, now=ms("08:00"))


def test_no_correction_makes_a_repair_come_after_it_was_recorded(fleet: Actor) -> None:
    """A repair of 06:00 does not mend a failure of 07:00 because a correction at 08:00 dates it 07:30."""
    repair = {"kind": "repaired", "detector": "detector:D-017", "cause": "drifted", "replaced": []}
    done = write(repair, fleet, now=ms("06:00"))
    row = book.by_id(done.entry_id)
    assert row is not None
    stands = read_leaf(row.leaf.encode()).body
    with pytest.raises(EntryRefused, match="cannot have happened later"):
        write(
            {"kind": "correction", "corrects": done.entry_id, "how": "replace", "reason": "another hour",
             "replacement": {**stands, "at": at("07:30")}},
            fleet, now=ms("08:00"),
        )  # fmt: skip


def test_no_second_thing_has_the_code_of_another_but_for_capital_letters(fleet: Actor) -> None:
    """A fail of D-017 would not be known of d-017, and a label is read in either way."""
    described = {**KINDS["detector"].EXAMPLE, "id": entry_id(), "at": at("07:00")}
    (fault,) = faults_of({**described, "detector": "detector:d-017", "about": []}, fleet)
    assert fault.startswith("detector.detector")
    assert "detector:D-017 stands in the book" in fault
    write({**described, "about": []}, fleet, now=NOW)
    write({**described, "id": entry_id(), "detector": "detector:D-018", "about": []}, fleet, now=NOW)
