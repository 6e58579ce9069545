"""How often tests passed, failed or were spoiled, by detector, by person and by cylinder, over a period."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pitbird.fleet.times import Ms, ms_from, ms_of, next_change_over
from pitbird.services.quick import QUICK
from pitbird.store import book


@dataclass
class Count:
    """The attempts of one detector, person or cylinder."""

    subject: str
    outcomes: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)

    @property
    def all(self) -> int:
        """How many attempts there were."""
        return sum(self.outcomes.values())


@dataclass(frozen=True)
class Attempts:
    """Counts over a period ``[since, until)``, the most spoiled first; counts, and no verdict on people."""

    since: Ms
    until: Ms
    detectors: tuple[Count, ...]
    people: tuple[Count, ...]
    cylinders: tuple[Count, ...]


def attempts(*, since: Ms, until: Ms, site: str | None = None) -> Attempts:
    """Count the bump tests that happened in a period (at a site), corrections heeded.

    An entry counts by its own time, or by that of its correction; a voided one does not count.
    """
    counts: dict[str, dict[str, Count]] = {"detector": {}, "person": {}, "cylinder": {}}
    for body in _tests(since, until, site):
        gases = [application["cylinder"] for application in body.get("applications", ())]
        for subject in dict.fromkeys((body["detector"], body["by"], *gases)):
            sort = subject.partition(":")[0]
            count = counts[sort].setdefault(subject, Count(subject))
            count.outcomes[body["outcome"]] += 1
            if body["outcome"] == "spoiled":
                count.reasons[body.get("spoiled_because", "other")] += 1
    ordered = {sort: tuple(sorted(found.values(), key=_worst_first)) for sort, found in counts.items()}
    return Attempts(since, until, ordered["detector"], ordered["person"], ordered["cylinder"])


def day_at(day: date, zone: str) -> tuple[Ms, Ms]:
    """The first instant of a calendar day at a site, and of the next, also where clocks skip midnight."""
    noon = datetime.combine(day, time(12), ZoneInfo(zone))
    before = datetime.combine(day - timedelta(days=1), time(12), ZoneInfo(zone))
    start, end = (next_change_over(ms_from(moment), zone, ("00:00",)) for moment in (before, noon))
    return start, end


def _worst_first(count: Count) -> tuple[float, int, str]:
    spoiled = count.outcomes["spoiled"]
    return (-spoiled / count.all, -spoiled, count.subject)


def _tests(since: Ms, until: Ms, site: str | None) -> Iterator[Mapping[str, Any]]:
    """The bump tests of the period as they count: corrected ones in place of their originals."""
    corrections: dict[str, Mapping[str, Any]] = {}
    for row in book.of_kind("correction"):
        body = QUICK.decode(row.leaf)["body"]
        corrections[body["corrects"]] = body
    seen = set()
    for row in book.of_kind("bump-test", since=since, until=until):
        seen.add(row.entry_id)
        said = _counted(QUICK.decode(row.leaf)["body"], corrections.get(row.entry_id))
        if said is not None and _within(said, since, until, site):
            yield said
    for corrected, correction in corrections.items():
        replacement = correction.get("replacement")
        if replacement is None or replacement["kind"] != "bump-test" or corrected in seen:
            continue
        if _within(replacement, since, until, site):
            yield replacement


def _counted(body: Mapping[str, Any], correction: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    return body if correction is None else correction.get("replacement")


def _within(body: Mapping[str, Any], since: Ms, until: Ms, site: str | None) -> bool:
    return since <= ms_of(body["at"]) < until and (site is None or body.get("where") == site)
