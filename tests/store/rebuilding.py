"""Moves a small book's tables back to what they were before mentions knew their time, and forward again; says
what was seen. Run in a process of its own, since a migration cannot run within a test's transaction."""

from __future__ import annotations

import json
import sys
from typing import Any

import django
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction


def refused(sql: str) -> bool:
    """Whether the database refuses a statement as it must."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(sql)
            transaction.set_rollback(True)
    except DatabaseError as told:
        return "append-only" in str(told)
    return False


def columns(table: str) -> list[str]:
    """The columns of a table."""
    with connection.cursor() as cursor:
        return sorted(each.name for each in connection.introspection.get_table_description(cursor, table))


def rows(sql: str) -> list[list[Any]]:
    """What a question gives."""
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return [list(found) for found in cursor.fetchall()]


def replacing() -> list[str]:
    """What puts another row in the place of one, or takes all away at once, each database in its own way."""
    if connection.vendor == "postgresql":
        return [f"TRUNCATE {table}" for table in ("store_entry", "store_mention")]
    entry = ", ".join(f'"{name}"' for name in columns("store_entry"))
    mention = ", ".join(f'"{name}"' for name in columns("store_mention"))
    other_id = entry.replace('"entry_id"', "'another'")
    other_index = entry.replace('"index"', "999")
    return [
        f"INSERT OR REPLACE INTO store_entry ({entry}) SELECT {other_id} FROM store_entry",
        f"INSERT OR REPLACE INTO store_entry ({entry}) SELECT {other_index} FROM store_entry LIMIT 1",
        f"REPLACE INTO store_mention ({mention}) SELECT {mention} FROM store_mention",
    ]


def rebuild_entries() -> None:
    """Rebuild the table of entries as a migration of a column does: on SQLite into a new table."""
    from pitbird.store.models import Entry

    before = Entry._meta.get_field("kind")
    after = before.clone()
    after.max_length = 60
    after.set_attributes_from_name("kind")
    after.model = Entry
    with connection.schema_editor() as editor:
        editor.alter_field(Entry, before, after)


def seen() -> dict[str, Any]:
    """The guards, and what stands in the tables."""
    from pitbird.store import guards

    return {
        "missing": guards.missing(connection),
        "columns": columns("store_mention"),
        "mentions": rows('SELECT "subject", "nth", "index" FROM store_mention ORDER BY "subject", "nth"'),
        "update refused": refused("UPDATE store_mention SET nth = nth + 100"),
        "delete refused": refused("DELETE FROM store_mention"),
        "entry update refused": refused("UPDATE store_entry SET kind = 'note'"),
        "entry delete refused": refused("DELETE FROM store_entry"),
        "replacing refused": [refused(sql) for sql in replacing()],
        "entries": rows('SELECT "index", "entry_id", "kind", "leaf" FROM store_entry ORDER BY "index"'),
    }


def main() -> None:
    """Fill, move back, move forward, tell."""
    django.setup()
    call_command("migrate", verbosity=0)
    from pitbird.services.appending import append
    from tests.bodies import at, body, bump, detector, ms

    append(body("genesis"), recorded_at=ms("05:00"))
    append(detector(), recorded_at=ms("05:01"))
    tested = bump(at("07:00"))
    append(tested, recorded_at=ms("07:01"))
    append(
        body("correction", at=at("07:05"), corrects=tested["id"], reason="sha256:" + "0" * 64,
             of_about=tested["about"], about=tested["about"]),
        recorded_at=ms("07:06"),
    )  # fmt: skip
    append(body("note", at=at("06:00"), subject="detector:D-017", about=["detector:D-017"],
                text="sha256:" + "1" * 64), recorded_at=ms("07:10"))  # fmt: skip
    told: dict[str, Any] = {"before": seen()}
    call_command("migrate", "store", "0003", verbosity=0)
    told["back"] = seen()
    call_command("migrate", verbosity=0)
    told["forward"] = seen()
    rebuild_entries()
    from pitbird.store import guards

    told["lost with the table"] = guards.missing(connection)
    call_command("migrate", verbosity=0)
    told["entries rebuilt"] = seen()
    told["times"] = rows(
        'SELECT m."subject", m."nth", m."at", e."at", m."correction", e."kind" FROM store_mention m '
        'JOIN store_entry e ON e."index" = m."index" ORDER BY m."subject", m."nth"'
    )
    told["digests"] = [
        [subject, state, bytes(digest).hex()]
        for subject, state, digest in rows("SELECT subject, state, digest FROM store_standing")
    ]
    sys.stdout.write(json.dumps(told))


if __name__ == "__main__":
    main()
