"""A small authority of this machine's own, for trials: a certificate by which phones are served over TLS.

For trying things out where there is no certificate from elsewhere. Whoever holds the authority's key can
stand in for the names that it may vouch for, before every phone that trusts it; so its certificate is limited
to this machine's names and to private addresses (name constraints, RFC 5280 section 4.2.1.10), lasts a year,
and its key is readable by its owner only. Lifetimes keep within what browsers take of a server (398 days;
from memory).
"""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from pitbird.fleet.times import Ms
from pitbird.services import clock

AUTHORITY_DAYS: Final = 365
CERTIFICATE_DAYS: Final = 397
#: Made anew when so little of its time is left.
RENEW_DAYS: Final = 7
FOLDER: Final = "trial-authority"
_PRIVATE: Final = (
    "127.0.0.0/8", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16",
    "::1/128", "fc00::/7", "fe80::/10",
)  # fmt: skip
_LOCAL_NAMES: Final = ("localhost", "local", "internal", "home.arpa")


class CannotVouch(ValueError):
    """A name or address for which the trial authority may not vouch; the message says what to do."""


@dataclass(frozen=True)
class Trial:
    """The files of a trial authority, the fingerprint to compare, and when the authority ends."""

    authority: Path
    certificate: Path
    key: Path
    fingerprint: str
    until: datetime


def make_ready(home: Path, names: Sequence[str], *, now: Ms | None = None) -> Trial:
    """The authority and a certificate for these names and addresses; made, or made anew, where needed.

    An authority that is there stays while it lasts, so that phones need not trust anew; the certificate is
    made anew where a name is missing or its time runs out. Raises CannotVouch.
    """
    moment = datetime.fromtimestamp((clock.now() if now is None else now) / 1000, UTC)
    folder = home / FOLDER
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    authority, key = _authority(folder, names, moment)
    _refuse_strange(authority, names)
    if not _serves(folder / "certificate.pem", authority, names, moment):
        _issue(folder, authority, key, names, moment)
    return _trial(folder, authority)


def found(home: Path) -> Trial | None:
    """The trial authority of a home folder; None where none was made."""
    folder = home / FOLDER
    certificate = _read(folder / "authority.pem")
    return _trial(folder, certificate) if certificate is not None else None


def authority_der(home: Path) -> bytes | None:
    """The authority's certificate as phones take it (DER); None where there is none."""
    from cryptography.hazmat.primitives.serialization import Encoding

    certificate = _read(home / FOLDER / "authority.pem")
    data: bytes | None = certificate.public_bytes(Encoding.DER) if certificate is not None else None
    return data


def names_here(host: str, more: Iterable[str] = ()) -> list[str]:
    """The names and addresses by which this machine may be asked for, when it listens on ``host``."""
    names = ["localhost", "127.0.0.1", "::1"]
    if host in ("0.0.0.0", "::", ""):  # noqa: S104 - told apart, not served
        names += [socket.gethostname(), f"{socket.gethostname().partition('.')[0]}.local", *_addresses()]
    else:
        names.append(host)
    names += [each.strip("[]") for each in more if not each.startswith((".", "*"))]
    return [name for name in dict.fromkeys(each.lower() for each in names) if name]


def _addresses() -> list[str]:
    """The private addresses of this machine, as far as they can be told without asking anybody."""
    found = set()
    with suppress(OSError):
        found |= {str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None)}
    for family, target in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as trial:
                trial.connect((target, 9))  # nothing is sent: it only chooses the address to send from
                found.add(str(trial.getsockname()[0]))
        except OSError:
            continue
    return sorted(each.partition("%")[0] for each in found if _may_vouch_for_address(each.partition("%")[0]))


def _may_vouch_for_address(text: str) -> bool:
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return False
    return any(
        address in network
        for network in map(ipaddress.ip_network, _PRIVATE)
        if network.version == address.version
    )


# --- Making


