"""Labels of what the book knows; what it does not know is named."""

from __future__ import annotations

import pytest

from pitbird.services.papers.labels import all_of, labels
from pitbird.services.papers.making import Order, PaperRefused
from tests.papers import pdf
from tests.services.papers.conftest import Say


def test_labels_hold_what_the_pages_take_as_scanned(say: Say, order: Order) -> None:
    made = labels(["detector:D-017", "cylinder:C-112", "person:P-07"], order, grid="3x8 of 70x37")
    assert sorted(pdf.qr_codes(made.pdf)) == ["cylinder:C-112", "detector:D-017", "person:P-07"]
    told = pdf.words(made.pdf)
    for words in ("D-017", "C-112", "P-07", "Rui Marrel"):
        assert words in told


def test_all_of_a_sort_and_of_a_site(say: Say, order: Order) -> None:
    assert "detector:D-017" in all_of("detectors", "site:north-works")
    assert all_of("detectors", "site:nowhere") == []
    with pytest.raises(PaperRefused, match="of: 'boats' is none of detectors, cylinders, regulators, people"):
        all_of("boats")


def test_every_fault_is_told_at_once(say: Say, order: Order) -> None:
    with pytest.raises(PaperRefused) as refused:
        labels(["detector:D-99"], order, grid="large")
    lines = str(refused.value).splitlines()
    assert lines[0] == "labels: the book does not know D-99"
    assert lines[1].startswith("grid: 'large' cannot be read")
