"""Attempts are counted by detector, person and cylinder, corrections heeded."""

from __future__ import annotations

from pitbird.services.attempts import attempts
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
