"""Makes book-1.jsonl, the kept sample of the form pitbird-book/1.

Run ``python -m tests.record.samples.make_book_1``. Everything is fixed (ids, times, salts, the key of RFC
8032 section 7.1 test 2), so that the bytes never change.
"""

import base64
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitbird.record.blob import Blob
from pitbird.record.book import export_line, header_line, trailer_line
from pitbird.record.canonical import canonical
from pitbird.record.leaf import make_leaf
from pitbird.record.merkle import Frontier
from pitbird.record.seal import commit

SEED = bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
SITE, NAME, PHOTO = b"Kolvik water and biogas", "M\u00e5ns Ferrow".encode(), bytes(range(64))
SITE_SALT, NAME_SALT, PHOTO_SALT = b"sample-salt-0001", b"sample-salt-0002", b"sample-salt-0003"


def body(n: int, kind: str, about: list[str], **fields: Any) -> dict[str, Any]:
    """Return the body of the n-th entry."""
    return {
        "kind": kind,
        "v": 1,
        "id": f"01980000-0000-7000-8000-{n:012x}",
        "at": f"2026-01-05T06:0{n}:00.000Z",
        "about": about,
        **fields,
    }


def signed(value: dict[str, Any]) -> dict[str, str]:
    """Return the device's signature over a body."""
    key = Ed25519PrivateKey.from_private_bytes(SEED)
    parts = (key.public_key().public_bytes_raw(), key.sign(canonical(value)))
    public, sig = (base64.urlsafe_b64encode(part).rstrip(b"=").decode() for part in parts)
    return {"alg": "Ed25519", "key": public, "sig": sig}


def book() -> bytes:
    """Return the whole sample."""
    name, photo = commit(NAME_SALT, NAME), commit(PHOTO_SALT, PHOTO)
    test = body(
        2, "bump-test", ["detector:d-01", "cylinder:c-01"], by=name, gas_on={"unit": "s", "value": "38.5"}
    )
    bodies = [
        body(0, "genesis", ["book:b-1"], name=commit(SITE_SALT, SITE)),
        body(
            1,
            "detector",
            ["detector:d-01"],
            channels=[{"gas": "hydrogen sulfide", "high": "10", "unit": "ppm"}],
        ),
        test,
        body(3, "happened", ["detector:d-01"], photo=photo, what="drop"),
    ]
    sealed = {2: {name: Blob(NAME_SALT, NAME)}, 3: {photo: Blob(PHOTO_SALT, PHOTO, "image/png")}}
    frontier, counts, lines = Frontier(), dict[str, int](), [header_line(bodies[0]["id"])]
    for index, value in enumerate(bodies):
        for subject in value["about"]:
            counts[subject] = counts.get(subject, 0) + 1
        nth = {subject: counts[subject] for subject in value["about"]}
        signature = signed(value) if value is test else None
        leaf = make_leaf(value, recorded_at=f"2026-01-05T06:0{index}:01.500Z", nth=nth, signature=signature)
        frontier = frontier.append(leaf.hash)
        lines.append(export_line(index, leaf.raw, sealed.get(index)))
    return b"".join([*lines, trailer_line(frontier.size, frontier.root())])


if __name__ == "__main__":
    Path(__file__).with_name("book-1.jsonl").write_bytes(book())
