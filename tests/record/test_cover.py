"""Covers of many entries at once.

Sources: RFC 9162 section 2.1.1 (how a tree is split and hashed), read literally below; the seven leaves of
section 2.1.5.
"""

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.cover import cover_lines, read_cover
from pitbird.record.errors import BadCover
from pitbird.record.merkle import EMPTY_ROOT, inclusion_proof, leaf_hash, node_hash, root_of

LEAVES = [leaf_hash(b"d%d" % i) for i in range(70)]
OTHER = sha256(b"some other hash").digest()


def node_over(leaves: list[bytes]) -> Any:
    return lambda start, end: root_of(leaves[start:end])


def cover(size: int, indices: list[int]) -> list[bytes]:
    return list(cover_lines(size, indices, node_over(LEAVES[:size])))


def read(lines: list[bytes], size: int, indices: list[int]) -> list[tuple[int, bytes, bool]]:
    return list(read_cover(lines, size, indices, root_of(LEAVES[:size])))


def literal(leaves: list[bytes], wanted: set[int], first: int = 0) -> Iterator[str]:
    """The form in words, taken literally: the line of a node, then those of its left, then of its right."""
    if len(leaves) < 2 or not wanted & set(range(first, first + len(leaves))):
        return
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    yield f"{root_of(leaves[:k]).hex()} {root_of(leaves[k:]).hex()}\n"
    yield from literal(leaves[:k], wanted, first)
    yield from literal(leaves[k:], wanted, first + k)


@st.composite
def parts(draw: st.DrawFn) -> tuple[int, list[int]]:
    size = draw(st.integers(1, 70))
    return size, sorted(draw(st.sets(st.integers(0, size - 1))))


def test_the_cover_of_two_of_the_seven_leaves_of_rfc_9162_section_2_1_5_is_the_nodes_above_them() -> None:
    a, b, c, d, e, f, j = LEAVES[:7]
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, l = node_hash(g, h), node_hash(i, j)  # noqa: E741 - the names are those of the RFC
    lines = [f"{x.hex()} {y.hex()}\n".encode() for x, y in ((k, l), (g, h), (c, d), (i, j))]
    assert cover(7, [3, 6]) == lines
    assert read(lines, 7, [3, 6]) == [(3, d, True), (6, j, True)]


@given(parts())
def test_a_cover_is_the_one_of_the_literal_description_and_leads_to_every_entry(
    part: tuple[int, list[int]],
) -> None:
    size, indices = part
    lines = cover(size, indices)
    assert "".join(literal(LEAVES[:size], set(indices))) == b"".join(lines).decode()
    assert read(lines, size, indices) == [(index, LEAVES[index], True) for index in indices]
    assert read([line[:-1] for line in lines], size, indices) == read(lines, size, indices)


@given(parts())
def test_a_cover_holds_every_hash_of_the_inclusion_proofs_of_its_entries(part: tuple[int, list[int]]) -> None:
    size, indices = part
    held = set(b" ".join(cover(size, indices)).split())
    for index in indices:
        proof = inclusion_proof(LEAVES[:size], index)
        assert {each.hex().encode() for each in proof} <= held


def test_a_book_without_entries_or_a_cover_of_none_or_a_book_of_one_has_no_line() -> None:
    assert cover(0, []) == cover(70, []) == cover(1, [0]) == []
    assert list(read_cover([], 0, [], EMPTY_ROOT)) == read([], 70, []) == []
    assert list(read_cover([], 1, [0], LEAVES[0])) == [(0, LEAVES[0], True)]


@given(parts(), st.data())
def test_one_changed_digit_takes_the_ground_from_the_entries_under_its_node_or_alters_their_hash(
    part: tuple[int, list[int]], data: st.DataObject
) -> None:
    size, indices = part
    lines = cover(size, indices)
    if not lines:
        return
    at = data.draw(st.integers(0, len(lines) - 1))
    place = data.draw(st.integers(0, 128).filter(lambda n: n != 64))
    changed = bytearray(lines[at])
    changed[place] = ord("0") if changed[place] != ord("0") else ord("1")
    lines[at] = bytes(changed)
    under = list(nodes(0, size, indices))[at]
    found = read(lines, size, indices)
    assert [index for index, _, _ in found] == indices
    for index, claimed, established in found:
        assert established is not (index in under)
        assert not established or claimed == LEAVES[index]


