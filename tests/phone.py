"""A phone for tests: a key of its own, entries signed as the field page signs them."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

import rfc8785
from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, SECP256R1, generate_private_key
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from pitbird.fleet.kinds import KINDS


def base64url(data: bytes) -> str:
    """RFC 4648 section 5, without padding."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


@dataclass
class FieldPhone:
    """A phone with a key pair; signs over RFC 8785 by a library that is not ours."""

    device: str = "device:PH-01"
    alg: str = "Ed25519"
    private: Any = field(default=None)

    def __post_init__(self) -> None:
        if self.private is None:
            made = (
                Ed25519PrivateKey.generate() if self.alg == "Ed25519" else generate_private_key(SECP256R1())
            )
            self.private = made

    @property
    def key(self) -> str:
        """The public key as WebCrypto exports it raw."""
        public = self.private.public_key()
        if self.alg == "Ed25519":
            return base64url(public.public_bytes(Encoding.Raw, PublicFormat.Raw))
        return base64url(public.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint))

    def sign(self, body: dict[str, Any]) -> dict[str, str]:
        """A signature in the form of the book."""
        message = rfc8785.dumps(body)
        if self.alg == "Ed25519":
            made = self.private.sign(message)
        else:
            r, s = decode_dss_signature(self.private.sign(message, ECDSA(SHA256())))
            made = r.to_bytes(32, "big") + s.to_bytes(32, "big")
        return {"alg": self.alg, "key": self.key, "sig": base64url(made)}

    def item(self, body: dict[str, Any], **texts: str) -> dict[str, Any]:
        """A whole signed entry; ``texts`` are sealed into their fields and sent beside it."""
        whole, beside = dict(body), {}
        for name, text in texts.items():
            salt = b"0123456789abcdef"
            whole[name] = "sha256:" + sha256(salt + text.encode()).hexdigest()
            beside[name] = {"salt": base64url(salt), "text": text}
        if "phone" not in whole:
            whole["phone"] = {"device": self.device, "known_by": "pin"}
        full = KINDS[whole["kind"]].model_validate(whole).as_body()
        made: dict[str, Any] = {"body": full, "signature": self.sign(full)}
        return {**made, "texts": beside} if beside else made

    def text(self, body: dict[str, Any], **texts: str) -> str:
        """The same as it travels."""
        return json.dumps(self.item(body, **texts))
