"""The roots of the full sub-trees of the book's tree, of the levels that are kept: worked out from the leaf
hashes, to be thrown away and worked out anew at any time. They make proofs quick and are no evidence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Final

from django.db import connection

from pitbird.record import nodes
from pitbird.record.merkle import grow_noting

LEVELS: Final = nodes.LEVELS
#: Level, place among those of its level, root.
Full = tuple[int, int, bytes]
_PIECE: Final = 500


def put(roots: Sequence[Full]) -> None:
    """Keep roots; one that is kept already is replaced."""
    with connection.cursor() as cursor:
        cursor.executemany(
            'INSERT INTO store_subtree ("level", "place", "root") VALUES (%s, %s, %s) '
            'ON CONFLICT ("level", "place") DO UPDATE SET "root" = excluded."root"',
            roots,
        )


def kept(level: int, start: int, end: int) -> dict[int, bytes]:
    """The kept roots of a level from one place to before another, by place."""
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT "place", "root" FROM store_subtree WHERE "level" = %s AND "place" >= %s AND "place" < %s',
            [level, start, end],
        )
        return {place: bytes(root) for place, root in cursor.fetchall()}


def all_kept() -> set[Full]:
    """Every kept root."""
    with connection.cursor() as cursor:
        cursor.execute('SELECT "level", "place", "root" FROM store_subtree')
        return {(level, place, bytes(root)) for level, place, root in cursor.fetchall()}


def rebuild(leaf_hashes: Iterable[bytes]) -> None:
    """Throw away what is kept and work it out from the leaf hashes of the whole book, in order."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM store_subtree")
    roots = full_of(leaf_hashes)
    while piece := list(islice(roots, _PIECE)):
        put(piece)


def full_of(leaf_hashes: Iterable[bytes]) -> Iterator[Full]:
    """The roots to be kept of the book with these leaf hashes."""
    edge: list[bytes] = []
    for size, leaf in enumerate(leaf_hashes):
        yield from grow_noting(edge, size, leaf, LEVELS)
