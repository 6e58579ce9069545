"""Files beside the book, written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def put(path: Path, data: bytes, *, replace: bool = True, keep_time: bool = False) -> None:
    """Write a file whole or not at all; readable by the owner only.

    Without ``replace`` one that is there stays as it is; ``keep_time`` gives the new one the time of the old.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".new-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if keep_time:
            before = path.stat()
            os.utime(name, ns=(before.st_atime_ns, before.st_mtime_ns))
        if replace:
            Path(name).replace(path)
        else:
            # A hard link, since it fails where another process was first.
            os.link(name, path)
        sync(path.parent)
    except FileExistsError:
        pass
    finally:
        Path(name).unlink(missing_ok=True)


def move(old: Path, new: Path) -> None:
    """Put a file in the place of another at once; nothing where it was moved already."""
    try:
        old.replace(new)
    except FileNotFoundError:
        return
    sync(new.parent)


def sync(path: Path) -> None:
    """Have a file, or a folder with the names in it, written to the disk."""
    # A renamed file is in its place after a power cut only once the folder is written too.
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
