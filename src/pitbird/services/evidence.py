"""What the book's own record says about failures that show only at tests: rates, and what an interval leaves
undetected, for each kind of channel, type of detector, site or age of sensor.

Evidence may tighten an interval; by itself it never loosens the manual, the law or the site rules.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import DAY, Ms
from pitbird.services.clock import now as clock_now
from pitbird.services.knowing import Known, Now
from pitbird.services.observing import (
    AGES,
    NOT_KNOWN,
    YEAR_DAYS,
    By,
    Clock,
    Observation,
    group_of,
    observations,
)
from pitbird.services.rule_intervals import asked_days

if TYPE_CHECKING:
    from pitbird.calc.prevalence import Prevalence, PrevalenceWeight
    from pitbird.science.reliability.bands import Band
    from pitbird.science.reliability.exponential import ExponentialFit, GammaPosterior
    from pitbird.science.reliability.groups import Difference, GroupRate
    from pitbird.science.reliability.spans import Spans

__all__ = ["YEAR_DAYS", "By", "Clock", "Evidence", "Observation", "Record", "evidence", "observations"]

#: One failure in ten sensor-years [1/day]: ours, as a mark to say how much record is wanting.
AIM_PER_DAY: Final = 0.1 / YEAR_DAYS
#: The same draws each time, so that the same book gives the same answer.
_SEED: Final = 24
#: Below it groups are said to differ by more than chance.
LITTLE_CHANCE: Final = 0.01
#: No longer interval is thought of: two years between tests are none.
LONGEST_DAYS: Final = 730.0
#: Intervals between tests [days] for which the undetected share is told.
INTERVALS: Final = (1.0, 2.0, 7.0, 14.0, 30.0, 60.0, 91.0, 182.0, 365.0)


@dataclass(frozen=True, slots=True)
class Longest:
    """The longest interval between tests that keeps the share of time failed and not known within a target.

    ``days`` at the estimated rate, ``cautious_days`` at its upper limit: the one to go by. None where not
    even the shortest interval keeps it, or where that rate is not known; no more than `LONGEST_DAYS`.
    """

    days: float | None
    cautious_days: float | None


@dataclass(frozen=True, slots=True)
class WithPrevalence:
    """The rate with a prevalence taken into account, and what that weighs beside the record.

    ``undetected_now`` is the mean share of time failed and not known, at the median and the limits of the
    posterior.
    """

    posterior: GammaPosterior
    weight: PrevalenceWeight
    undetected_now: Band | None


@dataclass(frozen=True, slots=True)
class Record:
    """What stands behind a group and what follows from it.

    ``gap_days`` is the median time between tests as they were really made, ``gap_longest_days`` the longest;
    ``undetected_now`` the mean share of time failed and not known on that actual log, ``undetected`` the same
    for each of ``INTERVALS``. ``wanting_days`` is how much more time known good, without another failure,
    would bring the upper limit down to one failure in ten sensor-years; None where it is there, and where the
    estimate itself lies above it.
    """

    group: str
    sensors: int
    fit: ExponentialFit
    gap_days: float | None
    gap_longest_days: float | None
    undetected_now: Band | None
    undetected: tuple[Band, ...]
    wanting_days: float | None
    together: GroupRate | None = None
    longest: Longest | None = None
    with_prevalence: WithPrevalence | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """The record of a fleet (of a site): one row a group, the highest rate first; ages as they rise.

    ``differ`` says whether the groups differ more than chance makes them (None where that cannot be asked,
    and ``why_not`` says why); each record's ``together`` is its rate in the light of all groups,
    ``mean_rate`` the mean of them all [1/day].

    ``in_store`` counts failures found without any time handed out since the last good test, which the clock
    of time handed out cannot place and leaves out.
    """

    by: By
    clock: Clock
    calibration_counts: bool
    site: str | None
    confidence: float
    detectors: int
    records: tuple[Record, ...]
    in_store: int
    differ: Difference | None = None
    mean_rate: float | None = None
    why_not: str = ""
    asked_days: float | None = None
    target: float | None = None
    prevalence: Prevalence | None = None


def evidence(
    *,
    by: By = "channel",
    clock: Clock = "calendar",
    calibration_counts: bool = True,
    site: str | None = None,
    confidence: float = 0.95,
    target: float | None = None,
    prevalence: Prevalence | None = None,
    now: Ms | None = None,
    known: Known | None = None,
) -> Evidence:
    """The failure rate of each group with its limits, and what tests at an interval leave undetected.

    Parameters
    ----------
    by : {"channel", "type", "site", "age", "adjusted"}
        What is put together: channels of one gas and principle, detectors of one type, or of one site; the
        age of a sensor in years since it was put in, or not known; or the years since it was last replaced,
        repaired or adjusted, from the first test or calibration that then showed it good: an old sensor
        begins anew when it is adjusted.
    clock : {"calendar", "handed-out"}
        Whether a sensor ages all the time, or only while its detector is handed out. On the second an age is
        known only where an entry tells that the sensor was put in.
    calibration_counts : bool
        Whether a sensor found outside its tolerance at a calibration counts as failed.
    confidence : float
        Of the limits.
    target : float, optional
        Share of time failed and not known that is to be kept, [-]; between 0 and 1.
    prevalence : Prevalence, optional
        A share found failed elsewhere, by the user's choice: each record then tells its rate with it too.
        Nothing else stands on it; the longest interval does not.
    """
    from pitbird.science.reliability.exponential import fit_exponential
    from pitbird.science.reliability.spans import grouped, spans

    states = (known or Now()).all_of(DetectorState, site)
    groups: dict[str, list[Observation]] = defaultdict(list)
    in_store = 0
    for seen in observations(states, by=by, clock=clock, calibration_counts=calibration_counts):
        if seen.right_days is not None and seen.right_days <= seen.left_days:
            in_store += 1
        else:
            groups[seen.group].append(seen)
    gaps = _gaps(states, by)
    seen_in = {
        group: grouped(spans([each.left_days for each in listed], [each.right_days for each in listed]))
        for group, listed in groups.items()
    }
    together, differ, mean_rate, why_not = _compared(seen_in, confidence)
    records = []
    for group, listed in groups.items():
        fit = fit_exponential(seen_in[group], confidence)
        sensors = len({(each.detector, each.channel) for each in listed})
        record = _record(group, sensors, fit, gaps.get(group, ()))
        kept = None if target is None else _longest(fit, target)
        told = None
        if prevalence is not None:
            told = _with(prevalence, seen_in[group], fit, gaps.get(group, ()))
        together_here = together.get(group)
        records.append(replace(record, together=together_here, longest=kept, with_prevalence=told))
    records.sort(key=lambda record: _place(record, by))
    return Evidence(
        by, clock, calibration_counts, site, confidence, len(states), tuple(records), in_store, differ,
        mean_rate, why_not, asked_days(clock_now() if now is None else now, site, known), target,
        prevalence,
    )  # fmt: skip


def _place(record: Record, by: By) -> tuple[float, str]:
    """Ages as they rise, what is not known last; all else by its rate, the highest first."""
    if by in {"age", "adjusted"}:
        return float([*(age for age, _begins in AGES), NOT_KNOWN].index(record.group)), ""
    return -(record.fit.rate or 0), record.group


def _compared(
    groups: Mapping[str, Spans], confidence: float
) -> tuple[dict[str, GroupRate], Difference | None, float | None, str]:
    """Each group in the light of all, whether they differ, their mean, and why that cannot be asked."""
    import numpy as np

    from pitbird.science.reliability.groups import NoGroups, groups_differ, shrunk_rates

    listed = list(groups.values())
    try:
        told = shrunk_rates(listed, confidence)
        differ = groups_differ(listed, np.random.default_rng(_SEED))
    except NoGroups as none:
        return {}, None, None, str(none)
    return dict(zip(groups, told.groups, strict=True)), differ, told.mean, ""


def _gaps(states: Sequence[DetectorState], by: By) -> Mapping[str, list[float]]:
    """Times between the latest counted tests [days], for each group: the log as it was really kept."""
    found: dict[str, list[float]] = defaultdict(list)
    ages = [*(age for age, _begins in AGES), NOT_KNOWN] if by in {"age", "adjusted"} else []
    for state in states:
        times = [test.at for test in state.tests if test.counts and test.outcome != "spoiled"]
        gaps = [(later - earlier) / DAY for later, earlier in pairwise(times)]
        gaps = [gap for gap in gaps if gap > 0]
        for group in ages or {group_of(state, channel, by) for channel in state.channels}:
            found[group] += gaps
    return found


def _record(group: str, sensors: int, fit: ExponentialFit, gaps: Sequence[float]) -> Record:
    from statistics import median

    from pitbird.science.reliability.bands import rate_band
    from pitbird.science.reliability.intervals import undetected_fraction, undetected_fraction_of_log

    def band(interval: float) -> Band:
        return rate_band(lambda rate: undetected_fraction(rate, interval), fit, at_none=0.0, at_all=1.0)

    now = None
    if gaps:
        now = rate_band(
            lambda rate: undetected_fraction_of_log(rate, gaps), fit, at_none=0.0, at_all=1.0
        )  # fmt: skip
    return Record(
        group=group,
        sensors=sensors,
        fit=fit,
        gap_days=median(gaps) if gaps else None,
        gap_longest_days=max(gaps) if gaps else None,
        undetected_now=now,
        undetected=tuple(band(interval) for interval in INTERVALS),
        wanting_days=_wanting(fit),
    )


def _with(prevalence: Prevalence, seen: Spans, fit: ExponentialFit, gaps: Sequence[float]) -> WithPrevalence:
    from pitbird.calc.prevalence import weight_of
    from pitbird.science.reliability.bands import Band
    from pitbird.science.reliability.exponential import gamma_posterior
    from pitbird.science.reliability.intervals import undetected_fraction_of_log

    prior = prevalence.prior()
    told = gamma_posterior(seen, shape=prior.shape, rate=prior.rate_time, confidence=fit.confidence)
    now = None
    if gaps:
        # It rises with the rate, so that its quantiles are those of the rate.
        low, median, high = (
            undetected_fraction_of_log(rate, gaps) for rate in (told.low, told.median, told.high)
        )
        now = Band(median, low, high, fit.confidence, "equal tails of the posterior")
    return WithPrevalence(told, weight_of(prior, seen, fit), now)


def _longest(fit: ExponentialFit, target: float) -> Longest:
    from pitbird.science.reliability.intervals import longest_interval, undetected_fraction

    def kept(rate: float | None) -> float | None:
        if rate is None or rate <= 0:
            return None
        return longest_interval(target, lambda days: undetected_fraction(rate, days), LONGEST_DAYS)

    return Longest(kept(fit.rate), kept(fit.rate_high))


def _wanting(fit: ExponentialFit) -> float | None:
    """Further time known good, without another failure, until the upper limit is one in ten sensor-years.

    The upper limit of a Poisson rate with n failures is half the chi-squared quantile with 2n + 2 degrees of
    freedom over the exposure (Garwood 1936); one-sided without failures, two-sided with.
    """
    from scipy.special import chdtri

    if fit.rate is not None and fit.rate >= AIM_PER_DAY:
        return None
    tail = 1 - fit.confidence if fit.failures == 0 else (1 - fit.confidence) / 2
    needed = float(chdtri(2 * fit.failures + 2, tail)) / 2 / AIM_PER_DAY
    return needed - fit.exposure if needed > fit.exposure else None
