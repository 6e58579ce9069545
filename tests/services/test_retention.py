"""Sealed texts past their period: found by kind and age and for people who left, erased in one go."""

from __future__ import annotations

from datetime import date

import pytest

from pitbird.fleet.times import Ms
from pitbird.services import seeing
from pitbird.services.erasing import sealed_about
from pitbird.services.periods import Period, shipped_periods
from pitbird.services.retention import Survey, erase_past, survey
from pitbird.services.writing import Actor, EntryRefused, write
from pitbird.store import blobs, book
from tests.bodies import ms

P = "person:P-07"
PERIODS = shipped_periods()


def later(years: int, day: str = "03-02", clock: str = "09:00") -> Ms:
    """A moment in the same week so many years later."""
    return ms(clock, f"{2026 + years}-{day}")


def note(actor: Actor, text: str = "clip loose", at: Ms | None = None) -> None:
    write({"kind": "note", "subject": "detector:D-017", "text": text}, actor, now=at or ms("07:00"))


def gone(found: Survey) -> list[str | None]:
    return [each.sealed.text for each in found.past]


def leaves(actor: Actor, day: str = "2026-03-01") -> None:
    write(
        {"kind": "person", "person": P, "name": "Rui Marrel", "roles": ["tester"], "left": day},
        actor,
        now=ms("07:00"),
    )


def test_a_note_may_go_on_the_day_its_five_years_end_and_not_the_day_before(fleet: Actor) -> None:
    """Current and five years: common practice, no source."""
    note(fleet)
    assert gone(survey(PERIODS, now=later(5, "03-01"))) == []
    assert gone(survey(PERIODS, now=later(5))) == ["clip loose"]


def test_the_day_turns_on_the_clock_of_the_site(fleet: Actor) -> None:
    note(fleet)
    night = ms("23:30", "2031-03-01")
    assert gone(survey(PERIODS, now=night)) == []
    assert gone(survey(PERIODS, zone="Asia/Tokyo", now=night)) == ["clip loose"]


def test_the_longest_of_all_periods_holds(fleet: Actor) -> None:
    """29 CFR 1910.1020(d)(1)(ii) asks for 30 years, COSHH 2002 regulation 10 for 40 where it is personal."""
    write(
        {"kind": "alarm-in-use", "detector": "detector:D-017", "channel": "H2S", "note": "at the digester"},
        fleet,
        now=ms("07:00"),
    )
    assert gone(survey(PERIODS, now=later(39))) == []
    assert gone(survey(PERIODS, now=later(40))) == ["at the digester"]


def test_calibration_is_kept_for_the_life_of_the_instrument(fleet: Actor) -> None:
    """OSHA SHIB (from memory, confidence high): for the life of each instrument."""
    write(
        {"kind": "calibration", "detector": "detector:D-017", "cylinders": ["cylinder:C-112"],
         "result": "passed", "note": "drifts",
         "channels": [{"channel": "H2S", "applied": "20", "result": "within"}]},
        fleet,
        now=ms("07:00"),
    )  # fmt: skip
    assert gone(survey(PERIODS, now=later(50))) == []
    write(
        {"kind": "out-of-service", "detector": "detector:D-017", "because": "life-ended"},
        fleet,
        now=later(3),
    )
    assert gone(survey(PERIODS, now=later(3))) == ["drifts"]


def test_a_name_is_kept_while_somebody_is_here(fleet: Actor) -> None:
    found = survey(PERIODS, now=later(60))
    assert found.left == ()
    assert gone(found) == []


def test_names_of_who_left_may_go_five_years_after(fleet: Actor) -> None:
    leaves(fleet)
    early = survey(PERIODS, now=later(5, "03-01"))
    (who,) = early.left
    assert (who.person, who.left, who.count, who.past) == (P, date(2026, 3, 1), 2, 0)
    # Not before five years after the entry either, which was written the day after they left.
    assert who.ends == date(2031, 3, 2)
    found = survey(PERIODS, now=later(5))
    assert gone(found) == ["Rui Marrel", "Rui Marrel"]
    assert found.left[0].past == 2


def test_who_comes_back_is_kept(fleet: Actor) -> None:
    leaves(fleet)
    write({"kind": "person", "person": P, "name": "Rui Marrel"}, fleet, now=later(2))
    assert gone(survey(PERIODS, now=later(20))) == []


def test_a_kind_without_a_period_is_never_past(fleet: Actor) -> None:
    write({"kind": "site", "site": "site:south", "name": "South", "site_zone": "UTC", "note": "gate 3"},
          fleet, now=ms("07:00"))  # fmt: skip
    found = survey(PERIODS, now=later(100))
    (kind,) = [each for each in found.kinds if each.kind == "site"]
    assert (kind.count, kind.past, kind.periods) == (1, 0, ())


def test_what_is_past_is_erased_in_one_go_names_under_the_person_the_rest_under_the_book(
    fleet: Actor,
) -> None:
    leaves(fleet)
    note(fleet)
    note(fleet, "this year's", later(4))
    now = later(5)
    found = survey(PERIODS, now=now)
    assert found.count == 3
    done = erase_past(found.mark, PERIODS, fleet, now=now)
    assert done.erased is not None
    assert done.erased.count == 3
    assert len(done.erased.entries) == 2
    assert {text.text for text in blobs.every_text()} == {"Ilda Fontanova", "this year's"}
    assert sealed_about(P) == ()
    kinds = [row.kind for row in book.newest(2)]
    assert kinds == ["erasure", "erasure"]
    assert survey(PERIODS, now=now).past == ()


def test_what_changed_since_it_was_looked_at_is_not_erased(fleet: Actor) -> None:
    note(fleet)
    mark = survey(PERIODS, now=later(5)).mark
    note(fleet, "another", ms("08:00"))
    with pytest.raises(EntryRefused, match="look anew"):
        erase_past(mark, PERIODS, fleet, now=later(5))
    assert len(survey(PERIODS, now=later(5)).past) == 2


def test_nothing_past_is_nothing_to_erase_and_only_a_keeper_may(fleet: Actor) -> None:
    note(fleet)
    found = survey(PERIODS, now=later(1))
    with pytest.raises(EntryRefused, match="nothing is past"):
        erase_past(found.mark, PERIODS, fleet, now=later(1))
    found = survey(PERIODS, now=later(5))
    with pytest.raises(EntryRefused, match="only a keeper"):
        erase_past(found.mark, PERIODS, Actor(P, fleet.site, fleet.zone), now=later(5))
    assert len(survey(PERIODS, now=later(5)).past) == 1


def test_a_period_that_is_switched_off_does_not_hold_and_none_is_not_the_end(fleet: Actor) -> None:
    note(fleet)
    off = tuple(
        Period(p.id, p.about, p.kinds, p.start, p.years, False, p.source, p.edition, p.known) for p in PERIODS
    )
    assert gone(survey(off, now=later(100))) == []


def test_old_lines_of_who_saw_what_go_too(fleet: Actor) -> None:
    seeing.record("person", account=3, person="person:K-1", about=P, now=ms("07:00"))
    seeing.record("person", account=3, person="person:K-1", about=P, now=later(1, "03-01"))
    found = survey(PERIODS, now=later(1, "03-01"))
    assert (found.sights, found.past) == (0, ())
    found = survey(PERIODS, now=later(1))
    assert (found.sights, found.count) == (1, 1)
    done = erase_past(found.mark, PERIODS, fleet, now=later(1))
    assert (done.erased, done.sights) == (None, 1)
    assert seeing.count() == 1
