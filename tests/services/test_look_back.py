"""Look-back: what a failed test, gas in doubt or an untrained tester puts in question; never a clearance."""

from __future__ import annotations

import json
import math
from random import Random
from typing import Any

import pytest

from pitbird.fleet.folding import lives
from pitbird.fleet.look_back import Part
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms, text_of
from pitbird.services import appending, look_back, refolding
from pitbird.services.gate import UnknownSubject, gate
from pitbird.services.knowing import Now
from pitbird.services.look_back import Looker, NothingFailed, after_failure, looked_from
from pitbird.services.look_back_decisions import decisions
from pitbird.services.look_back_doubt import AfterFailure
from pitbird.services.look_back_list import awaiting, draft
from pitbird.services.look_back_trials import after_gas, after_tester, lot_of
from pitbird.services.writing import Actor, EntryRefused, write
from pitbird.store import book
from tests.bodies import at, body, bump, entry_id, ms

D = "detector:D-017"
NEXT = "2026-03-03"


def decision(failed: str | None, **changes: Any) -> dict[str, Any]:
    """The draft of a decision."""
    made = {
        "kind": "look-back", "of": [D], "failed": failed, "book_size": 1, "assessed_by": "person:K-1",
        "outcome": "no-work-affected", "done": "Nobody entered; the permit was not used.", **changes,
    }  # fmt: skip
    return {name: value for name, value in made.items() if value is not None}


# --- The entry ----------------------------------------------------------------------------------------------


def test_a_decision_changes_no_verdict_and_is_taken_once(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    failed = write(bump(at("07:30"), missed="CO", by="person:P-07"), fleet, now=ms("07:31"))
    before = gate(now=ms("08:00"))
    written = write(decision(failed.entry_id), fleet, now=ms("07:50"))
    after = gate(now=ms("08:00"))
    assert [row.decision for row in after.rows] == [row.decision for row in before.rows]
    assert after.rows[0].state.count == before.rows[0].state.count + 1
    assert after.rows[0].state.not_understood == ()
    row = book.by_id(written.entry_id)
    assert row is not None
    assert "permit was not used" not in row.leaf


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"failed": entry_id()}, "look-back.failed"),
        ({"book_size": 9999}, "holds no more than"),
        ({"assessed_by": "person:P-99"}, "look-back.assessed_by"),
        ({"looked_to": "2026-03-09T00:00:00.000Z"}, "lies in the future"),
    ],
)
def test_a_decision_that_cannot_be_true_is_refused(fleet: Actor, changes: dict[str, Any], words: str) -> None:
    failed = write(bump(at("07:30"), missed="CO"), fleet, now=ms("07:31"))
    with pytest.raises(EntryRefused, match=words):
        write({**decision(failed.entry_id), **changes}, fleet, now=ms("08:00"))


def test_a_decision_names_a_test_of_the_detector_it_is_of(fleet: Actor) -> None:
    note = write({"kind": "note", "subject": D, "text": "x"}, fleet, now=ms("07:31"))
    with pytest.raises(EntryRefused, match="is no bump test or calibration of detector:D-017"):
        write(decision(note.entry_id), fleet, now=ms("08:00"))


# --- After a failure ----------------------------------------------------------------------------------------


def put(actor: Actor, *bodies: dict[str, Any]) -> list[str]:
    """Write bodies at their own times; their ids."""
    return [write(made, actor, now=ms(made["at"][11:16], made["at"][:10])).entry_id for made in bodies]


def out(when: str, to: str = "person:P-07", **fields: Any) -> dict[str, Any]:
    return body("handed-out", when, to=to, due_back=None, by="person:K-1", **fields)


def back(when: str) -> dict[str, Any]:
    return body("handed-back", when, back_from=None, by="person:K-1")


def gas_test(when: str, **fields: Any) -> dict[str, Any]:
    made = bump(when, by="person:P-07", **fields)
    made["applications"][0].pop("regulator", None)
    return made


