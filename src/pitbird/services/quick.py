"""JSON by msgspec, for the book's canonical bytes: the same bytes as the standard library's, sooner.

Its sorted encoding equals RFC 8785 for what the book may hold (ASCII keys, no floats, integers below 2^53).
"""

from __future__ import annotations

from typing import Final

import msgspec

from pitbird.record.canonical import Codec

QUICK: Final = Codec(
    encode=msgspec.json.Encoder(order="sorted").encode,
    decode=msgspec.json.Decoder().decode,
)
