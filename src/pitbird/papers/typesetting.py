"""Papers as PDF: a template of ``papers/templates`` and its data, set by typst.

Every paper is PDF/A-3a (ISO 19005-3) and PDF/UA-1 (ISO 14289-1): tagged, with title and language, its fonts
in it. Only the fonts that typst carries are used (Libertinus Serif for words, DejaVu Sans Mono for numbers
that are keyed in), so that the same data and the same ``made_at`` give the same bytes on every machine.

How to make a paper:

- One that is a page of a record book: put it together from the parts of ``papers.sheet`` and call
  ``sheet.print_sheet``; nothing else is needed.
- One of another form (labels, slips): write ``templates/NAME.typ``, which begins with
  ``#import "common.typ": *`` and ``#let data = handed()``, and call ``typeset("NAME", data, made_at=...)``.
  ``common.typ`` holds the frame of the page, stamps, tables and the reference block, and says how they are
  called. Data are JSON: strings come out as they are, never as markup. Pictures (``qr``, charts) are SVG in
  a string.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import as_file, files
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

if TYPE_CHECKING:
    import typst

Paper = Literal["a4", "us-letter"]

PAPERS: Final[tuple[Paper, ...]] = ("a4", "us-letter")
STANDARDS: Final[list[typst.PDFStandard]] = ["a-3a", "ua-1"]


def typeset(template: str, data: Mapping[str, Any], *, made_at: datetime, paper: Paper = "a4") -> bytes:
    """The PDF of ``templates/TEMPLATE.typ`` with its data; the same bytes for the same arguments.

    ``data`` is JSON with at least ``title`` and ``lang`` ("en-GB"). Characters that no font here can show are
    printed as their code point, ⟨U+4E2D⟩. Raises ValueError for a time without zone or an unknown paper.
    """
    if made_at.tzinfo is None:
        raise ValueError("made_at: a time without its zone; a paper says when it was made")
    if paper not in PAPERS:
        raise ValueError(f"paper: {paper!r} is none of {', '.join(PAPERS)}")
    from typst import TypstError

    plain = {**_shown(data), "paper": paper}
    with as_file(files("pitbird.papers") / "templates") as root:
        try:
            return _compiled(root / f"{template}.typ", root, plain, made_at)
        except TypstError as fault:
            if "could not be displayed" not in fault.message:
                raise
            return _compiled(root / f"{template}.typ", root, _shown(plain, every=True), made_at)


def _compiled(source: Path | bytes, root: Path | None, data: Mapping[str, Any], made_at: datetime) -> bytes:
    import typst

    text = json.dumps(data, ensure_ascii=False, sort_keys=True, allow_nan=False)
    settings: dict[str, Any] = {"root": root, "ignore_system_fonts": True, "sys_inputs": {"data": text}}
    compiler = typst.Compiler(source, **settings)
    seconds = int(made_at.timestamp())
    made = compiler.compile(format="pdf", pdf_standards=STANDARDS, timestamp=seconds)
    assert isinstance(made, bytes)  # noqa: S101 - a PDF without an output path is bytes
    return made


def qr(text: str) -> str:
    """A QR code (ISO/IEC 18004, error correction level M) with its quiet zone, as SVG in black."""
    import segno

    buffer = BytesIO()
    segno.make(text, error="m", micro=False, boost_error=False).save(
        buffer, kind="svg", xmldecl=False, svgns=True, border=4
    )
    return buffer.getvalue().decode()


def _shown(value: Any, *, every: bool = False) -> Any:
    """The same data without characters that cannot be seen, or (``every``) that no font can show."""
    if isinstance(value, str):
        return value if value.isascii() and value.isprintable() else _visible(value, every=every)
    if isinstance(value, Mapping):
        return {key: _shown(each, every=every) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_shown(each, every=every) for each in value]
    return value


def _visible(text: str, *, every: bool) -> str:
    return "".join(
        each
        if each == "\n" or (not _is_hidden(each) and (not every or each.isascii() or _can_be_set(each)))
        else f"⟨U+{ord(each):04X}⟩"
        for each in text
    )


def _is_hidden(char: str) -> bool:
    """Whether a character is a control, a direction mark or unassigned, which can falsify a text."""
    return unicodedata.category(char) in {"Cc", "Cf", "Cn", "Co", "Cs"}


@cache
def _can_be_set(char: str) -> bool:
    from typst import TypstError

    source = b'#set document(title: "t")\n#set text(lang: "en")\n#json(bytes(sys.inputs.data)).c'
    try:
        _compiled(source, None, {"c": char}, datetime.fromisoformat("2000-01-01T00:00:00+00:00"))
    except TypstError:
        return False
    return True
