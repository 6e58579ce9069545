"""A chart is one picture with one label, the same bytes for the same layers, and harmless in a page."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from pitbird.papers.charts.drawing import (
    NARROW,
    PAPER,
    WIDE,
    Size,
    axis,
    band,
    level,
    line,
    mark_at,
    points,
    svg,
)

X, Y = axis("t", "Time [s]"), axis("r", "Reading [ppm]", zero=True)
ROWS = [{"t": t, "r": 2 * t, "low": t, "high": 3 * t} for t in range(5)]
LAYERS = [
    band(ROWS, X, axis("low", "Reading [ppm]"), "high"),
    line(ROWS, X, Y),
    points(ROWS, X, Y),
    *level([{"r": 5, "words": "high alarm <5>"}], Y, "words", PAPER),
    *mark_at([{"t": 3, "words": "gas off"}], X, "words"),
]


def test_a_chart_is_one_picture_with_its_label() -> None:
    drawn = svg(LAYERS, 'Rises to "8" & more', ink=PAPER)
    root = ElementTree.fromstring(drawn)  # noqa: S314 (drawn here)
    assert root.get("role") == "img"
    assert root.get("aria-label") == 'Rises to "8" & more'
    assert [each for each in root.iter() if each is not root and each.get("role")] == []
    words = [each.text for each in root.iter() if each.tag.endswith("text")]
    assert {"high alarm <5>", "gas off", "Reading [ppm]", "Time [s]"} <= set(words)


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_the_same_layers_give_the_same_bytes(size: Size) -> None:
    assert svg(LAYERS, "x", size=size) == svg(LAYERS, "x", size=size)


def test_nothing_in_it_is_refused_by_the_pages_own_content_policy() -> None:
    drawn = svg(LAYERS, "x")
    assert "style=" not in drawn
    assert "<style" not in drawn
    assert "<script" not in drawn
    assert "http" not in drawn.replace("http://www.w3.org/", "")


def test_on_the_page_it_takes_the_ink_of_the_page() -> None:
    assert 'stroke="currentColor"' in svg(LAYERS, "x")
    assert "currentColor" not in svg(LAYERS[:3], "x", ink=PAPER)
