"""A share found failed, taken into account by the user's own choice: no default, its weight always shown."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Final, Literal

from pydantic import Field

from pitbird.calc.definition import Part, Refused, read_part
from pitbird.record.faults import Fault
from pitbird.science.reliability.exponential import ExponentialFit
from pitbird.science.reliability.prevalence import Prior, prevalence_prior
from pitbird.science.reliability.spans import Spans

#: A prior worth more failures than these would drown the record of any fleet; one worth less is none.
MOST_WORTH: Final = 100.0
LEAST_WORTH: Final = 0.01
#: One in more than these is a share that nobody has counted.
MOST_ONE_IN: Final = 1e9
#: An hour, and some 270 years.
SHORTEST_DAYS: Final = 1 / 24
LONGEST_DAYS: Final = 1e5
_DAYS_PER_YEAR: Final = 365.25
OWN_ASSUMPTION: Final = "The prevalence is the user's own assumption, no finding of this record."
AT_ODDS: Final = {
    "below": "The assumed rate lies below all that the limits of the record allow: they are at odds. Go by "
    "the record; the answer with it makes failures look fewer than were found.",
    "above": "The assumed rate lies above all that the limits of the record allow: they are at odds. Ask "
    "whether it is about such sensors at all.",
}
DETECTORS_ARE_NOT_SENSORS: Final = (
    "A share counted in detectors is not one of sensors: a detector with four sensors fails about four times "
    "as often as one of them."
)


class Prevalence(Part):
    """A share found failed among sensors that had gone untested, taken into account by the user's own choice.
    It is no rate: it counts only with the mean time untested that it stands for, its weight shown."""

    one_in: Annotated[float, Field(gt=1, le=MOST_ONE_IN)]
    """One was found failed among so many sensors."""
    mean_untested_days: Annotated[float, Field(ge=SHORTEST_DAYS, le=LONGEST_DAYS)]
    """The mean time since the last good test of those that were looked at."""
    worth_failures: Annotated[float, Field(ge=LEAST_WORTH, le=MOST_WORTH)]
    """How many failures of one's own record it shall be worth; the smaller, the less it weighs."""

    def prior(self) -> Prior:
        """The gamma prior that it amounts to."""
        return prevalence_prior(1 / self.one_in, self.mean_untested_days, self.worth_failures)

    def footing(self) -> str:
        """The rate that it stands for, worked out in a line."""
        n, days, between = self.one_in, self.mean_untested_days, 1 / self.prior().mean_rate
        return (
            f"1 in {n:g} found failed, untested for {days:g} days in the mean, stands for one failure in "
            f"{between:.5g} sensor-days ({between / _DAYS_PER_YEAR:.3g} sensor-years): those days over "
            f"-ln(1 - 1/{n:g})"
        )


class PrevalenceWeight(Part):
    """What the prevalence amounts to, beside the record."""

    rate_per_day: float
    """The rate that it stands for: -ln(1 - 1/N) over the mean time untested."""
    worth_failures: float
    worth_days: float
    """It counts like so many days of observation with those failures in them."""
    record_failures: int
    record_days: float
    """Days known good, and half of each gap in which a failure lies."""
    weight_fraction: float
    """Its share in the days that stand behind the answer with it."""
    failures_fraction: float
    """Its share in the failures that stand behind the answer with it."""
    at_odds: Literal["below", "above"] | None
    """Whether its rate lies below or above all that the limits of the record allow."""


def weight_of(prior: Prior, seen: Spans, fit: ExponentialFit) -> PrevalenceWeight:
    """What a prior from a prevalence weighs beside a record, whose fit tells whether they are at odds."""
    at_odds: Literal["below", "above"] | None = None
    if fit.rate_low is not None and prior.mean_rate < fit.rate_low:
        at_odds = "below"
    elif fit.rate_high is not None and prior.mean_rate > fit.rate_high:
        at_odds = "above"
    return PrevalenceWeight(
        rate_per_day=prior.mean_rate,
        worth_failures=prior.shape,
        worth_days=prior.rate_time,
        record_failures=seen.failures,
        record_days=prior.record_time(seen),
        weight_fraction=prior.weight(seen),
        failures_fraction=prior.shape / (prior.shape + seen.failures),
        at_odds=at_odds,
    )


def weight_cautions(told: PrevalenceWeight) -> Iterator[str]:
    """That it is the user's assumption, and how much of the answer comes from it."""
    own, record = (days / _DAYS_PER_YEAR for days in (told.worth_days, told.record_days))
    shares = [f"{100 * share:.3g} %" for share in (told.weight_fraction, told.failures_fraction)]
    yield (
        f"{OWN_ASSUMPTION} It counts like {told.worth_failures:g} failures in {own:.3g} sensor-years, beside "
        f"{told.record_failures} in {record:.3g} of the record. Of what stands behind the answer with it "
        f"{shares[0]} of the time and {shares[1]} of the failures are its own."
    )
    if told.at_odds is not None:
        yield AT_ODDS[told.at_odds]
    yield DETECTORS_ARE_NOT_SENSORS


def prevalence_of(typed: Mapping[str, str | None]) -> Prevalence | None:
    """A prevalence from its fields as typed; None where nothing was. Raises ``Refused``: it is given whole or
    not at all, and each number within its bounds."""
    given = {name: text.strip() for name, text in typed.items() if text is not None and text.strip()}
    if not given:
        return None
    raw = {name: _number(text) for name, text in given.items()}
    try:
        return read_part(Prevalence, raw)
    except Refused as refused:
        raise Refused(_in_words(fault, given) for fault in refused.faults) from None


def _in_words(fault: Fault, given: Mapping[str, str]) -> Fault:
    """A fault as it is told to somebody who typed, and not wrote JSON."""
    text = given.get(fault.where)
    if text is None:
        problem = "missing: a prevalence counts only with the time untested that it stands for and its worth"
        return Fault(fault.where, "", problem)
    if _GROUPED.fullmatch(text):
        return Fault(fault.where, text, "write it without a mark between the thousands, as 2500")
    if fault.problem.startswith("not a number"):
        return Fault(fault.where, text, "not a number; write it in figures, as 30")
    return Fault(fault.where, text, fault.problem)


#: 2,500 may be two and a half, or a thousand times as much.
_GROUPED: Final = re.compile(r"(1 in )?\d{1,3}([.,\s'’]\d{3})+")


def _number(text: str) -> float | str:
    """A number with a comma or a point, "1 in 2500" as 2500; what is none is kept for the refusal."""
    plain = text.lower().removeprefix("1 in ")
    if _GROUPED.fullmatch(plain):
        return text
    try:
        return float(plain.replace(",", "."))
    except ValueError:
        return text
