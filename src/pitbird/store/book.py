"""Reading and appending to the book, in plain SQL for both databases. No meaning here: bytes and counters.

Everything that writes runs inside one transaction opened by the caller (``transaction.atomic``): SQLite
takes its write lock at BEGIN IMMEDIATE, PostgreSQL by locking the head's row.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from typing import Any, NamedTuple

import msgspec
from django.db import connection

from pitbird.record.merkle import Frontier

COLUMNS = '"index", "entry_id", "kind", "at", "recorded_at", "by", "site", "leaf", "leaf_hash"'


class Row(msgspec.Struct, frozen=True):
    """One entry as stored; instants in milliseconds since 1970."""

    index: int
    entry_id: str
    kind: str
    at: int
    recorded_at: int
    by: str
    site: str | None
    leaf: str
    leaf_hash: bytes

    def values(self) -> tuple[int | str | bytes | None, ...]:
        """The columns in the order of the table."""
        return msgspec.structs.astuple(self)


#: That an entry is the nth about a subject; with its index and own time, and whether it is a correction.
Mention = tuple[str, int, int, int, bool]


class StandingRow(NamedTuple):
    """One folded state as stored, without the digest of its text."""

    subject: str
    sort: str
    site: str | None
    entries: int
    state: str


def head(*, lock: bool = False) -> Frontier:
    """The book's size and frontier; empty for a book not begun. ``lock`` waits for other writers."""
    suffix = " FOR UPDATE" if lock and connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT frontier FROM store_head WHERE id = 1{suffix}")  # noqa: S608
        found = cursor.fetchone()
    return Frontier.from_bytes(bytes(found[0])) if found else Frontier(0, ())


def set_head(frontier: Frontier) -> None:
    """Store the head; the caller has appended the entries it covers in the same transaction."""
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO store_head (id, size, frontier) VALUES (1, %s, %s) "
            "ON CONFLICT (id) DO UPDATE SET size = excluded.size, frontier = excluded.frontier",
            [frontier.size, frontier.to_bytes()],
        )


def insert(rows: Sequence[Row], mentions: Sequence[Mention]) -> None:
    """Add entries and their mentions."""
    _put_many(
        f"INSERT INTO store_entry ({COLUMNS}) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)",  # noqa: S608
        [row.values() for row in rows],
    )
    _put_many(
        'INSERT INTO store_mention ("subject", "nth", "index", "at", "correction") '
        "VALUES (%s, %s, %s, %s, %s)",
        mentions,
    )


