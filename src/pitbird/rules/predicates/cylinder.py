"""Predicates about the test gas: in date, enough pressure, not too cold, not withdrawn. Judged at the time
of the test."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from pitbird.fleet.state import SPANS_KEPT, CylinderState, ShownFact
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Facts,
    Kind,
    Parameter,
    Scope,
    at,
    number,
    predicate,
    real_day,
)
from pitbird.rules.predicates.met import once

GAS: Final = {
    "bare-report": Code(NOT_APPLICABLE),
    "no-cylinder-named": Code(NOT_MET, "test"),
    "cylinder-not-known": Code(UNKNOWN, "describe-cylinder"),
}


def none_named(attempt: Attempt, rule: Bound) -> Finding | None:
    """The finding if the test names no cylinder."""
    if attempt.test.cylinders:
        return None
    return rule.finds("bare-report" if attempt.reported else "no-cylinder-named")


def unknown_gas(attempt: Attempt, rule: Bound) -> Finding | None:
    """The finding if a cylinder of the test is not in the book or has entries that are not understood."""
    if attempt.stranger is None:
        return None
    return rule.finds("cylinder-not-known", (("cylinder", attempt.stranger),), (attempt.test.entry,))


@predicate(
    "cylinder-in-date",
    Scope.TEST,
    codes={
        **GAS,
        "cylinder-in-date": Code(MET),
        "cylinder-out-of-date": Code(NOT_MET, "test-other-cylinder"),
        "no-expiry-known": Code(UNKNOWN, "describe-cylinder"),
        "no-site-clock": Code(UNKNOWN, "describe-site"),
    },
)
def cylinder_in_date(attempt: Attempt, rule: Bound) -> Finding:
    """On the day of the test, on the site's calendar, no cylinder used was past its expiry day (that day
    included)."""
    if found := none_named(attempt, rule):
        return found
    if attempt.day is None:
        return rule.finds("no-site-clock")
    missing = None
    for name, cylinder, entries in attempt.gas:
        expires = real_day(cylinder.expires)
        if expires is None:
            missing = missing or rule.finds("no-expiry-known", (("cylinder", name),), entries)
        elif attempt.day > expires:
            facts = (("cylinder", name), ("expired_on", expires), ("tested_on", attempt.day))
            return rule.finds("cylinder-out-of-date", facts, entries)
    return unknown_gas(attempt, rule) or missing or rule.finds("cylinder-in-date", (), attempt.relied)


@predicate(
    "cylinder-above-minimum-pressure",
    Scope.TEST,
    codes={
        **GAS,
        "pressure-enough": Code(MET),
        "pressure-check-only": Code(MET),
        "pressure-too-low": Code(NOT_MET, "test-other-cylinder"),
        "pressure-check-said-no": Code(NOT_MET, "test-other-cylinder"),
        "pressure-not-known": Code(UNKNOWN, "test-with-gauge"),
        "no-minimum-pressure-known": Code(UNKNOWN, "describe-cylinder"),
    },
)
def cylinder_above_minimum_pressure(attempt: Attempt, rule: Bound) -> Finding:
    """Each cylinder used held at least the minimum pressure of its certificate. Looked at, in this order: the
    lowest gauge reading noted in the test, the cylinder's latest reading by the time of the test, the
    tester's check that the gauge shows pressure. A check answered "no" is never made good by a reading."""
    if found := none_named(attempt, rule):
        return found
    check = _gauge_check(attempt.test.checks)
    if check is not None and check != "yes":
        return rule.finds("pressure-check-said-no", (), (attempt.test.entry,))
    missing = None
    by_check = False
    for name, cylinder, entries in attempt.gas:
        minimum = number(cylinder.minimum_pressure_bar)
        if minimum is None:
            missing = missing or rule.finds("no-minimum-pressure-known", (("cylinder", name),), entries)
            continue
        read = _pressure(attempt, name, cylinder)
        if read is not None and not read[0] >= minimum:
            facts = (
                ("cylinder", name), ("gauge_bar", str(read[0])), ("minimum_bar", str(minimum)),
            )  # fmt: skip
            return rule.finds("pressure-too-low", facts, (*entries, *read[1]))
        if read is None and check is None:
            missing = missing or rule.finds("pressure-not-known", (("cylinder", name),), entries)
        by_check = by_check or read is None
    if found := unknown_gas(attempt, rule) or missing:
        return found
    return rule.finds("pressure-check-only" if by_check else "pressure-enough", (), attempt.relied)


@once
def _gauge_check(checks: tuple[tuple[str, str], ...]) -> str | None:
    return dict(checks).get("gauge_shows_pressure")


