"""What makes bulk work quick.

JSON by msgspec gives the book's canonical bytes, the same as the standard library's, sooner: its sorted
encoding equals RFC 8785 for what the book may hold (ASCII keys, no floats, integers below 2^53).
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import msgspec

from pitbird.record.canonical import Codec

QUICK: Final = Codec(
    encode=msgspec.json.Encoder(order="sorted").encode,
    decode=msgspec.json.Decoder().decode,
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
