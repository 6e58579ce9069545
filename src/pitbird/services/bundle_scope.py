"""What goes into an audit bundle: the subjects whose entries are all in it, from which one on, and which
entries that makes.

Everything but detectors is in from its first entry: cylinders with their certificates, the regulators they
were used with, sites with their rules, the book. Detectors are in from the last entry before the period on,
the fence that shows that nothing recorded since is missing. Of people who tested, where not all history is
in, what was written about them and their training is in, and nothing is claimed of the rest. An entry is
about several things: where one that is in for another subject lies before a detector's fence, the fence
moves back to it, since numbers of a subject may not have a gap.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any, Final

from pitbird.fleet.state import DetectorState, SiteState
from pitbird.fleet.times import DAY, Ms, text_of
from pitbird.papers.bundle.writing import BundleRefused
from pitbird.services.attempts import day_at
from pitbird.services.knowing import Now
from pitbird.services.quick import QUICK
from pitbird.store import book, selecting

#: Entries that say with which gas, where and by whom a detector was shown gas.
_WITH_GAS: Final = frozenset({"bump-test", "calibration"})
#: What is said of people who tested, where not everything about them is in.
_OF_TESTERS: Final = ("person", "training", "erasure", "note")
_EVER: Final = 2**62


@dataclass(frozen=True)
class Asked:
    """What an auditor wants to see: things by their subjects, the days of the period, how it is made.

    ``texts`` False leaves names, free texts and photos out. ``since_size`` is that of a checkpoint which the
    auditor holds: the bundle then shows that the book goes on from it. ``paper`` is the size of the papers.
    """

    detectors: tuple[str, ...] = ()
    sites: tuple[str, ...] = ()
    people: tuple[str, ...] = ()
    first: date | None = None
    last: date | None = None
    texts: bool = True
    paper: str = "a4"
    since_size: int | None = None

    def faults(self, census: Mapping[str, int], size: int) -> Iterator[str]:
        """Everything in which it cannot be answered, each with its field."""
        for name, sort, subjects in (
            ("detector", "detector:", self.detectors),
            ("site", "site:", self.sites),
            ("person", "person:", self.people),
        ):
            for subject in subjects:
                if not subject.startswith(sort) or subject not in census:
                    yield f"{name}: the book knows no {name} {subject.removeprefix(sort)!r}"
        if not (self.detectors or self.sites or self.people):
            yield "detector: nothing is asked for; name at least one detector, site or person"
        if self.first and self.last and self.last < self.first:
            yield f"until: {self.last} lies before {self.first}, with which the period begins"
        if self.since_size is not None and not 0 < self.since_size <= size:
            yield f"since-checkpoint: {self.since_size} entries; the book holds {size}, so give 1 to {size}"
        if self.paper not in ("a4", "us-letter"):
            yield f"paper-size: {self.paper!r} is none of a4, us-letter"


@dataclass(frozen=True)
class Scope:
    """The entries of a bundle by their indices, rising; ``first`` and ``since`` as in scope.json.

    ``people`` are those whose own entries are in, whether or not all of them are.
    """

    size: int
    indices: array[int]
    first: Mapping[str, int]
    since: str | None
    people: frozenset[str]

    def has(self, index: int) -> bool:
        """Whether the entry at a place of the book is in."""
        at = bisect_left(self.indices, index)
        return at < len(self.indices) and self.indices[at] == index


def scope_of(asked: Asked, census: Mapping[str, int], size: int) -> Scope:
    """Work out what is asked for on the first ``size`` entries. Raises BundleRefused with every fault."""
    faults = tuple(dict.fromkeys(asked.faults(census, size)))
    if faults:
        raise BundleRefused("\n".join(faults))
    since, until = _period(asked, size)
    made = _Choosing(size, census)
    for detector in _detectors(asked, since, until, census, size):
        fence = 1 if since is None else max(1, selecting.last_before(detector, since, below=size))
        made.claim(detector, fence)
    gathered = _Gathered(since)
    made.settle(gathered)
    for subject in _around(asked, gathered, census):
        made.claim(subject, 1)
    # With which regulator a cylinder was opened may have been said long before the period.
    on_cylinders = _Gathered(None)
    made.settle(on_cylinders)
    for regulator in sorted((gathered.regulators | on_cylinders.regulators) & census.keys()):
        made.claim(regulator, 1)
    if since is None:
        for person in gathered.people & census.keys():
            made.claim(person, 1)
    else:
        for person in sorted(gathered.people - set(asked.people)):
            made.put(selecting.indices_of_kinds(person, _OF_TESTERS, below=size))
    for person in asked.people:
        kinds = sorted(_WITH_GAS)
        low, high = 0 if since is None else since, _EVER if until is None else until
        made.put(selecting.indices_by(person, kinds, low, high, below=size))
    made.settle()
    people = frozenset({*asked.people, *gathered.people})
    return Scope(size, made.indices(), made.first, None if since is None else text_of(since), people)


def _period(asked: Asked, size: int) -> tuple[Ms | None, Ms | None]:
    """The instants between which the days lie wherever the fleet is: the first day's beginning where it
    begins first, the last day's end where it ends last."""
    zones = {state.zone for state in Now().all_of(SiteState) if state.zone} or {"UTC"}
    since = until = None
    if asked.first is not None:
        since = Ms(min(_begins(asked.first, zone) for zone in zones))
    if asked.last is not None:
        until = Ms(max(_begins(asked.last, zone) for zone in zones) + DAY + DAY // 12)
    return since, until


def _begins(day: date, zone: str) -> int:
    if date.min < day < date.max:
        return day_at(day, zone)[0]
    return int(datetime.combine(day, time(), UTC).timestamp()) * 1000


def _detectors(
    asked: Asked, since: Ms | None, until: Ms | None, census: Mapping[str, int], size: int
) -> list[str]:
    """The detectors asked for, those that belong to the sites, and those that were there in the period."""
    found = set(asked.detectors)
    for site in asked.sites:
        found.update(subject for subject, _ in book.standing_digests("detector", site))
        low, high = 0 if since is None else since, _EVER if until is None else until
        found.update(selecting.detectors_at(site, low, high, below=size))
    return sorted(found & census.keys())


def _around(asked: Asked, gathered: _Gathered, census: Mapping[str, int]) -> list[str]:
    """What the detectors were tested with, where, in which book; and whoever was asked for."""
    homes = {
        state.site
        for state in Now().some(gathered.detectors).values()
        if isinstance(state, DetectorState) and state.site
    }
    found = {*asked.people, *asked.sites, *gathered.cylinders, *gathered.sites, *homes}
    found.update(subject for subject in census if subject.startswith("book:"))
    return sorted(found & census.keys())


@dataclass
class _Gathered:
    """What the entries of the detectors in the period name."""

    since: Ms | None
    detectors: set[str] = field(default_factory=set)
    cylinders: set[str] = field(default_factory=set)
    sites: set[str] = field(default_factory=set)
    people: set[str] = field(default_factory=set)
    regulators: set[str] = field(default_factory=set)

    def add(self, row: book.Row, body: Mapping[str, Any]) -> None:
        """Take up what one entry names."""
        if self.since is not None and row.recorded_at < self.since:
            return
        said = body.get("replacement") or body
        about = body["about"]
        self.detectors.update(subject for subject in about if subject.startswith("detector:"))
        self.cylinders.update(subject for subject in about if subject.startswith("cylinder:"))
        self.sites.update(filter(None, (body.get("where"), said.get("where"))))
        if said["kind"] in _WITH_GAS:
            self.people.add(said["by"])
        named = (each.get("regulator") for each in (said, *said.get("applications", ())))
        self.regulators.update(filter(None, named))


#: How far a place is: not in, to be looked at, in.
_NEW, _IN = 1, 2


class _Choosing:
    """Entries marked by their place, one byte for each of the book, until no subject has a gap."""

    def __init__(self, size: int, census: Mapping[str, int]) -> None:
        self._size = size
        self._census = census
        self._marks = bytearray(size)
        self.first: dict[str, int] = {}

    def claim(self, subject: str, first: int) -> None:
        """All entries about a subject from a number on."""
        before = self.first.get(subject, self._census[subject] + 1)
        if first < before:
            self.first[subject] = first
            self.put(selecting.indices_about(subject, first, before, below=self._size))

    def put(self, indices: Iterable[int]) -> None:
        """Single entries, of which nothing is claimed."""
        for index in indices:
            if not self._marks[index]:
                self._marks[index] = _NEW

    def settle(self, gathered: _Gathered | None = None) -> None:
        """Move fences back until no entry lies before the fence of a subject that it is about."""
        while new := self._places(_NEW):
            for index in new:
                self._marks[index] = _IN
            for row in selecting.rows_at(new):
                leaf = QUICK.decode(row.leaf)
                for subject, number in leaf["nth"].items():
                    if number < self.first.get(subject, 0):
                        self.claim(subject, number)
                if gathered is not None:
                    gathered.add(row, leaf["body"])

    def indices(self) -> array[int]:
        """The places of all that is in, rising; after ``settle``."""
        return self._places(_IN)

    def _places(self, mark: int) -> array[int]:
        found: array[int] = array("q")
        at = self._marks.find(mark)
        while at >= 0:
            found.append(at)
            at = self._marks.find(mark, at + 1)
        return found
