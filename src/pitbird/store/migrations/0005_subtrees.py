"""The roots of the full sub-trees of the book's tree, worked out from the leaf hashes."""

from collections.abc import Iterator
from typing import Any

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from pitbird.record.merkle import grow_noting

PIECE = 10_000
LEVELS = (8, 16)


def fill(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    """Keep the root of every full sub-tree of the book as it stands."""
    edge: list[bytes] = []
    with editor.connection.cursor() as cursor:
        for size, leaf in enumerate(_leaf_hashes(cursor)):
            noted = grow_noting(edge, size, leaf, LEVELS)
            if noted:
                cursor.executemany(
                    'INSERT INTO store_subtree ("level", "place", "root") VALUES (%s, %s, %s)', noted
                )


def _leaf_hashes(cursor: Any) -> Iterator[bytes]:
    start = 0
    while True:
        cursor.execute(
            'SELECT leaf_hash FROM store_entry WHERE "index" >= %s AND "index" < %s ORDER BY "index"',
            [start, start + PIECE],
        )
        rows = cursor.fetchall()
        if not rows:
            return
        yield from (bytes(row[0]) for row in rows)
        start += PIECE


class Migration(migrations.Migration):
    dependencies = [
        ("store", "0004_mentions_by_time"),
    ]

    operations = [
        migrations.CreateModel(
            name="Subtree",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "level",
                        "place",
                        blank=True,
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
                ("level", models.SmallIntegerField()),
                ("place", models.BigIntegerField()),
                ("root", models.BinaryField(max_length=32)),
            ],
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
