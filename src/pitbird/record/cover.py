"""A cover: the hashes that lead from the root of the book to many of its entries at once (``tree.txt``).

From the root on, in pre-order: for each node over more than one leaf that holds at least one of the entries,
one line ``LEFT RIGHT`` of the hashes of its two parts, 64 lower-case hexadecimal digits each; then the lines
of the left part, then those of the right. The left part is the largest power of two smaller than the number
of leaves of the node (RFC 9162 section 2.1.1). The lines hold the inclusion proofs of all the entries; and
unlike a single proof they tell which entry a changed byte touched.
"""

import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence

from pitbird.record.errors import BadCover
from pitbird.record.merkle import HASH_SIZE, MAX_SIZE, NodeHash, node_hash, split

_LINE = re.compile(rb"([0-9a-f]{64}) ([0-9a-f]{64})")


def cover_lines(size: int, indices: Sequence[int], node_hash_of: NodeHash) -> Iterator[bytes]:
    """Write the cover of the entries at ``indices``, which rise, in the book of ``size`` entries.

    ``node_hash_of(start, end)`` gives the hash of the node over the leaves from ``start`` to before ``end``.
    It is asked from left to right and twice for each line, so that a source that remembers the leaves lately
    read reads none twice. Each line ends with a line feed. Raises BadCover where the indices do not rise or
    lie outside the book.
    """
    _check_indices(size, indices)
    waiting = [(0, size, 0, len(indices))]
    while waiting:
        start, end, low, high = waiting.pop()
        if end - start < 2 or low == high:
            continue
        middle = start + split(end - start)
        cut = bisect_left(indices, middle, low, high)
        left, right = node_hash_of(start, middle), node_hash_of(middle, end)
        yield f"{left.hex()} {right.hex()}\n".encode("ascii")
        waiting += ((middle, end, cut, high), (start, middle, low, cut))


def read_cover(
    lines: Iterable[bytes], size: int, indices: Sequence[int], root: bytes
) -> Iterator[tuple[int, bytes, bool]]:
    """Read a cover as a stream: for each index, in order, the hash that its leaf should have, and whether it
    is established.

    ``size`` and ``root`` come from a checkpoint that the caller trusts, ``indices`` are those of the entries
    at hand and rise. A leaf hash is established when every line from the root down to it fits: the hash over
    its left and right is the one that the line above gave for it. An entry stands in the book where its own
    leaf hash, made by the caller from its bytes, equals one that is established; the answers given hold only
    once the iterator has come to its end. Memory is O(log size) beyond the indices.

    Lines may be given with their line feeds or without, all in the same way; without, the caller has seen to
    it that the last one has its own. Raises BadCover for a line that is not of the form, is missing, or is
    one too many, with its number; and where the arguments cannot belong to a book.
    """
    _check_indices(size, indices)
    if type(root) is not bytes or len(root) != HASH_SIZE:
        raise BadCover(f"the root is not a hash of {HASH_SIZE} bytes", where="root", remedy=_CHECKPOINT)
    rows, number, feed = iter(lines), 0, False
    waiting = [(0, size, 0, len(indices), root, True)]
    while waiting:
        start, end, low, high, claimed, established = waiting.pop()
        if low == high:
            continue
        if end - start == 1:
            yield start, claimed, established
            continue
        number += 1
        row = next(rows, None)
        if row is None:
            raise BadCover("a line is missing", where=f"line {number}", remedy=_AGAIN)
        if number == 1:
            feed = type(row) is bytes and row.endswith(b"\n")
        left, right = _parts(row, number, feed=feed)
        established = established and node_hash(left, right) == claimed
        middle = start + split(end - start)
        cut = bisect_left(indices, middle, low, high)
        waiting += (
            (middle, end, cut, high, right, established),
            (start, middle, low, cut, left, established),
        )
    if next(rows, None) is not None:
        raise BadCover("there is more behind the last line", where=f"line {number + 1}", remedy=_AGAIN)


def _parts(row: bytes, number: int, *, feed: bool) -> tuple[bytes, bytes]:
    """The two hashes of a line."""
    match = None
    if type(row) is bytes and (not feed or row.endswith(b"\n")):
        match = _LINE.fullmatch(row[:-1] if feed else row)
    if match is None:
        raise BadCover("the line is not two hashes", where=f"line {number}", remedy=_AGAIN)
    return bytes.fromhex(match[1].decode("ascii")), bytes.fromhex(match[2].decode("ascii"))


def _check_indices(size: int, indices: Sequence[int]) -> None:
    if type(size) is not int or not 0 <= size <= MAX_SIZE:
        raise BadCover("not a count of entries", where="size", remedy=_CHECKPOINT)
    before = -1
    for index in indices:
        if type(index) is not int or index <= before:
            raise BadCover(f"{index!a} after {before}: they do not rise", where="indices", remedy=_ENTRIES)
        before = index
    if before >= size:
        raise BadCover(f"no entry {before} in a book of {size}", where="indices", remedy=_ENTRIES)


_AGAIN = "Get the bundle again from the keeper, whole; do not rely on this one."
_CHECKPOINT = "Take size and root from the signed checkpoint."
_ENTRIES = "Give the indices of the entries at hand, in order, each once."
