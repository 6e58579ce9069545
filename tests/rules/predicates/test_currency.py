"""How long a pass lasts, and what ends it sooner."""

from __future__ import annotations

import pytest

from pitbird.fleet.state import EVENTS_KEPT, Custody, DetectorState
from pitbird.rules.decision import Verdict
from pitbird.rules.predicates.base import EVENTS
from tests.rules.builders import (
    DAILY,
    around,
    ask,
    custody,
    detector,
    event,
    found,
    rule,
    rule_set,
    t,
    test_fact,
)


def _tested(at: str) -> DetectorState:
    return detector(tests=(test_fact(at),))


# "A pass covers that day only": common practice, no source. The hour of change-over is the site's own.
@pytest.mark.parametrize(
    ("tested", "asked", "verdict"),
    [
        ("2026-03-02 06:41", "2026-03-02 06:41", Verdict.MAY_GO_OUT),
        ("2026-03-02 06:41", "2026-03-03 03:59", Verdict.MAY_GO_OUT),
        ("2026-03-02 06:41", "2026-03-03 04:00", Verdict.NOT_YET),
        ("2026-03-02 23:30", "2026-03-03 03:00", Verdict.MAY_GO_OUT),
        ("2026-03-02 03:59", "2026-03-02 04:00", Verdict.NOT_YET),
        ("2026-03-02 04:00", "2026-03-03 03:59", Verdict.MAY_GO_OUT),
    ],
)
def test_a_pass_covers_the_working_day_from_change_over_to_change_over(
    tested: str, asked: str, verdict: Verdict
) -> None:
    assert ask(_tested(tested), around(rule_set(DAILY)), at=asked).verdict is verdict


# Lisbon, 29 March 2026: clocks go from 01:00 to 02:00, so that 04:00 on that day is 03:00 UTC.
@pytest.mark.parametrize(
    ("asked", "verdict"), [("2026-03-29 02:59", Verdict.MAY_GO_OUT), ("2026-03-29 03:00", Verdict.NOT_YET)]
)
def test_the_working_day_follows_the_sites_clock_into_summer_time(asked: str, verdict: Verdict) -> None:
    assert ask(_tested("2026-03-28 20:00"), around(rule_set(DAILY)), at=asked).verdict is verdict


@pytest.mark.parametrize(
    ("asked", "verdict"),
    [("2026-03-02 13:59", Verdict.MAY_GO_OUT), ("2026-03-02 14:00", Verdict.NOT_YET)],
)
def test_a_shift_ends_at_the_next_of_the_sites_change_overs(asked: str, verdict: Verdict) -> None:
    surroundings = around(
        rule_set(rule("gas-test-current", lasts="shift")), change_overs=("06:00", "14:00", "22:00")
    )
    decision = ask(_tested("2026-03-02 06:41"), surroundings, at=asked)
    assert decision.verdict is verdict


def test_a_working_day_goes_by_the_first_change_over_named() -> None:
    surroundings = around(rule_set(DAILY), change_overs=("06:00", "14:00", "22:00"))
    assert ask(_tested("2026-03-02 06:41"), surroundings).until == t("2026-03-03 06:00")


def test_a_pass_may_last_set_hours() -> None:
    surroundings = around(rule_set(rule("gas-test-current", lasts="hours", hours=12)))
    state = _tested("2026-03-02 06:41")
    assert ask(state, surroundings).until == t("2026-03-02 18:41")
    late = ask(state, surroundings, at="2026-03-02 18:41")
    assert found(late, "gas-test-current").code == "pass-ended-hours"


# "At the latest every 30 days, even if unused": common practice, no source.
@pytest.mark.parametrize(
    ("asked", "verdict"),
    [("2026-04-01 06:40", Verdict.MAY_GO_OUT), ("2026-04-01 06:41", Verdict.NOT_YET)],
)
def test_thirty_days_are_thirty_times_twenty_four_hours(asked: str, verdict: Verdict) -> None:
    surroundings = around(rule_set(rule("gas-test-within-days", days=30)))
    assert ask(_tested("2026-03-02 06:41"), surroundings, at=asked).verdict is verdict


# --- events ------------------------------------------------------------

ALL_EVENTS = around(rule_set(DAILY, rule("no-event-since-test", events=list(EVENTS))))
ONLY_DROPS = around(rule_set(DAILY, rule("no-event-since-test", events=["drop"])))


