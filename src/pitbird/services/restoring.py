"""After a restore: whether the copy is the book that others know, and a new epoch where it is behind."""

from __future__ import annotations

from dataclasses import dataclass

from pitbird.fleet.times import Ms
from pitbird.record.merkle import Frontier
from pitbird.services import clock
from pitbird.services.appending import Appended
from pitbird.services.moving import BookEmpty
from pitbird.services.writing import Actor, write
from pitbird.store import book


class AnotherBook(ValueError):
    """The book here is not the one of which somebody holds a checkpoint."""

    def __init__(self, size: int) -> None:
        super().__init__(
            f"the first {size} entries here have another root than the one you were given: this is another "
            "book, or it was rewritten. Do not go on with it; look for the copy that has that root"
        )


@dataclass(frozen=True)
class Restored:
    """What a restored copy lacks against what others know; ``epoch`` is the entry that says so, if any."""

    size: int
    known_size: int
    epoch: Appended | None


def root_at(size: int) -> bytes:
    """The root that the book had when it held ``size`` entries."""
    tree = Frontier(0, ())
    for leaf in book.leaf_hashes(0, size):
        tree = tree.append(leaf)
    return tree.root()


def restored(
    known_size: int, known_root: bytes, actor: Actor, *, because: str = "restored", now: Ms | None = None
) -> Restored:
    """Hold the book against a size and root that somebody else knows; where it is behind, begin a new epoch.

    Raises ``AnotherBook`` where the book reaches that far and has another root. A book that is behind cannot
    be told from another one by this alone: compare an older checkpoint too, if there is one.
    """
    head, first = book.head(), book.at_index(0)
    if first is None:
        raise BookEmpty
    if head.size >= known_size:
        if root_at(known_size) != known_root:
            raise AnotherBook(known_size)
        return Restored(head.size, known_size, None)
    return Restored(head.size, known_size, _begin(known_size, known_root, actor, because, now))


def put_back(
    known: tuple[int, bytes] | None, actor: Actor, *, nothing_since: bool = False, now: Ms | None = None
) -> Restored:
    """After a copy was put back: a new epoch, save where somebody says that nothing was written since.

    ``known``: the newest size and root that anybody holds. That the copy reaches as far shows nothing of what
    came after it. Raises AnotherBook where the copy reaches that far with another root.
    """
    head = book.head()
    if known is not None:
        found = restored(*known, actor, now=now)
        if found.epoch is not None:
            return found
    epoch = None if nothing_since else _begin(head.size, head.root(), actor, "restored", now)
    return Restored(head.size, head.size, epoch)


def _begin(size: int, root: bytes, actor: Actor, because: str, now: Ms | None) -> Appended:
    """A new epoch: what may have stood beyond ``size`` is lost unless phones send it again."""
    first = book.at_index(0)
    if first is None:
        raise BookEmpty
    draft = {
        "kind": "epoch",
        "book": f"book:{first.entry_id}",
        "known_size": size,
        "known_root": root.hex(),
        "because": because,
    }
    return write(draft, actor, now=clock.now() if now is None else now)