def _authority(folder: Path, names: Sequence[str], moment: datetime) -> tuple[Any, Any]:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    certificate, key_file = _read(folder / "authority.pem"), folder / "authority-key.pem"
    if certificate is not None and key_file.is_file():
        left = certificate.not_valid_after_utc - moment
        key = load_pem_private_key(key_file.read_bytes(), None)
        if left > timedelta(days=RENEW_DAYS) and key.public_key() == certificate.public_key():
            return certificate, key
    key = generate_private_key(SECP256R1())
    named = x509.Name([
        x509.NameAttribute(x509.NameOID.COMMON_NAME, f"pitbird trial authority {moment:%Y-%m-%d}"),
    ])  # fmt: skip
    own = [name for name in names if _address(name) is None]
    permitted: list[Any] = [x509.DNSName(name) for name in dict.fromkeys((*_LOCAL_NAMES, *own))]
    permitted += [x509.IPAddress(ipaddress.ip_network(each)) for each in _PRIVATE]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(named)
        .issuer_name(named)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(moment - timedelta(days=1))
        .not_valid_after(moment + timedelta(days=AUTHORITY_DAYS - 1))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, SHA256())
    )
    _write_key(key_file, key)
    _write(folder / "authority.pem", certificate)
    (folder / "certificate.pem").unlink(missing_ok=True)
    return certificate, key


def _issue(folder: Path, authority: Any, key: Any, names: Sequence[str], moment: datetime) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.x509.oid import ExtendedKeyUsageOID

    own = generate_private_key(SECP256R1())
    until = min(moment + timedelta(days=CERTIFICATE_DAYS - 1), authority.not_valid_after_utc)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "pitbird")]))
        .issuer_name(authority.subject)
        .public_key(own.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(max(moment - timedelta(days=1), authority.not_valid_before_utc))
        .not_valid_after(until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(own.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.public_key()), critical=False
        )
        .sign(key, SHA256())
    )
    _write_key(folder / "certificate-key.pem", own)
    _write(folder / "certificate.pem", certificate)


def _usage(*, signs: bool) -> Any:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs, key_cert_sign=signs, crl_sign=signs, content_commitment=False,
        key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False,
        decipher_only=False,
    )  # fmt: skip


def _address(name: str) -> Any:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def _general(name: str) -> Any:
    from cryptography import x509

    address = _address(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _refuse_strange(authority: Any, names: Sequence[str]) -> None:
    """Refuse names that the authority may not vouch for: a phone would not take the certificate."""
    from cryptography import x509

    permitted = authority.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees
    allowed = [each.value for each in permitted if isinstance(each, x509.DNSName)]
    for name in names:
        if _address(name) is not None:
            if not _may_vouch_for_address(name):
                raise CannotVouch(
                    f"{name} is no private address; a trial authority vouches for none that others can reach."
                    " Get a certificate for it and give --certificate and --key"
                )
        elif not any(name == each or name.endswith(f".{each}") for each in allowed):
            raise CannotVouch(
                f"{name} is not among the names of the trial authority that phones trust here. Remove the"
                f" folder {FOLDER} to have another made, which every phone has to trust anew"
            )


def _serves(file: Path, authority: Any, names: Sequence[str], moment: datetime) -> bool:
    """Whether a certificate is by this authority, for all these names, and lasts."""
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    certificate = _read(file)
    if certificate is None or not file.with_name("certificate-key.pem").is_file():
        return False
    try:
        certificate.verify_directly_issued_by(authority)
    except (ValueError, TypeError, InvalidSignature):
        return False
    named = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    lasts = certificate.not_valid_after_utc - moment > timedelta(days=RENEW_DAYS)
    return bool(lasts and set(map(_general, names)) <= set(named))


def _trial(folder: Path, authority: Any) -> Trial:
    from cryptography.hazmat.primitives.hashes import SHA256

    digits = authority.fingerprint(SHA256()).hex().upper()
    return Trial(
        authority=folder / "authority.pem",
        certificate=folder / "certificate.pem",
        key=folder / "certificate-key.pem",
        fingerprint=":".join(digits[place : place + 2] for place in range(0, len(digits), 2)),
        until=authority.not_valid_after_utc,
    )


def _read(file: Path) -> Any:
    """The certificate in a file; None where there is none that can be read."""
    from cryptography import x509

    try:
        return x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError):
        return None


def _write(file: Path, certificate: Any) -> None:
    from cryptography.hazmat.primitives.serialization import Encoding

    fresh = file.with_name(f".new-{file.name}")
    fresh.write_bytes(certificate.public_bytes(Encoding.PEM))
    fresh.replace(file)


def _write_key(file: Path, key: Any) -> None:
    """A private key, readable by its owner only from the first byte on."""
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    fresh = file.with_name(f".new-{file.name}")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    fresh.replace(file)
