"""Choosing entries of the book by what they are about; indices and rows come as they are read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.db import connection

from pitbird.store.book import COLUMNS, Row, row_of

PIECE = 500


def indices_about(subject: str, first: int, before: int, *, below: int) -> Iterator[int]:
    """The indices of the entries about a subject from one number to before another, below an index."""
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT "index" FROM store_mention WHERE "subject" = %s AND "nth" >= %s AND "nth" < %s '
            'AND "index" < %s',
            [subject, first, before, below],
        )
        while found := cursor.fetchmany(PIECE):
            yield from (row[0] for row in found)


def last_before(subject: str, recorded_at: int, *, below: int) -> int:
    """The number of the entry about a subject that stands before the first one recorded from an instant on;
    that of its last entry where none was recorded since, 0 where there is none before."""
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT MIN(CASE WHEN e."recorded_at" >= %s THEN m."nth" END), MAX(m."nth") '
            'FROM store_mention m JOIN store_entry e ON e."index" = m."index" '
            'WHERE m."subject" = %s AND m."index" < %s',
            [recorded_at, subject, below],
        )
        first, last = cursor.fetchone()
    return int(last or 0) if first is None else int(first) - 1


def indices_of_kinds(subject: str, kinds: Sequence[str], *, below: int) -> list[int]:
    """The indices of the entries of some kinds about a subject, and of all corrections about it."""
    marks = ", ".join(["%s"] * len(kinds))
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT m."index" FROM store_mention m JOIN store_entry e ON e."index" = m."index" '  # noqa: S608
            f'WHERE m."subject" = %s AND m."index" < %s AND (m."correction" OR e."kind" IN ({marks}))',
            [subject, below, *kinds],
        )
        return [row[0] for row in cursor.fetchall()]


def indices_by(person: str, kinds: Sequence[str], since: int, until: int, *, below: int) -> list[int]:
    """The indices of the entries of some kinds by a person that happened in ``[since, until)``."""
    marks = ", ".join(["%s"] * len(kinds))
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT "index" FROM store_entry WHERE "kind" IN ({marks}) AND "at" >= %s AND "at" < %s '  # noqa: S608
            'AND "by" = %s AND "index" < %s',
            [*kinds, since, until, person, below],
        )
        return [row[0] for row in cursor.fetchall()]


def detectors_at(site: str, since: int, until: int, *, below: int) -> list[str]:
    """The detectors about which something was written at a site in ``[since, until)``, by its own time."""
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT DISTINCT m."subject" FROM store_entry e '
            'JOIN store_mention m ON m."index" = e."index" AND m."subject" LIKE %s '
            'WHERE e."site" = %s AND e."at" >= %s AND e."at" < %s AND e."index" < %s',
            ["detector:%", site, since, until, below],
        )
        return sorted(row[0] for row in cursor.fetchall())


def indices_of_kind(kind: str, *, below: int) -> Iterator[int]:
    """The indices of all entries of a kind, in the book's order."""
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT "index" FROM store_entry WHERE "kind" = %s AND "index" < %s ORDER BY "index"',
            [kind, below],
        )
        while found := cursor.fetchmany(PIECE):
            yield from (row[0] for row in found)


def newest_of_kind(subject: str, kind: str, before: int) -> Row | None:
    """The last entry of a kind about a subject below a number."""
    columns = ", ".join(f"e.{name.strip()}" for name in COLUMNS.split(","))
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT {columns} FROM store_mention m JOIN store_entry e ON e."index" = m."index" '  # noqa: S608
            'WHERE m."subject" = %s AND m."nth" < %s AND e."kind" = %s ORDER BY m."nth" DESC LIMIT 1',
            [subject, before, kind],
        )
        found = cursor.fetchone()
    return row_of(found) if found else None


def rows_at(indices: Sequence[int]) -> Iterator[Row]:
    """The entries at some places, which are given in rising order; read in pieces."""
    for start in range(0, len(indices), PIECE):
        part = list(indices[start : start + PIECE])
        marks = ", ".join(["%s"] * len(part))
        with connection.cursor() as cursor:
            cursor.execute(
                f'SELECT {COLUMNS} FROM store_entry WHERE "index" IN ({marks}) ORDER BY "index"',  # noqa: S608
                part,
            )
            found = cursor.fetchall()
        yield from map(row_of, found)
