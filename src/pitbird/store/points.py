"""Fold points: states kept at intervals, so that what arrives late is folded from the point before it."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import connection


def put(points: Sequence[tuple[str, int, str]]) -> None:
    """Keep ``(subject, at, state)``; a point at the same instant is replaced."""
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO store_foldpoint (subject, at, state) VALUES (%s, %s, %s) "
            "ON CONFLICT (subject, at) DO UPDATE SET state = excluded.state",
            points,
        )


def drop_from(subject: str, at: int) -> None:
    """Throw away the points of a subject at or after an instant at which something was found out late."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM store_foldpoint WHERE subject = %s AND at >= %s", [subject, at])


def newest(subject: str, by: int | None = None) -> str | None:
    """The state at the newest point of a subject (at or before an instant), if there is one."""
    limit = "" if by is None else " AND at <= %s"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT state FROM store_foldpoint WHERE subject = %s{limit} ORDER BY at DESC LIMIT 1",  # noqa: S608
            [subject] if by is None else [subject, by],
        )
        found = cursor.fetchone()
    return found[0] if found else None


def drop_all() -> None:
    """Throw all points away."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM store_foldpoint")
