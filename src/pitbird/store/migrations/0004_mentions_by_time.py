"""When each mentioned entry happened, and whether it is a correction, beside its mention; a digest beside each
folded state.

The mentions refuse every change, so their triggers are taken away, the rows filled from the entries, and the
triggers put back, all in the one transaction of this migration.
"""

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from pitbird.store import guards

PIECE = 500


def take_guards_away(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Take the mentions' triggers away."""
    vendor = editor.connection.vendor
    on = " ON store_mention" if vendor == "postgresql" else ""
    for name in guards.names(vendor):
        if name.startswith("store_mention_"):
            editor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def fill_mentions(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Each mention says of its entry what the entry says."""
    said = 'FROM store_entry e WHERE e."index" = store_mention."index"'
    editor.execute(
        f'UPDATE store_mention SET "at" = (SELECT e."at" {said}), '  # noqa: S608
        f'"correction" = (SELECT e."kind" = \'correction\' {said})'
    )


def fill_digests(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Each folded state gets the digest of its text."""
    with editor.connection.cursor() as cursor:
        for rows in _pieces(cursor):
            cursor.executemany(
                "UPDATE store_standing SET digest = %s WHERE subject = %s",
                [(sha256(state.encode()).digest(), subject) for subject, state in rows],
            )


def _pieces(cursor: Any) -> Iterator[list[tuple[str, str]]]:
    after = ""
    while True:
        cursor.execute(
            "SELECT subject, state FROM store_standing WHERE subject > %s ORDER BY subject LIMIT %s",
            [after, PIECE],
        )
        rows = cursor.fetchall()
        if not rows:
            return
        yield rows
        after = rows[-1][0]


def put_guards_back(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Put every trigger back, before the transaction ends."""
    guards.put_back(editor.connection.alias)


class Migration(migrations.Migration):
    dependencies = [
        ("store", "0003_seen"),
    ]

    operations = [
        migrations.RunPython(take_guards_away, put_guards_back),
        migrations.AddField("mention", "at", models.BigIntegerField(default=0), preserve_default=False),
        migrations.AddField(
            "mention", "correction", models.BooleanField(default=False), preserve_default=False
        ),
        migrations.RunPython(fill_mentions, migrations.RunPython.noop),
        migrations.AddIndex("mention", models.Index(fields=["subject", "at"], name="mention_subject_at")),
        migrations.AddIndex(
            "mention",
            models.Index(
                condition=models.Q(("correction", True)), fields=["subject"], name="mention_corrections"
            ),
        ),
        migrations.RunPython(put_guards_back, take_guards_away),
        migrations.AddField(
            "standing", "digest", models.BinaryField(default=b"", max_length=32), preserve_default=False
        ),
        migrations.RunPython(fill_digests, migrations.RunPython.noop),
        migrations.RemoveIndex("standing", "standing_sort_site"),
        migrations.AddIndex(
            "standing",
            models.Index(fields=["sort", "site", "subject", "digest"], name="standing_sort_site_digest"),
        ),
    ]
