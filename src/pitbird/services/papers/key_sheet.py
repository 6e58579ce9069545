"""The key sheet of the book, as a paper."""

from __future__ import annotations

from hashlib import sha256

from pitbird.papers.key_sheet import Key, Keys, sheet
from pitbird.record.errors import RecordError
from pitbird.record.note import VerifierKey
from pitbird.services.book_keys import CheckpointRefused, book_keys, key_words, origin, public_key
from pitbird.services.moving import BookEmpty
from pitbird.services.papers import making
from pitbird.services.papers.making import Made, NoSuchPaper, Order, PaperRefused


def key_sheet(order: Order) -> Made:
    """By which key the book signs, and the earlier ones. Raises PaperRefused."""
    order = order.checked()
    try:
        stands = making.standing(order, None, what="the book")
        present = public_key(order.home)
        former = [key for key in book_keys(order.home) if key != present]
        keys = Keys(origin(), _key(present), tuple(map(_key, former)))
    except BookEmpty:
        raise NoSuchPaper("the book has not been begun; there is nothing to print") from None
    except (CheckpointRefused, RecordError) as refused:
        raise PaperRefused(f"key: {refused}") from None
    return making.printed("key-sheet", sheet(keys, making.reader(order, None), stands), order)


def _key(key: VerifierKey) -> Key:
    digest = sha256(bytes([key.kind]) + key.public).digest()
    return Key(key.text(), key.fingerprint(), key_words(digest))
