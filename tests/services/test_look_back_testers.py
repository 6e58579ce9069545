"""Tests by somebody who was not trained, as the book now knows: listed by themselves, as the gate judges."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest
from msgspec.structs import replace

from pitbird.fleet.folding import items, trace
from pitbird.fleet.state import DetectorState, PersonState
from pitbird.fleet.times import DAY, HOUR, Ms, text_of
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Outcome
from pitbird.services.beginning import Beginning, begin_book
from pitbird.services.gate import Around, gate_one
from pitbird.services.knowing import Now
from pitbird.services.look_back_list import Awaiting, awaiting, draft
from pitbird.services.look_back_testers import untrained_tests
from pitbird.services.look_back_trials import after_tester
from pitbird.services.refolding import entries_about
from pitbird.services.writing import Actor, write
from pitbird.store import book
from tests.bodies import at, body, detector, ms
from tests.services.test_look_back import NEXT, D, back, gas_test, out, put

P7, P9 = "person:P-07", "person:P-09"
LATER = ms("20:00", NEXT)


def passed_by(person: str, when: str, **fields: Any) -> dict[str, Any]:
    return {**gas_test(when, **fields), "by": person}


def listed_people() -> list[Awaiting]:
    return [each for each in awaiting() if each.sort == "tester"]


def training(person: str, until: str | None, when: str, **fields: Any) -> dict[str, Any]:
    return body(
        "training",
        when,
        person=person,
        topic="bump-test",
        valid_until=until,
        trainer=None,
        by="person:K-1",
        **fields,
    )


@pytest.fixture
def untrained(fleet: Actor) -> tuple[Actor, str]:
    """P-09, of whom no training is known, passes a test at 07:00; a use until 16:00; P-07 tests next."""
    write({"kind": "person", "person": P9, "name": "Teo Branco"}, fleet, now=ms("05:30"))
    passed, *_ = put(fleet, passed_by(P9, at("07:00")), out(at("08:00"), permit="PTW-3"), back(at("16:00")),
                     passed_by(P7, at("07:00", NEXT)))  # fmt: skip
    return fleet, passed


def test_a_trained_tester_raises_nothing(fleet: Actor) -> None:
    put(fleet, passed_by(P7, at("07:00")), out(at("08:00")))
    assert awaiting() == ()


def test_an_untrained_tester_is_listed_with_what_rested_on_the_test(untrained: tuple[Actor, str]) -> None:
    (item,) = listed_people()
    assert (item.subject, item.because, item.entry.entry_id) == (P9, "never-trained", untrained[1])
    assert (item.decision, item.newer, item.look) == (None, (), None)
    assert awaiting("site:north-works") == awaiting()
    assert not [each for each in awaiting(people=False) if each.sort == "tester"]
    looked = after_tester(P9, untrained=True)
    assert [(use.start, use.permit) for use in looked.uses] == [(ms("08:00"), "PTW-3")]
    assert [(rest.resting.since, rest.resting.until) for rest in looked.rested] == [
        (ms("07:00"), ms("07:00", NEXT))
    ]


def test_a_decision_takes_it_off_the_list_until_there_is_another_test(untrained: tuple[Actor, str]) -> None:
    keeper, _ = untrained
    made = draft(
        after_tester(P9, untrained=True), assessed_by="person:K-1", outcome="work-affected", done="x"
    )
    decision = write(made, keeper, now=ms("09:00", NEXT))
    assert listed_people() == []
    (again,) = put(keeper, passed_by(P9, at("10:00", NEXT)))
    (item,) = listed_people()
    assert [test.row.entry_id for test in item.tests] == [again]
    assert item.decision is not None
    assert item.decision.row.entry_id == decision.entry_id
    assert item.newer == (item.entry.index,)


def test_a_decision_about_other_days_decides_nothing(untrained: tuple[Actor, str]) -> None:
    keeper, passed = untrained
    looked = after_tester(P9, since=ms("12:00"), untrained=True)
    assert looked.untrained == ()
    write(draft(looked, assessed_by="person:K-1", outcome="no-work-affected", done="x"), keeper, now=LATER)
    assert [item.entry.entry_id for item in listed_people()] == [passed]


def test_a_training_that_is_voided_later_raises_an_item_also_after_a_decision(fleet: Actor) -> None:
    (lapse,) = put(fleet, training(P7, "2028-01-01", at("06:00")))
    put(fleet, passed_by(P7, at("07:00")), out(at("08:00")))
    assert listed_people() == []
    first = next(row for row in book.of_kind("training") if P7 in row.leaf)
    void = {"kind": "correction", "how": "void", "reason": "another one was taught"}
    write({**void, "corrects": lapse}, fleet, now=ms("09:00"))
    assert listed_people() == [], "the earlier training holds"
    last = write({**void, "corrects": first.entry_id}, fleet, now=ms("09:30"))
    (item,) = listed_people()
    assert (item.subject, item.because) == (P7, "never-trained")
    assert not gate_one(D, now=ms("10:00")).decision.test
    made = draft(
        after_tester(P7), assessed_by="person:K-1", outcome="no-work-affected", done="x", book_size=last.index
    )
    write(made, fleet, now=ms("10:00"))
    (again,) = listed_people()
    assert again.newer == (last.index,), "the decision was made before that was known"
    write({**made, "book_size": book.head().size}, fleet, now=ms("10:10"))
    assert listed_people() == []


@pytest.mark.parametrize(("until", "because"), [("2026-03-01", "training-run-out"), ("2026-03-02", "")])
def test_a_training_holds_through_its_last_day(fleet: Actor, until: str, because: str) -> None:
    write({"kind": "person", "person": P9, "name": "Teo Branco"}, fleet, now=ms("05:30"))
    put(fleet, training(P9, until, at("06:00")), passed_by(P9, at("23:30")))
    assert [item.because for item in listed_people()] == ([because] if because else [])


def test_a_training_told_late_takes_the_item_away(untrained: tuple[Actor, str]) -> None:
    write(training(P9, None, at("06:30")), untrained[0], now=LATER)
    assert listed_people() == []


def test_who_tested_is_told_by_the_correction(untrained: tuple[Actor, str]) -> None:
    keeper, passed = untrained
    row = book.by_id(passed)
    assert row is not None
    instead = {**passed_by(P9, at("07:00")), "id": passed, "by": P7}
    fix = {
        "kind": "correction",
        "corrects": passed,
        "how": "replace",
        "reason": "slip",
        "replacement": instead,
    }
    write(fix, keeper, now=ms("09:00", NEXT))
    assert listed_people() == []
    other = next(row for row in book.of_kind("bump-test") if row.by == P7)
    instead = {**passed_by(P9, at("07:00", NEXT)), "id": other.entry_id}
    write({**fix, "corrects": other.entry_id, "replacement": instead}, keeper, now=ms("09:10", NEXT))
    assert [item.entry.entry_id for item in listed_people()] == [other.entry_id]
    void = {"kind": "correction", "corrects": other.entry_id, "how": "void", "reason": "slip"}
    write(void, keeper, now=ms("09:20", NEXT))
    assert listed_people() == []


def test_failed_and_spoiled_tests_show_nothing_good_and_are_not_listed(fleet: Actor) -> None:
    write({"kind": "person", "person": P9, "name": "Teo Branco"}, fleet, now=ms("05:30"))
    put(fleet, passed_by(P9, at("07:00"), missed="CO"),
        passed_by(P9, at("07:10"), outcome="spoiled", spoiled_because="hood-slipped"))  # fmt: skip
    assert listed_people() == []


def test_a_training_that_the_state_no_longer_holds_is_still_known(fleet: Actor) -> None:
    write({"kind": "person", "person": P9, "name": "Teo Branco"}, fleet, now=ms("05:30"))
    put(fleet, training(P9, "2026-03-02", at("06:00")), passed_by(P9, at("07:00")))
    for n in range(30):
        write(training(P9, "2026-03-03", text_of(Ms(ms("01:00", NEXT) + n * 60_000))), fleet, now=LATER)
    state = Now().state(P9)
    assert isinstance(state, PersonState)
    assert min(each.at for each in state.trainings) > ms("07:00")
    assert listed_people() == []


@pytest.mark.parametrize(("shipped", "listed"), [("strict", True), ("us", False)])
def test_only_a_rule_that_stops_raises_an_item(db: None, shipped: str, listed: bool) -> None:
    """As the gate: where the rule only warns, the pass counts for all that is known of its tester."""
    keeper = begin_book(
        Beginning(
            "Detectors", "north-works", "North works", "Europe/Lisbon", "K-1", "Ilda Fontanova", shipped
        ),
        now=ms("04:30"),
    )
    write({"kind": "person", "person": P9, "name": "Teo Branco"}, keeper, now=ms("05:00"))
    write({**detector(), "by": "person:K-1"}, keeper, now=ms("05:00"))
    write(body("cylinder", at("05:00"), by="person:K-1"), keeper, now=ms("05:00"))
    write(passed_by(P9, at("07:00")), keeper, now=ms("07:00"))
    assert bool(listed_people()) is listed


def told_by_the_gate() -> set[str]:
    """The plain way: every passed test of the detector, judged by the gate as its newest and only test."""
    found = set()
    around = Around(Now())
    listed = list(entries_about(D))
    for item, state in zip(items(D, listed), trace(D, listed), strict=True):
        assert isinstance(state, DetectorState)
        if item.kind != "bump-test" or state.tests[0].outcome != "passed" or not state.tests[0].counts:
            continue
        alone = replace(state, tests=state.tests[:1], last_failure=None, open_reasons=())
        told = decide(alone, around.of(alone), as_of=state.tests[0].at)
        if any(
            each.predicate == "tester-trained"
            and each.strength == "stops"
            and each.outcome is not Outcome.MET
            for each in told.findings
        ):
            found.add(item.id)
    return found


@pytest.mark.parametrize("seed", range(8))
def test_random_books_list_what_the_gate_refuses(fleet: Actor, seed: int) -> None:
    random = Random(seed)
    people = [P7, P9, "person:K-1"]
    write({"kind": "person", "person": P9, "name": "Teo Branco"}, fleet, now=ms("05:30"))
    ids: list[str] = []
    for n in range(70):
        when = Ms(ms("06:00") + n * 7 * HOUR)
        happened = text_of(Ms(when - random.choice([0, 0, 5, 40]) * HOUR))
        who = random.choice(people)
        made: dict[str, Any] = random.choice([
            passed_by(who, happened), passed_by(who, happened), passed_by(who, happened, missed="CO"),
            training(who, text_of(Ms(when + random.randrange(-2, 9) * DAY))[:10], happened),
            training(who, None, happened, result="failed"),
            body("person", happened, person=who, home="site:north-works", by="person:K-1",
                 left=random.choice([None, text_of(when)[:10]])),
        ])  # fmt: skip
        if ids and random.random() < 0.15:
            made = {"kind": "correction", "corrects": random.choice(ids), "how": "void", "reason": "slip"}
        written = write(made, fleet, now=when)
        if made["kind"] in {"bump-test", "training"}:
            ids.append(written.entry_id)
        if n % 10 == 9:
            assert {each.row.entry_id for each in untrained_tests()} == told_by_the_gate()
    assert told_by_the_gate()
