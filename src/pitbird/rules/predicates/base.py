"""What a predicate is: a fixed question with typed parameters and codes for its answers, and what it may
look at."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from functools import lru_cache
from typing import Any, Final, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pitbird.fleet.folding.item import CLOCK_TOLERANCE
from pitbird.fleet.state import CylinderState, DetectorState, TestFact
from pitbird.fleet.times import DAY, Ms, local, ms_from, next_change_over, text_of
from pitbird.rules.decision import Finding, Outcome, Rule, Surroundings
from pitbird.rules.predicates.met import Met, asked, met

Facts = tuple[tuple[str, str], ...]
#: Name and state of a cylinder that is known, and the entries relied on: the test and its description.
Gas = tuple[str, CylinderState, tuple[str, str]]
Judge = TypeVar("Judge", bound=Callable[..., Finding])

EVENTS: Final = (
    "drop", "water", "over-range", "suspected-poison", "fault", "flat-battery", "sensor-changed",
    "filter-changed", "firmware-changed", "set-point-changed",
    "fresh-air-set", "calibration", "repaired", "described-anew", "alarm-in-use",
)  # fmt: skip
CHECKS: Final = (
    "whole_and_clean", "inlets_clear", "warmed_up", "battery", "hose_tight", "gauge_shows_pressure",
    "cylinder_in_date",
)  # fmt: skip
TOPICS: Final = ("bump-test", "wearing", "calibration", "train-the-trainer")


class Scope(StrEnum):
    """Whether a question is about the moment of deciding or about one test (with the rules of its own
    time)."""

    MOMENT = "moment"
    TEST = "test"


class Kind(StrEnum):
    """The types that a parameter can have."""

    WHOLE = "whole number"
    DECIMAL = "decimal string"
    WORD = "one word"
    WORDS = "list of words"
    NAMES = "list of names"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter of a predicate. ``choices`` bounds words; ``when`` names the word of another parameter
    that calls for this one (otherwise it must be absent). Every other parameter must be given."""

    name: str
    kind: Kind
    about: str
    choices: tuple[str, ...] = ()
    least: int = 1
    most: int = 1_000_000
    may_be_empty: bool = False
    when: tuple[str, str] | None = None
    #: What is wrong with one item of a list, in words; "" for nothing.
    each: Callable[[str], str] | None = None

    def fault(self, value: object) -> str | None:
        """What is wrong with a value, in words; None if nothing is."""
        match self.kind:
            case Kind.WHOLE:
                if type(value) is not int:
                    return f"must be a whole number, not {value!r}"
                if self.least <= value <= self.most:
                    return None
                return f"must be from {self.least} to {self.most}, not {value}"
            case Kind.DECIMAL:
                amount = number(value) if type(value) is str else None
                if amount is None:
                    return f'must be a decimal number in quotes, such as "1.2", not {value!r}'
                return None if amount > 0 else f"must be above 0, not {value}"
            case Kind.WORD:
                if value not in self.choices or type(value) is not str:
                    return f"must be one of {', '.join(self.choices)}, not {value!r}"
                return None
            case _:
                return self._fault_of_list(value)

    def _fault_of_list(self, value: object) -> str | None:
        if type(value) not in (list, tuple) or not all(type(item) is str and item for item in value):  # type: ignore[attr-defined]
            return f"must be a list of words in quotes, not {value!r}"
        items: list[str] = list(value)  # type: ignore[call-overload]
        if not items and not self.may_be_empty:
            return "must not be empty"
        if len(set(items)) != len(items):
            return "names something twice"
        if self.each is not None:
            wrong = [f"{item!r}: {told}" for item in items if (told := self.each(item))]
            if wrong:
                return "cannot be read, " + "; ".join(wrong)
        strange = [item for item in items if self.choices and item not in self.choices]
        if strange:
            return f"knows no {', '.join(map(repr, strange))}; use {', '.join(self.choices)}"
        return None

    def prepared(self, value: Any) -> Any:
        """The value in the form that judging wants."""
        match self.kind:
            case Kind.DECIMAL:
                return Decimal(value)
            case Kind.WORDS | Kind.NAMES:
                return tuple(value)
            case _:
                return value


@dataclass(frozen=True, slots=True)
class Code:
    """What a code of a finding stands for: the outcome it always has and the remedy."""

    outcome: Outcome
    remedy: str = ""


