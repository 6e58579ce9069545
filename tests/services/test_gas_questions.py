"""Failed tests on one cylinder raise a question about it, until a release names them."""

from __future__ import annotations

from pitbird.fleet.state import CylinderState
from pitbird.services.gas_questions import gas_questions
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, write
from tests.bodies import at, bump, ms

C = "cylinder:C-112"


def asked(now: str) -> dict[str, tuple[int, int, int, bool]]:
    """In a row, detectors, how many unanswered, and whether the rules stop tests, by cylinder."""
    found = gas_questions(Now().all_of(CylinderState), ms(now))
    return {
        name: (each.failure.in_a_row, each.failure.detectors, len(each.unanswered), each.stops)
        for name, each in found.items()
    }


def test_two_failures_in_a_row_ask_one_does_not_and_a_pass_between_does_not_answer(fleet: Actor) -> None:
    first = bump(at("07:00"), by="person:P-07", missed="CO")
    write(first, fleet, now=ms("07:01"))
    assert asked("07:02") == {}
    second = bump(at("07:10"), by="person:P-07", missed="CO")
    write(second, fleet, now=ms("07:11"))
    assert asked("07:12") == {C: (2, 1, 2, True)}
    write(bump(at("07:20"), by="person:P-07"), fleet, now=ms("07:21"))
    assert asked("07:22") == {C: (2, 1, 2, True)}
    release = {"kind": "cylinder-released", "cylinder": C, "answers": [second["id"]]}
    write(release, fleet, now=ms("07:30"))
    assert asked("07:31") == {}


def test_a_cylinder_given_up_as_empty_is_asked_about_no_more(fleet: Actor) -> None:
    for minute in ("07:00", "07:10"):
        write(bump(at(minute), by="person:P-07", missed="CO"), fleet, now=ms("07:11"))
    assert list(asked("07:12")) == [C]
    write({"kind": "cylinder-emptied", "cylinder": C}, fleet, now=ms("07:15"))
    assert asked("07:16") == {}