@pytest.fixture
def failed(fleet: Actor) -> tuple[Actor, str]:
    """A pass at 07:00, two uses that day (08:00-11:00 and 13:00-19:00), a fail at 07:00 the next day."""
    *_, entry = put(
        fleet, gas_test(at("07:00")), out(at("08:00"), permit="PTW-1"), back(at("11:00")),
        out(at("13:00"), "person:K-1"), back(at("19:00")), gas_test(at("07:00", NEXT), missed="H2S"),
    )  # fmt: skip
    return fleet, entry


def test_every_use_between_the_last_good_test_and_the_fail_is_listed(failed: tuple[Actor, str]) -> None:
    found = after_failure(failed[1])
    (group,) = found.groups
    assert group.parts == (Part("channel", "H2S"),)
    assert group.last_good is not None
    assert (group.last_good.at, group.failed.at) == (ms("07:00"), ms("07:00", NEXT))
    told = [(each.use.wearer, each.use.where, each.use.permit, each.order) for each in group.uses]
    assert told == [
        ("person:P-07", "site:north-works", "PTW-1", 2),
        ("person:K-1", "site:north-works", "PTW-1184", 1),
    ]
    assert after_failure(D).failed.entry == failed[1]


def test_without_a_rate_only_the_order_of_chance_is_told(failed: tuple[Actor, str]) -> None:
    (group,) = after_failure(failed[1]).groups
    assert [(each.calendar, each.in_use, each.worst) for each in group.uses] == [(None, None, None)] * 2


@pytest.mark.parametrize("rate", [0.0, 0.1])
def test_with_a_rate_the_chance_is_told_on_both_clocks(failed: tuple[Actor, str], rate: float) -> None:
    """An exponential life cut to the time between the tests: (1 - exp(-rt)) / (1 - exp(-rT)), and t/T for a
    rate of 0. The uses end 4 h and 12 h into 24 h, and 3 h and 9 h into 9 h of use."""

    def share(passed: float, whole: float) -> float:
        return (
            (1 - math.exp(-rate * passed / 24)) / (1 - math.exp(-rate * whole / 24))
            if rate
            else passed / whole
        )

    (group,) = after_failure(failed[1], rate_per_day=rate).groups
    first, second = group.uses
    assert first.calendar == pytest.approx(share(4, 24), rel=1e-12)
    assert second.calendar == pytest.approx(share(12, 24), rel=1e-12)
    assert first.in_use == pytest.approx(share(3, 9), rel=1e-12)
    assert second.in_use == second.worst == 1.0


