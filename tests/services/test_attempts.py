"""Attempts are counted by detector, person and cylinder, corrections heeded."""

from __future__ import annotations

from datetime import date

from pitbird.fleet.times import HOUR, text_of
from pitbird.services.attempts import attempts, day_at
from pitbird.services.writing import Actor, write
from tests.bodies import at, bump, ms


def test_spoiled_attempts_are_counted_for_detector_person_and_cylinder(fleet: Actor) -> None:
    spoiled = {"outcome": "spoiled", "spoiled_because": "hood-slipped"}
    write(bump(at("07:00"), by="person:P-07", **spoiled), fleet, now=ms("07:01"))
    write(bump(at("07:05"), by="person:P-07"), fleet, now=ms("07:06"))
    write(bump(at("07:10"), by="person:K-1", missed="CO"), fleet, now=ms("07:11"))
    found = attempts(since=ms("06:00"), until=ms("08:00"))
    assert [(c.subject, dict(c.outcomes)) for c in found.people] == [
        ("person:P-07", {"spoiled": 1, "passed": 1}),
        ("person:K-1", {"failed": 1}),
    ]
    assert [(c.subject, c.all, dict(c.reasons)) for c in found.cylinders] == [
        ("cylinder:C-112", 3, {"hood-slipped": 1})
    ]
    assert [c.subject for c in found.detectors] == ["detector:D-017"]
    assert attempts(since=ms("07:30"), until=ms("08:00")).detectors == ()
    assert attempts(since=ms("06:00"), until=ms("08:00"), site="site:elsewhere").people == ()


def test_a_voided_attempt_does_not_count_and_one_moved_in_time_counts_where_it_is_now(fleet: Actor) -> None:
    first, second = bump(at("07:00"), by="person:P-07"), bump(at("07:05"), by="person:P-07")
    for test in (first, second):
        write(test, fleet, now=ms("07:06"))
    void = {"kind": "correction", "corrects": first["id"], "how": "void", "reason": "slip"}
    write(void, fleet, now=ms("07:10"))
    moved = {**second, "at": at("05:30")}
    move = {"kind": "correction", "corrects": second["id"], "how": "replace", "replacement": moved,
            "reason": "clock"}  # fmt: skip
    write(move, fleet, now=ms("07:11"))
    assert attempts(since=ms("06:00"), until=ms("08:00")).detectors == ()
    earlier = attempts(since=ms("05:00"), until=ms("06:00"))
    assert [(c.subject, c.all) for c in earlier.detectors] == [("detector:D-017", 1)]


def test_a_day_is_that_of_the_sites_clock_also_when_clocks_change_or_skip_midnight() -> None:
    # IANA tz database: Lisbon goes to summer time on 29 March 2026 at 01:00; Sao Paulo skipped midnight of
    # 4 November 2018, whose clocks began at 01:00 (-02).
    start, end = day_at(date(2026, 3, 29), "Europe/Lisbon")
    assert (text_of(start), (end - start) // HOUR) == ("2026-03-29T00:00:00.000Z", 23)
    start, end = day_at(date(2018, 11, 4), "America/Sao_Paulo")
    assert (text_of(start), text_of(end)) == ("2018-11-04T03:00:00.000Z", "2018-11-05T02:00:00.000Z")
