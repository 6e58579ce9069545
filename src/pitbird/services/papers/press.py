"""Printing in a process of its own.

The typesetter keeps in memory whatever it has once set (some 7 MB for a page, 100 for a long history,
measured with typst 0.15), and gives no way to let go of it. A server that prints all day must not grow by
that, nor a bundle of many papers, so they are set by a helper, which ends when its work is done or when it
has set much.
"""

from __future__ import annotations

import struct
import subprocess
import sys
from datetime import datetime
from types import TracebackType
from typing import IO, Final, Self

import msgspec

from pitbird.papers.sheet import Sheet, print_sheet
from pitbird.papers.typesetting import Paper

#: A helper that has set so many bytes of PDF is replaced; it then takes some 300 MB.
WORN: Final = 1_000_000
_LENGTH: Final = struct.Struct(">?Q")
_HELPER: Final = "from pitbird.services.papers.press import serve; serve()"


class _Wanted(msgspec.Struct, frozen=True):
    """What the helper is asked to print."""

    sheet: Sheet
    made_at: datetime
    paper: Paper


class PressBroken(RuntimeError):
    """The helper could not set a paper; its own words follow."""


class Press:
    """A helper for many papers one after another, started with the first. Use it in a ``with``."""

    def __init__(self) -> None:
        self._helper: subprocess.Popen[bytes] | None = None
        self._set = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end()

    def print_sheet(self, sheet: Sheet, *, made_at: datetime, paper: Paper = "a4") -> bytes:
        """The PDF of a sheet, as ``papers.sheet.print_sheet``. Raises PressBroken."""
        if made_at.tzinfo is None:
            raise ValueError("made_at: a time without its zone; a paper says when it was made")
        helper = self._started()
        assert helper.stdin is not None  # noqa: S101 - both are pipes
        assert helper.stdout is not None  # noqa: S101
        try:
            _send(helper.stdin, msgspec.json.encode(_Wanted(sheet, made_at, paper)))
            answer = _receive(helper.stdout)
        except OSError:
            answer = None
        if answer is None:
            self._end()
            raise PressBroken("the helper that sets papers ended before its paper was done")
        good, data = answer
        if not good:
            raise PressBroken(data.decode("utf-8", "replace"))
        self._set += len(data)
        if self._set > WORN:
            self._end()
        return data

    def _started(self) -> subprocess.Popen[bytes]:
        if self._helper is not None and self._helper.poll() is None:
            return self._helper
        self._end()
        # A session of its own: Ctrl-C is the parent's; the helper ends with the pipe.
        self._helper = subprocess.Popen(  # noqa: S603 - ourselves
            [sys.executable, "-c", _HELPER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
        )
        return self._helper

    def _end(self) -> None:
        helper, self._helper, self._set = self._helper, None, 0
        if helper is None:
            return
        for pipe in (helper.stdin, helper.stdout):
            if pipe is not None:
                pipe.close()
        helper.kill()
        helper.wait()


def serve() -> None:
    """The helper: papers from standard input to standard output, until there are no more."""
    while (order := _receive(sys.stdin.buffer)) is not None:
        try:
            wanted = msgspec.json.decode(order[1], type=_Wanted)
            made = print_sheet(wanted.sheet, made_at=wanted.made_at, paper=wanted.paper)
        except Exception as fault:  # noqa: BLE001 - told to the one who asked
            _send(sys.stdout.buffer, f"{type(fault).__name__}: {fault}".encode(), good=False)
        else:
            _send(sys.stdout.buffer, made)


def _send(pipe: IO[bytes], data: bytes, *, good: bool = True) -> None:
    pipe.write(_LENGTH.pack(good, len(data)))
    pipe.write(data)
    pipe.flush()


def _receive(pipe: IO[bytes]) -> tuple[bool, bytes] | None:
    """A message whole, or None where the other side has ended."""
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    good, length = _LENGTH.unpack(head)
    data = pipe.read(length)
    return (good, data) if len(data) == length else None
