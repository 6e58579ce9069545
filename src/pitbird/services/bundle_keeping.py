"""Bundles kept for a day beside the book, to be fetched from a page; never half."""

from __future__ import annotations

import os
from collections.abc import Generator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pitbird.services import clock

if TYPE_CHECKING:
    from pitbird.services.bundle_scope import Asked
    from pitbird.services.bundles import Made, Progress

KEPT_SECONDS: Final = 24 * 3600
_FOLDER: Final = "bundles"


@dataclass(frozen=True)
class Ready:
    """A finished bundle and the name under which it is fetched."""

    name: str
    made: Made


def keep_bundle(asked: Asked, home: Path, passphrase: bytes | None) -> Generator[Progress, None, Ready]:
    """Make a bundle step by step into a file beside the book. Raises as ``bundle_steps``.

    Where it is broken off, nothing stays.
    """
    from pitbird.services.bundles import bundle_steps

    folder, name = home / _FOLDER, clock.new_id()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    halfway = folder / f".{name}.part"
    try:
        with halfway.open("xb") as file:
            made = yield from bundle_steps(asked, file, home, passphrase)
            file.flush()
            os.fsync(file.fileno())
        halfway.replace(folder / f"{name}.zip")
    finally:
        halfway.unlink(missing_ok=True)
    return Ready(name, made)


def kept_bundle(home: Path, name: str) -> Path | None:
    """The file of a bundle; None where there is none of that name (any more)."""
    path = home / _FOLDER / f"{name}.zip"
    return path if path.is_file() else None


def drop_old(home: Path) -> None:
    """Take away what is older than a day, and what a killed process left half."""
    before = clock.now() / 1000 - KEPT_SECONDS
    for path in (home / _FOLDER).glob("*"):
        try:
            if path.stat().st_mtime < before:
                path.unlink()
        except FileNotFoundError:
            continue  # somebody else was first
