"""What makes bulk work quick.

JSON by msgspec gives the book's canonical bytes, the same as the standard library's, sooner: its sorted
encoding equals RFC 8785 for what the book may hold (ASCII keys, no floats, integers below 2^53).
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any, Final

import msgspec

from pitbird.record.canonical import MAX_INT, Codec

#: Deeper texts are looked at value by value; a line with a bump test has eight levels. Each one more doubles
#: what msgspec builds for the type at the start, so there are no more than are needed.
_LEVELS: Final = 10


def _kept() -> Any:
    """The type of what the book may hold, so that the decoder itself refuses floats, numbers of 2^53 and
    beyond, and what is nested deeper than some levels."""
    number = Annotated[int, msgspec.Meta(ge=-MAX_INT, le=MAX_INT)]
    kept: Any = None | bool | number | str
    for _ in range(_LEVELS):
        kept = None | bool | number | str | list[kept] | dict[str, kept]
    return kept


_decode_kept: Final = msgspec.json.Decoder(_kept()).decode


def _decode_fitting(text: str) -> Any:
    """Decode what surely fits; in ASCII text keys are ASCII, as canonical form escapes no other character."""
    if not text.isascii():
        raise ValueError("to be looked at value by value")
    return _decode_kept(text)


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