@pytest.mark.parametrize("what", EVENTS)
def test_every_event_that_the_rules_list_ends_a_pass(what: str) -> None:
    decision = ask(detector(events=(event(what, "2026-03-02 07:00"),)), ALL_EVENTS)
    finding = found(decision, "no-event-since-test")
    assert (decision.verdict, finding.code) == (Verdict.NOT_YET, "event-since-test")
    assert finding.entries == ("event-1", "test-1")


@pytest.mark.parametrize(
    ("happened", "verdict"),
    [
        ("2026-03-02 06:40", Verdict.MAY_GO_OUT),
        ("2026-03-02 06:41", Verdict.NOT_YET),
        ("2026-03-02 09:00", Verdict.NOT_YET),
        ("2026-03-02 09:02", Verdict.NOT_YET),  # a clock may run ahead by two minutes
        ("2026-03-02 09:03", Verdict.MAY_GO_OUT),
    ],
)
def test_only_events_from_the_test_to_the_moment_count_and_the_same_time_ends_it(
    happened: str, verdict: Verdict
) -> None:
    assert ask(detector(events=(event("drop", happened),)), ONLY_DROPS).verdict is verdict


def test_an_event_that_the_rules_do_not_list_ends_nothing() -> None:
    assert (
        ask(detector(events=(event("water", "2026-03-02 07:00"),)), ONLY_DROPS).verdict is Verdict.MAY_GO_OUT
    )


def test_an_event_of_an_unknown_sort_cannot_be_judged() -> None:
    decision = ask(detector(events=(event("struck-by-lightning", "2026-03-02 07:00"),)), ONLY_DROPS)
    assert decision.verdict is Verdict.CANNOT_TELL


def test_a_full_list_of_events_since_the_test_may_have_lost_one() -> None:
    events = tuple(event("water", f"2026-03-02 07:{59 - n:02d}", f"e-{n}") for n in range(EVENTS_KEPT))
    assert ask(detector(events=events), ONLY_DROPS).verdict is Verdict.CANNOT_TELL
    reaches_back = (*events[:-1], event("water", "2026-03-02 06:00"))
    assert ask(detector(events=reaches_back), ONLY_DROPS).verdict is Verdict.MAY_GO_OUT


# --- a book restored from an older copy -----------------------------------


@pytest.mark.parametrize(
    ("lost_before", "verdict", "code"),
    [
        (None, Verdict.MAY_GO_OUT, "nothing-lost"),
        ("2026-03-02 06:40", Verdict.MAY_GO_OUT, "nothing-lost"),
        ("2026-03-02 06:41", Verdict.NOT_YET, "book-restored-since-test"),
        ("2026-03-02 08:00", Verdict.NOT_YET, "book-restored-since-test"),
    ],
)
def test_a_pass_from_before_a_part_of_the_book_was_lost_is_no_yes_under_any_rules(
    lost_before: str | None, verdict: Verdict, code: str
) -> None:
    """Built into the gate: no rule set names it. Missing never reads as yes."""
    lost = around(rule_set(DAILY), lost_before=t(lost_before) if lost_before else None)
    decision = ask(detector(), lost)
    assert decision.verdict is verdict
    assert found(decision, "nothing-lost-since-test").code == code


def test_without_a_test_what_was_lost_adds_nothing() -> None:
    decision = ask(detector(tests=()), around(rule_set(DAILY), lost_before=t("2026-03-02 08:00")))
    assert found(decision, "nothing-lost-since-test").code == "no-test-to-compare"
    assert decision.decisive is not None
    assert decision.decisive.code == "no-test"


# --- hand-over ------------------------------------------------------------

YES, NO = Verdict.MAY_GO_OUT, Verdict.NOT_YET
MET = "no-hand-over-since-test"
HANDED = around(rule_set(DAILY, rule("tested-since-hand-over")))

