"""Triggers by which the database itself refuses to change or remove what stands in the book."""

from __future__ import annotations

from typing import Any, Final

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

GUARDED: Final = ("store_entry", "store_mention")
_REFUSAL: Final = "the book is append-only: write a correction instead"
_UNIQUE: Final = {
    "store_entry": 'OLD_."index" = NEW."index" OR OLD_."entry_id" = NEW."entry_id"',
    "store_mention": 'OLD_."subject" = NEW."subject" AND OLD_."nth" = NEW."nth"',
}


def statements(vendor: str) -> list[str]:
    """The SQL that puts the triggers in place, for ``sqlite`` or ``postgresql``; twice is harmless."""
    if vendor == "sqlite":
        return [sql for table in GUARDED for sql in _sqlite(table)]
    if vendor == "postgresql":
        function = (
            "CREATE OR REPLACE FUNCTION pitbird_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{_REFUSAL}'; END $$"
        )
        return [function, *(sql for table in GUARDED for sql in _postgresql(table))]
    raise ValueError(f"the book cannot be guarded on {vendor}: use SQLite or PostgreSQL")


def names(vendor: str) -> list[str]:
    """The names of all triggers."""
    return [sql.split()[2] for sql in statements(vendor) if sql.startswith("CREATE TRIGGER")]


def _sqlite(table: str) -> list[str]:
    made = []
    for act in ("UPDATE", "DELETE"):
        name = f"{table}_no_{act.lower()}"
        made.append(f"DROP TRIGGER IF EXISTS {name}")
        made.append(
            f"CREATE TRIGGER {name} BEFORE {act} ON {table} BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        )
    # INSERT OR REPLACE removes the old row without firing a DELETE trigger, so it is stopped before.
    name = f"{table}_no_replace"
    made.append(f"DROP TRIGGER IF EXISTS {name}")
    there = f"WHEN EXISTS (SELECT 1 FROM {table} AS OLD_ WHERE {_UNIQUE[table]})"  # noqa: S608
    made.append(
        f"CREATE TRIGGER {name} BEFORE INSERT ON {table} {there} BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
    )
    return made


def _postgresql(table: str) -> list[str]:
    made = []
    for act, level in (("UPDATE OR DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
        name = f"{table}_no_{act.split()[0].lower()}"
        made.append(f"DROP TRIGGER IF EXISTS {name} ON {table}")
        made.append(
            f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH {level} "
            "EXECUTE FUNCTION pitbird_refuse()"
        )
    return made


def put_back(using: str = DEFAULT_DB_ALIAS, **_: Any) -> None:
    """Put the triggers in place; called after every migration."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    if not tables.issuperset(GUARDED):
        return
    with connection.cursor() as cursor:
        for sql in statements(connection.vendor):
            cursor.execute(sql)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """The names of triggers that should stand and do not; empty when the book is guarded."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')")
        present = {row[0] for row in cursor.fetchall()}
    return [name for name in names(connection.vendor) if name not in present]
