"""Papers signed with a certificate made here; poppler's pdfsig is the one who says so."""

from __future__ import annotations

import asyncio
import shutil
import subprocess
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption
from cryptography.hazmat.primitives.serialization.pkcs12 import serialize_key_and_certificates

from pitbird.services.papers.making import Made, Order, PaperRefused
from pitbird.services.papers.signing import sign_pdf, signed
from pitbird.services.papers.training_record import training_record
from tests.papers import pdf
from tests.services.papers.conftest import Say

SECRET = b"a passphrase"


@pytest.fixture(scope="module")
def pkcs12() -> bytes:
    """A key with a certificate that it signed itself."""
    key = rsa.generate_private_key(65537, 2048)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Lumbrel Water and Biogas")])
    now = datetime.now(UTC)
    usage = x509.KeyUsage(True, True, *[False] * 7)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(usage, critical=True)
        .sign(key, SHA256())
    )
    return serialize_key_and_certificates(b"pitbird", key, certificate, None, BestAvailableEncryption(SECRET))


@pytest.fixture
def paper(say: Say, order: Order) -> Made:
    return training_record("person:P-07", order)


def told_by_pdfsig(data: bytes, folder: Path) -> str:
    if shutil.which("pdfsig") is None:
        pytest.skip("pdfsig (Debian: poppler-utils) is not installed")
    path = folder / "paper.pdf"
    path.write_bytes(data)
    return subprocess.run(["pdfsig", "-nocert", path], capture_output=True, text=True, check=False).stdout


def test_a_signed_paper_is_valid_whole_and_still_archival(paper: Made, pkcs12: bytes, tmp_path: Path) -> None:
    made = sign_pdf(paper.pdf, pkcs12, SECRET)
    told = told_by_pdfsig(made, tmp_path)
    assert "Signature is Valid." in told
    assert "Total document signed" in told
    assert "ETSI.CAdES.detached" in told
    assert "Lumbrel Water and Biogas" in told
    assert made.startswith(paper.pdf)
    assert pdf.words(made) == pdf.words(paper.pdf)
    pdf.assert_archival(made, title="Training record of Rui Marrel")
    pdf.check_with_qpdf(made, tmp_path)


def test_a_byte_changed_afterwards_is_told(paper: Made, pkcs12: bytes, tmp_path: Path) -> None:
    made = bytearray(sign_pdf(paper.pdf, pkcs12, SECRET))
    at = made.index(b"stream", len(paper.pdf) // 2) + 20
    made[at] ^= 1
    assert "Signature is Valid." not in told_by_pdfsig(bytes(made), tmp_path)


def test_papers_are_signed_where_the_environment_asks_for_it(
    paper: Made, pkcs12: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("PITBIRD_SIGN_PDF", raising=False)
    assert signed(paper) is paper
    (tmp_path / "house.p12").write_bytes(pkcs12)
    monkeypatch.setenv("PITBIRD_SIGN_PDF", str(tmp_path / "house.p12"))
    monkeypatch.setenv("PITBIRD_SIGN_PASSPHRASE", SECRET.decode())
    assert "Signature is Valid." in told_by_pdfsig(signed(paper).pdf, tmp_path)


@pytest.mark.parametrize("wrong", ["file", "passphrase", "missing"])
def test_what_cannot_sign_is_refused_in_words(
    paper: Made, pkcs12: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wrong: str
) -> None:
    path = tmp_path / "house.p12"
    if wrong != "missing":
        path.write_bytes(b"nothing" if wrong == "file" else pkcs12)
    monkeypatch.setenv("PITBIRD_SIGN_PDF", str(path))
    monkeypatch.setenv("PITBIRD_SIGN_PASSPHRASE", "another")
    with pytest.raises(PaperRefused, match=r"^sign: "):
        signed(paper)


def test_papers_are_signed_within_a_running_event_loop(paper: Made, pkcs12: bytes) -> None:
    async def within() -> bytes:
        return sign_pdf(paper.pdf, pkcs12, SECRET)

    # In a thread of its own: the browser's tests leave a loop running in the main one.
    with ThreadPoolExecutor(max_workers=1) as thread:
        assert b"ETSI.CAdES.detached" in thread.submit(lambda: asyncio.run(within())).result()
