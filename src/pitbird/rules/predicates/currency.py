"""Predicates about the counted test: how long it lasts, and what ends it sooner."""

from __future__ import annotations

from collections.abc import Callable

from pitbird.fleet.state import EVENTS_KEPT
from pitbird.fleet.times import HOUR, Ms, end_of_working_day, next_change_over
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    EVENTS,
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Bound,
    Code,
    Facts,
    Kind,
    Moment,
    Parameter,
    Scope,
    at,
    days_after,
    predicate,
)


def _lasting(moment: Moment, rule: Bound, end_of: Callable[[Ms], Ms], ended: str) -> Finding:
    """Judge the counted test by its end; ``ended`` is the code if it has come."""
    test = moment.counted
    if test is not None:
        end = end_of(test.at)
        if moment.as_of < end:
            return rule.finds("pass-in-force", (), (test.entry,), end)
    for judged in moment.unknown:
        if moment.as_of < end_of(judged.test.at):
            facts: Facts = (at("tested_at", judged.test.at),)
            return rule.finds("pass-cannot-be-judged", facts, (judged.test.entry,))
    if test is not None:
        facts = (at("tested_at", test.at), at("ended_at", end_of(test.at)))
        return rule.finds(ended, facts, (test.entry,))
    if moment.refused is not None:
        refused = moment.refused.test
        return rule.finds("no-pass-that-counts", (at("tested_at", refused.at),), (refused.entry,))
    if moment.floor is not None:
        return rule.finds("no-pass-since-failure", (at("failed_at", moment.floor),))
    return rule.finds("no-test")


_NO_TEST = {
    "pass-in-force": Code(MET),
    "no-test": Code(NOT_MET, "test"),
    "no-pass-since-failure": Code(NOT_MET, "test"),
    "no-pass-that-counts": Code(NOT_MET, "test"),
    "pass-cannot-be-judged": Code(UNKNOWN, "test"),
}


@predicate(
    "gas-test-current",
    Scope.MOMENT,
    gas_test=True,
    parameters=(
        Parameter("lasts", Kind.WORD, "how long a pass lasts", choices=("working-day", "shift", "hours")),
        Parameter(
            "hours",
            Kind.WHOLE,
            "for how many hours, where it lasts hours",
            most=8784,
            when=("lasts", "hours"),
        ),
    ),
    codes={
        **_NO_TEST,
        "pass-ended-working-day": Code(NOT_MET, "test"),
        "pass-ended-shift": Code(NOT_MET, "test"),
        "pass-ended-hours": Code(NOT_MET, "test"),
        "no-site-clock": Code(UNKNOWN, "describe-site"),
    },
)
def gas_test_current(moment: Moment, rule: Bound) -> Finding:
    """There is a counted test and it lasts: to the end of the site's working day in which it was made (from
    one first-named change-over time to the next, on local clocks), or to the next of all the site's
    change-over times (shift), or for set hours. The end itself is no longer covered."""
    lasts = rule.values["lasts"]
    if lasts == "hours":
        length = rule.values["hours"] * HOUR
        return _lasting(moment, rule, lambda instant: Ms(instant + length), "pass-ended-hours")
    zone, change_overs = moment.zone, moment.surroundings.change_overs
    if zone is None or not change_overs:
        return rule.finds("no-site-clock")
    if lasts == "shift":
        return _lasting(
            moment, rule, lambda instant: next_change_over(instant, zone, change_overs), "pass-ended-shift"
        )
    first = change_overs[0]
    return _lasting(
        moment, rule, lambda instant: end_of_working_day(instant, zone, first), "pass-ended-working-day"
    )


@predicate(
    "gas-test-within-days",
    Scope.MOMENT,
    gas_test=True,
    parameters=(Parameter("days", Kind.WHOLE, "for how many days (of 24 hours) a pass lasts", most=3660),),
    codes={**_NO_TEST, "pass-older-than-days": Code(NOT_MET, "test")},
)
def gas_test_within_days(moment: Moment, rule: Bound) -> Finding:
    """There is a counted test, and it is younger than so many days of 24 hours."""
    days = rule.values["days"]
    return _lasting(moment, rule, lambda instant: days_after(instant, days), "pass-older-than-days")


@predicate(
    "no-event-since-test",
    Scope.MOMENT,
    parameters=(Parameter("events", Kind.WORDS, "what ends a pass", choices=EVENTS),),
    codes={
        "no-event-since-test": Code(MET),
        "no-test-to-compare": Code(NOT_APPLICABLE),
        "event-since-test": Code(NOT_MET, "test"),
        "event-not-understood": Code(UNKNOWN, "test"),
        "events-no-longer-kept": Code(UNKNOWN, "test"),
    },
)
def no_event_since_test(moment: Moment, rule: Bound) -> Finding:
    """None of the named events happened at or after the time of the counted test. An event of a sort that is
    not known cannot be judged; nor can a test older than all the events that are still kept."""
    test = moment.counted
    if test is None:
        return rule.finds("no-test-to-compare")
    events = moment.detector.events
    if not events:
        return rule.finds("no-event-since-test")
    listed = rule.values["events"]
    strange = None
    for event in events:
        if test.at <= event.at <= moment.horizon:
            if event.what in listed:
                facts: Facts = (("what", event.what), at("happened_at", event.at), at("tested_at", test.at))
                return rule.finds("event-since-test", facts, (event.entry, test.entry))
            if event.what not in EVENTS:
                strange = event
    if strange is not None:
        facts = (("what", strange.what), at("happened_at", strange.at))
        return rule.finds("event-not-understood", facts, (strange.entry,))
    if len(events) >= EVENTS_KEPT and min(event.at for event in events) >= test.at:
        return rule.finds("events-no-longer-kept", (at("tested_at", test.at),))
    return rule.finds("no-event-since-test")