def _put_many(sql: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """``executemany``; on SQLite by the driver itself, since Django's own copies every row on the way."""
    with connection.cursor() as cursor:
        if connection.vendor != "sqlite":
            cursor.executemany(sql, rows)
            return
        with connection.wrap_database_errors:
            connection.connection.executemany(sql.replace("%s", "?"), rows)


def put_standings(rows: Sequence[StandingRow]) -> None:
    """Store folded states with the digests of their texts, each in place of the one before."""
    with connection.cursor() as cursor:
        cursor.executemany(
            'INSERT INTO store_standing ("subject", "sort", "site", "count", "state", "digest") '
            'VALUES (%s, %s, %s, %s, %s, %s) ON CONFLICT ("subject") DO UPDATE SET "sort" = excluded."sort", '
            '"site" = excluded."site", "count" = excluded."count", "state" = excluded."state", '
            '"digest" = excluded."digest"',
            [(*row, digest_of(row.state)) for row in rows],
        )


def digest_of(state: str) -> bytes:
    """What a folded state is known by: SHA-256 over its text."""
    return sha256(state.encode()).digest()


def drop_standings() -> None:
    """Throw the folded states away, to fold them anew."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM store_standing")


def standings(subjects: Sequence[str]) -> dict[str, str]:
    """The folded states of some subjects, as JSON text; a subject without entries is absent."""
    found: dict[str, str] = {}
    with connection.cursor() as cursor:
        for part in _parts(subjects):
            marks = ", ".join(["%s"] * len(part))
            cursor.execute(
                f"SELECT subject, state FROM store_standing WHERE subject IN ({marks})",  # noqa: S608
                part,
            )
            found.update(cursor.fetchall())
    return found


def standings_marked(subjects: Sequence[str]) -> dict[str, tuple[str, bytes]]:
    """The folded states of some subjects with their digests as stored."""
    found: dict[str, tuple[str, bytes]] = {}
    with connection.cursor() as cursor:
        for part in _parts(subjects):
            marks = ", ".join(["%s"] * len(part))
            cursor.execute(
                f"SELECT subject, state, digest FROM store_standing WHERE subject IN ({marks})",  # noqa: S608
                part,
            )
            found.update((subject, (state, bytes(digest))) for subject, state, digest in cursor.fetchall())
    return found


def standing_digests(sort: str, site: str | None = None) -> list[tuple[str, bytes]]:
    """Subject and digest of the folded states of one sort (``detector``, ...), all or one site's, in subject
    order. Read from an index, so that the states themselves are not touched."""
    where, values = '"sort" = %s', [sort]
    if site is not None:
        where, values = where + ' AND "site" = %s', [*values, site]
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT "subject", "digest" FROM store_standing WHERE {where} ORDER BY "subject"',  # noqa: S608
            values,
        )
        return [(subject, bytes(digest)) for subject, digest in cursor.fetchall()]


def subjects(sort: str) -> list[str]:
    """The subjects of one sort, in order."""
    with connection.cursor() as cursor:
        cursor.execute('SELECT subject FROM store_standing WHERE "sort" = %s ORDER BY subject', [sort])
        return [row[0] for row in cursor.fetchall()]


def but_for_case(subject: str) -> list[str]:
    """Subjects that differ from one in capital and small letters alone."""
    sort = subject.partition(":")[0]
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT subject FROM store_standing WHERE "sort" = %s AND LOWER(subject) = %s AND subject <> %s',
            [sort, subject.lower(), subject],
        )
        return [row[0] for row in cursor.fetchall()]


def census() -> dict[str, int]:
    """For each subject, how many entries are about it."""
    with connection.cursor() as cursor:
        cursor.execute('SELECT "subject", MAX("nth") FROM store_mention GROUP BY "subject"')
        return dict(cursor.fetchall())


def by_id(entry_id: str) -> Row | None:
    """The entry with an id, if the book has it."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {COLUMNS} FROM store_entry WHERE entry_id = %s", [entry_id])  # noqa: S608
        found = cursor.fetchone()
    return row_of(found) if found else None


def known_ids(ids: Sequence[str]) -> set[str]:
    """Which of some entry ids the book has."""
    found: set[str] = set()
    with connection.cursor() as cursor:
        for part in _parts(ids):
            marks = ", ".join(["%s"] * len(part))
            cursor.execute(f"SELECT entry_id FROM store_entry WHERE entry_id IN ({marks})", part)  # noqa: S608
            found.update(row[0] for row in cursor.fetchall())
    return found


def at_index(index: int) -> Row | None:
    """The entry at a place in the book, if there is one."""
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT {COLUMNS} FROM store_entry WHERE "index" = %s', [index])  # noqa: S608
        found = cursor.fetchone()
    return row_of(found) if found else None


def about(subject: str, *, below: int | None = None) -> list[Row]:
    """All entries about a subject in the book's order; ``below`` leaves out those from an index on."""
    columns = ", ".join(f"e.{name.strip()}" for name in COLUMNS.split(","))
    limit, values = "", [subject]
    if below is not None:
        limit, values = ' AND m."index" < %s', [subject, str(below)]
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT {columns} FROM store_mention m JOIN store_entry e ON e."index" = m."index" '  # noqa: S608
            f'WHERE m."subject" = %s{limit} ORDER BY m."nth"',
            values,
        )
        return [row_of(found) for found in cursor.fetchall()]


def about_since(subject: str, at: int) -> list[Row]:
    """The entries about a subject that happened after an instant by their own clock, and every correction
    about it, in no order. Both are found by an index: no other entry about it is looked at."""
    found = {row.index: row for row in _about_where('m."at" > %s', subject, at)}
    found.update((row.index, row) for row in corrections_about(subject))
    return list(found.values())


