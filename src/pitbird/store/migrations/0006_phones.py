"""What stands beside the book for phones: pairing, cookies, who is known on them, PINs, the waiting room."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("store", "0005_subtrees"),
    ]

    operations = [
        migrations.CreateModel(
            name="KnownOn",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "device", "person", blank=True, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("device", models.CharField(max_length=80)),
                ("person", models.CharField(max_length=80)),
                ("how", models.CharField(blank=True, max_length=8)),
                ("at", models.BigIntegerField(default=0)),
                ("wrong", models.SmallIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name="Pairing",
            fields=[
                ("digest", models.CharField(max_length=64, primary_key=True, serialize=False)),
                ("device", models.CharField(max_length=80)),
                ("label", models.CharField(blank=True, max_length=120)),
                ("site", models.CharField(max_length=80)),
                ("by", models.CharField(max_length=80)),
                ("until", models.BigIntegerField()),
                ("used", models.BooleanField(default=False)),
            ],
        ),
        migrations.CreateModel(
            name="PhoneToken",
            fields=[
                ("digest", models.CharField(max_length=64, primary_key=True, serialize=False)),
                ("device", models.CharField(db_index=True, max_length=80)),
            ],
        ),
        migrations.CreateModel(
            name="Pin",
            fields=[
                ("person", models.CharField(max_length=80, primary_key=True, serialize=False)),
                ("hashed", models.CharField(max_length=255)),
                ("set_at", models.BigIntegerField()),
                ("set_by", models.CharField(max_length=80)),
            ],
        ),
        migrations.CreateModel(
            name="Waiting",
            fields=[
                ("number", models.BigAutoField(primary_key=True, serialize=False)),
                ("digest", models.CharField(max_length=64, unique=True)),
                ("content", models.TextField()),
                ("entry_id", models.CharField(blank=True, db_index=True, max_length=36)),
                ("kind", models.CharField(blank=True, max_length=48)),
                ("detector", models.CharField(blank=True, db_index=True, max_length=80)),
                ("device", models.CharField(blank=True, max_length=80)),
                ("person", models.CharField(blank=True, max_length=80)),
                ("came_at", models.BigIntegerField()),
                ("sent_by", models.CharField(blank=True, max_length=80)),
                ("why", models.CharField(max_length=200)),
                ("faults", models.TextField()),
                ("withdrawn_by", models.CharField(blank=True, max_length=36)),
                ("state", models.CharField(db_index=True, default="waiting", max_length=12)),
                ("settled_at", models.BigIntegerField(null=True)),
                ("settled_by", models.CharField(blank=True, max_length=80)),
                ("reason", models.TextField(blank=True)),
                ("index", models.BigIntegerField(null=True)),
            ],
        ),
    ]
