"""What today's answers would be under another rule set, as if it had been in force all along."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, RuleSet, Verdict
from pitbird.services.gate import Around, UnknownSubject
from pitbird.services.knowing import Now


@dataclass(frozen=True)
class Would:
    """One detector: the answer as it is, and as it would be."""

    state: DetectorState
    now: Decision
    then: Decision

    @property
    def changes(self) -> bool:
        """Whether the verdict would be another one."""
        return self.now.verdict is not self.then.verdict


@dataclass(frozen=True)
class WhatIf:
    """The whole fleet under another rule set; ``rows`` in the order of the detectors' codes."""

    rules: RuleSet
    as_of: Ms
    rows: tuple[Would, ...]

    @property
    def changed(self) -> tuple[Would, ...]:
        """The detectors whose verdict would change: first those that would go out though they stay in now."""
        rows = [row for row in self.rows if row.changes]
        return tuple(
            sorted(rows, key=lambda row: (row.then.verdict is not Verdict.MAY_GO_OUT, row.state.subject))
        )

    def counts(self) -> tuple[tuple[Verdict, Verdict, int], ...]:
        """How many go from which verdict to which, the changes only."""
        counted: dict[tuple[Verdict, Verdict], int] = {}
        for row in self.changed:
            pair = (row.now.verdict, row.then.verdict)
            counted[pair] = counted.get(pair, 0) + 1
        return tuple((before, after, count) for (before, after), count in counted.items())


def what_if(
    rules: RuleSet,
    *,
    now: Ms,
    site: str | None = None,
    detector: str | None = None,
    wearer: str | None = None,
) -> WhatIf:
    """Today's answers under ``rules``, beside those under the rules in force, for the fleet, one site or one
    detector.

    The other rules are taken to have been in force at every earlier test too: their sense is to choose rules,
    and nothing of it counts as an answer. Raises ``UnknownSubject`` for what the book does not know.
    """
    known = Now()
    for subject in (site, detector, wearer):
        if subject is not None and known.state(subject) is None:
            raise UnknownSubject(subject)
    around = Around(known)
    rows = []
    for state in known.all_of(DetectorState, site):
        if detector is not None and state.subject != detector:
            continue
        surroundings = around.of(state)
        other = replace(surroundings, rules_over_time=((Ms(0), rules),))
        before, after = (decide(state, each, as_of=now, wearer=wearer) for each in (surroundings, other))
        rows.append(Would(state, before, after))
    return WhatIf(rules=rules, as_of=now, rows=tuple(rows))