@predicate(
    "nothing-lost-since-test",
    Scope.MOMENT,
    codes={
        "nothing-lost": Code(MET),
        "no-test-to-compare": Code(NOT_APPLICABLE),
        "book-restored-since-test": Code(NOT_MET, "test"),
    },
)
def nothing_lost_since_test(moment: Moment, rule: Bound) -> Finding:
    """The counted test was made after the book was last found to lack entries that others know, having been
    restored from an older copy. What was lost may be a failed test, a drop or a fault."""
    test, lost = moment.counted, moment.surroundings.lost_before
    if lost is None:
        return rule.finds("nothing-lost")
    if test is None:
        return rule.finds("no-test-to-compare")
    if test.at <= lost:
        facts: Facts = (at("restored_at", lost), at("tested_at", test.at))
        return rule.finds("book-restored-since-test", facts, (test.entry,))
    return rule.finds("nothing-lost")


@predicate(
    "tested-since-hand-over",
    Scope.MOMENT,
    codes={
        "no-hand-over-since-test": Code(MET),
        "no-test-to-compare": Code(NOT_APPLICABLE),
        "handed-over-since-test": Code(NOT_MET, "test"),
        "held-by-another": Code(NOT_MET, "hand-over"),
    },
)
def tested_since_hand_over(moment: Moment, rule: Bound) -> Finding:
    """The counted test was made after the latest hand-over from wearer to wearer. Being issued from the store
    after a rack test is no such hand-over. Where a wearer is asked for, nobody else holds the detector."""
    test, custody = moment.counted, moment.detector.custody
    if custody is not None and custody.since <= moment.horizon:
        holder, wearer = custody.holder, moment.wearer
        if wearer is not None and holder is not None and holder != wearer:
            return rule.finds("held-by-another", (("holder", holder), ("wearer", wearer)), (custody.entry,))
    if test is None:
        return rule.finds("no-test-to-compare")
    handed = custody.handed_over_at if custody is not None else None
    if custody is not None and handed is not None and test.at <= handed <= moment.horizon:
        facts: Facts = (at("handed_over_at", handed), at("tested_at", test.at))
        return rule.finds("handed-over-since-test", facts, (custody.entry, test.entry))
    return rule.finds("no-hand-over-since-test")


def last_use(moment: Moment) -> tuple[Ms, str] | None:
    """When the detector last came back from use, or alarmed in it, and by which entry. None: no use is
    entered."""
    uses = [
        (event.at, event.entry)
        for event in moment.detector.events
        if event.what == "alarm-in-use" and event.at <= moment.horizon
    ]
    custody = moment.detector.custody
    if custody is not None and custody.since <= moment.horizon:
        uses.append((custody.since, custody.entry))
    return max(uses) if uses else None


def in_use(moment: Moment, rule: Bound) -> Finding | None:
    """The finding that somebody has the detector, if so."""
    custody = moment.detector.custody
    if custody is None or custody.holder is None or custody.since > moment.horizon:
        return None
    facts: Facts = (("holder", custody.holder), at("since_at", custody.since))
    return rule.finds("in-use", facts, (custody.entry,))


@predicate(
    "tested-since-use",
    Scope.MOMENT,
    codes={
        "tested-since-use": Code(MET),
        "no-test-to-compare": Code(NOT_APPLICABLE),
        "in-use": Code(NOT_MET, "hand-back-and-test"),
        "used-since-test": Code(NOT_MET, "test"),
        "events-no-longer-kept": Code(UNKNOWN, "test"),
    },
)
def tested_since_use(moment: Moment, rule: Bound) -> Finding:
    """The counted test was made after the detector last came back from use. While somebody has it, it is in
    use and is tested when it comes back; an alarm in use is use as well. Uses are known only as far as they
    are entered, as handed out and handed back."""
    if found := in_use(moment, rule):
        return found
    test, used = moment.counted, last_use(moment)
    if test is None:
        return rule.finds("no-test-to-compare")
    if used is not None and test.at <= used[0]:
        facts: Facts = (at("back_at", used[0]), at("tested_at", test.at))
        return rule.finds("used-since-test", facts, (used[1], test.entry))
    events = moment.detector.events
    if len(events) >= EVENTS_KEPT and min(event.at for event in events) >= test.at:
        return rule.finds("events-no-longer-kept", (at("tested_at", test.at),))
    return rule.finds("tested-since-use", (), (test.entry,))
