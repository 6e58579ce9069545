"""Papers as PDF: archival, tagged, the same bytes for the same data, and nothing hidden in their words."""

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pitbird.papers.sheet import (
    Facts,
    Keyed,
    Leaf,
    Loud,
    Sealed,
    Section,
    Sheet,
    Stamp,
    Standing,
    Table,
    print_sheet,
)
from pitbird.papers.typesetting import Paper, qr, typeset
from tests.papers import pdf

MADE = datetime(2026, 11, 24, 6, 12, tzinfo=UTC)
BOOK = "0193a5b0-1111-7222-8333-444455556666"
LEAF = Leaf(BOOK, "0193a5b0-9999-7222-8333-444455556666", 123456, bytes(range(32)))


def sheet(*, name: str = "Ada Holm", title: str = "Bump test of K-0042") -> Sheet:
    return Sheet(
        title=title,
        running="Detector K-0042",
        foot="Printed 24 Nov 2026, 06:12 UTC",
        opening=(
            Loud("Held for an incident", ("Kept as it is.",)),
            Stamp("not-yet", "Not yet", "since 06:12"),
        ),
        sections=(
            Section("The test", (Facts((("Detector", Keyed("K-0042")), ("By", name))),)),
            Section("Channels", (Table(("Channel", "After"), (("CO", "12 s"), ("H2S", "9 s"))),), wide=True),
        ),
        shows=("Gas reached the sensors.",),
        shows_not=("How accurate it is.",),
        standing=Standing(LEAF, Sealed(f"pitbird-book/{BOOK}", 200000, bytes(32)), ("It stands in it.",)),
    )


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_a_paper_is_pdf_a_and_pdf_ua_with_its_fonts_in_it(paper: Paper, tmp_path: Path) -> None:
    made = print_sheet(sheet(), made_at=MADE, paper=paper)
    pdf.assert_archival(made, title="Bump test of K-0042")
    pdf.check_with_qpdf(made, tmp_path)


def test_a_paper_has_the_size_that_was_asked_for() -> None:
    """ISO 216: A4 is 210 mm x 297 mm; ANSI/ASME Y14.1: size A is 8.5 in x 11 in; a point is 1/72 in."""
    sizes = {
        paper: pdf.page_size(print_sheet(sheet(), made_at=MADE, paper=paper)) for paper in ("a4", "us-letter")
    }
    assert sizes["a4"] == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.01)
    assert sizes["us-letter"] == pytest.approx((612, 792))


def test_the_same_data_and_time_give_the_same_bytes_in_another_process() -> None:
    code = (
        "import sys; from tests.papers.test_typesetting import *; "
        "sys.stdout.buffer.write(print_sheet(sheet(), made_at=MADE))"
    )
    other = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, env={"TZ": "Asia/Tokyo"}
    )
    assert other.stdout == print_sheet(sheet(), made_at=MADE)


def test_another_time_of_making_gives_another_paper() -> None:
    assert print_sheet(sheet(), made_at=MADE) != print_sheet(sheet(), made_at=MADE.replace(minute=13))


def test_the_words_of_a_paper_are_found_in_it() -> None:
    told = pdf.words(print_sheet(sheet(), made_at=MADE))
    for words in (
        "Held for an incident",
        "NOT YET",
        "since 06:12",
        "K-0042",
        "H2S 9 s",
        "What it does not show",
        "come before anything printed here",
        "page 1 of 1",
        LEAF.leaf_hash.hex()[:32],
        f"pitbird-book/{BOOK}",
    ):
        assert words in told


def test_the_qr_code_says_where_the_entry_stands() -> None:
    made = print_sheet(sheet(), made_at=MADE)
    assert pdf.qr_codes(made) == [f"pitbird-leaf/1 {BOOK} 123456 {bytes(range(32)).hex()}"]


def test_a_yes_without_its_end_is_printed_as_cannot_tell() -> None:
    assert Stamp("may-go-out", "May go out") == Stamp("cannot-tell", "Cannot tell", "no end time is known")
    assert Stamp("may-go-out", "May go out", "until 04:00").verdict == "may-go-out"


def test_what_stands_in_the_data_is_never_read_as_markup() -> None:
    told = pdf.words(print_sheet(sheet(name='#panic("x") *bold* $x^2$ \\ @ref <label>'), made_at=MADE))
    assert '#panic("x") *bold* $x^2$ \\ @ref <label>' in told


def test_signs_that_no_font_has_are_printed_as_their_code_points() -> None:
    told = pdf.words(print_sheet(sheet(name="Łukasz Ødegård Ωμέγα 中"), made_at=MADE))
    assert "Łukasz Ødegård Ωμέγα ⟨U+4E2D⟩" in told


def test_a_mark_that_turns_the_reading_round_is_made_visible() -> None:
    told = pdf.words(print_sheet(sheet(name="pas\u202esed"), made_at=MADE))
    assert "pas⟨U+202E⟩sed" in told


def test_a_word_without_a_blank_stays_on_the_paper() -> None:
    made = print_sheet(sheet(name="x" * 300), made_at=MADE)
    assert pdf.rightmost(made) < 210 / 25.4 * 72 - 40


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="made_at: a time without its zone"):
        typeset("sheet", {}, made_at=datetime(2026, 11, 24))  # noqa: DTZ001


def test_an_unknown_paper_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match="paper: 'a5' is none of a4, us-letter"):
        typeset("sheet", {}, made_at=MADE, paper="a5")  # type: ignore[arg-type]


def test_a_qr_code_is_black_svg_with_its_quiet_zone() -> None:
    """ISO/IEC 18004: version 1 is 21 modules wide, the quiet zone four modules on each side."""
    drawn = qr("pitbird")
    assert 'width="29" height="29"' in drawn
    assert 'stroke="#000"' in drawn