# "At hand-over to another person": common practice, no source.
HAND_OVERS = {
    "never out": (None, None, YES, MET),
    "issued from the store after the test": (
        custody("person:P-12", "2026-03-02 07:00"), None, YES, MET,
    ),
    "issued to the wearer who asks": (
        custody("person:P-12", "2026-03-02 07:00"), "person:P-12", YES, MET,
    ),
    "held by another than who asks": (
        custody("person:P-12", "2026-03-02 07:00"), "person:P-13", NO, "held-by-another",
    ),
    "handed over after the test": (
        custody("person:P-13", "2026-03-02 08:00", "2026-03-02 08:00"), "person:P-13", NO,
        "handed-over-since-test",
    ),
    "handed over as it was tested": (
        custody("person:P-13", "2026-03-02 06:41", "2026-03-02 06:41"), None, NO,
        "handed-over-since-test",
    ),
    "handed over before the test": (
        custody("person:P-13", "2026-03-02 06:00", "2026-03-02 06:00"), "person:P-13", YES,
        MET,
    ),
    "back in the store since": (
        custody(None, "2026-03-02 08:00"), "person:P-13", YES, MET,
    ),
    "back in the store, but handed over since the test": (
        custody(None, "2026-03-02 08:30", "2026-03-02 08:00"), None, NO, "handed-over-since-test",
    ),
    "held by another only later": (
        custody("person:P-12", "2026-03-02 10:00"), "person:P-13", YES, MET,
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", HAND_OVERS)
def test_a_hand_over_from_wearer_to_wearer_asks_for_a_test(case: str) -> None:
    held, wearer, verdict, code = HAND_OVERS[case]
    decision = ask(detector(custody=held), HANDED, wearer=wearer)
    assert (decision.verdict, found(decision, "tested-since-hand-over").code) == (verdict, code)


@pytest.mark.parametrize("predicate", ["no-event-since-test", "tested-since-hand-over"])
def test_without_a_counted_test_there_is_nothing_to_compare(predicate: str) -> None:
    decision = ask(detector(tests=()))
    assert found(decision, predicate).code == "no-test-to-compare"


AFTER_USE = (rule("gas-test-within-days", days=28), rule("tested-since-use"))


@pytest.mark.parametrize(
    ("holder", "since", "verdict", "code"),
    [
        (None, "2026-03-02 06:30", Verdict.MAY_GO_OUT, "tested-since-use"),
        (None, "2026-03-02 06:41", Verdict.NOT_YET, "used-since-test"),
        (None, "2026-03-02 08:00", Verdict.NOT_YET, "used-since-test"),
        ("person:P-12", "2026-03-02 06:30", Verdict.NOT_YET, "in-use"),
        ("person:P-12", "2026-03-02 08:00", Verdict.NOT_YET, "in-use"),
    ],
)
def test_after_each_use_it_is_given_gas_before_it_goes_out_again(
    holder: str | None, since: str, verdict: Verdict, code: str
) -> None:
    """DGUV FBFHB-020 (24 Jul 2020): full function control after each use or drill, gas every four weeks."""
    custody = Custody(holder=holder, since=t(since), entry="custody-1")
    decision = ask(detector(custody=custody), around(rule_set(*AFTER_USE)))
    assert (decision.verdict, found(decision, "tested-since-use").code) == (verdict, code)


def test_one_that_was_never_in_use_needs_only_its_four_weekly_gas() -> None:
    assert ask(detector(), around(rule_set(*AFTER_USE))).verdict is Verdict.MAY_GO_OUT
    later = ask(detector(), around(rule_set(*AFTER_USE)), at="2026-03-30 06:41")
    assert later.verdict is Verdict.NOT_YET


def test_an_alarm_in_use_is_use_though_nobody_entered_a_hand_over() -> None:
    alarmed = detector(events=(event("alarm-in-use", "2026-03-02 07:30"),))
    decision = ask(alarmed, around(rule_set(*AFTER_USE)))
    assert (decision.verdict, found(decision, "tested-since-use").code) == (
        Verdict.NOT_YET,
        "used-since-test",
    )
    earlier = detector(events=(event("alarm-in-use", "2026-03-02 06:30"),))
    assert ask(earlier, around(rule_set(*AFTER_USE))).verdict is Verdict.MAY_GO_OUT


def test_where_not_all_events_are_kept_an_alarm_in_use_may_be_among_the_lost() -> None:
    many = tuple(event("fresh-air-set", "2026-03-02 07:00") for _ in range(EVENTS_KEPT))
    decision = ask(detector(events=many), around(rule_set(*AFTER_USE)))
    assert found(decision, "tested-since-use").code == "events-no-longer-kept"
    assert decision.verdict is Verdict.CANNOT_TELL
