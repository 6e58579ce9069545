"""What is said loudly of a detector: from when, until when, and on whose calendar."""

from __future__ import annotations

from msgspec.structs import replace

from pitbird.fleet.state import DetectorState, ReasonOut, UntestedIssue
from pitbird.services.loud import loud
from tests.bodies import ms

PLAIN = DetectorState(subject="detector:D-017")


def test_an_issue_without_a_test_is_loud_until_it_ends_and_not_before_it_began() -> None:
    issue = UntestedIssue("e", ms("10:00"), "person:P-07", "person:K-1", ms("12:00"))
    state = replace(PLAIN, untested=issue)
    for clock, said in (("09:59", None), ("10:00", issue), ("11:59", issue), ("12:00", None)):
        assert loud(state, ms(clock), "Europe/Lisbon").untested == said


def test_an_incident_holds_whatever_else_is_open_and_whatever_its_date() -> None:
    other, incident = ReasonOut("a", ms("08:00"), "failed"), ReasonOut("b", ms("20:00"), "incident")
    assert loud(replace(PLAIN, open_reasons=(other,)), ms("10:00"), None).held is None
    assert loud(replace(PLAIN, open_reasons=(other, incident)), ms("10:00"), None).held == incident


def test_an_end_is_told_from_thirty_days_before_on_the_sites_calendar_and_stays_told() -> None:
    state = replace(PLAIN, life_ends="2026-04-01")
    # 1 April is 30 days after 2 March and 31 after 1 March.
    assert loud(state, ms("12:00", "2026-03-01"), "Europe/Lisbon").endings == ()
    (ending,) = loud(state, ms("12:00", "2026-03-02"), "Europe/Lisbon").endings
    assert (ending.day, ending.days_left, ending.channel) == ("2026-04-01", 30, "")
    # At 23:30 UTC of 1 March it is 2 March already in Athens (UTC+2, IANA tz database).
    assert loud(state, ms("23:30", "2026-03-01"), "Europe/Athens").endings != ()
    assert loud(state, ms("23:30", "2026-03-01"), "Europe/Lisbon").endings == ()
    (ended,) = loud(state, ms("12:00", "2026-04-03"), "Europe/Lisbon").endings
    assert ended.days_left == -2


def test_entries_left_out_for_their_clock_are_counted() -> None:
    assert loud(PLAIN, ms("12:00"), None).left_out == 0
    assert loud(replace(PLAIN, doubtful=("a", "b")), ms("12:00"), None).left_out == 2


def test_a_day_that_cannot_be_read_is_left_to_the_rules() -> None:
    assert loud(replace(PLAIN, life_ends="2026-13-01"), ms("12:00"), None).endings == ()
