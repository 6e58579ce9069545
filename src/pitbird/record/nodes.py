"""Hashes of nodes of a large tree without reading all its leaves.

The roots of all full sub-trees of 256 and of 65,536 leaves are kept (levels 8 and 16); a proof then reads the
256 leaves of one branch, the 256 roots above them, and the roots above those. They are worked out from the
leaves and can be worked out anew: what is kept is no evidence, and one that is missing is not missed.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping

from pitbird.record.errors import BadTree
from pitbird.record.merkle import node_hash, node_of_full

LEVELS = (8, 16)
"""The levels of which all full sub-trees have their roots kept."""
_REMEMBERED = 4

Leaves = Callable[[int, int], Iterable[bytes]]
"""The leaf hashes from one index to before another, in order."""
Kept = Callable[[int, int, int], Mapping[int, bytes]]
"""Of a level, the kept roots from one place to before another, by place; some may be missing."""


class Nodes:
    """The nodes of the tree over ``size`` leaves. Asked from left to right, each leaf is read about once.

    Memory is that of a few branches of each kept level, and of all roots of the highest.
    """

    def __init__(self, size: int, leaves: Leaves, kept: Kept, levels: tuple[int, ...] = LEVELS) -> None:
        self._size = size
        self._leaves = leaves
        self._kept = kept
        self._levels = (0, *levels)
        self._remembered: dict[int, OrderedDict[int, list[list[bytes]]]] = {
            level: OrderedDict() for level in self._levels
        }

    def of(self, start: int, end: int) -> bytes:
        """The hash of the node over the leaves from ``start`` to before ``end``. Raises BadTree."""
        return node_of_full(start, end, self.full)

    def full(self, level: int, place: int) -> bytes:
        """The root of a full sub-tree of 2^level leaves, the one with ``place`` others on its left.

        Raises BadTree where the tree does not hold it, or a leaf of it is missing.
        """
        if level < 0 or not 0 <= place < self._size >> level:
            raise BadTree(
                f"no full sub-tree {place} of level {level} in a tree of {self._size}",
                where="node",
                remedy="Ask for one it holds.",
            )
        at = max(n for n, kept in enumerate(self._levels) if kept <= level)
        height = level - self._levels[at]
        if at + 1 == len(self._levels):
            return self._branch(at, 0)[height][place]
        below = self._levels[at + 1] - level
        return self._branch(at, place >> below)[height][place & ((1 << below) - 1)]

    def _branch(self, at: int, place: int) -> list[list[bytes]]:
        """The roots of a kept level under one root of the next, with those between them, lowest first."""
        remembered = self._remembered[self._levels[at]]
        if place in remembered:
            remembered.move_to_end(place)
            return remembered[place]
        level, first, end = self._levels[at], 0, self._size >> self._levels[at]
        if at + 1 < len(self._levels):
            width = self._levels[at + 1] - level
            first, end = place << width, min((place + 1) << width, end)
        layers = [self._roots(at, first, end)]
        while len(layers[-1]) > 1:
            pairs = zip(layers[-1][::2], layers[-1][1::2], strict=False)
            layers.append([node_hash(left, right) for left, right in pairs])
        remembered[place] = layers
        if len(remembered) > _REMEMBERED:
            remembered.popitem(last=False)
        return layers

    def _roots(self, at: int, first: int, end: int) -> list[bytes]:
        if at == 0:
            leaves = list(self._leaves(first, end))
            if len(leaves) != end - first:
                raise BadTree(
                    f"{end - first - len(leaves)} of the leaves {first} to {end - 1} are missing",
                    where="leaves",
                    remedy="Run `pitbird doctor`.",
                )
            return leaves
        kept = self._kept(self._levels[at], first, end)
        height = self._levels[at] - self._levels[at - 1]
        # The branch below ends in one root where it is full, which each of these is.
        return [kept.get(place) or self._branch(at - 1, place)[height][0] for place in range(first, end)]
