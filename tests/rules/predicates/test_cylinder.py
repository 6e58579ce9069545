"""The test gas at the time of the test: in date, pressure, temperature, not withdrawn."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.state import SPANS_KEPT, CylinderState, Span
from pitbird.fleet.state import TestFact as Bump
from pitbird.rules.decision import Verdict
from tests.rules.builders import (
    DAILY,
    FOUR,
    around,
    ask,
    cylinder,
    detector,
    found,
    gauge,
    rule,
    rule_set,
    shown,
    t,
    test_fact,
)

YES, NO, DOUBT = Verdict.MAY_GO_OUT, Verdict.NOT_YET, Verdict.CANNOT_TELL


def _judge(predicate: dict[str, Any], gas: CylinderState, test: Bump | None = None) -> tuple[str, Verdict]:
    surroundings = around(rule_set(DAILY, predicate), cylinders=(gas,))
    decision = ask(detector(tests=(test or test_fact(),)), surroundings)
    return found(decision, predicate["predicate"]).code, decision.verdict


IN_DATE = rule("cylinder-in-date")


@pytest.mark.parametrize(
    ("expires", "expected"),
    [
        ("2026-03-03", ("cylinder-in-date", YES)),
        ("2026-03-02", ("cylinder-in-date", YES)),
        ("2026-03-01", ("cylinder-out-of-date", NO)),
        (None, ("no-expiry-known", DOUBT)),
        ("next spring", ("no-expiry-known", DOUBT)),
    ],
)
def test_the_expiry_day_still_counts(expires: str | None, expected: tuple[str, Verdict]) -> None:
    assert _judge(IN_DATE, cylinder(expires=expires)) == expected


def test_the_day_is_that_of_the_site_at_the_time_of_the_test() -> None:
    """23:30 UTC on 6 July is half past midnight on the 7th in Lisbon's summer."""
    late = detector(tests=(test_fact("2026-07-06 23:30"),))
    surroundings = around(rule_set(DAILY, IN_DATE), cylinders=(cylinder(expires="2026-07-06"),))
    assert ask(late, surroundings, at="2026-07-06 23:40").verdict is NO
    early = detector(tests=(test_fact("2026-07-06 22:30"),))
    assert ask(early, surroundings, at="2026-07-07 00:30").verdict is YES


def test_one_cylinder_out_of_date_among_several_is_enough() -> None:
    test = test_fact(cylinders=("cylinder:C-112", "cylinder:C-113"))
    gas = (cylinder(), cylinder(subject="cylinder:C-113", expires="2026-03-01"))
    decision = ask(detector(tests=(test,)), around(rule_set(DAILY, IN_DATE), cylinders=gas))
    assert dict(found(decision, "cylinder-in-date").facts)["cylinder"] == "cylinder:C-113"
    assert decision.verdict is NO


RULES = [
    IN_DATE,
    rule("cylinder-above-minimum-pressure"),
    rule("cylinder-above-minimum-temperature", unknown_is="stops"),
    rule("cylinder-not-withdrawn"),
]


@pytest.mark.parametrize("predicate", RULES, ids=[r["predicate"] for r in RULES])
@pytest.mark.parametrize(
    "gas",
    [cylinder(subject="cylinder:C-999"), cylinder(described_by=None), cylinder(not_understood=("entry-9",))],
    ids=["not in the book", "not described", "not understood"],
)
def test_a_cylinder_that_is_not_known_cannot_be_judged(predicate: dict[str, Any], gas: CylinderState) -> None:
    assert _judge(predicate, gas) == ("cylinder-not-known", DOUBT)


@pytest.mark.parametrize("predicate", RULES, ids=[r["predicate"] for r in RULES])
def test_a_test_that_names_no_cylinder_does_not_count(predicate: dict[str, Any]) -> None:
    assert _judge(predicate, cylinder(), test_fact(cylinders=())) == ("no-cylinder-named", NO)


PRESSURE = rule("cylinder-above-minimum-pressure")


def _noted(bar: str | None, check: str | None) -> Bump:
    checks = (("gauge_shows_pressure", check),) if check else ()
    return test_fact(shown=tuple(shown(c.name, gauge_bar=bar) for c in FOUR), checks=checks)


