"""Signing papers with a certificate of the house's own: PAdES (ETSI EN 319 142-1, baseline B) by pyHanko.

Off unless ``PITBIRD_SIGN_PDF`` names a PKCS #12 file; its passphrase is ``PITBIRD_SIGN_PASSPHRASE``. Such a
signature says by whose certificate the PDF left the house. That its entries stand in the book, its code and
a bundle show. Papers in a bundle are not signed: a signature holds the time of signing, and the same
question to the same book must make the same bytes.

Needs the package pyHanko, which comes with the extra ``sign``; it is loaded when it is needed.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import Final

from pitbird.services.papers.making import Made, PaperRefused

FIELD: Final = "Signature"
REASON: Final = "Printed from the record book"


def signed(made: Made) -> Made:
    """The paper with the signature that the environment asks for, else as it is. Raises PaperRefused."""
    path = os.environ.get("PITBIRD_SIGN_PDF", "")
    if not path:
        return made
    if find_spec("pyhanko") is None:
        raise PaperRefused(
            "sign: PITBIRD_SIGN_PDF is set, but the package pyHanko is not installed; install pitbird with "
            "its extra 'sign', or take the setting out of the environment"
        )
    try:
        data = Path(path).read_bytes()
    except OSError as fault:
        raise PaperRefused(f"sign: {path} cannot be read ({fault.strerror})") from None
    passphrase = os.environ.get("PITBIRD_SIGN_PASSPHRASE", "").encode() or None
    return replace(made, pdf=sign_pdf(made.pdf, data, passphrase))


def sign_pdf(pdf: bytes, pkcs12: bytes, passphrase: bytes | None) -> bytes:
    """A PDF with an invisible signature behind it; what was there stays as it is. Raises PaperRefused."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import signers
    from pyhanko.sign.fields import SigSeedSubFilter

    try:
        signer = signers.SimpleSigner.load_pkcs12_data(pkcs12, other_certs=[], passphrase=passphrase)
    except ValueError:
        signer = None
    if signer is None:
        raise PaperRefused(
            "sign: the file of PITBIRD_SIGN_PDF is no PKCS #12 file with a key and its certificate, or "
            "PITBIRD_SIGN_PASSPHRASE does not open it"
        )
    metadata = signers.PdfSignatureMetadata(
        field_name=FIELD, md_algorithm="sha256", reason=REASON, subfilter=SigSeedSubFilter.PADES
    )
    out = BytesIO()
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    # pyHanko starts an event loop of its own, which a thread that already runs one refuses.
    with ThreadPoolExecutor(max_workers=1) as thread:
        thread.submit(signers.PdfSigner(metadata, signer).sign_pdf, writer, output=out).result()
    return out.getvalue()
