"""The hashes of the book's tree, for the proofs of a bundle: bounded in memory, leaves read at most twice.

RFC 9162, section 2.1: the left part of a node is the largest power of two smaller than its number of leaves,
so every left part lies on a multiple of its size. Of the nodes over a whole block of leaves and above, all
hashes are kept; below, those of one block at a time.
"""

from __future__ import annotations

from typing import Final

from pitbird.record.merkle import HASH_SIZE, node_hash, split
from pitbird.store import book

#: Leaves in a block: 2^10 of them make one kept hash, so that a book of a million keeps 64 kB.
HEIGHT: Final = 10
BLOCK: Final = 1 << HEIGHT


class Hashes:
    """Hashes of nodes of the tree over the first ``size`` entries."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._levels: list[bytearray] = [bytearray()]
        self._block: tuple[int, list[bytes]] = (-1, [])
        for start in range(0, size - BLOCK + 1, BLOCK):
            self._levels[0] += _over(list(book.leaf_hashes(start, start + BLOCK)))
        while len(self._levels[-1]) > HASH_SIZE:
            self._levels.append(_paired(bytes(self._levels[-1])))

    def of(self, start: int, end: int) -> bytes:
        """The hash of the node over the entries from one index to before another, as the tree has it."""
        count = end - start
        height = count.bit_length() - 1
        if count == 1 << height and height >= HEIGHT and start % count == 0:
            at = (start >> height) * HASH_SIZE
            return bytes(self._levels[height - HEIGHT][at : at + HASH_SIZE])
        if count <= BLOCK and start // BLOCK == (end - 1) // BLOCK:
            leaves = self._leaves(start // BLOCK)
            return _over(leaves[start % BLOCK : start % BLOCK + count])
        middle = start + split(count)
        return node_hash(self.of(start, middle), self.of(middle, end))

    def _leaves(self, block: int) -> list[bytes]:
        if self._block[0] != block:
            start = block * BLOCK
            self._block = block, list(book.leaf_hashes(start, min(start + BLOCK, self._size)))
        return self._block[1]


def _paired(below: bytes) -> bytearray:
    """The hashes of the level above; an odd last one has no parent that is whole."""
    joined = bytearray()
    for at in range(0, len(below) - HASH_SIZE, 2 * HASH_SIZE):
        middle = at + HASH_SIZE
        joined += node_hash(below[at:middle], below[middle : middle + HASH_SIZE])
    return joined


def _over(hashes: list[bytes]) -> bytes:
    """The root over leaf hashes: pair by pair, the odd last one goes up as it is (the same as RFC 9162)."""
    while len(hashes) > 1:
        paired = [node_hash(left, right) for left, right in zip(hashes[::2], hashes[1::2], strict=False)]
        hashes = paired + hashes[len(paired) * 2 :]
    return hashes[0]
