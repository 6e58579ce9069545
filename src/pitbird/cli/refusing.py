"""Refusals for people: one line for each fault on standard error, exit status 2, no traceback."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

import typer
from typer.core import TyperGroup

BAD_INPUT = 2
NEGATIVE = 1


class Refused(Exception):
    """A command cannot do what was asked; each line names what, where, and what to do."""

    def __init__(self, *lines: str) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


class Faults:
    """Collects every fault before anything is refused."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def add(self, line: str) -> None:
        """One more fault."""
        self.lines.append(line)

    def refuse(self) -> None:
        """Raise ``Refused`` with all of them, if there are any."""
        if self.lines:
            raise Refused(*dict.fromkeys(self.lines))


class PlainGroup(TyperGroup):
    """The commands, with the errors of the use cases put as lines."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command; turn what it refuses into lines on standard error and exit status 2."""
        try:
            return super().invoke(ctx)
        except Exception as error:
            lines = lines_of(error)
            if lines is None:
                raise
            say_all(lines)
            raise typer.Exit(BAD_INPUT) from None


def say_all(lines: Iterable[str]) -> None:
    """Lines to standard error."""
    for line in lines:
        typer.echo(line, err=True)


def lines_of(error: Exception) -> list[str] | None:
    """The lines by which an error speaks to people; None for a mistake of the program itself."""
    if isinstance(error, Refused):
        return list(error.lines)
    if isinstance(error, UnicodeDecodeError):
        return ["the file is not text in UTF-8; save it as UTF-8 and try again"]
    # OSError of a file that was named; others have no name that a person could act on.
    if isinstance(error, OSError) and error.filename is not None and error.strerror is not None:
        return [f"{error.filename}: {error.strerror}"]
    return _lines_of_ours(error) or _lines_of_django(error)


def _lines_of_ours(error: Exception) -> list[str] | None:
    from pitbird.record.errors import RecordError

    if isinstance(error, RecordError):
        return [str(error)]
    if "pitbird.services.writing" in sys.modules or "pitbird.intake.faults" in sys.modules:
        from pitbird.intake.faults import EntryRefused

        if isinstance(error, EntryRefused):
            return [fault_line(fault) for fault in error.faults]
    # The use cases' own errors carry their whole sentence.
    if type(error).__module__.startswith("pitbird.") and isinstance(error, ValueError):
        return str(error).splitlines()
    return None


def _lines_of_django(error: Exception) -> list[str] | None:
    if "django" not in sys.modules:
        return None
    from django.core.exceptions import ImproperlyConfigured, ValidationError
    from django.db.utils import DatabaseError

    if isinstance(error, ValidationError):
        return list(error.messages)
    if isinstance(error, ImproperlyConfigured):
        return [str(error)]
    if isinstance(error, DatabaseError):
        return [f"the database refuses: {' '.join(str(error).split())}; nothing was written"]
    return None


def fault_line(fault: Any) -> str:
    """One fault as one line: field, value, what is allowed."""
    return " ".join(str(fault).split())


def near_words(word: str, known: Iterable[str]) -> str:
    """`` Did you mean A or B?`` for a word that is nearly right, else nothing."""
    close = get_close_matches(word, list(known), n=3, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""
