"""That nothing about a subject was left out: every way of leaving something out is tried and found.

Sources: RFC 9162 section 2.1 (the tree), C2SP signed-note and tlog-checkpoint (the signed head).
"""

import json
from collections.abc import Callable
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitbird.record.canonical import canonical
from pitbird.record.checkpoint import Checkpoint, census_line
from pitbird.record.completeness import Complete, check_complete, subject_value, verify_subject
from pitbird.record.cover import cover_lines
from pitbird.record.errors import BadCheckpoint, BadNote, NotJson, ProofRefused, RecordError
from pitbird.record.leaf import Leaf, make_leaf
from pitbird.record.merkle import root_of
from pitbird.record.note import Note, VerifierKey, sign_note

BOOK = "pitbird-book/017f22e2-79b0-7cc3-98c4-000000000000"
PRIVATE = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
KEY = VerifierKey(BOOK, PRIVATE.public_key().public_bytes_raw())
D7, D8 = "detector:d-07", "detector:d-08"


def leaf(index: int, nth: dict[str, int]) -> Leaf:
    body = {
        "kind": "note", "v": 1, "id": f"017f22e2-79b0-7cc3-98c4-{index:012x}",
        "at": f"2026-03-02T05:{index:02}:00.000Z", "about": list(nth),
    }  # fmt: skip
    return make_leaf(body, recorded_at="2026-03-02T06:00:00.000Z", nth=nth)


LEAVES = [
    leaf(0, {"book:main": 1}),
    leaf(1, {D7: 1}),
    leaf(2, {D8: 1}),
    leaf(3, {D7: 2, D8: 2}),
    leaf(4, {D8: 3}),
    leaf(5, {D7: 3}),
    leaf(6, {D8: 4}),
]
CENSUS = {"book:main": 1, D7: 3, D8: 4}
INDICES = [1, 3, 5]
ENTRIES = [(index, LEAVES[index].raw) for index in INDICES]


def node(leaves: list[Leaf]) -> Callable[[int, int], bytes]:
    return lambda start, end: root_of(each.hash for each in leaves[start:end])


def tree(indices: list[int], leaves: list[Leaf] = LEAVES) -> list[bytes]:
    return list(cover_lines(len(leaves), indices, node(leaves)))


def head(leaves: list[Leaf] = LEAVES, census: dict[str, int] = CENSUS) -> Checkpoint:
    return Checkpoint(BOOK, len(leaves), node(leaves)(0, len(leaves)), (census_line(census),))


def note(checkpoint: Checkpoint) -> bytes:
    return Note(checkpoint.text(), (sign_note(checkpoint.text(), BOOK, PRIVATE),)).to_bytes()


def value() -> dict[str, Any]:
    return subject_value(D7, ENTRIES, tree(INDICES), note(head()), CENSUS)


def test_all_entries_about_a_subject_are_complete() -> None:
    assert check_complete(D7, ENTRIES, tree(INDICES), head(), CENSUS) == Complete(
        D7, 3, (1, 3, 5), BOOK, 7, head().root
    )


def test_the_proof_as_json_is_verified_with_the_key_alone() -> None:
    shown = verify_subject(json.dumps(value(), indent=1).encode(), KEY)
    assert (shown.subject, shown.count, shown.indices, shown.size) == (D7, 3, (1, 3, 5), 7)
    assert value()["entries"][1] == {"index": 3, "leaf": json.loads(LEAVES[3].raw)}
    assert value()["format"] == "pitbird-subject/1"


def test_that_nothing_is_about_a_subject_is_shown_too() -> None:
    assert check_complete("detector:d-99", [], [], head(), CENSUS).count == 0


