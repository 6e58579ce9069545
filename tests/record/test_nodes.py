"""Nodes from kept roots, against RFC 9162 section 2.1.1 (``root_of``, held to the RFC in test_merkle)."""

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.cover import cover_lines
from pitbird.record.errors import BadTree
from pitbird.record.merkle import (
    Frontier,
    consistency_path,
    consistency_proof,
    inclusion_path,
    inclusion_proof,
    root_of,
)
from pitbird.record.nodes import LEVELS, Nodes

HASHES = [sha256(b"%d" % i).digest() for i in range(700)]
ALL = st.sampled_from([(1,), (2,), (3,), (1, 2), (2, 4), (1, 3, 5), LEVELS])


class Source:
    """A tree of so many leaves with its kept roots, some of them lost; counts what is read."""

    def __init__(self, size: int, levels: tuple[int, ...], lost: int = 0) -> None:
        self.frontier, full = Frontier().extend_noting(HASHES[:size], levels)
        self.kept = {(level, place): root for level, place, root in full[lost:]}
        self.read = 0
        self.nodes = Nodes(size, self.leaves, self.roots, levels)

    def leaves(self, start: int, end: int) -> Iterator[bytes]:
        self.read += end - start
        return iter(HASHES[start:end])

    def roots(self, level: int, start: int, end: int) -> dict[int, bytes]:
        found = {place: self.kept.get((level, place)) for place in range(start, end)}
        return {place: root for place, root in found.items() if root is not None}


@given(st.integers(1, 150), ALL, st.integers(0, 5), st.data())
def test_proofs_are_those_from_all_leaves_whatever_is_kept(
    size: int, levels: tuple[int, ...], lost: int, data: st.DataObject
) -> None:
    source = Source(size, levels, lost)
    index, old = data.draw(st.integers(0, size - 1)), data.draw(st.integers(0, size))
    earlier = data.draw(st.integers(index + 1, size))
    assert inclusion_path(size, index, source.nodes.of) == inclusion_proof(HASHES[:size], index)
    assert inclusion_path(earlier, index, source.nodes.of) == inclusion_proof(HASHES[:earlier], index)
    assert consistency_path(old, size, source.nodes.of) == consistency_proof(HASHES[:size], old)
    assert source.nodes.of(0, size) == source.frontier.root() == root_of(HASHES[:size])
    wanted = sorted(data.draw(st.sets(st.integers(0, size - 1), max_size=20)))
    plain = cover_lines(size, wanted, lambda start, end: root_of(HASHES[start:end]))
    assert list(cover_lines(size, wanted, source.nodes.of)) == list(plain)


@given(st.integers(0, 150), st.integers(0, 150), ALL)
def test_the_full_sub_trees_noted_while_growing_are_those_of_the_leaves(
    first: int, more: int, levels: tuple[int, ...]
) -> None:
    begun, noted = Frontier().extend_noting(HASHES[:first], levels)
    grown, later = begun.extend_noting(HASHES[first : first + more], levels)
    assert grown == Frontier().extend(HASHES[: first + more])
    size = first + more
    assert sorted(noted + later) == sorted(
        (level, place, root_of(HASHES[place << level : (place + 1) << level]))
        for level in levels
        for place in range(size >> level)
    )


def test_a_proof_in_a_tree_of_700_leaves_reads_two_branches_of_256_at_the_most() -> None:
    source = Source(700, LEVELS)
    assert inclusion_path(700, 5, source.nodes.of) == inclusion_proof(HASHES, 5)
    assert source.read <= 2 * 256


def test_a_cover_of_every_leaf_reads_each_leaf_once() -> None:
    source = Source(700, (2, 4))
    assert len(list(cover_lines(700, range(700), source.nodes.of))) == 699
    assert source.read <= 700 + 4 * 4


def test_a_leaf_that_is_missing_is_told() -> None:
    short = Nodes(20, lambda start, end: HASHES[start : min(end, 18)], lambda *_: {}, (4,))
    assert short.of(0, 16) == root_of(HASHES[:16])
    with pytest.raises(BadTree, match=r"^leaves: 2 of the leaves 16 to 19 are missing"):
        short.of(0, 20)


@pytest.mark.parametrize(("level", "place"), [(0, 20), (2, 5), (4, 1), (5, 0), (0, -1), (-1, 0)])
def test_a_sub_tree_that_is_not_full_has_no_root(level: int, place: int) -> None:
    with pytest.raises(BadTree, match=rf"^node: no full sub-tree {place} of level {level} in a tree of 20"):
        Source(20, (2,)).nodes.full(level, place)


def test_a_wrong_kept_root_shows_in_the_root() -> None:
    def wrong(level: int, start: int, end: int) -> Any:
        return {start: HASHES[0]}

    assert Nodes(32, lambda start, end: HASHES[start:end], wrong, (2, 4)).of(0, 32) != root_of(HASHES[:32])
