"""The database itself refuses to change or remove what stands in the book."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from pitbird.services.appending import append
from pitbird.store import guards
from tests.bodies import body, detector, ms

pytestmark = pytest.mark.django_db

ATTACKS = {
    "an entry's leaf is changed": "UPDATE store_entry SET leaf = '{}' WHERE \"index\" = 1",
    "an entry is removed": 'DELETE FROM store_entry WHERE "index" = 1',
    "all entries are removed": "DELETE FROM store_entry",
    "a mention is changed": "UPDATE store_mention SET nth = 7",
    "a mention is removed": "DELETE FROM store_mention",
}
SQLITE_ATTACKS = {
    "an entry is replaced by index": (
        'INSERT OR REPLACE INTO store_entry SELECT "index", \'x\', kind, at, recorded_at, "by", site, leaf, '
        'leaf_hash FROM store_entry WHERE "index" = 1'
    ),
    "an entry is replaced by id": (
        'INSERT OR REPLACE INTO store_entry SELECT 99, entry_id, kind, at, recorded_at, "by", site, leaf, '
        'leaf_hash FROM store_entry WHERE "index" = 1'
    ),
    "a mention is replaced": (
        'INSERT OR REPLACE INTO store_mention (subject, nth, "index", at, correction) '
        "VALUES ('detector:D-017', 1, 0, 0, 0)"
    ),
}


@pytest.fixture(autouse=True)
def _a_book_of_two() -> None:
    append(body("genesis"), recorded_at=ms("05:00"))
    append(detector(), recorded_at=ms("05:01"))


def attack(sql: str) -> None:
    """Try to change the book, in a savepoint of its own."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.parametrize("sql", ATTACKS.values(), ids=ATTACKS.keys())
def test_the_book_refuses(sql: str) -> None:
    with pytest.raises(DatabaseError, match="append-only"):
        attack(sql)


@pytest.mark.parametrize("sql", SQLITE_ATTACKS.values(), ids=SQLITE_ATTACKS.keys())
def test_insert_or_replace_is_refused(sql: str) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("INSERT OR REPLACE is SQLite's own")
    with pytest.raises(DatabaseError, match="append-only"):
        attack(sql)


def test_truncate_is_refused() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("TRUNCATE is PostgreSQL's own")
    for table in guards.GUARDED:
        with pytest.raises(DatabaseError, match="append-only"):
            attack(f"TRUNCATE {table}")


def test_every_trigger_stands_and_a_lost_one_is_named_and_put_back() -> None:
    assert guards.missing(connection) == []
    name = "store_entry_no_update"
    drop = f"DROP TRIGGER {name}" + (" ON store_entry" if connection.vendor == "postgresql" else "")
    with connection.cursor() as cursor:
        cursor.execute(drop)
    assert guards.missing(connection) == [name]
    call_command("migrate", verbosity=0)
    assert guards.missing(connection) == []


def test_the_disk_has_every_commit() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA synchronous")
            assert cursor.fetchone()[0] == 2, "FULL"
        else:
            cursor.execute("SHOW synchronous_commit")
            assert cursor.fetchone()[0] == "on"
