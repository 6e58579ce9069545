"""Merkle tree over the leaves of the book: RFC 9162 section 2.1 with SHA-256.

Leaf hash = SHA-256(0x00 || entry), node hash = SHA-256(0x01 || left || right) (section 2.1.1). The prefixes
keep a node from being passed off as an entry. Verifiers take index, size and root from their caller, never
from the proof, check ranges and the exact length first, and raise only ProofRefused.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

from pitbird.record.errors import BadTree, ProofRefused

HASH_SIZE = 32
MAX_SIZE = 2**63 - 1
EMPTY_ROOT = sha256(b"").digest()
"""Root of the tree without leaves: the SHA-256 of nothing (RFC 9162 section 2.1.1)."""
NodeHash = Callable[[int, int], bytes]
"""The hash of the node over the leaves from one index to before another, as the tree is split."""
FullHash = Callable[[int, int], bytes]
"""The root of a full sub-tree by level and place: it covers the 2^level leaves from place * 2^level on."""


def leaf_hash(entry: bytes) -> bytes:
    """Hash one entry: SHA-256(0x00 || entry)."""
    return sha256(b"\x00" + entry).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash two sub-trees into one: SHA-256(0x01 || left || right)."""
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Frontier:
    """The right edge of a growing tree: the roots of its full sub-trees, largest first.

    One hash for each 1 in the binary form of ``size``. It is all that is needed to append and to give the
    root.
    """

    size: int = 0
    hashes: tuple[bytes, ...] = ()

    def __post_init__(self) -> None:
        if type(self.size) is not int or not 0 <= self.size <= MAX_SIZE:
            raise BadTree(
                f"the size {self.size!r} is not a count of leaves", where="frontier", remedy=_REBUILD
            )
        if type(self.hashes) is not tuple or len(self.hashes) != self.size.bit_count():
            raise BadTree(
                f"a tree of {self.size} leaves has a frontier of {self.size.bit_count()} hashes",
                where="frontier",
                remedy=_REBUILD,
            )
        for item in self.hashes:
            _require_hash(item, "frontier")

    def append(self, leaf: bytes) -> "Frontier":
        """Return the frontier with one more leaf hash, in O(log size) steps."""
        _require_hash(leaf, "leaf hash")
        hashes = list(self.hashes)
        grow(hashes, self.size, leaf)
        return Frontier(self.size + 1, tuple(hashes))

    def extend(self, leaves: Sequence[bytes]) -> "Frontier":
        """Return the frontier with several more leaf hashes, in order; as ``append`` for each."""
        hashes = list(self.hashes)
        for size, leaf in enumerate(leaves, start=self.size):
            _require_hash(leaf, "leaf hash")
            grow(hashes, size, leaf)
        return Frontier(self.size + len(leaves), tuple(hashes))

    def extend_noting(
        self, leaves: Sequence[bytes], levels: Sequence[int]
    ) -> tuple["Frontier", list[tuple[int, int, bytes]]]:
        """As ``extend``, and the full sub-trees of some levels (from 1) that the leaves completed: level,
        place, root, lowest first where one leaf completes several."""
        hashes, noted, lowest = list(self.hashes), [], (1 << min(levels)) - 1
        for size, leaf in enumerate(leaves, start=self.size):
            _require_hash(leaf, "leaf hash")
            if size & lowest == lowest:
                noted += grow_noting(hashes, size, leaf, levels)
            else:
                grow(hashes, size, leaf)
        return Frontier(self.size + len(leaves), tuple(hashes)), noted

    def root(self) -> bytes:
        """Return the root of the whole tree (RFC 9162 section 2.1.1)."""
        return root_over(self.hashes)

    def to_bytes(self) -> bytes:
        """Return the size as 8 bytes, big-endian, followed by the hashes."""
        return self.size.to_bytes(8, "big") + b"".join(self.hashes)

    @classmethod
    def from_bytes(cls, data: bytes) -> "Frontier":
        """Read what ``to_bytes`` wrote; raises BadTree for anything else."""
        if len(data) < 8 or (len(data) - 8) % HASH_SIZE:
            raise BadTree(f"{len(data)} bytes cannot hold a frontier", where="frontier", remedy=_REBUILD)
        hashes = tuple(bytes(data[i : i + HASH_SIZE]) for i in range(8, len(data), HASH_SIZE))
        return cls(int.from_bytes(data[:8], "big"), hashes)


_REBUILD = "Rebuild the frontier from the leaves of the book."


def root_of(hashes: Iterable[bytes]) -> bytes:
    """Return the root over leaf hashes in order (MTH, RFC 9162 section 2.1.1); memory O(log n)."""
    edge: list[bytes] = []
    for size, leaf in enumerate(hashes):
        _require_hash(leaf, f"leaf {size}")
        grow(edge, size, leaf)
    return root_over(edge)


