"""What makes bulk work quick.

JSON by msgspec gives the book's canonical bytes, the same as the standard library's, sooner: its sorted
encoding equals RFC 8785 for what the book may hold (ASCII keys, no floats, integers below 2^53).
"""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import msgspec

from pitbird.record.canonical import MAX_DEPTH, Codec

#: As many digits as a number beyond 2^53 has; where a text has so many, it is looked at in the slow way.
_LONG: Final = re.compile(r"[0-9]{16}")


def _no_float(text: str) -> Any:
    raise ValueError(f"{text} is no whole number")


_decode_whole: Final = msgspec.json.Decoder(float_hook=_no_float).decode


def _decode_fitting(text: str) -> Any:
    """Decode what surely fits: ASCII, whole numbers of fewer than 16 digits, and not nested too deep."""
    if not text.isascii() or _LONG.search(text) or text.count("{") + text.count("[") > MAX_DEPTH:
        raise ValueError("to be looked at value by value")
    return _decode_whole(text)


QUICK: Final = Codec(
    encode=msgspec.json.Encoder(order="sorted").encode,
    decode=msgspec.json.Decoder().decode,
    decode_fitting=_decode_fitting,
)


@contextmanager
def uncollected() -> Iterator[None]:
    """Put off the collection of reference cycles during bulk work.

    It makes many objects and hardly a cycle, and looking for cycles among them takes as long as the work.
    """
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
