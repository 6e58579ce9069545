"""Proofs from the book's tree: that an entry stands in it, and that it only grew. O(log n) hashes are read
beside one branch of 256 leaves, whatever the size of the book."""

from __future__ import annotations

from typing import Any

from pitbird.record.errors import BadTree, ProofRefused
from pitbird.record.merkle import (
    EMPTY_ROOT,
    consistency_path,
    inclusion_path,
    verify_consistency,
    verify_inclusion,
)
from pitbird.record.nodes import Nodes
from pitbird.store import book, subtrees


class NoProof(ValueError):
    """There is no such proof, or none can be made; ``what`` says why and what to do."""

    def __init__(self, what: str, where: str = "") -> None:
        super().__init__(f"{where}: {what}" if where else what)
        self.what = what


class NoCheckpoint(NoProof):
    """No checkpoint was made yet: the next one shows it."""


def inclusion(index: int, size: int) -> tuple[bytes, ...]:
    """The proof that the entry at ``index`` stands in the book of ``size`` entries (RFC 9162, 2.1.3).

    Raises NoProof, or BadTree where that book has no such entry.
    """
    return Tree(size, "size").inclusion(index)


def consistency(old_size: int, new_size: int) -> tuple[bytes, ...]:
    """The proof that the newer book begins with the older one (RFC 9162 section 2.1.4).

    Raises NoProof, or BadTree where the older one is the larger.
    """
    return Tree(new_size, "to").consistency(old_size)


def inclusion_json(index: int, size: int) -> dict[str, Any]:
    """As ``inclusion``, with what it is held against: docs/proofs.md."""
    tree = Tree(size, "size")
    proof = [each.hex() for each in tree.inclusion(index)]
    leaf, root = tree.leaf(index).hex(), tree.root.hex()
    return {"index": index, "leaf_hash": leaf, "proof": proof, "root": root, "size": size}


def consistency_json(old_size: int, new_size: int) -> dict[str, Any]:
    """As ``consistency``, with what it is held against: docs/proofs.md."""
    tree = Tree(new_size, "to")
    proof = [each.hex() for each in tree.consistency(old_size)]
    old = Tree(old_size, "from").root.hex()
    return {"from": old_size, "from_root": old, "proof": proof, "to": new_size, "to_root": tree.root.hex()}


class Tree:
    """The tree over the first ``size`` entries of the book. Raises NoProof where the book holds fewer.

    Whatever it gives has been verified against the head, so that a hash that was kept wrongly can make a
    proof fail here but never lead anybody astray.
    """

    def __init__(self, size: int, where: str = "size") -> None:
        head = book.head()
        if type(size) is not int or not 0 <= size <= head.size:
            raise NoProof(f"{size} entries; the book holds {head.size}", where)
        self.size = size
        self._nodes = Nodes(head.size, book.leaf_hashes, subtrees.kept, subtrees.LEVELS)
        try:
            self.root = self._nodes.of(0, size) if size else EMPTY_ROOT
            verify_consistency(
                old_size=size,
                new_size=head.size,
                old_root=self.root,
                new_root=head.root(),
                proof=consistency_path(size, head.size, self._nodes.of),
            )
        except (BadTree, ProofRefused) as fault:
            raise NoProof(_DISAGREE) from fault

    def node(self, start: int, end: int) -> bytes:
        """The hash of the node over the entries from one index to before another."""
        return self._nodes.of(start, end)

    def leaf(self, index: int) -> bytes:
        """The leaf hash of an entry, as stored."""
        return self._nodes.full(0, index)

    def inclusion(self, index: int) -> tuple[bytes, ...]:
        """As ``inclusion``."""
        proof = inclusion_path(self.size, index, self._nodes.of)
        try:
            verify_inclusion(index=index, size=self.size, leaf=self.leaf(index), proof=proof, root=self.root)
        except ProofRefused as fault:
            raise NoProof(_DISAGREE) from fault
        return tuple(proof)

    def consistency(self, old_size: int) -> tuple[bytes, ...]:
        """As ``consistency``."""
        proof = consistency_path(old_size, self.size, self._nodes.of)
        try:
            verify_consistency(
                old_size=old_size,
                new_size=self.size,
                old_root=self._nodes.of(0, old_size) if old_size else EMPTY_ROOT,
                new_root=self.root,
                proof=proof,
            )
        except ProofRefused as fault:
            raise NoProof(_DISAGREE) from fault
        return tuple(proof)


_DISAGREE = (
    "the hashes of the entries do not lead to the root that the head holds, so that no proof can be given; "
    "run `pitbird doctor`, which says whether the book itself is touched"
)
