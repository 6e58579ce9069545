"""A device's signature over the body of an entry.

Form: {"alg": "ES256" | "Ed25519", "key": base64url, "sig": base64url}, without padding (RFC 4648 section 5).
ES256 is ECDSA on P-256 with SHA-256 (RFC 7518 section 3.4): the key is the uncompressed point of SEC 1
section 2.3.3 (65 bytes), the signature r || s (64 bytes), as WebCrypto gives it. Ed25519 is RFC 8032: 32 and
64 bytes.
"""

import base64
import binascii
from dataclasses import dataclass
from typing import Any

from pitbird.record.canonical import canonical
from pitbird.record.errors import BadSignature

KEY_SIZES = {"ES256": 65, "Ed25519": 32}
SIGNATURE_SIZE = 64


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature taken apart: algorithm, public key and signature as bytes."""

    alg: str
    key: bytes
    sig: bytes


def read_signature(signature: Any) -> Signature:
    """Take a signature object apart, checking its shape only. Raises BadSignature."""
    if type(signature) is not dict or signature.keys() != {"alg", "key", "sig"}:
        raise BadSignature("not an object of alg, key and sig", where="signature", remedy=_SEND_AGAIN)
    alg = signature["alg"]
    if type(alg) is not str or alg not in KEY_SIZES:
        raise BadSignature(
            f"the algorithm {alg!a} is not known",
            where="signature.alg",
            remedy="Sign with ES256 or Ed25519.",
        )
    key = _base64url(signature["key"], KEY_SIZES[alg], "signature.key")
    return Signature(alg, key, _base64url(signature["sig"], SIGNATURE_SIZE, "signature.sig"))


def verify_signature(body: Any, signature: Any) -> None:
    """Check that ``signature`` was made by its own key over canonical(body); raises BadSignature if not.

    Whether that key belongs to a registered device is decided elsewhere.
    """
    verify_bytes(canonical(body), signature)


def verify_bytes(message: bytes, signature: Any) -> None:
    """Check a signature object over bytes as they stand; raises BadSignature."""
    # Loaded here: reading a book without signatures then needs the standard library only.
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, SECP256R1, EllipticCurvePublicKey
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
    from cryptography.hazmat.primitives.hashes import SHA256

    parts = read_signature(signature)
    try:
        if parts.alg == "Ed25519":
            Ed25519PublicKey.from_public_bytes(parts.key).verify(parts.sig, message)
        else:
            point = EllipticCurvePublicKey.from_encoded_point(SECP256R1(), parts.key)
            r, s = (int.from_bytes(parts.sig[:32], "big"), int.from_bytes(parts.sig[32:], "big"))
            point.verify(encode_dss_signature(r, s), message, ECDSA(SHA256()))
    except InvalidSignature:
        raise BadSignature(
            "the signature was not made by this key over this body", where="signature.sig", remedy=_SEND_AGAIN
        ) from None
    except ValueError:
        raise BadSignature(
            f"not a public key for {parts.alg}", where="signature.key", remedy=_SEND_AGAIN
        ) from None


_SEND_AGAIN = "Do not rely on the entry; have the device that wrote it sign and send it again."


def _base64url(text: object, size: int, where: str) -> bytes:
    try:
        if type(text) is not str:
            raise ValueError
        data = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        # One spelling only: the unused last bits must be zero, and neither padding nor + and / may be used.
        if base64.urlsafe_b64encode(data).rstrip(b"=") != text.encode("ascii"):
            raise ValueError
    except (ValueError, binascii.Error):
        raise BadSignature("not base64url without padding", where=where, remedy=_SEND_AGAIN) from None
    if len(data) != size:
        raise BadSignature(f"{len(data)} bytes where {size} belong", where=where, remedy=_SEND_AGAIN)
    return data
