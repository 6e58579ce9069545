"""The record of one bump test, as a paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pitbird.fleet import bump
from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState
from pitbird.fleet.times import Ms, local, ms_of
from pitbird.papers.bump_test import BumpTest, Gas, sheet
from pitbird.papers.reading import Reader, Written, code, topic_words, word
from pitbird.services.knowing import Now, Then
from pitbird.services.papers import making
from pitbird.services.papers.making import Made, NoSuchPaper, Order


def bump_test(index: int, order: Order) -> Made:
    """The record of the bump test at a place of the book. Raises PaperRefused."""
    order = order.checked()
    entry = making.entry_of_kind(index, "bump-test")
    now = Now().state(entry.body["detector"])
    then = Then(below=index + 1).state(entry.body["detector"])
    if not isinstance(then, DetectorState) or not isinstance(now, DetectorState):
        raise NoSuchPaper(f"entry: the detector of entry {index} is not known to the book")
    read = making.reader(order, entry.zone, [entry], subjects=subjects_of(then, now))
    told = BumpTest(
        entry=entry,
        detector=then,
        gas=_gas(entry, read),
        **_outcomes(then, entry),
        trained=trained(entry.body["by"], "bump-test", entry.at, entry.zone, read),
        in_doubt=entry.entry_id in now.doubtful or _left_out(now, entry),
        loud=making.loud_of(now, order.made_at, making.zone_of(now.site)),
    )
    stands = making.standing(order, entry.leaf(read.book))
    return making.printed(f"bump-test-{index}", sheet(told, read, stands), order)


def subjects_of(then: DetectorState, now: DetectorState) -> list[str]:
    """The people and sites that the states of a detector name."""
    issue = now.untested
    return [*((then.site,) if then.site else ()), *((issue.to, issue.authority) if issue else ())]


def _left_out(now: DetectorState, entry: Written) -> bool:
    return any(test.entry == entry.entry_id and not test.counts for test in now.tests)


def _outcomes(then: DetectorState, entry: Written) -> dict[str, Any]:
    """What the facts amount to, and those that stand instead of them."""
    plan, counts = bump.plan(then), entry.counts
    instead = ""
    same = counts is not None and counts.get("detector") == entry.body["detector"]
    if entry.corrections and counts is not None and counts["kind"] == "bump-test" and same:
        instead = bump.settle(plan, counts)
    amounts_to = bump.settle(plan, entry.body)
    reasons = bump.outcome(plan, entry.body)[1]
    reported = entry.body.get("footing") == "reported"
    return {"amounts_to": amounts_to, "counts_to": instead, "reasons": () if reported else reasons}


def _gas(entry: Written, read: Reader) -> dict[str, Gas]:
    found = {}
    for body in (entry.body, entry.counts or {}):
        for application in body.get("applications", ()):
            state = Now().state(application["cylinder"])
            if isinstance(state, CylinderState):
                found[state.subject] = Gas(
                    state,
                    regulator=_regulator(application.get("regulator"), read),
                    traceable_to=str(making.described(state).get("traceable_to") or ""),
                    quarantined=quarantined(state, ms_of(application["gas_on"]), read),
                )
    return found


def _regulator(subject: str | None, read: Reader) -> str:
    state = Now().state(subject) if subject else None
    if subject is None or not isinstance(state, OtherState):
        return code(subject)
    described: Mapping[str, str] = state.description
    flow = f", {read.number(described['flow_l_min'])} l/min" if described.get("flow_l_min") else ""
    return f"{code(subject)}, {described.get('flow', 'flow not described')}{flow}"


def quarantined(state: CylinderState, at: Ms, read: Reader) -> str:
    """The quarantine in which a cylinder was at a moment, in words; empty for none."""
    span = state.withdrawn_at(at)
    return f"Since {read.moment(span.since)}: {word(span.because or 'not stated')}." if span else ""


def trained(person: str, topic: str, at: Ms, zone: str, read: Reader) -> str:
    """Whether somebody's training in a topic held at a moment, as the book knows it now."""
    state, what = Now().state(person), f"training in {topic_words(topic)}"
    day = local(at, zone).date().isoformat()
    trainings = state.trainings if isinstance(state, PersonState) else ()
    # Newest first: the one before that moment decides.
    fact = next((each for each in trainings if each.topic == topic and each.at <= at), None)
    if fact is None:
        return f"NO {what} on record then"
    if not fact.passed:
        return f"did NOT pass the last {what} before then"
    if fact.until is not None and fact.until < day:
        return f"{what} had LAPSED on {read.day(fact.until)}"
    return f"{what} held ({f'until {read.day(fact.until)}' if fact.until else 'without an end'})"
