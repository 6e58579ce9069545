"""Times on a site's clock. The changes of Europe/Lisbon are those of the IANA time zone database."""

import pytest

from pitbird.cli.times import read_time, show_time
from pitbird.fleet.times import ms_of


@pytest.mark.parametrize(
    ("text", "zone", "instant"),
    [
        ("2026-03-02T06:40Z", None, "2026-03-02T06:40:00.000Z"),
        ("2026-03-02T06:40:10+05:30", None, "2026-03-02T01:10:10.000Z"),
        ("2026-07-01 06:40", "Europe/Lisbon", "2026-07-01T05:40:00.000Z"),
    ],
)
def test_a_time_means_one_instant(text: str, zone: str | None, instant: str) -> None:
    assert read_time(text, zone, field="at") == ms_of(instant)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2026-03-29T01:30", "skip"),
        ("2026-10-25T01:30", r"twice; add \+01:00 or \+00:00"),
    ],
)
def test_a_time_that_clocks_skip_or_show_twice_is_refused(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_time(text, "Europe/Lisbon", field="at")


def test_a_time_is_shown_with_its_offset() -> None:
    assert show_time(ms_of("2026-07-01T05:40:00.000Z"), "Europe/Lisbon") == "2026-07-01 06:40 +01:00"