MET: Final = Outcome.MET
NOT_MET: Final = Outcome.NOT_MET
UNKNOWN: Final = Outcome.UNKNOWN
NOT_APPLICABLE: Final = Outcome.DOES_NOT_APPLY


@dataclass(frozen=True, slots=True)
class Predicate:
    """A fixed question: its name, what it is about, its parameters, its codes and the function that
    answers."""

    name: str
    scope: Scope
    parameters: tuple[Parameter, ...]
    codes: Mapping[str, Code]
    judge: Callable[[Any, Bound], Finding]
    gas_test: bool

    @property
    def about(self) -> str:
        """What it asks, as docs/rules.md repeats it."""
        return " ".join((self.judge.__doc__ or "").split())


PREDICATES: Final[dict[str, Predicate]] = {}


def predicate(
    name: str,
    scope: Scope,
    *,
    codes: Mapping[str, Code],
    parameters: tuple[Parameter, ...] = (),
    gas_test: bool = False,
) -> Callable[[Judge], Judge]:
    """Register a function as the answer to a fixed question."""

    def register(judge: Judge) -> Judge:
        if name in PREDICATES:
            raise ValueError(f"two predicates are named {name}")
        PREDICATES[name] = Predicate(name, scope, parameters, codes, judge, gas_test)
        return judge

    return register


class Bound:
    """A rule joined to its predicate, with parameters prepared. Findings without facts are made once."""

    __slots__ = ("_codes", "_id", "_plain", "_predicate", "_source", "known", "rule", "strength", "values")

    def __init__(self, rule: Rule, predicate: Predicate, values: Mapping[str, Any]) -> None:
        self.rule = rule
        self.values = values
        # Only the very word "warns" weakens a rule.
        self.strength = "warns" if rule.strength == "warns" else "stops"
        self._codes = predicate.codes
        self._id = rule.id
        self._predicate = predicate.name
        self._source = f"{rule.source} ({rule.edition})" if rule.edition else rule.source
        self.known = rule.known
        self._plain: dict[str, Finding] = {}

    def finds(
        self,
        code: str,
        facts: Facts = (),
        entries: tuple[str, ...] = (),
        until: Ms | None = None,
        strength: str = "",
    ) -> Finding:
        """A finding of this rule; outcome and remedy are those of the code."""
        bare = not (facts or entries or strength or until is not None)
        if bare and (plain := self._plain.get(code)) is not None:
            return plain
        meant = self._codes[code]
        found = Finding(
            self._id, self._predicate, meant.outcome, code, strength or self.strength, meant.remedy,
            facts, entries, until, False, self._source, self.known,
        )  # fmt: skip
        if bare:
            self._plain[code] = found
        return found


class Attempt:
    """What a predicate about one test may look at: the test, the detector, and the gas and people around
    it."""

    __slots__ = (
        "_day", "_gas", "_met", "_relied", "_stranger", "attempts", "detector", "surroundings", "test",
        "zone",
    )  # fmt: skip

    def __init__(self, test: TestFact, moment: Moment) -> None:
        self.test = test
        self.attempts = moment.attempts  # all tests, newest first
        self.detector = moment.detector
        self.surroundings = moment.surroundings
        self.zone = moment.zone
        self._day: str | None = None
        self._met: Met | None = None
        self._gas: list[Gas] | None = None
        self._stranger: str | None = None
        self._relied: tuple[str, ...] = ()

    @property
    def met(self) -> Met:
        """What the channels met in the test, as the detector is described now."""
        if self._met is None:
            self._met = met(self.detector.channels, self.test.shown)
        return self._met

    @property
    def asked(self) -> tuple[str, ...]:
        """The channels with an alarm that gas must show."""
        return asked(self.detector.channels)

    @property
    def gas(self) -> list[Gas]:
        """Each cylinder of the test that is known."""
        if self._gas is None:
            self._gas = self._look_up()
        return self._gas

    @property
    def stranger(self) -> str | None:
        """The first cylinder of the test that is not known; None where all are."""
        if self._gas is None:
            self._gas = self._look_up()
        return self._stranger

    @property
    def relied(self) -> tuple[str, ...]:
        """The test and the descriptions of its cylinders, of those that are known."""
        if self._gas is None:
            self._gas = self._look_up()
        return self._relied

    def _look_up(self) -> list[Gas]:
        entry = self.test.entry
        relied, found = [entry], []
        for name in self.test.cylinders:
            cylinder = known_cylinder(self, name)
            if cylinder is not None and cylinder.described_by is not None:
                found.append((name, cylinder, (entry, cylinder.described_by)))
                relied.append(cylinder.described_by)
            elif self._stranger is None:
                self._stranger = name
        self._relied = tuple(relied)
        return found

    @property
    def day(self) -> str | None:
        """The day of the test on the site's calendar (``YYYY-MM-DD``); None if the site's clock is not
        known."""
        if self._day is None and self.zone is not None:
            self._day = local_day(self.test.at, self.zone)
        return self._day

    @property
    def reported(self) -> bool:
        """A bare report: details that are missing are not asked for, those that speak against it count."""
        return self.test.footing == "reported"


