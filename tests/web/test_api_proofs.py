"""The API's checkpoint and proofs, held against the verifiers of RFC 9162."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.test import Client

from pitbird.record.checkpoint import verify_checkpoint
from pitbird.record.merkle import root_of, verify_consistency, verify_inclusion
from pitbird.services import checkpoints
from pitbird.store import book


def test_the_newest_checkpoint_is_given_as_it_was_signed(
    keeper: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "CONFIG", SimpleNamespace(home=tmp_path))
    assert keeper.get("/api/checkpoint").status_code == 404
    made = checkpoints.make_checkpoint(tmp_path)

    answer = keeper.get("/api/checkpoint")

    assert verify_checkpoint(answer.content, checkpoints.public_key(tmp_path)).checkpoint == made.checkpoint


def test_the_proofs_verify(keeper: Client) -> None:
    size = book.head().size
    hashes = list(book.leaf_hashes(0, size))
    inside = keeper.get("/api/proof/inclusion", {"index": 2, "size": size}).json()["proof"]
    grown = keeper.get("/api/proof/consistency", {"from": 3, "to": size}).json()["proof"]

    verify_inclusion(
        index=2,
        size=size,
        leaf=hashes[2],
        proof=[bytes.fromhex(each) for each in inside],
        root=root_of(hashes),
    )
    verify_consistency(
        old_size=3,
        new_size=size,
        old_root=root_of(hashes[:3]),
        new_root=root_of(hashes),
        proof=[bytes.fromhex(each) for each in grown],
    )


@pytest.mark.parametrize(
    "question",
    [
        "inclusion?index=9&size=9999999",
        "inclusion?index=-1&size=3",
        "inclusion?index=3&size=3",
        "inclusion?index=3",
        "consistency?from=3&to=2",
        "consistency?to=2",
        "consistency?from=3&to=-1",
    ],
)
def test_a_proof_that_cannot_be_is_refused_in_words(keeper: Client, question: str) -> None:
    answer = keeper.get(f"/api/proof/{question}")

    assert answer.status_code == 422
    assert answer.json()["message"]


def test_who_is_not_signed_in_gets_nothing(db: None) -> None:
    assert Client().get("/api/checkpoint").status_code == 401
