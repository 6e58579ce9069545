"""What a decision is: a verdict, until when, under which rules, and every finding that led to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import msgspec

from pitbird.fleet.state import CylinderState, OtherState, PersonState
from pitbird.fleet.times import Ms


class Verdict(StrEnum):
    """The four answers to "may it go out?"."""

    MAY_GO_OUT = "may-go-out"
    NOT_YET = "not-yet"
    OUT_OF_SERVICE = "out-of-service"
    CANNOT_TELL = "cannot-tell"


class Outcome(StrEnum):
    """What became of one rule."""

    MET = "met"
    NOT_MET = "not-met"
    UNKNOWN = "unknown"
    DOES_NOT_APPLY = "does-not-apply"


_AGAINST: Final = (Outcome.NOT_MET, Outcome.UNKNOWN)


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of a rule set: a fixed predicate with parameters, its strength and where it comes from.

    ``known`` says how well the source is known: seen, seen-2 (quoted by a third party), memory-high,
    memory-medium, memory-low, or common-practice (no source).
    """

    id: str
    predicate: str
    strength: str
    parameters: Mapping[str, object]
    source: str
    edition: str
    known: str


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Site rules: an ordered list of rules, versioned; ``digest`` is over the canonical document."""

    id: str
    version: int
    title: str
    rules: tuple[Rule, ...]
    digest: str
    about: str = ""


class Finding(msgspec.Struct, frozen=True, gc=False):
    """What one rule found. Words are put to it afterwards, from ``rule``, ``code`` and ``facts``.

    A msgspec struct, since a fleet makes hundreds of thousands of them and these are made soonest.

    ``code`` names the particular thing found (e.g. ``pass-ended-working-day``); ``remedy`` what would
    mend it (e.g. ``test``, ``calibrate``); ``entries`` the entries relied on; ``until`` when what was
    found stops being so, for findings that are met. ``source`` (with its edition) and ``known`` are the
    rule's.
    """

    rule: str
    predicate: str
    outcome: Outcome
    code: str
    strength: str
    remedy: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    entries: tuple[str, ...] = ()
    until: Ms | None = None
    decisive: bool = False
    source: str = ""
    known: str = ""


class Decision(msgspec.Struct, frozen=True, gc=False):
    """The answer for one detector at one moment, with all findings, the decisive one first."""

    detector: str
    verdict: Verdict
    as_of: Ms
    until: Ms | None
    until_because: str
    site: str | None
    wearer: str | None
    rules_id: str | None
    rules_version: int | None
    rules_digest: str | None
    test: str | None
    findings: tuple[Finding, ...]

    @property
    def decisive(self) -> Finding | None:
        """The finding that decided against, the one a person can do something about first; None for a yes."""
        return next((finding for finding in self.findings if finding.decisive), None)

    @property
    def telling(self) -> tuple[Finding, ...]:
        """The findings that decided, and those that warn of something not met or not known."""
        return tuple(
            [
                found
                for found in self.findings
                if found.decisive or (found.strength == "warns" and found.outcome in _AGAINST)
            ]
        )


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Everything around a detector that a decision needs, as known: site clock, rules over time, gas, people.

    ``rules_over_time`` is newest first, ``(in force from, rule set)``; empty means no rules were ever
    adopted, and no rules never give a yes. ``lost_before``: the book was restored from an older copy, and
    may lack entries from before this instant. ``recorded_to``: when the newest entry was recorded, where the
    question is about now.
    """

    site: str | None
    zone: str | None
    change_overs: tuple[str, ...]
    rules_over_time: tuple[tuple[Ms, RuleSet], ...]
    cylinders: Mapping[str, CylinderState] = field(default_factory=dict)
    people: Mapping[str, PersonState] = field(default_factory=dict)
    regulators: Mapping[str, OtherState] = field(default_factory=dict)
    lost_before: Ms | None = None
    recorded_to: Ms | None = None

    def rules_at(self, instant: Ms) -> RuleSet | None:
        """The rule set in force at an instant."""
        for since, rules in self.rules_over_time:
            if since <= instant:
                return rules
        return None
