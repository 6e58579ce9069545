"""What the style sheets hold to, read as text."""

import re
from pathlib import Path

import pytest

import pitbird.web

SHEETS = sorted((Path(pitbird.web.__file__).parent / "static" / "pitbird").rglob("*.css"))
RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_the_printed_face_has_its_own_digits(sheet: Path) -> None:
    """The tabular digits of Besley come in one weight: beside bold letters they are thin. ``font`` sets
    them back, ``font-family`` alone leaves what the body asks for."""
    for selector, body in RULE.findall(sheet.read_text(encoding="utf-8")):
        if "font-family: var(--printed)" in body:
            assert "font-variant-numeric: normal" in body, selector.strip()


def test_the_sheets_use_the_printed_face_in_both_ways() -> None:
    text = "".join(sheet.read_text(encoding="utf-8") for sheet in SHEETS)
    assert text.count("font-family: var(--printed)") >= 4
    assert re.search(r"font: [^;]*var\(--printed\)", text)
