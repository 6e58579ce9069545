"""A prior of a failure rate from a share found failed.

`prevalence_prior` makes it, with the time untested that the share stands for; `Prior.weight` says how much it
weighs against a record.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitbird.science.reliability.exponential import Gaps
from pitbird.science.reliability.spans import Spans


@dataclass(frozen=True, slots=True)
class Prior:
    """A gamma prior of a rate: shape [-] and rate [unit of time], and the rate it is about."""

    shape: float
    rate_time: float
    mean_rate: float

    def weight(self, seen: Spans) -> float:
        r"""Its share in the posterior mean against the record, [-]: shown wherever it is used.

        .. math:: w = b/(b + E), \quad E = \sum L_i + \tfrac12 \sum_{failed} (R_i - L_i)

        With failures in the middle of their gaps the posterior mean is w times the prior's mean and 1 - w
        times failures over time observed [1]_.

        References
        ----------
        .. [1] A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, section 2.6.
        """
        return self.rate_time / (self.rate_time + self.record_time(seen))

    @staticmethod
    def record_time(seen: Spans) -> float:
        """E: time observed, failures taken in the middle of their gaps [unit of time]."""
        gaps = Gaps.of(seen)
        return 0.5 * (gaps.good + gaps.longest)


def prevalence_prior(prevalence: float, mean_time_untested: float, worth_failures: float) -> Prior:
    r"""A prior from a share found failed among sensors, with the time untested that the share stands for.

    .. math:: \lambda_0 = -\ln(1 - p)/\tau, \quad \lambda \sim \Gamma(a, a/\lambda_0)

    Parameters
    ----------
    prevalence : float
        p, share found failed at a moment, [-], between 0 and 1. It is no rate.
    mean_time_untested : float
        tau, mean time since the last good test of those looked at, [time]. Without it the share says nothing.
    worth_failures : float
        a, how many failures seen the prior shall be worth, [-], positive: the user's choice.

    Notes
    -----
    p = 1 - exp(-lambda_0 tau) is the chance that a sensor with a constant rate, good tau ago, has failed
    since [1]_. Where times untested differ, their mean gives the rate to the first order in p; with p of one
    in ten and exponential times lambda_0 comes out 5 % too low.

    References
    ----------
    .. [1] IEC 61508-6:2010, B.3.2 (constant rate, failures that show only at a test): the probability of
       being failed at a time after a proof test; here solved for the rate.

    Examples
    --------
    1 in 2,500, untested for 30 days in the mean, worth half a failure:

    >>> prior = prevalence_prior(1 / 2500, 30, 0.5)
    >>> round(1 / prior.mean_rate), round(prior.rate_time)
    (74985, 37492)
    """
    if not 0 < prevalence < 1:
        raise ValueError(f"prevalence is {prevalence}; it must lie between 0 and 1")
    for name, value in (("mean_time_untested", mean_time_untested), ("worth_failures", worth_failures)):
        if not (value > 0 and math.isfinite(value)):
            raise ValueError(f"{name} is {value}; it must be a positive number")
    rate = -math.log1p(-prevalence) / mean_time_untested
    return Prior(worth_failures, worth_failures / rate, rate)
