"""What the gate's answer for a wearer adds to its answer about the detector, in parts that a phone can carry.

Two predicates alone look at the wearer: ``wearer-trained``, which asks about the person only, and
``tested-since-hand-over``, which asks whether another holds the detector. So a part for each person and one
for each detector that somebody holds stand for every pair of them; neither ever turns a no into a yes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from pitbird.fleet.state import DetectorState, PersonState
from pitbird.fleet.times import Ms
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, Finding, Outcome, Verdict
from pitbird.services.gate import Around, GateRow, UnknownSubject, gate_one
from pitbird.services.knowing import Now

#: What asks about the wearer alone, and what asks whether another holds the detector.
OF_PERSON: Final = "wearer-trained"
OF_HOLDER: Final = "tested-since-hand-over"
#: Somebody who holds nothing, in whose name it is asked what holds for another than the holder.
SOMEBODY: Final = "person:_"

_AGAINST: Final = {Outcome.NOT_MET: Verdict.NOT_YET, Outcome.UNKNOWN: Verdict.CANNOT_TELL}


@dataclass(frozen=True)
class Part:
    """What one part of the question adds: nothing against (``verdict`` None) until a time, or a finding.
    ``warns`` are findings against it of rules that only warn."""

    verdict: Verdict | None = None
    finding: Finding | None = None
    until: Ms | None = None
    warns: tuple[Finding, ...] = ()


def of_people(site: str, people: Iterable[PersonState], now: Ms, around: Around | None = None) -> list[Part]:
    """What the rules of a site say of each person as a wearer, whichever the detector, in their order."""
    none = DetectorState(subject="", site=site)
    surroundings = (around or Around(Now())).of(none)
    return [
        _part(decide(none, surroundings, as_of=now, wearer=person.subject), OF_PERSON) for person in people
    ]


def for_others(rows: Iterable[GateRow], around: Around | None = None) -> dict[str, Part]:
    """What holds for another than the holder, by detector; only those that somebody holds are in it."""
    held = [row for row in rows if row.state.custody is not None and row.state.custody.holder]
    if not held:
        return {}
    known = around or Around(Now())
    return {
        row.state.subject: _part(
            decide(row.state, known.of(row.state), as_of=row.decision.as_of, wearer=SOMEBODY), OF_HOLDER
        )
        for row in held
    }


def _part(decision: Decision, predicate: str) -> Part:
    """The findings of one predicate that stop, as the gate weighs them: not met before unknown, in order."""
    asked = [each for each in decision.findings if each.predicate == predicate]
    found = [each for each in asked if each.strength != "warns"]
    warns = tuple(each for each in asked if each.strength == "warns" and each.outcome in _AGAINST)
    for outcome, verdict in _AGAINST.items():
        against = next((each for each in found if each.outcome is outcome), None)
        if against is not None:
            return Part(verdict, against, warns=warns)
    return Part(
        until=min((each.until for each in found if each.until is not None), default=None), warns=warns
    )


def warnings_of(decision: Decision) -> tuple[Finding, ...]:
    """What the rules warn of in the wearer, in a whole answer."""
    return tuple(each for name in (OF_PERSON, OF_HOLDER) for each in _part(decision, name).warns)


def answer_for(detector: str, wearer: str, now: Ms) -> GateRow:
    """The gate's whole answer for a wearer. Raises ``UnknownSubject`` where the book lacks one of them."""
    if not isinstance(Now().state(wearer), PersonState):
        raise UnknownSubject(wearer)
    return gate_one(detector, now=now, wearer=wearer)


__all__ = [
    "OF_HOLDER", "OF_PERSON", "SOMEBODY", "Part", "answer_for", "for_others", "of_people",
    "warnings_of",
]  # fmt: skip
