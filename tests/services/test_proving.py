"""What the newest checkpoint shows of an entry and of a subject, held against the verifiers of the record."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.db import connection

from pitbird.record.completeness import verify_subject
from pitbird.record.merkle import leaf_hash, node_hash, verify_inclusion
from pitbird.services import checkpoints, proving
from pitbird.services.appending import append
from pitbird.services.proofs import NoProof
from pitbird.store import book, guards
from tests.bodies import at, body, bump, detector, ms

pytestmark = pytest.mark.django_db
D, C = "detector:D-017", "cylinder:C-112"


@pytest.fixture(autouse=True)
def a_book() -> None:
    """Eleven entries."""
    append(body("genesis"), recorded_at=ms("05:00"))
    append(detector(), recorded_at=ms("05:01"))
    append(body("cylinder", at("05:00")), recorded_at=ms("05:02"))
    for minute in range(8):
        append(bump(at(f"06:0{minute}")), recorded_at=ms(f"06:0{minute}"))


def test_each_entry_leads_step_by_step_to_the_root_of_the_newest_checkpoint(tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path).checkpoint
    for index in range(11):
        proof = proving.entry_proof(index, tmp_path)
        row = book.at_index(index)
        assert row is not None
        so_far = leaf_hash(row.leaf.encode())
        assert proof.leaf_hash == so_far.hex()
        for step in proof.steps:
            assert (step.left if step.from_left else step.right) == so_far.hex()
            so_far = node_hash(bytes.fromhex(step.left), bytes.fromhex(step.right))
            assert step.made == so_far.hex()
        assert so_far == made.root
        value = proof.as_json()
        assert value["origin"] == made.origin
        verify_inclusion(
            index=value["index"],
            size=value["size"],
            leaf=bytes.fromhex(value["leaf_hash"]),
            proof=[bytes.fromhex(each) for each in value["proof"]],
            root=bytes.fromhex(value["root"]),
        )


def test_an_entry_younger_than_the_newest_checkpoint_is_not_under_it(tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    append(bump(at("06:30")), recorded_at=ms("06:30"))
    with pytest.raises(NoProof, match="entry 11 was written after the newest checkpoint, which counts 11"):
        proving.entry_proof(11, tmp_path)


def test_without_a_checkpoint_nothing_is_shown(tmp_path: Path) -> None:
    with pytest.raises(NoProof, match="there is no checkpoint yet; make one"):
        proving.entry_proof(0, tmp_path)
    with pytest.raises(NoProof, match="there is no checkpoint yet; make one"):
        proving.subject_proof(D, tmp_path)


def test_a_checkpoint_that_does_not_hold_shows_nothing(tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    made.path.write_bytes(b"rubbish")
    with pytest.raises(NoProof, match="the newest checkpoint cannot be relied on"):
        proving.subject_proof(D, tmp_path)


def test_a_subject_is_complete_and_what_is_younger_is_told(tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    append(bump(at("06:30")), recorded_at=ms("06:30"))
    found = proving.subject_proof(D, tmp_path)
    assert (found.complete.count, found.later) == (9, 1)
    assert found.complete.indices == (1, *range(3, 11))
    shown = verify_subject(json.dumps(found.value).encode(), checkpoints.public_key(tmp_path))
    assert shown == found.complete
    assert proving.subject_proof(C, tmp_path).complete.count == 9


def test_a_subject_without_entries_or_only_with_younger_ones_is_refused(tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    with pytest.raises(NoProof, match="the book has no entry about detector:D-99"):
        proving.subject_proof("detector:D-99", tmp_path)
    append(detector(detector="detector:D-018", about=["detector:D-018"]), recorded_at=ms("07:00"))
    with pytest.raises(NoProof, match="about detector:D-018 was written after the newest checkpoint"):
        proving.subject_proof("detector:D-018", tmp_path)


def test_more_than_can_be_shown_at_once_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    checkpoints.make_checkpoint(tmp_path)
    monkeypatch.setattr(proving, "MOST", 8)
    with pytest.raises(NoProof, match="9 entries are about detector:D-017, more than 8"):
        proving.subject_proof(D, tmp_path)


def test_an_entry_taken_away_behind_the_books_back_is_not_passed_over(tmp_path: Path) -> None:
    checkpoints.make_checkpoint(tmp_path)
    with connection.cursor() as cursor:
        for name in guards.names(connection.vendor):
            on = f" ON {name.rsplit('_no_', 1)[0]}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER {name}{on}")
        cursor.execute("DELETE FROM store_mention WHERE nth = 9 AND subject = 'detector:D-017'")
    guards.put_back()
    with pytest.raises(NoProof, match="8 entries are here, the census counts 9"):
        proving.subject_proof(D, tmp_path)


def test_a_census_that_is_not_the_checkpoints_shows_nothing(tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    made.census_path.write_bytes(b"{}")
    with pytest.raises(NoProof, match="not the census that the checkpoint commits to"):
        proving.subject_proof(D, tmp_path)
