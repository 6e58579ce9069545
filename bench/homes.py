"""Books in temp folders for the measurements: Django set up once, the connection turned from book to book."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path


def set_up(home: Path) -> None:
    """Set Django up on a home folder; in a process that did so before, turn the connection to that home.

    Where PITBIRD_DATABASE names a PostgreSQL, the book is there.
    """
    from django.apps import apps

    if not apps.ready:
        os.environ["PITBIRD_HOME"] = str(home)
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pitbird.app.settings")
        import django

        django.setup()
    from django.db import connection

    connection.close()
    if connection.vendor == "sqlite":
        connection.settings_dict["NAME"] = str(home / "book.sqlite3")


def migrate() -> None:
    """Make the tables and put the guards in place."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


@cache
def home_of_process() -> Path:
    """The home of a worker process, with an empty book: made at the first call."""
    home = Path(tempfile.mkdtemp(prefix="pitbird-bench-"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    os.environ["DJANGO_SETTINGS_MODULE"] = "pitbird.app.settings"
    set_up(home)
    migrate()
    return home


@contextmanager
def folder() -> Iterator[Path]:
    """A temp folder that is taken away afterwards."""
    home = Path(tempfile.mkdtemp(prefix="pitbird-bench-"))
    try:
        yield home
    finally:
        shutil.rmtree(home, ignore_errors=True)


@contextmanager
def empty_book() -> Iterator[Path]:
    """A book with its tables and without entries, in a folder that is taken away afterwards."""
    with folder() as home:
        set_up(home)
        migrate()
        try:
            yield home
        finally:
            close()


def close() -> None:
    """Let go of the present book."""
    from django.db import connection

    connection.close()