@once
def _noted(shown: tuple[ShownFact, ...], name: str) -> Decimal | None:
    """The lowest gauge reading of a cylinder that is noted in a test, if any."""
    return min(
        (
            number(each.gauge_bar) or Decimal(0)
            for each in shown
            if each.cylinder == name and each.gauge_bar is not None
        ),
        default=None,
    )


def _pressure(attempt: Attempt, name: str, cylinder: CylinderState) -> tuple[Decimal, tuple[str, ...]] | None:
    """The pressure by gauge, with the entry it stands in if that is not the test. No number reads as none
    left."""
    noted = _noted(attempt.test.shown, name)
    if noted is not None:
        return noted, ()
    read = [
        (-gauge.at, number(gauge.bar) or Decimal(0), gauge.entry)
        for gauge in cylinder.gauges
        if gauge.at <= attempt.test.at
    ]
    if not read:
        return None
    _, bar, entry = min(read)  # the latest, and of several at once the lowest
    return bar, (entry,)


@predicate(
    "cylinder-above-minimum-temperature",
    Scope.TEST,
    parameters=(
        Parameter(
            "unknown_is",
            Kind.WORD,
            "how strong it is that the temperature, or the certificate's minimum, is not known",
            choices=("stops", "warns"),
        ),
    ),
    codes={
        **GAS,
        "warm-enough": Code(MET),
        "too-cold-for-gas": Code(NOT_MET, "test-warmer"),
        "temperature-not-known": Code(UNKNOWN, "test-with-temperature"),
        "no-minimum-temperature-known": Code(UNKNOWN, "describe-cylinder"),
    },
)
def cylinder_above_minimum_temperature(attempt: Attempt, rule: Bound) -> Finding:
    """The test was not made colder than the minimum temperature on the certificate of any cylinder used: a
    component may condense and leave the gas leaner than its label. If either temperature is not known, that
    is not known, as strong as the parameter says (a rule that warns only never stops)."""
    if found := none_named(attempt, rule):
        return found
    missing = None
    strength = rule.strength if rule.values["unknown_is"] == "stops" else "warns"
    measured = number(attempt.test.temperature_c)
    for name, cylinder, entries in attempt.gas:
        minimum = number(cylinder.minimum_temperature_c)
        if minimum is None or measured is None:
            code = "no-minimum-temperature-known" if minimum is None else "temperature-not-known"
            missing = missing or rule.finds(code, (("cylinder", name),), entries, strength=strength)
        elif measured < minimum:
            facts = (
                ("cylinder", name), ("temperature_c", str(measured)), ("minimum_c", str(minimum)),
            )  # fmt: skip
            return rule.finds("too-cold-for-gas", facts, entries)
    return unknown_gas(attempt, rule) or missing or rule.finds("warm-enough", (), attempt.relied)


@predicate(
    "cylinder-not-withdrawn",
    Scope.TEST,
    codes={
        **GAS,
        "cylinder-not-withdrawn": Code(MET),
        "cylinder-quarantined": Code(NOT_MET, "test-other-cylinder"),
        "cylinder-emptied": Code(NOT_MET, "test-other-cylinder"),
        "quarantines-no-longer-kept": Code(UNKNOWN, "test"),
    },
)
def cylinder_not_withdrawn(attempt: Attempt, rule: Bound) -> Finding:
    """At the time of the test no cylinder used was in quarantine or had been given up as empty (at that very
    instant included)."""
    if found := none_named(attempt, rule):
        return found
    instant = attempt.test.at
    missing = None
    for name, cylinder, entries in attempt.gas:
        span = cylinder.withdrawn_at(instant)
        if span is not None:
            facts: Facts = (("cylinder", name), ("because", span.because), at("since_at", span.since))
            return rule.finds("cylinder-quarantined", facts, (*entries, span.entry))
        if cylinder.emptied_at is not None and cylinder.emptied_at <= instant:
            facts = (("cylinder", name), at("emptied_at", cylinder.emptied_at))
            by = (cylinder.emptied_by,) if cylinder.emptied_by else ()
            return rule.finds("cylinder-emptied", facts, (*entries, *by))
        # What is no longer kept ended before all that ended and is kept.
        ends = [span.until for span in cylinder.withdrawn if span.until is not None]
        if len(cylinder.withdrawn) >= SPANS_KEPT and (not ends or min(ends) > instant):
            missing = rule.finds("quarantines-no-longer-kept", (("cylinder", name),), entries)
    return unknown_gas(attempt, rule) or missing or rule.finds("cylinder-not-withdrawn", (), attempt.relied)
