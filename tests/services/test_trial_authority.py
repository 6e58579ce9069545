"""The trial authority: what it vouches for, for how long, and that TLS by it holds for real clients."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.x509.verification import PolicyBuilder, Store

from pitbird.fleet.times import DAY, Ms
from pitbird.services.trial_authority import CannotVouch, Trial, authority_der, found, make_ready, names_here

NOW = Ms(1_772_452_800_000)  # 2026-03-02T12:00:00Z
MOMENT = datetime(2026, 3, 2, 12, tzinfo=UTC)
NAMES = ["localhost", "127.0.0.1", "::1", "digester-office", "192.168.7.20"]


def read(file: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(file.read_bytes())


@pytest.fixture
def made(tmp_path: Path) -> Trial:
    return make_ready(tmp_path, NAMES, now=NOW)


def test_a_certificate_names_every_name_and_address_and_a_verifier_takes_it(made: Trial) -> None:
    leaf = read(made.certificate)
    named = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert named.get_values_for_type(x509.DNSName) == ["localhost", "digester-office"]
    assert [str(each) for each in named.get_values_for_type(x509.IPAddress)] == [
        "127.0.0.1", "::1", "192.168.7.20",
    ]  # fmt: skip
    # The verifier of the cryptography package: path validation of RFC 5280 and what browsers ask of servers.
    builder = PolicyBuilder().store(Store([read(made.authority)])).time(MOMENT)
    for name in ("localhost", "digester-office"):
        assert builder.build_server_verifier(x509.DNSName(name)).verify(leaf, [])[0] == leaf


def test_lifetimes_keep_within_a_year_and_397_days(made: Trial) -> None:
    authority, leaf = read(made.authority), read(made.certificate)
    for certificate, most in ((authority, 366), (leaf, 397)):
        assert certificate.not_valid_before_utc < MOMENT
        assert certificate.not_valid_after_utc - certificate.not_valid_before_utc <= timedelta(days=most)
    assert leaf.not_valid_after_utc <= authority.not_valid_after_utc


def test_the_authority_is_limited_and_keys_are_their_owners_only(made: Trial) -> None:
    authority = read(made.authority)
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    basic = authority.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    for key in (made.key, made.key.with_name("authority-key.pem")):
        assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert stat.S_IMODE(made.key.parent.stat().st_mode) == 0o700


def test_the_fingerprint_is_that_of_what_is_downloaded(made: Trial, tmp_path: Path) -> None:
    data = authority_der(tmp_path)
    assert data is not None
    assert x509.load_der_x509_certificate(data).fingerprint(
        SHA256()
    ).hex().upper() == made.fingerprint.replace(":", "")
    assert authority_der(tmp_path / "elsewhere") is None
    assert found(tmp_path / "elsewhere") is None


def test_a_new_address_gets_a_certificate_and_the_authority_stays(made: Trial, tmp_path: Path) -> None:
    again = make_ready(tmp_path, NAMES, now=Ms(NOW + DAY))
    assert read(again.certificate) == read(made.certificate)
    before = read(made.certificate)
    moved = make_ready(tmp_path, [*NAMES, "10.1.2.3"], now=Ms(NOW + DAY))
    assert moved.fingerprint == made.fingerprint
    assert read(moved.certificate) != before


def test_near_its_end_the_authority_is_made_anew(made: Trial, tmp_path: Path) -> None:
    later = make_ready(tmp_path, NAMES, now=Ms(NOW + 360 * DAY))
    assert later.fingerprint != made.fingerprint
    assert read(later.certificate).issuer == read(later.authority).subject


@pytest.mark.parametrize("name", ["192.0.2.7", "2001:db8::7", "example.org"])
def test_it_vouches_for_nothing_that_others_own(made: Trial, tmp_path: Path, name: str) -> None:
    with pytest.raises(CannotVouch, match=re.escape(name)):
        make_ready(tmp_path, [name], now=NOW)


def test_a_host_that_is_named_is_vouched_for_with_this_machine() -> None:
    assert names_here("192.168.7.20", ["Office.local", "*", ".example.org", "[::1]"]) == [
        "localhost", "127.0.0.1", "::1", "192.168.7.20", "office.local",
    ]  # fmt: skip


def handshake(made: Trial, name: str) -> None:
    """A TLS handshake in this process, by OpenSSL, with the authority as the only one that is trusted."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(made.certificate, made.key)
    client = ssl.create_default_context(cafile=str(made.authority))
    ours, theirs = socket.socketpair()
    serving = threading.Thread(target=_serve, args=(server, theirs), daemon=True)
    serving.start()
    try:
        with client.wrap_socket(ours, server_hostname=name) as spoken:
            assert spoken.recv(2) == b"ok"
    finally:
        serving.join(5)


def _serve(context: ssl.SSLContext, theirs: socket.socket) -> None:
    try:
        with context.wrap_socket(theirs, server_side=True) as spoken:
            spoken.sendall(b"ok")
    except OSError:
        theirs.close()


@pytest.mark.parametrize("name", NAMES)
def test_openssl_takes_it_for_every_name(tmp_path: Path, name: str) -> None:
    handshake(make_ready(tmp_path, NAMES), name)


def test_openssl_refuses_it_for_another_name(tmp_path: Path) -> None:
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(make_ready(tmp_path, NAMES), "other-office")


@pytest.mark.slow
def test_the_real_server_serves_it_and_the_page_of_trust(tmp_path: Path) -> None:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port: int = trial.getsockname()[1]
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("PITBIRD_", "DJANGO_"))
    }
    environment |= {"PITBIRD_HOME": str(tmp_path / "home"), "PYTHONUNBUFFERED": "1"}
    said = tmp_path / "said"
    with said.open("w") as out:
        running = subprocess.Popen(
            [sys.executable, "-m", "pitbird", "serve", "--port", str(port), "--trial-authority"],
            stdout=out, stderr=subprocess.STDOUT, env=environment,
        )  # fmt: skip
    try:
        end = time.monotonic() + 40
        while "first-start?key=" not in said.read_text() and time.monotonic() < end:
            assert running.poll() is None, said.read_text()
            time.sleep(0.1)
        authority = tmp_path / "home" / "trial-authority" / "authority.pem"
        context = ssl.create_default_context(cafile=str(authority))
        for host in ("localhost", "127.0.0.1"):
            assert ask(host, port, "/health", context)[0] == 200
        status, page = ask("localhost", port, "/trust", context)
        printed = re.search(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", said.read_text())
        assert printed is not None
        assert (status, printed[0] in page.decode()) == (200, True)
        status, data = ask("localhost", port, "/trust/authority.crt", context)
        assert (status, x509.load_der_x509_certificate(data)) == (200, read(authority))
        with pytest.raises(ssl.SSLCertVerificationError):
            ask("localhost", port, "/health", ssl.create_default_context())
    finally:
        running.send_signal(signal.SIGINT)
        running.wait(timeout=30)
    assert "Traceback" not in said.read_text()


def ask(host: str, port: int, path: str, context: ssl.SSLContext) -> tuple[int, Any]:
    connection = http.client.HTTPSConnection(host, port, timeout=10, context=context)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()
