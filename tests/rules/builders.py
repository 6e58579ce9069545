"""Small factories for states: a detector that may go out, and all around it, to be changed fact by fact.

The setting is invented: Monday 2 March 2026 at Lisbon (UTC+0 in winter), working day from 04:00 to 04:00.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import msgspec

from pitbird.fleet.state import (
    AlarmFact,
    CalibrationFact,
    ChannelFact,
    ComponentFact,
    Custody,
    CylinderState,
    DetectorState,
    EventFact,
    FailureFact,
    GaugeFact,
    OtherState,
    PersonState,
    ReasonOut,
    ShownFact,
    TestFact,
    TrainingFact,
)
from pitbird.fleet.times import Ms, ms_of
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, Finding, RuleSet, Surroundings
from pitbird.rules.loading import load_shipped, parse_rules

ZONE = "Europe/Lisbon"
TESTED_AT = "2026-03-02 06:41"
NOW = "2026-03-02 09:00"
CHECKS = ("whole_and_clean", "inlets_clear", "warmed_up", "battery", "hose_tight", "gauge_shows_pressure")


def t(text: str) -> Ms:
    """``2026-03-02 06:41`` (UTC, which is also Lisbon's clock in winter) as an instant."""
    return ms_of(text.replace(" ", "T") + ":00.000Z")


def alarm(name: str, at: str, direction: str = "rising", shown_by: str = "gas") -> AlarmFact:
    return AlarmFact(name, at, direction, shown_by)


def channel(name: str, gas: str, *alarms: AlarmFact, **other: Any) -> ChannelFact:
    fields: dict[str, Any] = {
        "principle": "electrochemical",
        "unit": "ppm",
        "range_high": "500",
        "clean_air": "0",
        "clean_air_tolerance": "1",
        **other,
    }
    return ChannelFact(name=name, gas=gas, alarms=alarms, **fields)


CH4 = channel(
    "LEL", "methane", alarm("low", "10"), alarm("high", "20"),
    principle="catalytic", unit="pct_lfl", range_high="100", lfl_basis="iec-60079-20-1",
)  # fmt: skip
O2 = channel(
    "O2", "oxygen", alarm("low", "19.5", "falling"), alarm("lower", "18", "falling"), alarm("high", "23.5"),
    principle="oxygen", unit="vol_pct", range_high="25", clean_air="20.9", clean_air_tolerance="0.3",
)  # fmt: skip
CO = channel(
    "CO", "carbon monoxide", alarm("low", "30"), alarm("high", "60"), alarm("twa", "20", "rising", "none")
)
H2S = channel("H2S", "hydrogen sulfide", alarm("low", "5"), alarm("high", "10"))
CO2 = channel(
    "CO2", "carbon dioxide", alarm("low", "0.5"), alarm("high", "1.5"),
    principle="infrared", unit="vol_pct", range_high="5", clean_air="0.04", clean_air_tolerance="0.04",
)  # fmt: skip
FOUR = (CH4, O2, CO, H2S)


def shown(name: str, reached: bool = True, **other: Any) -> ShownFact:
    fields: dict[str, Any] = {"cylinder": "cylinder:C-112", "gas_on_s": 22.0, "gauge_bar": "41", **other}
    return ShownFact(channel=name, reached=reached, **fields)


def test_fact(at: str = TESTED_AT, entry: str = "test-1", **other: Any) -> TestFact:
    """A passed test in which everything was as it should be."""
    fields: dict[str, Any] = {
        "index": 10,
        "by": "person:P-07",
        "site": "site:north-works",
        "outcome": "passed",
        "footing": "shown",
        "shown": tuple(shown(c.name) for c in FOUR),
        "cylinders": ("cylinder:C-112",),
        "signals": (("sound", "yes"), ("light", "yes"), ("vibration", "yes")),
        "checks": tuple((name, "yes") for name in CHECKS),
        "clean_air": (("LEL", "0", "yes"), ("O2", "20.9", "yes"), ("CO", "0", "yes"), ("H2S", "0", "yes")),
        "cleared": (("readings", "yes"), ("peaks", "yes")),
        "temperature_c": "12",
        **other,
    }
    return TestFact(entry=entry, at=t(at), **fields)


test_fact.__test__ = False  # type: ignore[attr-defined]


def spoiled(at: str, entry: str) -> TestFact:
    return test_fact(at, entry, outcome="spoiled", spoiled_because="hood-slipped")


def calibration(name: str, at: str = "2026-02-20 10:00", **other: Any) -> CalibrationFact:
    fields: dict[str, Any] = {
        "entry": "cal-1",
        "by": "person:P-02",
        "passed": True,
        "cylinders": ("cylinder:C-112",),
        **other,
    }
    return CalibrationFact(channel=name, at=t(at), **fields)


def event(what: str, at: str, entry: str = "event-1") -> EventFact:
    return EventFact(what, t(at), entry)


def failure(at: str, *channels: str, **other: Any) -> FailureFact:
    answered = other.pop("answered_at", None)
    return FailureFact("fail-1", t(at), channels, answered_at=t(answered) if answered else None, **other)


def reason(at: str, because: str = "failed", entry: str = "fail-1") -> ReasonOut:
    return ReasonOut(entry, t(at), because)


def custody(holder: str | None, since: str, handed_over_at: str | None = None) -> Custody:
    return Custody(
        holder, t(since), "custody-1", handed_over_at=t(handed_over_at) if handed_over_at else None
    )


def detector(**other: Any) -> DetectorState:
    """A four-gas detector, tested this morning, calibrated in February."""
    fields: dict[str, Any] = {
        "subject": "detector:D-017",
        "count": 12,
        "described_by": "described-1",
        "make": "Heron Works",
        "model": "Quartet P",
        "serial": "Q-88213",
        "signals": ("sound", "light", "vibration"),
        "site": "site:north-works",
        "channels": FOUR,
        "tests": (test_fact(),),
        "calibrations": tuple(calibration(c.name) for c in FOUR),
        **other,
    }
    return DetectorState(**fields)


def cylinder(**other: Any) -> CylinderState:
    fields: dict[str, Any] = {
        "subject": "cylinder:C-112",
        "described_by": "cylinder-1",
        "components": (
            ComponentFact("methane", "1.2", "vol_pct"),
            ComponentFact("oxygen", "16.2", "vol_pct"),
            ComponentFact("carbon monoxide", "100", "ppm"),
            ComponentFact("hydrogen sulfide", "20", "ppm"),
        ),
        "balance": "nitrogen",
        "expires": "2027-10-06",
        "minimum_pressure_bar": "2",
        "minimum_temperature_c": "0",
        **other,
    }
    return CylinderState(**fields)


def regulator(subject: str = "regulator:R-03", **description: str) -> OtherState:
    """A described regulator: ``flow``, ``flow_l_min``, ``hose_m``, ``hose_s_per_m``."""
    return OtherState(subject=subject, described_by="regulator-1", description=description)


def gauge(at: str, bar: str) -> GaugeFact:
    return GaugeFact(t(at), bar, "gauge-1")


def training(topic: str, at: str, until: str | None, passed: bool = True) -> TrainingFact:
    return TrainingFact(topic, t(at), until, "training-1", passed)


def person(name: str = "person:P-07", **other: Any) -> PersonState:
    fields: dict[str, Any] = {
        "described_by": "person-1",
        "trainings": (training("bump-test", "2025-03-02 09:00", "2028-03-02"),),
        **other,
    }
    return PersonState(subject=name, **fields)


def around(
    rules: RuleSet | None = None,
    *,
    cylinders: tuple[CylinderState, ...] | None = None,
    people: tuple[PersonState, ...] | None = None,
    **other: Any,
) -> Surroundings:
    """The site, its rules (strict, since January), one cylinder and one tester."""
    since = t("2026-01-01 00:00")
    gas = cylinders if cylinders is not None else (cylinder(),)
    staff = people if people is not None else (
        person(),
        person("person:P-12", trainings=(training("wearing", "2025-03-02 09:00", "2028-03-02"),)),
    )  # fmt: skip
    fields: dict[str, Any] = {
        "site": "site:north-works",
        "zone": ZONE,
        "change_overs": ("04:00",),
        "rules_over_time": ((since, rules or load_shipped("strict")),),
        "cylinders": {state.subject: state for state in gas},
        "people": {state.subject: state for state in staff},
        **other,
    }
    return Surroundings(**fields)


def rule(predicate: str, strength: str = "stops", **parameters: Any) -> dict[str, Any]:
    return {
        "id": predicate,
        "predicate": predicate,
        "strength": strength,
        "source": "made up for a test",
        "known": "common-practice",
        "parameters": parameters,
    }


DAILY = rule("gas-test-current", lasts="working-day")


def rule_set(*rules: Mapping[str, Any], name: str = "made-up") -> RuleSet:
    """A rule set of these rules only; faulty ones fail the test."""
    made, faults = parse_rules({"id": name, "version": 1, "title": "Made up", "rule": list(rules)})
    assert made is not None, "\n".join(map(str, faults))
    return made


def codes(decision: Decision) -> list[str]:
    return [finding.code for finding in decision.findings]


def found(decision: Decision, predicate: str) -> Finding:
    """The one finding of a predicate."""
    (finding,) = [finding for finding in decision.findings if finding.predicate == predicate]
    return finding


def changed(state: Any, **fields: Any) -> Any:
    return msgspec.structs.replace(state, **fields)


def ask(
    state: DetectorState | None = None,
    surroundings: Surroundings | None = None,
    *,
    at: str = NOW,
    wearer: str | None = None,
) -> Decision:
    """Decide about a detector (the good one) at a time (this morning)."""
    return decide(state or detector(), surroundings or around(), as_of=t(at), wearer=wearer)
