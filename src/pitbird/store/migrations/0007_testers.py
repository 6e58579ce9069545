"""Who made which bump test, and what is dated after it was recorded, found by an index."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("store", "0006_phones"),
    ]

    operations = [
        migrations.AddIndex(
            "entry",
            models.Index(
                fields=["by", "at"], condition=models.Q(("kind", "bump-test")), name="entry_tester_at"
            ),
        ),
        migrations.AddIndex(
            "entry",
            models.Index(
                fields=["at"],
                condition=models.Q(("at__gt", models.F("recorded_at") + 120_000)),
                name="entry_dated_ahead",
            ),
        ),
    ]