def about_between(subject: str, after: int, until: int, ahead: int) -> list[Row]:
    """The entries about a subject that happened after one instant and by another, every correction about it,
    and those recorded by then that are dated later by more than ``ahead`` ms; in no order."""
    found = {row.index: row for row in _about_where('m."at" > %s AND m."at" <= %s', subject, after, until)}
    found.update((row.index, row) for row in corrections_about(subject))
    for row in dated_ahead(ahead, recorded_by=until, at_after=until):
        if row.index not in found and _is_about(row, subject):
            found[row.index] = row
    return list(found.values())


def dated_ahead(ahead: int, *, recorded_by: int, at_after: int) -> list[Row]:
    """Entries recorded by an instant and dated after another, that are dated more than ``ahead`` ms after
    they were recorded. Those more than two minutes ahead are found by an index, and are few."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {COLUMNS} FROM store_entry "  # noqa: S608
            f'WHERE "at" > ("recorded_at" + {int(ahead)}) AND "at" > %s AND "recorded_at" <= %s',
            [at_after, recorded_by],
        )
        return [row_of(found) for found in cursor.fetchall()]


def _is_about(row: Row, subject: str) -> bool:
    with connection.cursor() as cursor:
        cursor.execute(
            'SELECT 1 FROM store_mention WHERE "subject" = %s AND "at" = %s AND "index" = %s',
            [subject, row.at, row.index],
        )
        return cursor.fetchone() is not None


def corrections_about(subject: str) -> list[Row]:
    """Every correction about a subject, in no order."""
    return _about_where('m."correction"', subject)


def _about_where(condition: str, subject: str, *values: int) -> list[Row]:
    columns = ", ".join(f"e.{name.strip()}" for name in COLUMNS.split(","))
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT {columns} FROM store_mention m JOIN store_entry e ON e."index" = m."index" '  # noqa: S608
            f'WHERE m."subject" = %s AND {condition}',
            [subject, *values],
        )
        return [row_of(found) for found in cursor.fetchall()]


def of_kind(kind: str, *, since: int | None = None, until: int | None = None) -> list[Row]:
    """The entries of one kind whose own time lies in ``[since, until)``, in the book's order."""
    where, values = ['"kind" = %s'], [kind]
    for test, bound in (('"at" >= %s', since), ('"at" < %s', until)):
        if bound is not None:
            where, values = [*where, test], [*values, str(bound)]
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT {COLUMNS} FROM store_entry WHERE {" AND ".join(where)} ORDER BY "index"',  # noqa: S608
            values,
        )
        return [row_of(found) for found in cursor.fetchall()]


def tests_by(person: str, since: int, until: int) -> list[Row]:
    """The bump tests of which what was first written says that somebody made them, with their own time in
    ``[since, until)``, in that order; found by an index."""
    with connection.cursor() as cursor:
        cursor.execute(
            f'SELECT {COLUMNS} FROM store_entry WHERE "kind" = \'bump-test\' AND "by" = %s '  # noqa: S608
            'AND "at" >= %s AND "at" < %s ORDER BY "at", "index"',
            [person, since, until],
        )
        return [row_of(found) for found in cursor.fetchall()]


def count_about(subject: str) -> tuple[int, int]:
    """How many entries are about a subject, and the index of the last; (0, -1) for none."""
    with connection.cursor() as cursor:
        # By nth, which grows as the index does, the last is found without reading all the others.
        cursor.execute(
            'SELECT "nth", "index" FROM store_mention WHERE "subject" = %s ORDER BY "nth" DESC LIMIT 1',
            [subject],
        )
        found = cursor.fetchone()
    return (0, -1) if found is None else (int(found[0]), int(found[1]))


def leaf_hashes(start: int, end: int) -> Iterator[bytes]:
    """The leaf hashes of the entries from one index to before another, in order."""
    for low in range(start, end, 10_000):
        with connection.cursor() as cursor:
            cursor.execute(
                'SELECT leaf_hash FROM store_entry WHERE "index" >= %s AND "index" < %s ORDER BY "index"',
                [low, min(low + 10_000, end)],
            )
            yield from (bytes(row[0]) for row in cursor.fetchall())