def nodes(start: int, end: int, indices: list[int]) -> Iterator[range]:
    """Which leaves lie under each line."""
    if end - start < 2 or not set(range(start, end)) & set(indices):
        return
    k = 1
    while k * 2 < end - start:
        k *= 2
    yield range(start, end)
    yield from nodes(start, start + k, indices)
    yield from nodes(start + k, end, indices)


def test_lines_made_anew_over_a_forged_leaf_do_not_lead_to_the_signed_root() -> None:
    forged = [*LEAVES[:3], OTHER, *LEAVES[4:7]]
    lines = list(cover_lines(7, [3, 6], node_over(forged)))
    assert [established for _, _, established in read(lines, 7, [3, 6])] == [False, False]


def test_a_line_that_fits_its_parent_stands_on_no_ground_when_the_parent_does_not_fit() -> None:
    right = cover(7, [3])
    assert read(right, 7, [3]) == [(3, LEAVES[3], True)]
    wrong = [b"%064x %064x\n" % (1, 2), *right[1:]]
    assert read(wrong, 7, [3]) == [(3, LEAVES[3], False)]


WHOLE = cover(7, [3, 6])


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (WHOLE[:-1], "^line 4: a line is missing"),
        ([], "^line 1: a line is missing"),
        ([*WHOLE, WHOLE[-1]], "^line 5: there is more behind"),
        ([*WHOLE, b""], "^line 5: there is more behind"),
        ([*WHOLE[:3], WHOLE[3][:-1]], "^line 4: the line is not two hashes"),
        ([*WHOLE[:3], WHOLE[3][:-2]], "^line 4: the line is not two hashes"),
        ([WHOLE[0].upper(), *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([WHOLE[0].replace(b" ", b"  "), *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([WHOLE[0].replace(b" ", b"\t"), *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([b" " + WHOLE[0], *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([WHOLE[0][:-1] + b"\r\n", *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([WHOLE[0] + b"\n", *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([WHOLE[0][:64] + b"\n", *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([WHOLE[0][1:], *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([b"\n", *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([b"\xd9\xa0" * 32 + b" " + b"0" * 64, *WHOLE[1:]], "^line 1: the line is not two hashes"),
        ([line.decode() for line in WHOLE], "^line 1: the line is not two hashes"),
        ([7], "^line 1: the line is not two hashes"),
    ],
)
def test_a_cover_that_is_not_of_the_form_is_refused_with_the_line(lines: Any, message: str) -> None:
    assert read(WHOLE, 7, [3, 6])
    with pytest.raises(BadCover, match=message):
        read(lines, 7, [3, 6])


@pytest.mark.parametrize(
    ("size", "indices", "root", "message"),
    [
        (7, [6, 3], OTHER, "^indices: 3 after 6: they do not rise"),
        (7, [3, 3], OTHER, "^indices: 3 after 3: they do not rise"),
        (7, [-1], OTHER, "^indices: -1 after -1: they do not rise"),
        (7, [True], OTHER, "^indices: True after -1: they do not rise"),
        (7, ["3"], OTHER, "^indices: '3' after -1: they do not rise"),
        (7, [7], OTHER, "^indices: no entry 7 in a book of 7"),
        (0, [0], OTHER, "^indices: no entry 0 in a book of 0"),
        (-1, [], OTHER, "^size: not a count"),
        (2**63, [], OTHER, "^size: not a count"),
        (True, [0], OTHER, "^size: not a count"),
        (7, [3], b"short", "^root: the root is not a hash"),
        (7, [3], "0" * 32, "^root: the root is not a hash"),
    ],
)
def test_what_cannot_belong_to_a_book_is_refused(size: Any, indices: Any, root: Any, message: str) -> None:
    with pytest.raises(BadCover, match=message):
        list(read_cover(WHOLE, size, indices, root))
    if not message.startswith("^root"):
        with pytest.raises(BadCover, match=message):
            list(cover_lines(size, indices, node_over(LEAVES)))


def test_a_cover_in_the_largest_tree_is_read_with_a_line_for_each_level() -> None:
    size, index = 2**63 - 1, 2**62 + 5
    path, made = [], LEAVES[0]
    for level in range(62):
        sibling = LEAVES[level + 1]
        left = index >> level & 1
        path.append((sibling, made) if left else (made, sibling))
        made = node_hash(*path[-1])
    path.append((OTHER, made))
    # The right part of the whole has 2^62 - 1 leaves; the way to this index goes left from there.
    lines = [f"{left.hex()} {right.hex()}\n".encode() for left, right in reversed(path)]
    assert list(read_cover(lines, size, [index], node_hash(OTHER, made))) == [(index, LEAVES[0], True)]
