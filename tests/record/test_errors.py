"""Errors say what is wrong, where and what to do."""

import pytest

from pitbird.record.errors import BadLeaf, BookBroken, DuplicateKey, ProofRefused, RecordError


def test_the_message_names_place_fault_and_remedy() -> None:
    error = RecordError("the time is missing", where="$.body.at", remedy="Send it.")
    assert str(error) == "$.body.at: the time is missing. Send it."
    assert (error.what, error.where, error.remedy) == ("the time is missing", "$.body.at", "Send it.")
    assert str(RecordError("it is wrong")) == "it is wrong."


def test_a_broken_book_names_the_line() -> None:
    error = BookBroken("the root differs", line=7, remedy="Get it again.")
    assert (error.line, str(error)) == (7, "line 7: the root differs. Get it again.")


def test_a_bad_leaf_names_every_fault() -> None:
    error = BadLeaf(["$.nth is missing", "$.body.v is 0"])
    assert error.faults == ("$.nth is missing", "$.body.v is 0")
    assert "$.nth is missing; $.body.v is 0" in str(error)


@pytest.mark.parametrize("kind", [BadLeaf, BookBroken, DuplicateKey, ProofRefused])
def test_all_are_record_errors_and_value_errors(kind: type[Exception]) -> None:
    assert issubclass(kind, RecordError)
    assert issubclass(kind, ValueError)