def test_a_known_event_comes_before_the_chances_from_then_on(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    drop = body("happened", at("14:00"), what="drop", by="person:K-1")
    write(drop, keeper, now=ms("08:00", NEXT))
    (group,) = after_failure(entry, rate_per_day=0.0).groups
    assert [each.what for each in group.known] == ["drop"]
    first, second = group.uses
    assert first.event is None, "it was over before the drop"
    assert second.event is not None
    assert second.event.entry == drop["id"]


@pytest.mark.parametrize(("what", "channels", "known"), [
    ("over-range", ["CH4"], False), ("over-range", ["H2S"], True), ("water", [], True),
    ("flat-battery", [], False), ("suspected-poison", [], True), ("fault", [], True),
])  # fmt: skip
def test_which_events_come_before_the_chances(
    failed: tuple[Actor, str], what: str, channels: list[str], known: bool
) -> None:
    keeper, entry = failed
    write(body("happened", at("09:00"), what=what, channels=channels), keeper, now=ms("08:00", NEXT))
    (group,) = after_failure(entry).groups
    assert [each.event is not None for each in group.uses] == [known, known]
    assert [each.what for each in group.happenings] == [what]


def test_a_pass_on_gas_that_was_in_doubt_is_not_the_last_good_one(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    quarantine = {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "suspect-contents",
                  "since": at("06:00")}  # fmt: skip
    write(quarantine, keeper, now=ms("09:00", NEXT))
    (group,) = after_failure(entry).groups
    assert group.last_good is not None
    assert group.last_good.trial == "calibration", "the calibration of 05:00 came before the doubt"
    assert [each.at for each in group.passed_over] == [ms("07:00")]


def test_a_pass_by_somebody_untrained_is_not_the_last_good_one(fleet: Actor) -> None:
    write({"kind": "person", "person": "person:P-09", "name": "Teo Branco"}, fleet, now=ms("05:30"))
    untrained = {**gas_test(at("08:00")), "by": "person:P-09"}
    _, passed, entry = put(fleet, gas_test(at("07:00")), untrained, gas_test(at("07:00", NEXT), missed="CO"))
    (group,) = after_failure(entry).groups
    assert group.last_good is not None
    assert group.last_good.at == ms("07:00")
    assert [each.entry for each in group.passed_over] == [passed]


def test_a_use_after_the_fail_is_listed_too(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    put(
        keeper,
        out(at("08:00", NEXT)),
        back(at("09:00", NEXT)),
        gas_test(at("10:00", NEXT)),
        out(at("11:00", NEXT)),
    )
    (group,) = after_failure(entry).groups
    assert [use.start for use in group.afterwards] == [ms("08:00", NEXT)]
    assert len(after_failure(entry).uses) == 3


def test_where_nothing_ever_showed_it_to_be_good_every_use_is_listed_without_a_chance(fleet: Actor) -> None:
    write(
        {**body("detector", at("05:10"), detector="detector:D-018"), "by": "person:K-1"},
        fleet,
        now=ms("05:10"),
    )
    put(fleet, out(at("06:00"), detector="detector:D-018"))
    failed = gas_test(at("07:00"), detector="detector:D-018", about=None)
    failed["applications"][0]["channels"] = [{"channel": "H2S", "reached": "no"}]
    failed["clean_air"] = []
    (entry,) = put(fleet, failed)
    (group,) = after_failure(entry, rate_per_day=0.1).groups
    assert group.last_good is None
    assert [(each.calendar, each.order) for each in group.uses] == [(None, None)]


def test_what_shows_no_failure_is_not_looked_back_from(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    passed = next(row for row in book.of_kind("bump-test"))
    with pytest.raises(NothingFailed, match="shows no failure"):
        after_failure(passed.entry_id)
    with pytest.raises(NothingFailed, match="no test and no calibration"):
        after_failure(book.of_kind("handed-out")[0].entry_id)
    with pytest.raises(UnknownSubject):
        after_failure(entry_id())
    with pytest.raises(UnknownSubject):
        after_failure("detector:D-404")
    void = {"kind": "correction", "corrects": entry, "how": "void", "reason": "another one was in the hood"}
    write(void, keeper, now=ms("08:00", NEXT))
    with pytest.raises(NothingFailed, match="voided"):
        after_failure(entry)
    with pytest.raises(NothingFailed, match="has failed no test"):
        after_failure(D)


def test_a_rate_that_is_none_is_refused(failed: tuple[Actor, str]) -> None:
    with pytest.raises(ValueError, match="must be a number from 0"):
        after_failure(failed[1], rate_per_day=-1.0)


# --- After gas in doubt, after a tester ---------------------------------------------------------------------


@pytest.fixture
def two_gases(fleet: Actor) -> Actor:
    """Tests on C-112 and, the next day, on C-113 of another lot; a hand-out after each."""
    mixture = book.of_kind("cylinder")[0]
    stands = json.loads(mixture.leaf)["body"]
    other = {**{k: v for k, v in stands.items() if k not in {"id", "about"}}, "cylinder": "cylinder:C-113"}
    write(other, fleet, now=ms("05:30"))
    second = gas_test(at("07:00", NEXT))
    second["applications"][0]["cylinder"] = "cylinder:C-113"
    del second["about"]
    put(fleet, gas_test(at("07:00")), out(at("08:00")), back(at("16:00")), second, out(at("08:00", NEXT)))
    return fleet


def test_from_a_cylinder_to_the_uses_that_rested_on_it(two_gases: Actor) -> None:
    found = after_gas(["cylinder:C-112"], since=ms("06:00"))
    assert (found.sort, found.trials) == ("gas", 1)
    (rested,) = found.rested
    assert (rested.resting.since, rested.resting.until) == (ms("07:00"), ms("07:00", NEXT))
    assert [use.start for use in rested.uses] == [ms("08:00")]
    whole = after_gas(["cylinder:C-112"])
    assert whole.trials == 2, "the calibration of 05:00 as well"
    assert whole.rested[0].resting.until is None, "nothing was calibrated anew"
    assert [use.start for use in whole.uses] == [ms("08:00"), ms("08:00", NEXT)]


def test_a_test_on_gas_that_is_in_doubt_too_ends_no_time_that_rested_on_other_gas(two_gases: Actor) -> None:
    quarantine = {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-113", "because": "recalled",
                  "since": at("06:00")}  # fmt: skip
    write(quarantine, two_gases, now=ms("09:00", NEXT))
    (rested,) = after_gas(["cylinder:C-112"], since=ms("06:00")).rested
    assert rested.resting.until is None
    assert [use.start for use in rested.uses] == [ms("08:00"), ms("08:00", NEXT)]


def test_from_a_lot_to_the_tests_on_every_cylinder_of_it(two_gases: Actor) -> None:
    assert lot_of("cylinder:C-112") == (None, ("cylinder:C-112",))
    for code in ("C-112", "C-113"):
        stands = json.loads(book.about(f"cylinder:{code}")[0].leaf)["body"]
        again = {k: v for k, v in stands.items() if k not in {"id", "about", "at"}}
        write({**again, "lot": "L-7"}, two_gases, now=ms("09:00", NEXT))
    lot, cylinders = lot_of("cylinder:C-113")
    assert (lot, cylinders) == ("L-7", ("cylinder:C-112", "cylinder:C-113"))
    found = after_gas(cylinders, since=ms("06:00"), lot=lot)
    (rested,) = found.rested
    assert (rested.resting.until, len(rested.uses)) == (None, 2)


def test_from_a_tester_to_the_uses_that_rested_on_their_tests(two_gases: Actor) -> None:
    found = after_tester("person:P-07", since=ms("06:00"), until=ms("12:00"))
    assert (found.trials, len(found.rested)) == (1, 1)
    assert found.rested[0].resting.until == ms("07:00", NEXT), "a test of theirs that is not in question"
    assert [use.start for use in found.uses] == [ms("08:00")]
    assert after_tester("person:P-07").rested[0].resting.until is None
    assert after_tester("person:K-1", since=ms("06:00")).rested == ()


def test_what_the_book_does_not_know_is_not_looked_back_from(fleet: Actor) -> None:
    with pytest.raises(UnknownSubject):
        after_gas(["cylinder:C-404"])
    with pytest.raises(UnknownSubject):
        lot_of("cylinder:C-404")
    with pytest.raises(UnknownSubject):
        after_tester("person:P-404")


# --- The working list ---------------------------------------------------------------------------------------


def test_a_failure_awaits_a_decision_until_there_is_one(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    (one,) = awaiting()
    assert (one.sort, one.subject, one.entry.entry_id, one.decision) == ("failure", D, entry, None)
    made = draft(after_failure(entry), assessed_by="person:K-1", outcome="work-affected", done="Wearer told.")
    written = write(made, keeper, now=ms("09:00", NEXT))
    assert awaiting() == ()
    assert [each.row.entry_id for each in decisions(D)] == [written.entry_id]
    assert after_failure(entry).decisions[0].body["outcome"] == "work-affected"
    void = {"kind": "correction", "corrects": written.entry_id, "how": "void", "reason": "wrong test"}
    write(void, keeper, now=ms("09:05", NEXT))
    assert [each.entry.entry_id for each in awaiting()] == [entry]


@pytest.mark.parametrize("late", ["use", "drop"])
def test_what_reaches_the_book_after_a_decision_asks_for_another(
    failed: tuple[Actor, str], late: str
) -> None:
    keeper, entry = failed
    made = draft(after_failure(entry), assessed_by="person:K-1", outcome="no-work-affected", done="Seen.")
    write(made, keeper, now=ms("09:00", NEXT))
    put(keeper, body("note", at("09:10", NEXT), subject=D, by="person:K-1"))
    assert awaiting() == ()
    told = out(at("21:00")) if late == "use" else body("happened", at("21:00"), what="drop")
    written = write(told, keeper, now=ms("09:30", NEXT))
    (one,) = awaiting()
    assert one.newer == (written.index,)
    assert one.decision is not None


def test_a_use_after_a_decision_asks_for_another_until_a_pass_that_counts(failed: tuple[Actor, str]) -> None:
    """The page lists it: the part that failed has not been shown to be good again by a test that counts."""
    keeper, entry = failed
    write({"kind": "person", "person": "person:P-09", "name": "Teo Branco"}, keeper, now=ms("08:00", NEXT))
    made = draft(after_failure(entry), assessed_by="person:K-1", outcome="no-work-affected", done="Seen.")
    write(made, keeper, now=ms("09:00", NEXT))
    (use,) = put(keeper, {**gas_test(at("10:00", NEXT)), "by": "person:P-09"}, out(at("11:00", NEXT)))[1:]
    (one,) = [each for each in awaiting() if each.sort == "failure"]
    row = book.by_id(use)
    assert row is not None
    assert (one.entry.entry_id, one.newer) == (entry, (row.index,))
    assert after_failure(entry).uses[-1].entry == use
    again = draft(after_failure(entry), assessed_by="person:K-1", outcome="no-work-affected", done="Seen.")
    write(again, keeper, now=ms("12:00", NEXT))
    put(keeper, back(at("13:00", NEXT)), gas_test(at("14:00", NEXT)), out(at("15:00", NEXT)))
    assert [each for each in awaiting() if each.sort == "failure"] == []
    good = book.at_index(row.index + 3)
    assert good is not None
    assert good.kind == "bump-test"
    void = {"kind": "correction", "corrects": good.entry_id, "how": "void", "reason": "slip"}
    write(void, keeper, now=ms("16:00", NEXT))
    assert [each.entry.entry_id for each in awaiting() if each.sort == "failure"] == [entry]


@pytest.mark.parametrize("late", ["use", "quarantine"])
def test_what_was_seen_to_be_good_again_is_looked_at_again_when_more_is_written(
    failed: tuple[Actor, str], late: str
) -> None:
    """A use that comes in late, from before the good test; its gas, which turns out to have been in doubt."""
    keeper, entry = failed
    made = draft(after_failure(entry), assessed_by="person:K-1", outcome="no-work-affected", done="Seen.")
    write(made, keeper, now=ms("09:00", NEXT))
    (_, use) = put(keeper, gas_test(at("14:00", NEXT)), out(at("15:00", NEXT)))
    assert [each for each in awaiting() if each.sort == "failure"] == []
    if late == "use":
        use = write(out(at("11:00", NEXT)), keeper, now=ms("16:00", NEXT)).entry_id
    else:
        doubt = {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "suspect-contents",
                 "since": at("12:00", NEXT)}  # fmt: skip
        write(doubt, keeper, now=ms("16:00", NEXT))
    (one,) = [each for each in awaiting() if each.sort == "failure"]
    row = book.by_id(use)
    assert row is not None
    assert (one.entry.entry_id, one.newer) == (entry, (row.index,))


def test_a_correction_of_the_last_good_test_asks_for_another_decision(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    look = after_failure(entry)
    made = draft(look, assessed_by="person:K-1", outcome="no-work-affected", done="Seen.")
    write(made, keeper, now=ms("09:00", NEXT))
    assert look.groups[0].last_good is not None
    void = {"kind": "correction", "corrects": look.groups[0].last_good.entry, "how": "void", "reason": "slip"}
    written = write(void, keeper, now=ms("09:30", NEXT))
    assert [each.newer for each in awaiting()] == [(written.index,)]


def test_a_second_fail_is_listed_only_where_it_was_used_in_between(failed: tuple[Actor, str]) -> None:
    keeper, entry = failed
    (again,) = put(keeper, gas_test(at("07:10", NEXT), missed="H2S"))
    assert [each.entry.entry_id for each in awaiting()] == [entry]
    put(keeper, out(at("08:00", NEXT)), back(at("09:00", NEXT)))
    (third,) = put(keeper, gas_test(at("10:00", NEXT), missed="H2S"))
    assert [each.entry.entry_id for each in awaiting()] == [third, entry]
    assert again not in {each.entry.entry_id for each in awaiting()}


def test_a_failure_that_was_answered_long_ago_awaits_a_decision_all_the_same(
    failed: tuple[Actor, str],
) -> None:
    keeper, entry = failed
    put(keeper, body("returned-to-service", at("09:00", NEXT), answers=[entry], tested=None, by="person:K-1"))
    assert [each.entry.entry_id for each in awaiting()] == [entry]
    assert awaiting("site:north-works") == awaiting()


def test_gas_in_doubt_awaits_a_decision_where_tests_were_made_on_it(two_gases: Actor) -> None:
    quarantine = {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "leak",
                  "since": at("12:00")}  # fmt: skip
    write(quarantine, two_gases, now=ms("09:00", NEXT))
    assert awaiting() == (), "a leak since noon, and no test since then"
    write({**quarantine, "because": "suspect-contents"}, two_gases, now=ms("09:10", NEXT))
    (one,) = awaiting()
    assert (one.sort, one.subject, one.because) == ("gas", "cylinder:C-112", "suspect-contents")
    looked = after_gas(["cylinder:C-112"])
    made = draft(looked, assessed_by="person:K-1", outcome="cannot-be-told", done="All tested anew.")
    write(made, two_gases, now=ms("09:20", NEXT))
    assert awaiting() == ()


def told(looked: AfterFailure | None) -> object:
    """All that a look-back says, but for the entries it was read from."""
    return looked and (looked.failed, looked.groups, looked.uses, looked.begins_anew, looked.newer(3))


def assert_it_tells_the_same_from_points() -> None:
    """Every failure looked back on from a fold point, as far as needed, and from all that there is."""
    whole = Looker(D)
    for failed in whole.failures:
        row = book.by_id(failed.entry)
        assert row is not None
        assert told(looked_from(row, D, 0.1)) == told(whole.at(failed.entry, 0.1))


@pytest.mark.parametrize("every", [1, 2, 3, 5])
def test_what_is_read_from_a_point_on_tells_the_same(
    fleet: Actor, every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(appending, "POINT_EVERY", every)
    monkeypatch.setattr(refolding, "POINT_EVERY", every)
    put(fleet, out(at("06:00"), permit="PTW-9"), gas_test(at("07:00")), gas_test(at("09:00"), missed="CO"),
        back(at("10:00")), gas_test(at("10:30")), out(at("11:00")))  # fmt: skip
    assert_it_tells_the_same_from_points()
    put(fleet, gas_test(at("07:00", NEXT), missed="H2S"))
    assert_it_tells_the_same_from_points()
    assert after_failure(D).uses[0].permit == "PTW-1184"


def test_reading_that_does_not_reach_says_so(fleet: Actor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(appending, "POINT_EVERY", 1)
    put(fleet, gas_test(at("07:00")), out(at("08:00")), back(at("09:00")))
    (entry,) = put(fleet, gas_test(at("10:00"), missed="H2S"))
    put(fleet, gas_test(at("12:00")))
    short = Looker(D, since=ms("09:30"), until=ms("11:00"))
    assert short.reaches(short.at(entry)) == (False, False)
    far = Looker(D, since=ms("06:30"), until=ms("12:00"))
    assert far.reaches(far.at(entry)) == (True, True)


def test_a_test_dated_ahead_of_its_recording_is_read_where_it_counts(
    fleet: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fail and a hand-out dated a month ahead count from when they were recorded, between two passes."""
    monkeypatch.setattr(appending, "POINT_EVERY", 1)
    put(fleet, gas_test(at("07:00")), gas_test(at("08:00"), missed="H2S"), out(at("08:30")))
    ahead = gas_test("2026-04-09T09:00:00.000Z", missed="H2S")
    appending.append(ahead, recorded_at=ms("09:00"))
    appending.append(out("2026-04-09T09:00:00.000Z", permit="PTW-7"), recorded_at=ms("09:10"))
    put(fleet, back(at("10:00")), body("calibration", at("11:00"), by="person:K-1"))
    put(fleet, out(at("08:00", NEXT)), back(at("09:00", NEXT)))
    put(fleet, out("2026-03-20T08:00:00.000Z"), back("2026-03-20T09:00:00.000Z"))
    assert [len(Looker(D).at(each.entry).uses) for each in Looker(D).failures] == [2, 2]  # type: ignore[union-attr]
    assert_it_tells_the_same_from_points()


@pytest.mark.parametrize("every", [1, 100])
def test_a_use_from_a_phone_that_was_behind_is_looked_back_on_from_a_point_too(
    fleet: Actor, every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Handed out at 08:00 by a clock four hours behind, which may have been at 12:00, after all the tests."""
    monkeypatch.setattr(appending, "POINT_EVERY", every)
    phone = {"device": "device:PH-01", "known_by": "pin", "contact": at("06:00"), "ahead_s": "-14400"}
    put(fleet, gas_test(at("07:00")))
    appending.append({**out(at("08:00")), "phone": phone}, recorded_at=ms("13:00"))
    put(fleet, body("fresh-air-set", at("08:30"), by="person:K-1"), gas_test(at("09:00")))
    (entry, _) = put(fleet, gas_test(at("10:00"), missed="H2S"), gas_test(at("11:00")))
    assert_it_tells_the_same_from_points()
    assert [use.start for use in after_failure(entry).uses] == [ms("08:00")]


@pytest.mark.parametrize("seed", range(12))
def test_random_histories_are_told_the_same_from_points(
    fleet: Actor, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Uses, passes, fails, events, quarantines, what reaches the book late and corrections, at random."""
    random = Random(seed)
    monkeypatch.setattr(appending, "POINT_EVERY", 4)
    monkeypatch.setattr(refolding, "POINT_EVERY", 4)
    monkeypatch.setattr(look_back, "READ_ON", random.choice([30, 200, 2000]) * 60_000)
    start, step = ms("06:00"), 17 * 60_000
    ids: list[str] = []
    for n in range(60):
        when = Ms(start + n * step)
        happened = text_of(Ms(when - random.choice([0, 0, 0, 3, 9]) * step))
        made: dict[str, Any] = random.choice([
            gas_test(happened), gas_test(happened, missed=random.choice(["CO", "H2S"])), out(happened),
            back(happened), body("happened", happened, what="drop", by="person:K-1"),
        ])  # fmt: skip
        if ids and random.random() < 0.1:
            made = {"kind": "correction", "corrects": random.choice(ids), "how": "void", "reason": "slip"}
        elif random.random() < 0.05:
            made = {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "leak",
                    "since": text_of(Ms(when - 5 * step))}  # fmt: skip
        written = write(made, fleet, now=when)
        if made["kind"] in {"bump-test", "handed-out", "handed-back"}:
            ids.append(written.entry_id)
    assert Looker(D).failures
    assert_it_tells_the_same_from_points()
    looks = [looked for each in Looker(D).failures if (looked := Looker(D).at(each.entry)) is not None]
    listed = {each.entry.entry_id for each in awaiting() if each.sort == "failure"}
    assert listed == {looked.failed.entry for looked in looks if looked.begins_anew}


def test_what_was_found_outside_stays_listed_when_the_state_forgets_the_life(
    fleet: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lives, "LIVES_KEPT", 1)
    found = {"channel": "H2S", "applied": "20", "as_found": "2", "as_left": "20", "result": "within"}
    put(fleet, gas_test(at("07:00")))
    (entry,) = put(fleet, body("calibration", at("08:00"), channels=[found], by="person:K-1"))
    put(fleet, gas_test(at("09:00")), gas_test(at("10:00")))
    state = Now().state(D)
    assert isinstance(state, DetectorState)
    assert entry not in {life.failed_by for life in state.lives}
    assert [each.entry.entry_id for each in awaiting()] == [entry]


def test_the_list_is_told_in_pieces(failed: tuple[Actor, str]) -> None:
    keeper, first = failed
    put(keeper, gas_test(at("11:00", NEXT)))
    (second,) = put(keeper, gas_test(at("12:00", NEXT), missed="CO"))
    (one,) = awaiting(limit=1)
    assert one.entry.entry_id == second
    assert [each.entry.entry_id for each in awaiting(before=one.entry.index)] == [first]
