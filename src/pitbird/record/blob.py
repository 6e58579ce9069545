"""What stands behind the commitments of an entry: texts and files, as JSON beside the leaf.

A blob is {"salt": ..., "text": ...} or {"base64": ..., "salt": ..., "type": ...}; salts and files are base64
with padding (RFC 4648 section 4), in one spelling only.
"""

import base64
import binascii
import re
from dataclasses import dataclass
from typing import Any

from pitbird.record.errors import BadSeal
from pitbird.record.leaf import Leaf
from pitbird.record.seal import commitments_in, opens

MEDIA_TYPE = re.compile(r"[a-z]+/[a-z0-9][a-z0-9.+-]*", re.ASCII)
"""The form of a file's type; it lies outside the commitment, so it is a hint only. Use ``fullmatch``."""


@dataclass(frozen=True, slots=True)
class Blob:
    """What a commitment opens to: text in UTF-8, or a file when ``media_type`` is given."""

    salt: bytes
    data: bytes
    media_type: str | None = None


def open_blobs(leaf: Leaf, given: Any) -> tuple[dict[str, Blob], tuple[str, ...]]:
    """The blobs given for a leaf's commitments, each held against its own, and the commitments withheld.

    ``given`` is the value of a line's ``sealed``, None where the line has none. Raises BadSeal.
    """
    if given is not None and (type(given) is not dict or not given):
        raise BadSeal("sealed is not an object with at least one blob")
    standing = commitments_in(leaf.body) if b"sha256:" in leaf.raw else []
    sealed: dict[str, Blob] = {}
    for name, shown in (given or {}).items():
        if name not in standing:
            raise BadSeal(f"a blob is given for {_short(name)}, which the body does not hold")
        blob = _blob_from_json(shown)
        if blob is None:
            raise BadSeal(f"the blob of {_short(name)} is neither a text nor a file")
        if not opens(name, blob.salt, blob.data):
            raise BadSeal(f"the blob of {_short(name)} is not what was recorded")
        sealed[name] = blob
    return sealed, tuple(name for name in standing if name not in sealed)


def blob_to_json(name: str, blob: Blob) -> dict[str, str]:
    """A blob as it stands beside the leaf. Raises BadSeal where it does not open its commitment."""
    if not opens(name, blob.salt, blob.data):
        raise BadSeal(
            f"the blob does not open {_short(name)}",
            where="sealed",
            remedy="Leave it out, or find the right one.",
        )
    salt = base64.b64encode(blob.salt).decode("ascii")
    if blob.media_type is not None:
        if not MEDIA_TYPE.fullmatch(blob.media_type):
            raise BadSeal(
                f"{blob.media_type!a} is not a media type",
                where="sealed",
                remedy="Give one like image/jpeg.",
            )
        return {"base64": base64.b64encode(blob.data).decode("ascii"), "salt": salt, "type": blob.media_type}
    try:
        return {"salt": salt, "text": blob.data.decode("utf-8")}
    except UnicodeDecodeError:
        raise BadSeal(
            "the text is not UTF-8", where="sealed", remedy="Give its media type to write a file."
        ) from None


def _blob_from_json(shown: Any) -> Blob | None:
    """Read a blob; None when it has not one of the two shapes."""
    if type(shown) is not dict or not all(type(item) is str for item in shown.values()):
        return None
    salt = _base64(shown.get("salt", ""))
    if shown.keys() == {"salt", "text"}:
        return None if salt is None else Blob(salt, shown["text"].encode("utf-8"))
    if shown.keys() != {"base64", "salt", "type"} or not MEDIA_TYPE.fullmatch(shown["type"]):
        return None
    data = _base64(shown["base64"])
    return None if salt is None or data is None else Blob(salt, data, shown["type"])


def _base64(text: str) -> bytes | None:
    try:
        data = base64.b64decode(text, validate=True)
    except (ValueError, binascii.Error):
        return None
    # One spelling only: the unused last bits must be zero.
    return data if base64.b64encode(data).decode("ascii") == text else None


def _short(name: str) -> str:
    return ascii(name if len(name) <= 24 else f"{name[:24]}...")
