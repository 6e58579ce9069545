"""The gate: what may go out, until when, and for each other one why not."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

from django.conf import settings

from pitbird.fleet.folding.others import lost_before
from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState, SiteState
from pitbird.fleet.times import Ms
from pitbird.record.canonical import parse
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, RuleSet, Surroundings, Verdict
from pitbird.rules.loading import parse_rules
from pitbird.services.knowing import KnownWhole, Now, Then
from pitbird.store import book

#: Worst first: a person looks at what stays in before at what may go out.
ORDER: Final = {
    Verdict.OUT_OF_SERVICE: 0,
    Verdict.CANNOT_TELL: 1,
    Verdict.NOT_YET: 2,
    Verdict.MAY_GO_OUT: 3,
}


class UnknownSubject(LookupError):
    """No entry is about what was asked for."""


@dataclass(frozen=True)
class GateRow:
    """One detector with the decision about it."""

    state: DetectorState
    decision: Decision


@dataclass(frozen=True)
class Gate:
    """The answer for a fleet at one moment; ``known_below`` is set when it is told as known then."""

    as_of: Ms
    known_below: int | None
    site: str | None
    rows: tuple[GateRow, ...]

    def count(self, verdict: Verdict) -> int:
        """How many detectors have a verdict."""
        return sum(row.decision.verdict is verdict for row in self.rows)


def knowledge(*, now: Ms, at: Ms | None = None, known_below: int | None = None) -> KnownWhole:
    """Where the states come from: the present ones, or folded anew for an earlier time or knowledge."""
    past = at is not None and at < now
    if not past and known_below is None:
        return Now()
    return Then(below=known_below, until=at if past else None)


def size_known_at(instant: Ms) -> int:
    """The book's size once everything recorded by an instant was in it."""
    return book.size_at(instant)


def gate(
    *,
    now: Ms,
    at: Ms | None = None,
    site: str | None = None,
    wearer: str | None = None,
    known_below: int | None = None,
) -> Gate:
    """Decide about every detector (of a site), worst first.

    ``at`` asks about another moment as known now; ``known_below`` uses only the entries below an index,
    rules and training included. Raises ``UnknownSubject`` for a site or wearer the book does not know.
    """
    known = knowledge(now=now, at=at, known_below=known_below)
    for subject in (site, wearer):
        if subject is not None and known.state(subject) is None:
            raise UnknownSubject(subject)
    as_of = now if at is None else at
    around = Around(known)
    rows = [
        GateRow(state, decide(state, around.of(state), as_of=as_of, wearer=wearer))
        for state in known.all_of(DetectorState, site)
    ]
    rows.sort(key=_worst_first)
    return Gate(as_of=as_of, known_below=known_below, site=site, rows=tuple(rows))


def gate_one(
    detector: str,
    *,
    now: Ms,
    at: Ms | None = None,
    wearer: str | None = None,
    known_below: int | None = None,
) -> GateRow:
    """Decide about one detector. Raises ``UnknownSubject`` if the book does not know it."""
    known = knowledge(now=now, at=at, known_below=known_below)
    state = known.state(detector)
    if not isinstance(state, DetectorState):
        raise UnknownSubject(detector)
    as_of = now if at is None else at
    decision = decide(state, Around(known, of=state, wearer=wearer).of(state), as_of=as_of, wearer=wearer)
    return GateRow(state, decision)


class Around:
    """What stands around detectors: sites with clock and rules, cylinders, people; read once per question."""

    def __init__(
        self,
        known: KnownWhole,
        *,
        of: DetectorState | None = None,
        wearer: str | None = None,
        regulators: dict[str, OtherState] | None = None,
    ) -> None:
        self._known = known
        if of is None:
            self._cylinders = {state.subject: state for state in known.all_of(CylinderState)}
            self._people = {state.subject: state for state in known.all_of(PersonState)}
        else:
            wanted = [name for test in of.tests for name in (*test.cylinders, test.by)]
            found = known.some([*wanted, *((wearer,) if wearer else ())])
            self._cylinders = {s.subject: s for s in found.values() if isinstance(s, CylinderState)}
            self._people = {s.subject: s for s in found.values() if isinstance(s, PersonState)}
        self._regulators = regulators  # read when asked for, where they are not given
        self._sites: dict[str | None, Surroundings] = {}

    def of(self, state: DetectorState) -> Surroundings:
        """The surroundings of a detector: those of its site."""
        return self.at(state.site)

    def at(self, site: str | None) -> Surroundings:
        """What stands around the detectors of a site."""
        if site not in self._sites:
            self._sites[site] = self._surroundings(site)
        return self._sites[site]

    def _surroundings(self, site: str | None) -> Surroundings:
        place = self._known.state(site) if site is not None else None
        if not isinstance(place, SiteState) or place.not_understood:
            place = None  # clock and rules may be other ones than they seem
        return Surroundings(
            site=site,
            zone=place.zone if place and place.zone else None,
            change_overs=place.change_overs if place else (),
            rules_over_time=self._rules(place) if place else (),
            cylinders=self._cylinders,
            people=self._people,
            regulators=self.regulators,
            lost_before=self.lost_before,
            recorded_to=self.recorded_to,
        )

    @cached_property
    def lost_before(self) -> Ms | None:
        """Until when the book may lack entries, restored from an older copy; None if it was not."""
        found = self._known.of_the_book()
        return lost_before(found) if isinstance(found, OtherState) else None

    @cached_property
    def recorded_to(self) -> Ms | None:
        """The latest time at which one of the newest entries was recorded; None for what was known then, and
        where whoever serves says that the clock is right and was ahead before."""
        if not isinstance(self._known, Now) or settings.CONFIG.clock_is_right:
            return None
        found = book.recorded_to()
        return None if found is None else Ms(found)

    @property
    def regulators(self) -> dict[str, OtherState]:
        """Every regulator of the book as known; there are few."""
        if self._regulators is None:
            found = self._known.some(book.subjects("regulator"))
            self._regulators = {s.subject: s for s in found.values() if isinstance(s, OtherState)}
        return self._regulators

    def _rules(self, place: SiteState) -> tuple[tuple[Ms, RuleSet], ...]:
        over_time = []
        for adoption in place.adoptions:
            documents = self._known.state(adoption.rules)
            text = documents.description.get(adoption.digest) if isinstance(documents, OtherState) else None
            over_time.append((adoption.since, rule_set(text, adoption.digest)))
        return tuple(over_time)


@lru_cache(maxsize=64)
def rule_set(document: str | None, digest: str) -> RuleSet:
    """The rule set of an adopted document; one that cannot be read holds no rules, hence never says yes."""
    parsed = parse_rules(parse(document))[0] if document is not None else None
    return parsed or RuleSet(id="unreadable", version=0, title="", rules=(), digest=digest)


def _worst_first(row: GateRow) -> tuple[int, str, str]:
    finding = row.decision.decisive
    return (ORDER[row.decision.verdict], finding.code if finding else "", row.state.subject)