# The certificate of the cylinder says 2 bar at least.
PRESSURES = {
    "well above": (_noted("41", None), (), ("pressure-enough", YES)),
    "at the minimum": (_noted("2", None), (), ("pressure-enough", YES)),
    "below the minimum": (_noted("1.9", "yes"), (), ("pressure-too-low", NO)),
    "no number": (_noted("full", "yes"), (), ("pressure-too-low", NO)),
    "below by the latest reading": (
        _noted(None, "yes"), (gauge("2026-03-01 10:00", "1"),), ("pressure-too-low", NO),
    ),
    "above by the latest reading": (
        _noted(None, None),
        (gauge("2026-02-01 10:00", "1"), gauge("2026-03-01 10:00", "30")),
        ("pressure-enough", YES),
    ),
    "a reading after the test is not used": (
        _noted(None, None), (gauge("2026-03-02 08:00", "30"),), ("pressure-not-known", DOUBT),
    ),
    "the test's own reading goes before an earlier one": (
        _noted("41", None), (gauge("2026-03-01 10:00", "1"),), ("pressure-enough", YES),
    ),
    "only the check": (_noted(None, "yes"), (), ("pressure-check-only", YES)),
    "the check says no": (_noted(None, "no"), (), ("pressure-check-said-no", NO)),
    "the check says no beside a good reading": (_noted("41", "no"), (), ("pressure-check-said-no", NO)),
    "nothing known": (_noted(None, None), (), ("pressure-not-known", DOUBT)),
}  # fmt: skip


@pytest.mark.parametrize("case", PRESSURES)
def test_the_pressure_by_gauge_then_by_reading_then_by_check(case: str) -> None:
    test, gauges, expected = PRESSURES[case]
    assert _judge(PRESSURE, cylinder(gauges=gauges), test) == expected


def test_the_lowest_gauge_noted_in_the_test_counts() -> None:
    test = test_fact(shown=(*(shown(c.name) for c in FOUR[1:]), shown("LEL", gauge_bar="1")))
    assert _judge(PRESSURE, cylinder(), test) == ("pressure-too-low", NO)


def test_without_a_minimum_on_the_certificate_the_pressure_cannot_be_judged() -> None:
    assert _judge(PRESSURE, cylinder(minimum_pressure_bar=None)) == ("no-minimum-pressure-known", DOUBT)


@pytest.mark.parametrize(
    ("measured", "minimum", "unknown_is", "expected"),
    [
        ("0", "0", "stops", ("warm-enough", YES)),
        ("-0.1", "0", "stops", ("too-cold-for-gas", NO)),
        ("-0.1", "0", "warns", ("too-cold-for-gas", NO)),
        (None, "0", "stops", ("temperature-not-known", DOUBT)),
        (None, "0", "warns", ("temperature-not-known", YES)),
        ("12", None, "stops", ("no-minimum-temperature-known", DOUBT)),
        ("12", None, "warns", ("no-minimum-temperature-known", YES)),
    ],
)
def test_gas_is_not_used_colder_than_its_certificate_allows(
    measured: str | None, minimum: str | None, unknown_is: str, expected: tuple[str, Verdict]
) -> None:
    predicate = rule("cylinder-above-minimum-temperature", unknown_is=unknown_is)
    test = test_fact(temperature_c=measured)
    assert _judge(predicate, cylinder(minimum_temperature_c=minimum), test) == expected


WITHDRAWN = rule("cylinder-not-withdrawn")


def _span(since: str, until: str | None) -> tuple[Span, ...]:
    return (Span(t(since), t(until) if until else None, "quarantine-1", "leak"),)


# The test was at 06:41.
@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, ("cylinder-not-withdrawn", YES)),
        ({"withdrawn": _span("2026-03-01 10:00", None)}, ("cylinder-quarantined", NO)),
        ({"withdrawn": _span("2026-03-02 06:41", None)}, ("cylinder-quarantined", NO)),
        ({"withdrawn": _span("2026-03-01 10:00", "2026-03-02 06:42")}, ("cylinder-quarantined", NO)),
        ({"withdrawn": _span("2026-03-01 10:00", "2026-03-02 06:41")}, ("cylinder-not-withdrawn", YES)),
        ({"withdrawn": _span("2026-03-02 06:42", None)}, ("cylinder-not-withdrawn", YES)),
        ({"emptied_at": t("2026-03-02 06:41")}, ("cylinder-emptied", NO)),
        ({"emptied_at": t("2026-03-02 06:42")}, ("cylinder-not-withdrawn", YES)),
        (
            {"withdrawn": _span("2026-03-02 07:00", "2026-03-02 07:10") * SPANS_KEPT},
            ("quarantines-no-longer-kept", DOUBT),
        ),
    ],
)
def test_gas_in_quarantine_or_given_up_at_the_time_serves_no_test(
    changes: dict[str, Any], expected: tuple[str, Verdict]
) -> None:
    assert _judge(WITHDRAWN, cylinder(**changes)) == expected
