"""Who saw what: a list of codes beside the book."""

from __future__ import annotations

import pytest

from pitbird.fleet.times import MINUTE, Ms
from pitbird.services import seeing
from pitbird.services.moving import export_book
from pitbird.services.writing import Actor
from tests.bodies import ms

P = "person:P-07"
K = "person:K-1"
MORNING = ms("07:00")


def look(what: str = "person", minutes: int = 0, person: str = K, about: str = P) -> None:
    seeing.record(what, account=3, person=person, about=about, now=Ms(MORNING + minutes * MINUTE))


def test_a_look_is_a_line_newest_first(fleet: Actor) -> None:
    look()
    look("export", 5, about="")
    assert [(each.what, each.person, each.about) for each in seeing.sights()] == [
        ("export", K, ""),
        ("person", K, P),
    ]


def test_the_same_look_within_ten_minutes_is_one_line_an_export_never(fleet: Actor) -> None:
    for minutes in (0, 9, 10):
        look(minutes=minutes)
    look("export", 0)
    look("export", 1)
    assert [each.what for each in seeing.sights()] == ["person", "export", "export", "person"]


def test_lines_are_found_by_who_looked_and_about_whom(fleet: Actor) -> None:
    look()
    look(person="person:K-2", about=K)
    assert [each.about for each in seeing.sights(person=P)] == [P]
    assert [each.about for each in seeing.sights(by="person:K-2")] == [K]
    assert seeing.sights(before=MORNING) == ()


def test_what_is_not_known_is_not_written_down(fleet: Actor) -> None:
    with pytest.raises(ValueError, match="nothing that is written down"):
        look("peeping")
    assert seeing.count() == 0


def test_the_list_is_never_in_the_export(fleet: Actor) -> None:
    before = b"".join(export_book())
    look()
    look("export")
    assert b"".join(export_book()) == before