def root_of_full(hashes: list[bytes]) -> bytes:
    """The root over a power of two of leaf hashes, or of roots of full sub-trees of one size; as ``root_of``,
    sooner."""
    while len(hashes) > 1:
        pairs = zip(hashes[::2], hashes[1::2], strict=True)
        hashes = [sha256(b"\x01" + left + right).digest() for left, right in pairs]
    return hashes[0]


def inclusion_proof(hashes: Sequence[bytes], index: int) -> list[bytes]:
    """Return PATH(index, leaves) of RFC 9162 section 2.1.3.1, lowest sibling first.

    Raises BadTree when the tree has no leaf of that index.
    """
    return inclusion_path(len(hashes), index, _over(hashes))


def consistency_proof(hashes: Sequence[bytes], old_size: int) -> list[bytes]:
    """Return PROOF(old_size, leaves) of RFC 9162 section 2.1.4.1.

    The RFC defines it for 0 < old_size < n; for the empty tree and for the same size the proof is empty.
    Raises BadTree when the old tree is larger than the new one.
    """
    return consistency_path(old_size, len(hashes), _over(hashes))


def inclusion_path(size: int, index: int, node_hash_of: NodeHash) -> list[bytes]:
    """As ``inclusion_proof`` for a tree of ``size`` leaves whose node hashes a source gives, O(log size) of
    them. Raises BadTree when the tree has no leaf of that index."""
    if type(index) is not int or not 0 <= index < size:
        raise BadTree(
            f"there is no leaf {index!r} in a tree of {size}",
            where="index",
            remedy="Ask for a leaf it holds.",
        )
    start, end, path = 0, size, []
    while end - start > 1:
        middle = start + split(end - start)
        if index < middle:
            path.append(node_hash_of(middle, end))
            end = middle
        else:
            path.append(node_hash_of(start, middle))
            start = middle
    return path[::-1]


def consistency_path(old_size: int, new_size: int, node_hash_of: NodeHash) -> list[bytes]:
    """As ``consistency_proof`` for a tree of ``new_size`` leaves whose node hashes a source gives,
    O(log new_size) of them. Raises BadTree when the old tree is larger than the new one."""
    if type(old_size) is not int or not 0 <= old_size <= new_size:
        raise BadTree(
            f"no tree of {old_size!r} leaves lies inside one of {new_size}",
            where="old_size",
            remedy="Ask for an earlier size of the same book.",
        )
    if old_size in (0, new_size):
        return []
    start, end, known, path = 0, new_size, True, []
    while end != old_size:
        middle = start + split(end - start)
        if old_size <= middle:
            path.append(node_hash_of(middle, end))
            end = middle
        else:
            path.append(node_hash_of(start, middle))
            start, known = middle, False
    if not known:
        path.append(node_hash_of(start, end))
    return path[::-1]


def node_of_full(start: int, end: int, full: FullHash) -> bytes:
    """The hash of the node over the leaves from ``start`` to before ``end``, from roots of full sub-trees.

    A node starts at a multiple of its first power of two (RFC 9162 section 2.1.1), so it is one full sub-tree
    for each 1 in the binary form of its number of leaves. Raises BadTree where no tree has such a node.
    """
    count = end - start
    if start < 0 or count < 1 or start & ((1 << (count - 1).bit_length()) - 1):
        raise BadTree(
            f"no node lies over the leaves from {start} to before {end}",
            where="node",
            remedy="Split as the RFC does.",
        )
    edge = []
    while count:
        level = count.bit_length() - 1
        edge.append(full(level, start >> level))
        start, count = start + (1 << level), count - (1 << level)
    return root_over(edge)


def _over(hashes: Sequence[bytes]) -> NodeHash:
    return lambda start, end: root_of(hashes[start:end])


def verify_inclusion(*, index: int, size: int, leaf: bytes, proof: Sequence[bytes], root: bytes) -> None:
    """Check that the leaf hash ``leaf`` stands at ``index`` in the tree of ``size`` leaves with that root.

    RFC 9162 section 2.1.3.2. ``size`` and ``root`` must come from a checkpoint that the caller trusts, and
    ``leaf`` is hashed by the caller from the entry itself: a hash that came with the proof could be a node.
    Returns None or raises ProofRefused.
    """
    _check_count(size, "size")
    _check_count(index, "index")
    if index >= size:
        raise ProofRefused(f"no leaf {index} in a tree of {size}", where="index", remedy=_ASK_AGAIN)
    _check_hash(leaf, "leaf")
    _check_hash(root, "root")
    _check_proof(proof, _path_length(index, size - 1))
    # On the right edge (here == last) every further sibling is on the left, so the shifts that the RFC makes
    # there change nothing once the length is known to be right.
    here, last, made = index, size - 1, leaf
    for sibling in proof:
        if here & 1 or here == last:
            made = node_hash(sibling, made)
        else:
            made = node_hash(made, sibling)
        here, last = here >> 1, last >> 1
    if made != root:
        raise ProofRefused("the proof leads to another root", where="root", remedy=_NOT_SHOWN)


