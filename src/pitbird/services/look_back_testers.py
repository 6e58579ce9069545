"""Tests whose tester, as the book now knows, was not trained at the time, where the site rules ask for it.

The rules' own words decide: a rule ``tester-trained`` that stops, in force at the test. It is asked of the
site where the test was made and of the detector's present home; one that refuses is enough.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import msgspec

from pitbird.fleet.folding import items
from pitbird.fleet.folding.detector import test_fact
from pitbird.fleet.folding.item import Item, item_instead, item_of
from pitbird.fleet.folding.others import TRAININGS_KEPT, training_fact
from pitbird.fleet.state import DetectorState, PersonState, SiteState, TrainingFact
from pitbird.fleet.times import DAY, Ms, ms_of
from pitbird.rules.deciding import against_tester, tester_topics
from pitbird.rules.decision import Finding, Surroundings
from pitbird.services.gate import Around
from pitbird.services.knowing import Now
from pitbird.services.look_back_decisions import Decision
from pitbird.services.quick import QUICK
from pitbird.services.refolding import earliest_touched, entries_about
from pitbird.store import book
from pitbird.store.models import Entry, Mention

ALWAYS: Final = Ms(2**62)


@dataclass(frozen=True)
class UntrainedTest:
    """A passed test that a rule in force refuses for its tester; ``told`` is the place of the entry that says
    so last: the test or its correction."""

    person: str
    detector: str
    row: book.Row
    at: Ms
    sites: frozenset[str]
    finding: Finding
    told: int


def untrained_tests(person: str | None = None) -> tuple[UntrainedTest, ...]:
    """Every such test (of one person), by person and time.

    Only tests made while a person's training does not surely hold are read, found by an index; each is then
    judged as the gate judges it.
    """
    judge = _Judge()
    if not judge.topics:
        return ()
    found: list[UntrainedTest] = []
    corrections = _corrections()
    for state in judge.people.values():
        if person is None or state.subject == person:
            rows = {row.entry_id: row for row in _candidates(state, judge.topics)}
            rows |= {each.original.entry_id: each.original for each in corrections.values() if each.by(state)}
            told = (judge(state.subject, row, corrections.get(row.entry_id)) for row in rows.values())
            found += sorted((each for each in told if each is not None), key=lambda each: each.at)
    return tuple(found)


def awaiting_of(
    tests: Iterable[UntrainedTest], made: Iterable[Decision]
) -> tuple[list[UntrainedTest], Decision | None, tuple[int, ...]]:
    """Of one person's tests those about which nobody has decided, or not since more was told that bears on
    them; the newest decision about the person, and the places of what came after it."""
    listed = list(tests)
    of_person = [each for each in made if listed and listed[0].person in each.body["of"]]
    bearing = {each.row.entry_id: list(_bearing(listed[0].person, each.book_size)) for each in of_person}
    open_ones: list[UntrainedTest] = []
    newer: set[int] = set()
    for test in listed:
        if any(_covers(each, test, bearing[each.row.entry_id]) for each in of_person):
            continue
        open_ones.append(test)
        if of_person:
            size = of_person[0].book_size
            newer |= {index for index, since in bearing[of_person[0].row.entry_id] if since <= test.at}
            newer |= {test.told} if test.told >= size else set()
    return open_ones, of_person[0] if of_person else None, tuple(sorted(newer))


def _covers(decision: Decision, test: UntrainedTest, bearing: list[tuple[int, Ms]]) -> bool:
    body = decision.body
    since = ms_of(body["looked_from"]) if "looked_from" in body else None
    until = ms_of(body["looked_to"]) if "looked_to" in body else None
    looked_at = (since is None or since <= test.at) and (until is None or test.at < until)
    return looked_at and test.told < decision.book_size and not any(at <= test.at for _, at in bearing)


def _bearing(person: str, size: int) -> Iterator[tuple[int, Ms]]:
    """What was told about a person's training from a place in the book on, and from when on it bears."""
    places = Mention.objects.filter(subject=person, index__gte=size).values("index")
    rows = Entry.objects.filter(index__in=places, kind__in=("training", "person", "correction"))
    for found in rows.values_list(*book.Row.__struct_fields__):
        row = book.row_of(found)
        leaf = QUICK.decode(row.leaf)
        if row.kind == "person":
            if "left" in leaf["body"]:
                yield row.index, Ms(-ALWAYS)
        else:
            yield row.index, earliest_touched(leaf["body"], leaf["recorded_at"])


# --- Finding them


