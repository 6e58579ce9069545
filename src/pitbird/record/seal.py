"""Seals: names, free text and photos lie outside the leaf, which holds only a commitment to each.

commitment = "sha256:" + hex(SHA-256(salt || blob)). The salt has one fixed length: were it free, the same
commitment could be opened with the front of the blob moved into the salt ("not cleared" as "cleared").
The caller brings the salt, from the operating system's random source, fresh for every blob.
"""

import hmac
import re
from hashlib import sha256
from typing import Any

from pitbird.record.errors import BadSeal

SALT_SIZE = 16
COMMITMENT = re.compile(r"sha256:[0-9a-f]{64}", re.ASCII)
"""The form of a commitment; use ``fullmatch``."""


def commit(salt: bytes, blob: bytes) -> str:
    """Return the commitment to ``blob`` under a salt of SALT_SIZE bytes; raises BadSeal for anything else."""
    for name, value in (("salt", salt), ("blob", blob)):
        if type(value) is not bytes:
            raise BadSeal(
                f"not bytes but {type(value).__name__}", where=name, remedy="Encode text as UTF-8 first."
            )
    if len(salt) != SALT_SIZE:
        raise BadSeal(
            f"a salt of {len(salt)} bytes where {SALT_SIZE} belong",
            where="salt",
            remedy=f"Draw {SALT_SIZE} random bytes for every blob.",
        )
    return "sha256:" + sha256(salt + blob).hexdigest()


def opens(commitment: str, salt: bytes, blob: bytes) -> bool:
    """Tell whether salt and blob are what was committed to. Malformed arguments open nothing."""
    if type(commitment) is not str or not COMMITMENT.fullmatch(commitment):
        return False
    try:
        made = commit(salt, blob)
    except BadSeal:
        return False
    return hmac.compare_digest(made, commitment)


def commitments_in(value: Any) -> list[str]:
    """Return the commitments that stand in a JSON value, in order, each once: every string of that form."""
    found: dict[str, None] = {}
    waiting = [value]
    while waiting:
        item = waiting.pop()
        if type(item) is str:
            if item.startswith("sha256:") and COMMITMENT.fullmatch(item):
                found[item] = None
        elif type(item) is dict:
            waiting.extend(reversed(item.values()))
        elif type(item) is list:
            waiting.extend(reversed(item))
    return list(found)