def verify_consistency(
    *, old_size: int, new_size: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]
) -> None:
    """Check that the newer tree begins with every leaf of the older one, in the same order.

    RFC 9162 section 2.1.4.2. Both sizes and roots must come from checkpoints that the caller holds. The empty
    tree is the beginning of every tree, with EMPTY_ROOT and an empty proof. Returns None or raises
    ProofRefused.
    """
    _check_count(old_size, "old_size")
    _check_count(new_size, "new_size")
    if old_size > new_size:
        raise ProofRefused(
            f"the newer tree has {new_size} leaves, the older {old_size}", where="new_size", remedy=_NOT_SHOWN
        )
    _check_hash(old_root, "old_root")
    _check_hash(new_root, "new_root")
    for count, root, name in ((old_size, old_root, "old_root"), (new_size, new_root, "new_root")):
        if count == 0 and root != EMPTY_ROOT:
            raise ProofRefused("a tree without leaves has another root", where=name, remedy=_NOT_SHOWN)
    if old_size in (0, new_size):
        _check_proof(proof, 0)
        if old_size == new_size and old_root != new_root:
            raise ProofRefused("two roots for one size", where="new_root", remedy=_NOT_SHOWN)
        return
    here, last = old_size - 1, new_size - 1
    while here & 1:
        here, last = here >> 1, last >> 1
    full = here == 0  # the older tree is one full sub-tree, so its root is where the path starts
    _check_proof(proof, _path_length(here, last) + (0 if full else 1))
    old_made = new_made = old_root if full else proof[0]
    for sibling in proof if full else proof[1:]:
        if here & 1 or here == last:
            old_made, new_made = (node_hash(sibling, old_made), node_hash(sibling, new_made))
        else:
            new_made = node_hash(new_made, sibling)
        here, last = here >> 1, last >> 1
    if old_made != old_root:
        raise ProofRefused("the proof leads to another older root", where="old_root", remedy=_NOT_SHOWN)
    if new_made != new_root:
        raise ProofRefused("the proof leads to another newer root", where="new_root", remedy=_NOT_SHOWN)


_ASK_AGAIN = "Ask the holder of the book for the proof of this leaf and size."
_NOT_SHOWN = "Do not rely on it; compare with a checkpoint you hold and ask the keeper of the book."


def grow(edge: list[bytes], size: int, leaf: bytes) -> None:
    """Put one more leaf hash on the right edge of a tree of ``size`` leaves (as in ``Frontier.hashes``)."""
    while size & 1:
        leaf = node_hash(edge.pop(), leaf)
        size >>= 1
    edge.append(leaf)


def grow_noting(
    edge: list[bytes], size: int, leaf: bytes, levels: Sequence[int]
) -> list[tuple[int, int, bytes]]:
    """As ``grow``; gives level, place and root of each full sub-tree of these levels that it completes."""
    noted, level = [], 0
    while size & 1:
        leaf = node_hash(edge.pop(), leaf)
        size, level = size >> 1, level + 1
        if level in levels:
            noted.append((level, size, leaf))
    edge.append(leaf)
    return noted


def root_over(edge: Sequence[bytes]) -> bytes:
    """The root of the tree with this right edge."""
    if not edge:
        return EMPTY_ROOT
    root = edge[-1]
    for left in reversed(edge[:-1]):
        root = node_hash(left, root)
    return root


def split(size: int) -> int:
    """Return k of RFC 9162: the largest power of two smaller than ``size`` (size > 1)."""
    return 1 << ((size - 1).bit_length() - 1)


def _path_length(index: int, last: int) -> int:
    """Count the siblings on the way up from ``index`` when the last leaf is ``last``.

    Below the point where the two ways part there is one on every level; above it, one for each full sub-tree
    on the left.
    """
    below = (index ^ last).bit_length()
    return below + (index >> below).bit_count()


def _require_hash(value: object, where: str) -> None:
    if type(value) is not bytes or len(value) != HASH_SIZE:
        raise BadTree(
            f"not a hash of {HASH_SIZE} bytes", where=where, remedy="Give the SHA-256 digest as bytes."
        )


def _check_hash(value: object, where: str) -> None:
    if type(value) is not bytes or len(value) != HASH_SIZE:
        raise ProofRefused(f"not a hash of {HASH_SIZE} bytes", where=where, remedy=_ASK_AGAIN)


def _check_count(value: object, where: str) -> None:
    if type(value) is not int or not 0 <= value <= MAX_SIZE:
        raise ProofRefused("not a whole number in the range of a tree", where=where, remedy=_ASK_AGAIN)


def _check_proof(proof: object, length: int) -> None:
    if type(proof) is not list and type(proof) is not tuple:
        raise ProofRefused("not a list of hashes", where="proof", remedy=_ASK_AGAIN)
    if len(proof) != length:
        raise ProofRefused(f"{len(proof)} hashes where {length} belong", where="proof", remedy=_ASK_AGAIN)
    for place, item in enumerate(proof):
        _check_hash(item, f"proof[{place}]")