@dataclass(frozen=True, slots=True)
class Judged:
    """A passed test with what the rules of its time found, and whether it ``counts``, does ``not``, or
    ``unknown``."""

    test: TestFact
    standing: str
    findings: tuple[Finding, ...]


class Moment:
    """What a predicate about the moment of deciding may look at, the counted test included.

    ``counted`` is the newest passed test that is valid; ``unknown`` are newer ones that cannot be judged;
    ``refused`` is the newest passed test that is not valid or not known to be.
    """

    __slots__ = (
        "_day", "as_of", "attempts", "counted", "detector", "floor", "horizon", "refused", "surroundings",
        "unknown", "wearer", "zone",
    )  # fmt: skip

    def __init__(
        self, detector: DetectorState, surroundings: Surroundings, as_of: Ms, wearer: str | None
    ) -> None:
        self.detector = detector
        self.surroundings = surroundings
        self.as_of = as_of
        # What forbids counts on arrival, also from a clock that runs ahead within its tolerance.
        self.horizon = Ms(as_of + CLOCK_TOLERANCE)
        self.wearer = wearer
        self.zone = usable_zone(surroundings.zone)
        self._day: str | None = None
        self.counted: TestFact | None = None
        self.unknown: tuple[Judged, ...] = ()
        self.refused: Judged | None = None
        self.floor: Ms | None = None
        self.attempts: tuple[TestFact, ...] = ()

    @property
    def day(self) -> str | None:
        """Today on the site's calendar; None if the site's clock is not known."""
        if self._day is None and self.zone is not None:
            self._day = local_day(self.as_of, self.zone)
        return self._day


def usable_zone(name: str | None) -> str | None:
    """The zone's name if it is one, else None: without a clock nothing that hangs on a day can be told."""
    return name if name and _is_zone(name) else None


@lru_cache(maxsize=256)
def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def local_day(instant: Ms, zone: str) -> str:
    """The calendar day of an instant at a site."""
    return local(instant, zone).date().isoformat()


@lru_cache(maxsize=4096)
def end_of_day(day: str, zone: str) -> Ms:
    """The first instant after a calendar day at a site (a date that holds "until" a day holds through it)."""
    noon = datetime.combine(date.fromisoformat(day), time(12), ZoneInfo(zone))
    return next_change_over(ms_from(noon), zone, ("00:00",))


def real_day(text: str | None) -> str | None:
    """The day if it is one, else None."""
    return text if text is not None and _is_day(text) else None


@lru_cache(maxsize=4096)
def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def number(text: str | None) -> Decimal | None:
    """A decimal string as a number; None if it is none (or not finite)."""
    return None if text is None else _number(text)


@lru_cache(maxsize=8192)
def _number(text: str) -> Decimal | None:
    try:
        value = Decimal(text)
    except InvalidOperation:
        return None
    return value if value.is_finite() else None


def days_after(instant: Ms, days: int) -> Ms:
    """So many times 24 hours later."""
    return Ms(instant + days * DAY)


def at(name: str, instant: Ms) -> tuple[str, str]:
    """An instant as a fact; its name ends in ``_at``, so that words show it on the site's clock."""
    return name, text_of(instant)


def known_cylinder(attempt: Attempt, name: str) -> CylinderState | None:
    """A cylinder as known: described, with no entry that is not understood; else None."""
    cylinder = attempt.surroundings.cylinders.get(name)
    if cylinder is None or cylinder.described_by is None or cylinder.not_understood:
        return None
    return cylinder
