"""Times typed and shown on a site's clock. The days on which clocks change are those of the IANA database
(Europe/Lisbon: put forward on 29 March 2026 at 01:00, put back on 25 October 2026 at 02:00)."""

from __future__ import annotations

import pytest

from pitbird.fleet.times import ms_of, text_of
from pitbird.services import clock
from pitbird.web import times

LISBON = "Europe/Lisbon"


@pytest.fixture(autouse=True)
def _spring(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: ms_of("2026-03-02T12:00:00.000Z"))


def test_the_year_is_said_where_it_is_not_plain() -> None:
    assert times.short(ms_of("2025-09-01T12:00:00.000Z"), LISBON) == "Mon 1 Sep, 13:00 WEST"
    assert times.short(ms_of("2025-08-01T12:00:00.000Z"), LISBON) == "Fri 1 Aug 2025, 13:00 WEST"
    assert times.short(ms_of("2026-10-01T12:00:00.000Z"), LISBON) == "Thu 1 Oct 2026, 13:00 WEST"


def test_a_time_is_shown_with_its_zone() -> None:
    assert times.shown(ms_of("2026-07-06T22:30:00.000Z"), LISBON) == "Mon 6 Jul 2026, 23:30 WEST"
    assert times.short(ms_of("2026-01-06T22:30:00.000Z"), LISBON) == "Tue 6 Jan, 22:30 WET"


def test_a_zone_without_an_abbreviation_is_shown_by_its_offset() -> None:
    assert times.shown(ms_of("2026-01-06T22:30:00.000Z"), "Atlantic/Azores") == "Tue 6 Jan 2026, 21:30 UTC−1"
    assert times.short(ms_of("2026-01-06T22:30:00.000Z"), "Asia/Kathmandu") == "Wed 7 Jan, 04:15 UTC+5:45"


def test_without_a_known_zone_the_time_is_utc_and_says_so() -> None:
    assert times.shown(ms_of("2026-07-06T22:30:00.000Z"), None) == "Mon 6 Jul 2026, 22:30 UTC"


def test_a_typed_time_is_on_the_clock_of_the_site() -> None:
    assert text_of(times.read_typed("2026-07-06T08:15", LISBON)) == "2026-07-06T07:15:00.000Z"
    assert text_of(times.read_typed("2026-07-06T08:15+03:00", LISBON)) == "2026-07-06T05:15:00.000Z"


def test_a_time_that_the_clocks_skip_is_refused_with_what_to_do() -> None:
    with pytest.raises(times.NoSuchTime, match="skip this time"):
        times.read_typed("2026-03-29T01:30", LISBON)


def test_a_time_that_comes_twice_is_read_on_the_side_that_the_caller_chose() -> None:
    assert text_of(times.read_typed("2026-10-25T01:30", LISBON)) == "2026-10-25T00:30:00.000Z"
    assert text_of(times.read_typed("2026-10-25T01:30", LISBON, later=True)) == "2026-10-25T01:30:00.000Z"


@pytest.mark.parametrize(
    "text", ["", "yesterday", "2026-13-01T08:00", "0001-01-01T00:00", "9999-12-31T23:00"]
)
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(times.NoSuchTime):
        times.read_typed(text, LISBON)


@pytest.mark.parametrize("text", ["2026-03-02T06:41", "2026-07-06T08:15"])
def test_what_a_field_shows_reads_back_as_the_same_instant(text: str) -> None:
    assert times.typed(times.read_typed(text, LISBON), LISBON) == text


def test_a_day_is_shown_in_words() -> None:
    assert times.day_shown("2026-03-31") == "31 Mar 2026"
    assert times.day_shown(None) == ""
    assert times.day_shown("soon") == "soon"
