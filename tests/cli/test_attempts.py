"""Attempts are counted on the command line."""

import json

from tests.cli.conftest import PASSES, Pitbird


def test_attempts_are_counted_and_said_to_be_no_verdict(begun: Pitbird) -> None:
    begun(PASSES)
    begun("test D-017 --cylinder C-112 --spoiled hood-slipped --by P-07")
    told = begun("attempts")
    assert told.status == 0
    assert "no verdict on people" in told.out
    assert "hood-slipped 1" in told.out
    counted = json.loads(begun("attempts --json --days 1").out)
    assert counted["people"] == [
        {
            "subject": "person:P-07",
            "outcomes": {"passed": 1, "spoiled": 1},
            "reasons": {"hood-slipped": 1},
        }
    ]


def test_an_unknown_site_is_refused(begun: Pitbird) -> None:
    assert begun("attempts --site nowhere").status == 2


def test_a_period_is_given_in_days_or_times_and_the_last_day_is_in_it(begun: Pitbird) -> None:
    from pitbird.fleet.times import DAY, Ms, text_of
    from pitbird.services import clock

    begun(PASSES)
    today, tomorrow, before = (text_of(Ms(clock.now() + days * DAY))[:10] for days in (0, 1, -1))
    counted = begun(f"attempts --since {before} --until {tomorrow}")
    assert "P-07" in counted.out
    assert "D-017" in begun(f"attempts --since {before} --until {tomorrow} --site north-works").out
    assert "No test was attempted then." in begun("attempts --since 2020-01-01 --until 2020-01-02").out
    told = json.loads(begun("attempts --since 2026-07-01 --until 2026-07-01 --json").out)
    # One day on the clock of Europe/Lisbon, UTC+1 in July (IANA tz database).
    assert (told["since"], told["until"]) == ("2026-06-30T23:00:00.000Z", "2026-07-01T23:00:00.000Z")
    assert today


def test_every_fault_of_a_period_is_named_at_once(begun: Pitbird) -> None:
    refused = begun("attempts --since soon --until later --days 3 --site nowhere")
    assert (refused.status, refused.out) == (2, "")
    assert [line.partition(":")[0] for line in refused.faults] == ["site", "days", "until", "since"]
    assert begun("attempts --since 2026-03-02 --until 2026-03-01").faults == [
        "since: '2026-03-02' does not lie before the end of what is asked for"
    ]