def mentions_agree(numbered: Mapping[str, Sequence[int]]) -> list[str]:
    """What is wrong with the mentions, held against the numbers in the leaves of each subject, in order."""
    faults = [
        f"{subject}: numbers {list(numbers)[:5]} and so on are not 1 to {len(numbers)}"
        for subject, numbers in numbered.items()
        if list(numbers) != list(range(1, len(numbers) + 1))
    ]
    with connection.cursor() as cursor:
        cursor.execute('SELECT "subject", COUNT(*), MAX("nth") FROM store_mention GROUP BY "subject"')
        counted = {subject: (count, most) for subject, count, most in cursor.fetchall()}
        cursor.execute(
            'SELECT DISTINCT m."subject" FROM store_mention m '
            'LEFT JOIN store_entry e ON e."index" = m."index" WHERE e."index" IS NULL '
            'OR m."at" <> e."at" OR m."correction" <> (e."kind" = %s)',
            ["correction"],
        )
        other = {subject for (subject,) in cursor.fetchall()}
    wanted = {subject: (len(numbers), len(numbers)) for subject, numbers in numbered.items()}
    return faults + [
        f"{subject}: the index of its entries does not agree with the entries"
        for subject in sorted(wanted.keys() | counted.keys())
        if wanted.get(subject) != counted.get(subject) or subject in other
    ]


def newest(count: int, *, before: int | None = None, subject: str | None = None) -> list[Row]:
    """Up to ``count`` entries, newest first, below an index where given, of one subject where given."""
    columns = ", ".join(f"e.{name.strip()}" for name in COLUMNS.split(","))
    joined, order, where, values = "", 'e."index"', [], []
    if subject is not None:
        joined = ' JOIN store_mention m ON m."index" = e."index"'
        # By nth, which grows as the index does, the newest are found without reading all the others.
        order, where, values = 'm."nth"', ['m."subject" = %s'], [subject]
    if before is not None:
        where, values = [*where, 'e."index" < %s'], [*values, str(before)]
    condition = f" WHERE {' AND '.join(where)}" if where else ""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {columns} FROM store_entry e{joined}{condition} ORDER BY {order} DESC LIMIT %s",  # noqa: S608
            [*values, count],
        )
        return [row_of(found) for found in cursor.fetchall()]


def recorded_to(count: int = 50) -> int | None:
    """The latest recording among so many of the newest entries; None for a book not begun. By a clock that
    went wrong and was put right, it is not that of the newest one."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT MAX(recorded_at) FROM "
            '(SELECT recorded_at FROM store_entry ORDER BY "index" DESC LIMIT %s) newest',
            [count],
        )
        found = cursor.fetchone()[0]
    return None if found is None else int(found)


def size_at(recorded_by: int) -> int:
    """How many entries the book had once everything recorded by an instant (ms) was in it."""
    with connection.cursor() as cursor:
        cursor.execute('SELECT MAX("index") FROM store_entry WHERE recorded_at <= %s', [recorded_by])
        found = cursor.fetchone()
    return 0 if found is None or found[0] is None else int(found[0]) + 1


def all_rows(chunk: int = 2000) -> Iterator[Row]:
    """Every entry in order, read in pieces so that memory stays flat."""
    start = 0
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                f'SELECT {COLUMNS} FROM store_entry WHERE "index" >= %s AND "index" < %s ORDER BY "index"',  # noqa: S608
                [start, start + chunk],
            )
            rows = cursor.fetchall()
        if not rows:
            return
        yield from map(row_of, rows)
        start += chunk


def row_of(found: Sequence[Any]) -> Row:
    """A row as stored from its columns."""
    index, entry_id, kind, at, recorded_at, by, site, leaf, leaf_hash = found
    return Row(index, entry_id, kind, at, recorded_at, by, site, leaf, bytes(leaf_hash))


def _parts(values: Sequence[str], size: int = 500) -> Iterable[list[str]]:
    for start in range(0, len(values), size):
        yield list(values[start : start + size])
