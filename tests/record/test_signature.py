"""Signatures.

Sources: RFC 8032 section 7.1 (Ed25519, tests 1 and 2), RFC 7515 appendix A.3 (ES256 with r || s) and RFC 6979
appendix A.2.5 (P-256, SHA-256). A wrong digit in any of them would not verify.
"""

import base64
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import given
from hypothesis import strategies as st

from pitbird.record.canonical import canonical
from pitbird.record.errors import BadSignature, NotCanonical
from pitbird.record.signature import read_signature, verify_bytes, verify_signature

BODY = {"kind": "bump-test", "v": 1, "note": "gas on 40 s"}


def b64url(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def ed25519(message: bytes, seed: bytes = bytes(range(32))) -> dict[str, str]:
    key = Ed25519PrivateKey.from_private_bytes(seed)
    return {
        "alg": "Ed25519",
        "key": b64url(key.public_key().public_bytes_raw()),
        "sig": b64url(key.sign(message)),
    }


def es256(message: bytes, secret: int = 0xC9AFA9D8) -> dict[str, str]:
    key = ec.derive_private_key(secret, ec.SECP256R1())
    r, s = decode_dss_signature(key.sign(message, ec.ECDSA(SHA256())))
    point = key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return {
        "alg": "ES256",
        "key": b64url(point),
        "sig": b64url(r.to_bytes(32, "big") + s.to_bytes(32, "big")),
    }


# RFC 8032 section 7.1: public key, message, signature
RFC_8032 = [
    (
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
            "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
            "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
]


@pytest.mark.parametrize(("key", "message", "sig"), RFC_8032)
def test_the_ed25519_vectors_of_rfc_8032_verify_and_not_over_another_message(
    key: str, message: str, sig: str
) -> None:
    signature = {"alg": "Ed25519", "key": b64url(bytes.fromhex(key)), "sig": b64url(bytes.fromhex(sig))}
    verify_bytes(bytes.fromhex(message), signature)
    with pytest.raises(
        BadSignature, match=r"^signature\.sig: the signature was not made by this key over this body"
    ):
        verify_bytes(bytes.fromhex(message) + b"\x00", signature)


def test_the_es256_example_of_rfc_7515_appendix_a_3_verifies() -> None:
    x, y = "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU", "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0"
    point = b"\x04" + base64.urlsafe_b64decode(x + "=") + base64.urlsafe_b64decode(y + "=")
    message = (
        b"eyJhbGciOiJFUzI1NiJ9.eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFt"
        b"cGxlLmNvbS9pc19yb290Ijp0cnVlfQ"
    )
    sig = "DtEhU3ljbEg8L38VWAfUAqOyKAM6-Xx-F4GawxaepmXFCgfTjDxw5djxLa8ISlSApmWQxfKTUJqPP3-Kg6NU1Q"
    verify_bytes(message, {"alg": "ES256", "key": b64url(point), "sig": sig})
    with pytest.raises(BadSignature, match="not made by this key"):
        verify_bytes(message + b".", {"alg": "ES256", "key": b64url(point), "sig": sig})


def test_the_p_256_vector_of_rfc_6979_appendix_a_2_5_verifies() -> None:
    x = "60FED4BA255A9D31C961EB74C6356D68C049B8923B61FA6CE669622E60F29FB6"
    y = "7903FE1008B8BC99A41AE9E95628BC64F2F1B20C2D7E9F5177A3C294D4462299"
    r = "EFD48B2AACB6A8FD1140DD9CD45E81D69D2C877B56AAF991C34D0EA84EAF3716"
    s = "F7CB1C942D657C41D436C7A1B6E29F65F3E900DBB9AFF4064DC4AB2F843ACDA8"
    signature = {
        "alg": "ES256",
        "key": b64url(bytes.fromhex("04" + x + y)),
        "sig": b64url(bytes.fromhex(r + s)),
    }
    verify_bytes(b"sample", signature)


@pytest.mark.parametrize("sign", [ed25519, es256])
def test_a_signature_holds_for_the_canonical_body_however_it_was_spelled(sign: Any) -> None:
    signature = sign(b'{"kind":"bump-test","note":"gas on 40 s","v":1}')
    verify_signature(BODY, signature)
    verify_signature(dict(reversed(BODY.items())), signature)
    with pytest.raises(BadSignature, match="not made by this key over this body"):
        verify_signature({**BODY, "note": "gas on 41 s"}, signature)


@pytest.mark.parametrize(("sign", "other"), [(ed25519, bytes(32)), (es256, 7)])
def test_another_key_over_the_same_body_is_refused(sign: Any, other: Any) -> None:
    good, forged = sign(canonical(BODY)), sign(canonical(BODY), other)
    verify_signature(BODY, forged)
    with pytest.raises(BadSignature, match="not made by this key"):
        verify_signature(BODY, {**good, "sig": forged["sig"]})


@given(st.integers(0, 511), st.sampled_from([ed25519, es256]))
def test_one_flipped_bit_of_the_signature_is_refused(bit: int, sign: Any) -> None:
    signature = sign(b"message")
    changed = bytearray(read_signature(signature).sig)
    changed[bit // 8] ^= 1 << bit % 8
    with pytest.raises(BadSignature, match="not made by this key"):
        verify_bytes(b"message", {**signature, "sig": b64url(bytes(changed))})


GOOD = ed25519(b"message")


@pytest.mark.parametrize(
    ("signature", "message"),
    [
        (None, "^signature: not an object of alg, key and sig"),
        ([], "^signature: not an object"),
        ({}, "^signature: not an object"),
        ({**GOOD, "kid": "1"}, "^signature: not an object"),
        ({**GOOD, "alg": "none"}, r"^signature\.alg: the algorithm 'none' is not known. Sign with"),
        ({**GOOD, "alg": ["Ed25519"]}, r"^signature\.alg: "),
        ({**GOOD, "alg": "ES256"}, r"^signature\.key: 32 bytes where 65 belong"),
        ({**GOOD, "key": None}, r"^signature\.key: not base64url"),
        ({**GOOD, "key": GOOD["key"] + "="}, r"^signature\.key: not base64url without padding"),
        ({**GOOD, "key": "+" * 43}, r"^signature\.key: not base64url"),
        ({**GOOD, "key": "A" * 42 + "B"}, r"^signature\.key: not base64url"),
        ({**GOOD, "key": "A" * 41}, r"^signature\.key: not base64url"),
        ({**GOOD, "key": "\xfc" * 43}, r"^signature\.key: not base64url"),
        ({**GOOD, "sig": ""}, r"^signature\.sig: 0 bytes where 64 belong"),
        ({**GOOD, "sig": GOOD["sig"] + "\n"}, r"^signature\.sig: not base64url"),
    ],
)
def test_a_malformed_signature_is_refused_with_the_part_named(signature: Any, message: str) -> None:
    verify_bytes(b"message", GOOD)
    with pytest.raises(BadSignature, match=message):
        read_signature(signature)
    with pytest.raises(BadSignature, match=message):
        verify_bytes(b"message", signature)


@pytest.mark.parametrize(
    "point",
    [bytes(65), b"\x04" + bytes(64), b"\x05" + bytes(range(64)), b"\x04" + b"\xff" * 64],
    ids=["zeros", "not on the curve", "unknown form", "beyond the field"],
)
def test_a_key_that_is_no_point_of_the_curve_is_refused(point: bytes) -> None:
    with pytest.raises(BadSignature, match=r"^signature\.key: not a public key for ES256"):
        verify_bytes(b"message", {**es256(b"message"), "key": b64url(point)})


@pytest.mark.parametrize("sig", [bytes(64), b"\xff" * 64])
def test_an_es256_signature_out_of_range_is_refused(sig: bytes) -> None:
    with pytest.raises(BadSignature, match="not made by this key"):
        verify_bytes(b"message", {**es256(b"message"), "sig": b64url(sig)})


def test_a_body_without_canonical_form_has_no_signature() -> None:
    with pytest.raises(NotCanonical, match=r"^\$\.v: the number 1\.5"):
        verify_signature({"v": 1.5}, GOOD)
