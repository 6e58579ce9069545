"""Names, free texts and photos: kept outside the leaf, opened by their salt, erasable."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from django.db import connection


class SealedBlob(NamedTuple):
    """A blob with what opens its commitment."""

    commitment: str
    salt: bytes
    media_type: str
    content: bytes

    @property
    def text(self) -> str:
        """The content as text."""
        return self.content.decode()


def put(blobs: Sequence[SealedBlob]) -> None:
    """Store blobs; one that is there already is left as it is."""
    if not blobs:
        return
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO store_blob (commitment, salt, media_type, content) VALUES (%s, %s, %s, %s) "
            "ON CONFLICT (commitment) DO NOTHING",
            blobs,
        )


def get(commitments: Iterable[str]) -> dict[str, SealedBlob]:
    """The blobs that are still there, by commitment."""
    wanted, found = list(dict.fromkeys(commitments)), {}
    with connection.cursor() as cursor:
        for start in range(0, len(wanted), 500):
            part = wanted[start : start + 500]
            marks = ", ".join(["%s"] * len(part))
            cursor.execute(
                f"SELECT commitment, salt, media_type, content FROM store_blob WHERE commitment IN ({marks})",  # noqa: S608
                part,
            )
            for commitment, salt, media_type, content in cursor.fetchall():
                found[commitment] = SealedBlob(commitment, bytes(salt), media_type, bytes(content))
    return found


def every_text(piece: int = 1000) -> Iterator[SealedBlob]:
    """All texts, in pieces, in the order of their commitments."""
    after = ""
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT commitment, salt, media_type, content FROM store_blob "
                "WHERE media_type = %s AND commitment > %s ORDER BY commitment LIMIT %s",
                ["text/plain", after, piece],
            )
            rows = cursor.fetchall()
        if not rows:
            return
        for commitment, salt, media_type, content in rows:
            yield SealedBlob(commitment, bytes(salt), media_type, bytes(content))
        after = rows[-1][0]


def erase(commitments: Sequence[str]) -> int:
    """Erase blobs for good; how many there were."""
    erased = 0
    with connection.cursor() as cursor:
        for commitment in commitments:
            cursor.execute("DELETE FROM store_blob WHERE commitment = %s", [commitment])
            erased += max(0, cursor.rowcount)
    return erased
