"""Days, times and numbers on paper."""

from datetime import UTC, datetime

import pytest

from pitbird.fleet.times import ms_from
from pitbird.papers.locales import day, locale_of, moment, number

AT = ms_from(datetime(2026, 4, 3, 13, 5, 9, tzinfo=UTC))


@pytest.mark.parametrize(
    ("tag", "shown", "figure"),
    [
        ("en-GB", "3 Apr 2026", "12.50"),
        ("en-US", "Apr 3, 2026", "12.50"),
        ("de", "03.04.2026", "12,50"),
        ("fr", "03/04/2026", "12,50"),
        ("es", "3/04/2026", "12,50"),
        ("nl", "03-04-2026", "12,50"),
    ],
)
def test_days_and_numbers_are_written_as_the_locale_does(tag: str, shown: str, figure: str) -> None:
    """Orders as in Unicode CLDR 44, dateFormats medium and decimal symbols; values from memory."""
    assert day("2026-04-03", locale_of(tag)) == shown
    assert number("12.50", locale_of(tag)) == figure


def test_a_moment_stands_on_the_sites_clock_with_its_zone() -> None:
    """tz database: Europe/Lisbon keeps WEST, UTC+1, in April."""
    assert moment(AT, "Europe/Lisbon", locale_of("en-GB"), weekday=True) == "Fri 3 Apr 2026, 14:05 WEST"
    assert moment(AT, "Europe/Lisbon", locale_of("en-US"), seconds=True) == "Apr 3, 2026, 2:05:09 PM WEST"


def test_noon_and_midnight_of_twelve_hours_are_twelve() -> None:
    midnight = ms_from(datetime(2026, 4, 3, 0, 0, tzinfo=UTC))
    noon = ms_from(datetime(2026, 4, 3, 12, 0, tzinfo=UTC))
    assert moment(midnight, "UTC", locale_of("en-US")) == "Apr 3, 2026, 12:00 AM UTC"
    assert moment(noon, "UTC", locale_of("en-US")) == "Apr 3, 2026, 12:00 PM UTC"


def test_a_text_that_is_no_day_comes_back_as_it_is() -> None:
    assert day("next spring", locale_of("de")) == "next spring"


def test_an_unknown_locale_is_refused_with_those_there_are() -> None:
    with pytest.raises(ValueError, match="locale: 'xx' is none of en-GB, en-US, de, fr, es, nl"):
        locale_of("xx")