OTHER = [*LEAVES[:3], leaf(9, {D7: 2, D8: 2}), *LEAVES[4:]]
FORGED: dict[str, tuple[list[int], list[Leaf], dict[str, int], list[bytes], str]] = {
    "the last left out": ([1, 3], LEAVES, CENSUS, tree([1, 3]), "2 entries are here, the census counts 3"),
    "all left out": ([], LEAVES, CENSUS, [], "0 entries are here, the census counts 3"),
    "the first left out": ([3, 5], LEAVES, CENSUS, tree([3, 5]), "entry 3 is its entry 2, where its entry 1"),
    "one in the middle left out": ([1, 5], LEAVES, CENSUS, tree([1, 5]), "entry 5 is its entry 3, where its"),
    "one twice": ([1, 3, 3, 5], LEAVES, CENSUS, tree([1, 3, 5]), "entry 3 is its entry 2, where its entry 3"),
    "in another order": ([3, 1, 5], LEAVES, CENSUS, tree([1, 3, 5]), "entry 3 is its entry 2, where its"),
    "one about something else": ([1, 2, 3], LEAVES, CENSUS, tree([1, 2, 3]), "entry 2 is not about it"),
    "one changed": (INDICES, OTHER, CENSUS, tree(INDICES), "another entry 3 stands in the book"),
    "one changed, with its tree": (INDICES, OTHER, CENSUS, tree(INDICES, OTHER), "do not lead from the root"),
    "a count that is smaller": ([1, 3, 5], LEAVES, {**CENSUS, D7: 2}, tree(INDICES), "the census counts 2"),
    "the tree cut short": (INDICES, LEAVES, CENSUS, tree(INDICES)[:-1], "tree: line 6: a line is missing"),
    "a line too many": (INDICES, LEAVES, CENSUS, [*tree(INDICES), tree(INDICES)[0]], "more behind the last"),
    "the tree of others": (INDICES, LEAVES, CENSUS, tree([1, 2, 3]), "tree: |do not lead"),
}


@pytest.mark.parametrize("case", FORGED)
def test_what_is_left_out_or_changed_is_found(case: str) -> None:
    indices, leaves, census, lines, message = FORGED[case]
    entries = [(index, leaves[index].raw) for index in indices]
    with pytest.raises(ProofRefused, match=message):
        check_complete(D7, entries, lines, head(), census)


def test_an_entry_at_another_place_is_found() -> None:
    with pytest.raises(ProofRefused, match="another entry 4 stands in the book"):
        check_complete(D7, [*ENTRIES[:1], (4, LEAVES[3].raw), ENTRIES[2]], tree([1, 4, 5]), head(), CENSUS)


def test_what_is_no_entry_is_found() -> None:
    with pytest.raises(ProofRefused, match="entry 1 is none"):
        check_complete(D7, [(1, b"{}")], tree([1]), head(), CENSUS)


def changed(**parts: Any) -> bytes:
    return canonical({**value(), **parts})


@pytest.mark.parametrize(
    ("data", "kind", "message"),
    [
        (b"", NotJson, "not JSON"),
        (b"[]", ProofRefused, "^proof: not an object of census, checkpoint"),
        (canonical({**value(), "more": 1}), ProofRefused, "^proof: not an object of census, checkpoint"),
        (changed(format="pitbird-subject/2"), ProofRefused, "^format: the format is 'pitbird-subject/2'"),
        (changed(subject=7), ProofRefused, "^proof: subject and checkpoint are texts"),
        (changed(census=[]), ProofRefused, "^proof: subject and checkpoint are texts"),
        (changed(checkpoint="x"), BadNote, "no empty line"),
        (changed(census={**CENSUS, D7: 2}), BadCheckpoint, "^census: not the census"),
        (changed(census={**CENSUS, D7: 0}), BadCheckpoint, "^census: "),
        (changed(entries={}), ProofRefused, "^entries: not a list of objects"),
        (changed(entries=[{"index": 1}]), ProofRefused, "^entries: not a list of objects"),
        (changed(entries=[{"index": "1", "leaf": {}}]), ProofRefused, "^entries: entry 1 is none"),
        (changed(tree="x"), ProofRefused, "^tree: not a list of lines"),
        (changed(tree=["ü"]), ProofRefused, "^tree: not a list of lines"),
        (changed(tree=[]), ProofRefused, "^tree: line 1: a line is missing"),
        (changed(subject=D8), ProofRefused, "^entries: entry 1 is not about it"),
    ],
)
def test_whatever_is_no_such_proof_is_refused_in_words(
    data: bytes, kind: type[RecordError], message: str
) -> None:
    with pytest.raises(kind, match=message):
        verify_subject(data, KEY)


def test_a_proof_under_another_key_is_refused() -> None:
    other = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
    with pytest.raises(BadCheckpoint, match="not signed by"):
        verify_subject(json.dumps(value()).encode(), VerifierKey(BOOK, other.public_key().public_bytes_raw()))


def test_an_index_that_is_no_number_is_refused() -> None:
    entries = [{**each, "index": str(each["index"])} for each in value()["entries"]]
    with pytest.raises(ProofRefused, match=r"^tree: indices: '1' after -1"):
        verify_subject(changed(entries=entries), KEY)
