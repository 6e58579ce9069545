"""The page that says which sensors are likely to need replacing."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from tests.bodies import CHANNELS
from tests.web.conftest import Cast, detector


def worn_out(cast: Cast) -> None:
    """D-020, whose carbon monoxide sensor lost a tenth between any two of nine calibrations."""
    cast.write(detector("D-020", "Q-9"), minutes_ago=280)
    for n in range(9):
        channel: dict[str, Any] = {
            "channel": "CO", "applied": "100", "as_found": "90", "as_left": "100", "result": "within",
        }  # fmt: skip
        cast.write(
            {
                "kind": "calibration", "detector": "detector:D-020", "cylinders": ["cylinder:C-112"],
                "channels": [channel], "tolerance_pct": "20", "result": "passed",
            },
            minutes_ago=270 - 20 * n,
        )  # fmt: skip


def test_a_sensor_that_wears_out_is_listed_with_its_dates(keeper: Client, cast: Cast) -> None:
    worn_out(cast)
    page = keeper.get("/evidence/wear").content.decode()
    assert "D-020" in page
    assert "43 %" in page  # 0.9 to the eighth power
    assert "a sensor is worn out" in page


def test_a_stated_last_day_is_said(keeper: Client, cast: Cast) -> None:
    channels = [{**CHANNELS[0], "sensor_ends": "2026-04-01"}, *CHANNELS[1:]]
    cast.write({**detector("D-021", "Q-10"), "channels": channels})
    assert "last day 1 Apr 2026" in keeper.get("/evidence/wear").content.decode()


def test_where_nothing_can_be_told_it_says_so_and_clears_nothing(keeper: Client, cast: Cast) -> None:
    page = keeper.get("/evidence/wear").content.decode()
    assert "None that calibrations could tell of" in page
    assert "has not been shown to be good" in page


@pytest.mark.parametrize("asked", ["worn=half", "worn=0", "days=-1", "days=2000"])
def test_a_limit_or_a_time_that_is_none_is_refused_in_words(keeper: Client, cast: Cast, asked: str) -> None:
    page = keeper.get(f"/evidence/wear?{asked}")
    assert page.status_code == 422
    assert "cannot be used here" in page.content.decode()


def test_the_page_of_one_detector_says_why_nothing_can_be_told_yet(cast: Cast, keeper: Client) -> None:
    page = keeper.get("/evidence/wear/D-017").content.decode()
    assert "Do the sensors of" in page
    assert "No month has three tests that wrote down the seconds to the alarm" in page
    assert keeper.get("/evidence/wear/D-999").status_code == 404