class _Judge:
    """What the site rules ask of testers, with the people as they are known, all their trainings included."""

    def __init__(self) -> None:
        known = Now()
        self.people = {state.subject: _in_full(state) for state in known.all_of(PersonState)}
        self._homes = {state.subject: state.site for state in known.all_of(DetectorState)}
        around = Around(known)
        self._places: dict[str, Surroundings] = {}
        for site in known.all_of(SiteState):
            surroundings = around.at(site.subject)
            if tester_topics(surroundings):
                self._places[site.subject] = replace(surroundings, people=self.people)
        #: The trainings that some rule asks for.
        self.topics = {topic for each in self._places.values() for topic in tester_topics(each)}

    def __call__(self, person: str, row: book.Row, corrected: _Corrected | None) -> UntrainedTest | None:
        item = corrected.item if corrected is not None else _item(row)
        if item is None or item.kind != "bump-test" or item.body["by"] != person:
            return None
        fact = test_fact(item, item.body["outcome"])
        if fact.outcome != "passed" or not fact.counts:
            return None
        sites = [site for site in (fact.site, self._homes.get(item.body["detector"])) if site is not None]
        for site in dict.fromkeys(sites):
            finding = against_tester(fact, self._places[site]) if site in self._places else None
            if finding is not None:
                told = corrected.index if corrected is not None else row.index
                detector = item.body["detector"]
                return UntrainedTest(person, detector, row, fact.at, frozenset(sites), finding, told)
        return None


def _item(row: book.Row) -> Item:
    leaf = QUICK.decode(row.leaf)
    return item_of(row.index, leaf["body"], leaf["recorded_at"])


@dataclass(frozen=True)
class _Corrected:
    """What the last correction of a bump test says; ``item`` is None where it voids it."""

    index: int
    original: book.Row
    item: Item | None

    def by(self, person: PersonState) -> bool:
        return self.item is not None and self.item.body["by"] == person.subject


def _corrections() -> Mapping[str, _Corrected]:
    """The last correction of each bump test that was corrected, by the test's id."""
    last: dict[str, tuple[book.Row, dict[str, Any]]] = {}
    for row in book.of_kind("correction"):
        leaf = QUICK.decode(row.leaf)
        last[leaf["body"]["corrects"]] = (row, leaf)
    found = {}
    for corrected, (row, leaf) in last.items():
        original = book.by_id(corrected)
        if original is None or original.kind != "bump-test":
            continue
        said = QUICK.decode(original.leaf)
        item = None
        if leaf["body"].get("replacement") is not None:
            before = (said["body"], said["recorded_at"])
            item = item_instead(original.index, leaf["body"], leaf["recorded_at"], before)
        found[corrected] = _Corrected(row.index, original, item)
    return found


def _in_full(state: PersonState) -> PersonState:
    """The person with every training that ever counted, where the state holds only the newest of them."""
    if len(state.trainings) < TRAININGS_KEPT:
        return state
    told = (item for item in items(state.subject, entries_about(state.subject)) if item.kind == "training")
    return msgspec.structs.replace(
        state, trainings=tuple(training_fact(item) for item in told if item.counts)
    )


def _candidates(person: PersonState, topics: Iterable[str]) -> Iterator[book.Row]:
    for topic in topics:
        for since, until in _not_surely(person, topic):
            yield from book.tests_by(person.subject, since, until)


def _not_surely(person: PersonState, topic: str) -> Iterator[tuple[Ms, Ms]]:
    """The times outside which a person's training in a topic surely holds, whatever the site's clock: a day
    is left to each side, so that a test that began before its entry's time is among them."""
    since = Ms(-ALWAYS)
    if person.described_by is not None and not person.not_understood:
        trainings = sorted(
            (each for each in person.trainings if each.topic == topic),
            key=lambda each: (each.at, not each.passed),
        )
        for place, each in enumerate(trainings):
            following = trainings[place + 1].at if place + 1 < len(trainings) else ALWAYS
            holds_from, holds_to = Ms(each.at + DAY), min(following, _surely_until(person, each))
            if each.passed and holds_from < holds_to:
                yield since, holds_from
                since = holds_to
    if since < ALWAYS:
        yield since, ALWAYS


def _surely_until(person: PersonState, training: TrainingFact) -> Ms:
    """The day before the last on which a training holds begins; at once where the day cannot be read."""
    days = [day for day in (training.until, person.left) if day is not None]
    try:
        return min((Ms(ms_of(f"{day}T00:00:00.000Z") - DAY) for day in days), default=ALWAYS)
    except ValueError:
        return Ms(-ALWAYS)
