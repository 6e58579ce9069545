"""Looking for seals and words in the leaves; rewriting the database, so that nothing erased is left in it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

from django.db import connection

from pitbird.store import book


def rows_with_seals(piece: int = 2000) -> Iterator[book.Row]:
    """Every entry in whose leaf a commitment stands, in the book's order; erasures left out, as they hold
    only what is gone."""
    after = -1
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                f'SELECT {book.COLUMNS} FROM store_entry WHERE "index" > %s AND "kind" <> %s '  # noqa: S608
                'AND "leaf" LIKE %s ORDER BY "index" LIMIT %s',
                [after, "erasure", '%"sha256:%', piece],
            )
            rows = [book.row_of(found) for found in cursor.fetchall()]
        if not rows:
            return
        yield from rows
        after = rows[-1].index


def indices_saying(words: Iterable[str], most: int = 200) -> tuple[int, ...]:
    """The entries in whose leaf, in the clear, one of some words stands (letter case of a to z aside)."""
    found: set[int] = set()
    like = "ILIKE" if connection.vendor == "postgresql" else "LIKE"
    for word in words:
        inside = json.dumps(word, ensure_ascii=False)[1:-1]
        pattern = "%" + inside.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
        with connection.cursor() as cursor:
            cursor.execute(
                f'SELECT "index" FROM store_entry WHERE "leaf" {like} %s ESCAPE %s '  # noqa: S608
                'ORDER BY "index" LIMIT %s',
                [pattern, "\\", most],
            )
            found.update(row[0] for row in cursor.fetchall())
    return tuple(sorted(found))


def rewrite() -> bool:
    """Rewrite the stored pages, so that no stale copy of an erased blob is left in the database's files.

    SQLite overwrites what it deletes (``secure_delete``), but where rows once moved between pages a stale
    copy can stay behind; ``VACUUM`` writes every page anew, and the write-ahead log is emptied after it.
    On PostgreSQL the table of the blobs is written anew; its own log keeps older pages until it is recycled.
    False inside a transaction, where neither can be done, and where a reader held the log back.
    """
    if connection.in_atomic_block:
        return False
    with connection.cursor() as cursor:
        if connection.vendor != "sqlite":
            cursor.execute("VACUUM (FULL) store_blob")
            return True
        cursor.execute("VACUUM")
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        busy, *_ = cursor.fetchone()
        return not busy
