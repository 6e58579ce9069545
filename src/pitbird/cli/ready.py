"""Making the book ready: settings loaded, tables as this version wants them."""

from __future__ import annotations

import os
from pathlib import Path

from pitbird.cli.refusing import Refused


def home() -> Path:
    """The folder where this book is kept; loads the settings."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pitbird.app.settings")
    from django.conf import settings

    try:
        return Path(settings.CONFIG.home)
    except OSError as fault:
        raise Refused(
            f"PITBIRD_HOME: {fault.filename or 'the folder'} cannot be written ({fault.strerror}); "
            "choose a folder of your own"
        ) from fault
    except ValueError as fault:
        raise Refused(str(fault)) from fault


def make_ready() -> None:
    """Load Django and bring the tables up to date; the first use of an empty home makes them."""
    home()
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)


def make_ready_with_book() -> None:
    """As ``make_ready``, and refuse where no book was begun yet."""
    make_ready()
    from pitbird.services.beginning import book_begun

    if not book_begun():
        raise Refused(
            f"there is no book in {home()} yet: begin one with `pitbird begin`, "
            "read an export with `pitbird book import FILE`, or look at `pitbird demo`"
        )
