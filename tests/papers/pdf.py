"""Looking at a paper from outside: its words, its pictures and how it is built, by others’ programs."""

import shutil
import subprocess
from functools import cache
from io import BytesIO
from pathlib import Path

import pikepdf
import pypdfium2  # type: ignore[import-untyped]
import pytest
import zxingcpp

XMP_PDFA = "{http://www.aiim.org/pdfa/ns/id/}"
XMP_PDFUA = "{http://www.aiim.org/pdfua/ns/id/}"


@cache
def _there(program: str) -> bool:
    return shutil.which(program) is not None


def words(pdf: bytes) -> str:
    """The words of a paper in reading order, blanks made single (poppler's pdftotext)."""
    if not _there("pdftotext"):
        pytest.skip("pdftotext (Debian: poppler-utils) is not installed")
    told = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(told.stdout.decode().split())


def check_with_qpdf(pdf: bytes, folder: Path) -> None:
    """Hold a PDF against qpdf's syntax check."""
    if not _there("qpdf"):
        pytest.skip("qpdf (Debian: qpdf) is not installed")
    path = folder / "paper.pdf"
    path.write_bytes(pdf)
    told = subprocess.run(["qpdf", "--check", path], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stdout + told.stderr


def qr_codes(pdf: bytes) -> list[str]:
    """What the QR codes say, read from the pages as a coarse scanner of 150 dots an inch sees them."""
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [page.render(scale=150 / 72).to_pil() for page in document]
    return [code.text for page in pages for code in zxingcpp.read_barcodes(page)]


def pages(pdf: bytes) -> int:
    """How many pages a paper has."""
    with pypdfium2.PdfDocument(pdf) as document:
        return len(document)


def page_size(pdf: bytes) -> tuple[float, float]:
    """Width and height of the first page in points."""
    with pypdfium2.PdfDocument(pdf) as document:
        width, height = document[0].get_size()
        return float(width), float(height)


def rightmost(pdf: bytes) -> float:
    """How far to the right words reach, in points."""
    with pypdfium2.PdfDocument(pdf) as document:
        found = []
        for page in document:
            text = page.get_textpage()
            found += [text.get_rect(nth)[2] for nth in range(text.count_rects())]
        return float(max(found))


def assert_archival(pdf: bytes, *, title: str, lang: str = "en-GB") -> None:
    """A paper says that it is PDF/A-3a (ISO 19005-3, 6.6.4) and PDF/UA-1 (ISO 14289-1, clause 5), is tagged,
    has a title and a language, and every font on its pages is embedded."""
    with pikepdf.open(BytesIO(pdf)) as document:
        with document.open_metadata() as xmp:
            assert (xmp[f"{XMP_PDFA}part"], xmp[f"{XMP_PDFA}conformance"]) == ("3", "A")
            assert xmp[f"{XMP_PDFUA}part"] == "1"
            assert xmp["dc:title"] == title
        assert bool(document.Root.MarkInfo.Marked)
        assert document.Root.StructTreeRoot.Type == "/StructTreeRoot"
        assert str(document.Root.Lang) == lang
        fonts = [font for page in document.pages for font in dict(page.Resources.Font).values()]
        assert fonts
        for font in fonts:
            for inner in font.get("/DescendantFonts", [font]):
                descriptor = inner.FontDescriptor
                assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor.keys()), inner.BaseFont
