"""When to calibrate next, by methods that ILAC-G24 / OIML D 10 name: staircase, control chart, in-use time.

The guide describes the methods in words and leaves the numbers to the user; where numbers are needed here
they are arguments, and the defaults are ours. An interval that evidence proposes never outruns the manual,
the law or the rules of the place; the caller holds it against those.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Final, Literal

SOURCE: Final = "ILAC-G24 / OIML D 10 (2007, revised 2022), methods of reviewing intervals; from memory"
#: Ours: within this share of the tolerance the interval may grow.
WELL_WITHIN: Final = 0.8
LENGTHEN: Final = 1.25
SHORTEN: Final = 0.5
#: Fewer drifts than this tell no spread.
FEWEST: Final = 3

Step = Literal["lengthen", "keep", "shorten"]


class TooFew(ValueError):
    """Too few calibrations to tell a drift and its spread."""


@dataclass(frozen=True, slots=True)
class Drift:
    """Drift per unit of time as calibrations found it, and how long it takes to the tolerance.

    ``until`` is the time after a calibration up to which, with the confidence asked for, the error lies
    within the tolerance; infinite where nothing drifts and nothing spreads.
    """

    mean: float
    spread: float
    number: int
    until: float


def staircase(
    error: float,
    tolerance: float,
    interval: float,
    *,
    well_within: float = WELL_WITHIN,
    lengthen: float = LENGTHEN,
    shorten: float = SHORTEN,
) -> tuple[Step, float]:
    """The next interval by the staircase: longer if found well within the tolerance, shorter if outside.

    Parameters
    ----------
    error, tolerance : float
        As-found error and permitted error, in one unit.
    interval : float
        The interval that ends with this calibration, [any unit of time].
    well_within : float
        Share of the tolerance up to which it is lengthened, [-].
    lengthen, shorten : float
        Factors on the interval, [-].
    """
    if not (tolerance > 0 and interval > 0 and 0 < well_within <= 1 and lengthen >= 1 and 0 < shorten < 1):
        raise ValueError("tolerance and interval must be more than 0, lengthen 1 or more, shorten below 1")
    if abs(error) > tolerance:
        return "shorten", interval * shorten
    return ("lengthen", interval * lengthen) if abs(error) <= well_within * tolerance else ("keep", interval)


def control_chart(
    errors: Sequence[float], gaps: Sequence[float], tolerance: float, *, confidence: float = 0.95
) -> Drift:
    r"""How long until the drift, as past calibrations found it, may reach the tolerance.

    .. math:: h = \frac{\mathrm{tol}}{|\bar r| + t_{n-1}\, s \sqrt{1 + 1/n}}, \quad r_i = e_i / g_i

    Each as-found error over the time since the calibration before is one drift; the next one lies within mean
    and t limits of prediction. Valid where each calibration left the error at about nothing. With the time in
    use in place of the calendar it is the method of in-use time.

    Raises ``TooFew`` below three drifts, ValueError for times that are not more than 0.
    """
    if len(errors) != len(gaps) or not (tolerance > 0 and 0 < confidence < 1):
        raise ValueError("as many errors as times, a tolerance above 0 and a confidence between 0 and 1")
    if any(gap <= 0 for gap in gaps):
        raise ValueError("the time since the calibration before must be more than 0")
    if len(errors) < FEWEST:
        raise TooFew(f"{len(errors)} drifts; the spread wants {FEWEST} at least")
    from scipy.special import stdtrit

    rates = [error / gap for error, gap in zip(errors, gaps, strict=True)]
    mean, spread, number = fmean(rates), stdev(rates), len(rates)
    quantile = float(stdtrit(number - 1, 0.5 + confidence / 2))
    pace = abs(mean) + quantile * spread * math.sqrt(1 + 1 / number)
    return Drift(mean, spread, number, tolerance / pace if pace > 0 else math.inf)
