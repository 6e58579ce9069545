"""Time stamps (RFC 3161): what an authority vouches for that had no part in the book, and when.

Stamped is the text of a checkpoint, without the signatures under it: those of witnesses come later, and the
root in the text says all. ``SIZE.tsr`` beside the checkpoint is the authority's response as it came,
``SIZE.tsa.pem`` the certificates by which it was verified. No nonce is asked for: a response of before says
an earlier time, which is the better one. Nothing is fetched from anywhere.

Needs the package rfc3161-client, which comes with the extra ``sign``; it is loaded when it is needed.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Final

from pitbird.fleet.times import MINUTE, Ms
from pitbird.record.checkpoint import Checkpoint, read_checkpoint
from pitbird.record.errors import RecordError
from pitbird.record.note import read_note
from pitbird.services import clock
from pitbird.services.book_keys import CheckpointRefused, book_keys
from pitbird.services.checkpoints import Kept, kept, kept_at, kept_paths, read_kept
from pitbird.services.placing import put

if TYPE_CHECKING:
    from cryptography.x509 import Certificate
    from rfc3161_client import TimeStampResponse

#: The digests by which an authority may name what it stamped (RFC 8017, appendix A.2.4).
_DIGESTS: Final = {
    "2.16.840.1.101.3.4.2.1": "sha256",
    "2.16.840.1.101.3.4.2.2": "sha384",
    "2.16.840.1.101.3.4.2.3": "sha512",
}
#: The tag of the certificates in SignedData: [0] IMPLICIT (RFC 5652, 5.1).
_CERTIFICATES: Final = 0xA0
#: An authority's clock may be so far ahead of this one.
_AHEAD: Final = 10 * MINUTE


class StampRefused(CheckpointRefused):
    """A time stamp cannot be read, or does not hold; the sentence says why and what to do."""


class NoStampReader(StampRefused):
    """The package that reads time stamps is not there."""

    def __init__(self) -> None:
        super().__init__(
            "time stamps need the package rfc3161-client, which is not installed here; install pitbird with "
            "its extra: pip install 'pitbird[sign]'"
        )


@dataclass(frozen=True)
class Stamp:
    """That an authority had a checkpoint before it at a time; ``new`` where it was kept just now."""

    size: int
    at: Ms
    authority: str
    path: Path
    new: bool = False


def can_read_stamps() -> bool:
    """Whether the package is installed; it is not loaded by asking."""
    return find_spec("rfc3161_client") is not None


def stamp_request(home: Path, size: int | None = None) -> bytes:
    """A DER TimeStampReq over SHA-256 of the newest checkpoint's text, or of that of so many entries.

    Raises NoStampReader, CheckpointRefused where there is no such checkpoint, or RecordError.
    """
    _need_the_package()
    from rfc3161_client import TimestampRequestBuilder
    from rfc3161_client.base import HashAlgorithm

    found = kept(home) if size is None else kept_at(home, size)
    if found is None:
        raise CheckpointRefused("there is no checkpoint yet; make one with `pitbird checkpoint make`")
    asking = TimestampRequestBuilder(nonce=False, cert_req=True).data(found.checkpoint.text().encode())
    return asking.hash_algorithm(HashAlgorithm.SHA256).build().as_bytes()


def take_stamp(data: bytes, authority: bytes, home: Path) -> Stamp:
    """Verify an authority's response (DER) with its certificates (PEM), and keep it beside its checkpoint.

    Which checkpoint it is of, the response itself says. Of two for one checkpoint the earlier stays. Raises
    NoStampReader, StampRefused, CheckpointRefused or RecordError; then nothing is kept.
    """
    response, trusted = _response(data), _certificates(authority)
    found = _checkpoint_of(response, home)
    stamp = _verified(response, trusted, found)
    if stamp.at > clock.now() + _AHEAD:
        raise StampRefused(
            "stamp: its time lies in the future; look whether the clock of this machine is right"
        )
    try:
        before = stamp_of(found.path)
    except StampRefused:
        before = None  # one that does not hold is no reason to refuse one that does
    if before is not None and before.at <= stamp.at:
        return before
    put(_authority_path(found.path), authority)
    put(stamp.path, data)
    return Stamp(stamp.size, stamp.at, stamp.authority, stamp.path, new=True)


def stamp_of(path: Path) -> Stamp | None:
    """The time stamp kept beside a checkpoint, verified again; None where there is none.

    Raises NoStampReader, or StampRefused where it does not hold.
    """
    try:
        data = path.with_suffix(".tsr").read_bytes()
        authority = _authority_path(path).read_bytes()
    except FileNotFoundError:
        return None
    checkpoint = Kept(_checkpoint_in(path), path)
    return _verified(_response(data), _certificates(authority), checkpoint)


def _need_the_package() -> None:
    if not can_read_stamps():
        raise NoStampReader


def _response(data: bytes) -> TimeStampResponse:
    _need_the_package()
    from rfc3161_client import decode_timestamp_response

    try:
        response = decode_timestamp_response(_certificates_in_order(data))
        # A refusal holds no token; the first look at it tells.
        if response.status == 0:
            response.tst_info  # noqa: B018
    except ValueError:
        raise StampRefused(
            "stamp: not a response of a time-stamp authority (DER, as RFC 3161 says it)"
        ) from None
    if response.status != 0:
        said = "".join(f": {each}" for each in response.status_string)
        raise StampRefused(f"stamp: the authority did not grant it (status {response.status}{said})")
    return response


def _certificates_in_order(data: bytes) -> bytes:
    """The response with the certificates in it in the order that DER wants of a set (X.690, 11.6).

    Some authorities put them as they come, which CMS lets them (RFC 5652); no signature covers the order.
    What is not of the form is given back as it is.
    """
    try:
        (whole,) = _parts(data, 0, len(data))
        _status, token = _parts(data, *whole)
        _sort, wrapped = _parts(data, *token)
        (signed,) = _parts(data, *wrapped)
        _version, _digests, _content, certificates, *_rest = _parts(data, *signed)
        start, end = certificates
        if data[_parts(data, *signed, outer=True)[3][0]] != _CERTIFICATES:
            return data
        made = [data[a:b] for a, b in _parts(data, start, end, outer=True)]
    except (ValueError, IndexError):
        return data
    return data[:start] + b"".join(sorted(made)) + data[end:]


def _parts(data: bytes, at: int, end: int, *, outer: bool = False) -> list[tuple[int, int]]:
    """Where the values of DER lie that follow one another from ``at``; with their tags where ``outer``."""
    found = []
    while at < end:
        length, start = data[at + 1], at + 2
        if length & 0x80:
            start += length & 0x7F
            length = int.from_bytes(data[at + 2 : start], "big")
        if start + length > end:
            raise ValueError
        found.append((at if outer else start, start + length))
        at = start + length
    return found


def _certificates(pem: bytes) -> list[Certificate]:
    from cryptography.x509 import load_pem_x509_certificates

    try:
        return load_pem_x509_certificates(pem)
    except ValueError:
        raise StampRefused(
            "ca: holds no certificate in PEM form; get the authority's from where it publishes them"
        ) from None


def _checkpoint_of(response: TimeStampResponse, home: Path) -> Kept:
    imprint = response.tst_info.message_imprint
    name = _DIGESTS.get(imprint.hash_algorithm.dotted_string)
    if name is None:
        raise StampRefused("stamp: made over another digest than SHA-256, SHA-384 or SHA-512")
    keys = book_keys(home)
    for path in kept_paths(home):
        try:
            text = read_note(path.read_bytes()).text.encode()
        except ValueError:
            continue
        if hashlib.new(name, text).digest() == imprint.message:
            return read_kept(path, keys)
    raise StampRefused("stamp: of none of the checkpoints that are kept here")


def _verified(response: TimeStampResponse, trusted: list[Certificate], found: Kept) -> Stamp:
    from rfc3161_client import VerificationError, VerifierBuilder

    text = found.checkpoint.text().encode()
    try:
        VerifierBuilder(roots=list(trusted)).build().verify_message(response, text)
    except (VerificationError, ValueError) as fault:
        raise StampRefused(
            f"stamp: it does not hold by the certificates given ({fault}); get those of the authority that "
            "made it"
        ) from None
    info = response.tst_info
    moment = info.gen_time if info.gen_time.tzinfo else info.gen_time.replace(tzinfo=UTC)
    return Stamp(
        found.checkpoint.size,
        Ms(int(moment.timestamp() * 1000)),
        _signer(response),
        found.path.with_suffix(".tsr"),
    )


def _signer(response: TimeStampResponse) -> str:
    from cryptography.x509 import NameOID, load_der_x509_certificate

    (signer,) = response.signed_data.signer_infos
    for each in response.signed_data.certificates:
        made = load_der_x509_certificate(each)
        if (made.issuer, made.serial_number) == (signer.issuer, signer.serial_number):
            names = made.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
            return str(names[0].value) if names else made.subject.rfc4514_string()
    return ""  # the verifier has refused a response without the certificate of its signer


def _checkpoint_in(path: Path) -> Checkpoint:
    try:
        return read_checkpoint(read_note(path.read_bytes()).text)
    except RecordError as fault:
        raise StampRefused(f"stamp: its checkpoint cannot be read ({fault})") from None


def _authority_path(path: Path) -> Path:
    return path.with_suffix(".tsa.pem")
