"""Proofs and forgeries made by a second hand (vectors/make_merkle.py), put to the verifiers of the record."""

import json
from collections import Counter
from typing import Any

import pytest

from pitbird.record.errors import ProofRefused
from pitbird.record.merkle import verify_consistency, verify_inclusion
from tests.record.vectors import make_merkle

VECTORS: dict[str, list[dict[str, Any]]] = json.loads(make_merkle.HERE.read_text("ascii"))


def accepted(case: dict[str, Any]) -> bool:
    """Whether the verifier takes a case; it may raise nothing but ProofRefused."""
    proof = [bytes.fromhex(each) for each in case["proof"]]
    try:
        if "leaf" in case:
            verify_inclusion(
                index=int(case["index"]),
                size=int(case["size"]),
                leaf=bytes.fromhex(case["leaf"]),
                proof=proof,
                root=bytes.fromhex(case["root"]),
            )
        else:
            verify_consistency(
                old_size=int(case["old_size"]),
                new_size=int(case["new_size"]),
                old_root=bytes.fromhex(case["old_root"]),
                new_root=bytes.fromhex(case["new_root"]),
                proof=proof,
            )
    except ProofRefused:
        return False
    return True


@pytest.mark.parametrize("sort", ["inclusion", "consistency"])
def test_every_vector_is_accepted_or_refused_as_it_must_be(sort: str) -> None:
    wrong = [
        f"{case['base']}: {case['done']}" for case in VECTORS[sort] if accepted(case) is not case["holds"]
    ]
    assert wrong == []


def test_the_vectors_are_what_their_generator_makes() -> None:
    assert make_merkle.HERE.read_text("ascii") == make_merkle.made()


@pytest.mark.parametrize("sort", ["inclusion", "consistency"])
def test_there_are_many_forgeries_and_every_proof_that_was_not_touched_holds(sort: str) -> None:
    cases = VECTORS[sort]
    assert Counter(case["holds"] for case in cases)[False] > 800
    assert all(case["holds"] for case in cases if not case["done"])
    # Only another count, or two hashes that are one in a tree of one, can leave a proof as good as it was.
    for case in cases:
        if case["holds"] and case["done"]:
            assert case["done"].startswith("another") or case["base"] == "entry 0 of 1", case
