"""Sheets of labels: every code can be read from the sheet, at its place, or the sheet is refused in words."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from pitbird.papers.labels import GRIDS, PAGES, Grid, Label, LabelsRefused, print_labels, read_grid
from pitbird.papers.typesetting import PAPERS
from tests.papers import pdf

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def some(count: int) -> list[Label]:
    return [Label(f"detector:D-{n:03}", f"D-{n:03}", ("Heron Works", f"Q-{n}")) for n in range(1, count + 1)]


@pytest.mark.parametrize(("paper", "text"), [(paper, text) for paper in PAPERS for text in GRIDS[paper]])
def test_every_code_of_a_shipped_grid_is_read_from_the_sheet(paper: str, text: str) -> None:
    grid = read_grid(text, paper)  # type: ignore[arg-type] # one of the two
    made = print_labels(some(grid.columns * grid.rows + 1), grid, made_at=NOON)
    assert sorted(pdf.qr_codes(made)) == [label.scanned for label in some(grid.columns * grid.rows + 1)]
    assert pdf.pages(made) == 2
    assert "D-001" in pdf.words(made)
    pdf.assert_archival(made, title="Labels")


def test_the_smallest_labels_that_are_offered_can_be_read_and_smaller_ones_are_refused() -> None:
    small = Grid("a4", 8, 10, 22, 20)
    assert len(pdf.qr_codes(print_labels(some(3), small, made_at=NOON))) == 3
    with pytest.raises(LabelsRefused, match=r"a phone needs 0\.33 mm; take larger labels"):
        print_labels(some(3), Grid("a4", 8, 12, 15, 14), made_at=NOON)


def test_a_sheet_begins_at_its_first_free_label() -> None:
    """Label 24 of 24 is the last of the first sheet."""
    grid = read_grid("3x8 of 70x37", "a4")
    assert pdf.pages(print_labels(some(1), grid, start=24, made_at=NOON)) == 1
    assert pdf.pages(print_labels(some(2), grid, start=24, made_at=NOON)) == 2
    one, other = (print_labels(some(1), grid, start=start, made_at=NOON) for start in (1, 2))
    assert one != other
    assert one == print_labels(some(1), grid, made_at=NOON)


@pytest.mark.parametrize(
    ("text", "grid"),
    [
        ("3x8 of 70x37", Grid("a4", 3, 8, 70, 37)),
        (" 2 x 7 of 99x38.1".replace(" x ", "x"), Grid("a4", 2, 7, 99, 38.1)),
        ("4×10 of 48,5×25,4 gap 1x2 margin 5x10", Grid("a4", 4, 10, 48.5, 25.4, 1, 2, 5, 10)),
    ],
)
def test_a_grid_is_read_from_its_measures(text: str, grid: Grid) -> None:
    assert read_grid(text, "a4") == grid


@pytest.mark.parametrize(
    "text", ["", "3x8", "3 by 8 of 70x37", "3x8 of 70", "0x0 of x", "3x8 of 70x37 gap 2"]
)
def test_measures_that_cannot_be_read_are_refused_with_an_example(text: str) -> None:
    with pytest.raises(LabelsRefused, match="3x8 of 70x37"):
        read_grid(text, "a4")


def test_every_fault_of_a_sheet_is_told_at_once() -> None:
    with pytest.raises(LabelsRefused) as refused:
        print_labels([], Grid("a4", 3, 8, 5, 300, gap_x=60), start=25, made_at=NOON)
    fields = [line.partition(":")[0] for line in str(refused.value).splitlines()]
    assert fields == ["width", "height", "gap-x", "start", "labels"]


def test_labels_that_reach_over_the_page_are_refused() -> None:
    width, height = PAGES["a4"]
    with pytest.raises(LabelsRefused) as refused:
        print_labels(some(1), Grid("a4", 3, 8, width / 2, height / 4), made_at=NOON)
    assert [line.partition(":")[0] for line in str(refused.value).splitlines()] == ["width", "height"]
