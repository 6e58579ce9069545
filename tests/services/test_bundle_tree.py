"""The hashes behind a bundle's tree.txt, against the plain recursion of RFC 9162, section 2.1."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.cover import cover_lines
from pitbird.services import bundle_tree
from pitbird.services.bundle_tree import Hashes
from pitbird.store import book


def leaf(index: int) -> bytes:
    return sha256(b"%d" % index).digest()


def mth(start: int, end: int) -> bytes:
    """RFC 9162, section 2.1.1: k is the largest power of two smaller than n."""
    if end - start == 1:
        return leaf(start)
    k = 1
    while 2 * k < end - start:
        k *= 2
    return sha256(b"\x01" + mth(start, start + k) + mth(start + k, end)).digest()


def lines(start: int, end: int, wanted: list[int]) -> Iterator[bytes]:
    """docs/bundle.md, tree.txt, word by word."""
    here = [index for index in wanted if start <= index < end]
    if end - start < 2 or not here:
        return
    k = 1
    while 2 * k < end - start:
        k *= 2
    yield f"{mth(start, start + k).hex()} {mth(start + k, end).hex()}\n".encode()
    yield from lines(start, start + k, here)
    yield from lines(start + k, end, here)


@pytest.fixture(autouse=True)
def small_blocks() -> Iterator[None]:
    """Blocks of four leaves, and a book that is nothing but hashes."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(bundle_tree, "HEIGHT", 2)
        patched.setattr(bundle_tree, "BLOCK", 4)
        patched.setattr(book, "leaf_hashes", lambda start, end: iter([leaf(at) for at in range(start, end)]))
        yield


@given(st.data())
def test_every_line_is_that_of_the_plain_recursion(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 70))
    wanted = sorted(data.draw(st.sets(st.integers(0, size - 1))))
    assert list(cover_lines(size, wanted, Hashes(size).of)) == list(lines(0, size, wanted))


@pytest.mark.parametrize("size", [1, 3, 4, 5, 8, 9, 16, 33, 64])
def test_the_root_is_that_of_the_tree(size: int) -> None:
    assert Hashes(size).of(0, size) == mth(0, size)


def test_a_bundle_that_holds_everything_holds_every_node() -> None:
    assert len(list(cover_lines(37, range(37), Hashes(37).of))) == 36
