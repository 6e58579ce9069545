"""How often tests passed, failed or were spoiled, by detector, by person and by cylinder, over a period."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from pitbird.fleet.times import Ms, ms_from, next_change_over
from pitbird.services.counted import counted


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
    for body in counted("bump-test", since=since, until=until):
        if site is not None and body.get("where") != site:
            continue
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
