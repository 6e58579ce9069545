"""Small sets of interval-censored lives from the literature, with their source."""

from __future__ import annotations

from math import inf

from pitbird.science.reliability.spans import Spans, spans

# W. Nelson, Applied Life Data Analysis, 1982, p. 409: 432 turbine wheels, each inspected once; as carried by
# the R package survival (data set turbine). Hours in hundreds.
TURBINE_HOURS = [4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46]
TURBINE_INSPECTED = [39, 53, 33, 73, 30, 39, 42, 13, 34, 40, 36]
TURBINE_FAILED = [0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21]

# Nelson 1982 p. 415: 167 turbine parts at 8 inspections, cracks; days as in the R package survival (cracks).
CRACKS_DAYS = [186, 606, 902, 1077, 1209, 1377, 1592, 1932]
CRACKS_FAILED = [5, 16, 12, 18, 18, 2, 6, 17]
CRACKS_PARTS = 167

# D. M. Finkelstein and R. A. Wolfe, Biometrics 41 (1985) 933: months to cosmetic deterioration, two arms;
# as carried by the R package MLEcens (data set cosmesis).
RADIATION: list[tuple[float, float]] = [
    (0, 5), (0, 7), (0, 8), (4, 11), (5, 11), (5, 12), (6, 10), (7, 14), (7, 16), (11, 15), (11, 18),
    (15, inf), (17, 25), (17, 25), (17, inf), (18, inf), (19, 26), (19, 35), (22, inf), (24, inf),
    (24, inf), (25, 37), (26, 40), (27, 34), (32, inf), (33, inf), (34, inf), (36, 44), (36, 48),
    (36, inf), (36, inf), (37, 44), (37, inf), (37, inf), (37, inf), (38, inf), (40, inf), (45, inf),
    (46, inf), (46, inf), (46, inf), (46, inf), (46, inf), (46, inf), (46, inf), (46, inf),
]  # fmt: skip
RADIATION_AND_CHEMOTHERAPY: list[tuple[float, float]] = [
    (0, 5), (0, 22), (4, 8), (4, 9), (5, 8), (8, 12), (8, 21), (10, 17), (10, 35), (11, 13), (11, 17),
    (11, 20), (11, inf), (11, inf), (12, 20), (13, 39), (13, inf), (13, inf), (13, inf), (14, 17),
    (14, 19), (15, 22), (16, 20), (16, 24), (16, 24), (16, 60), (17, 23), (17, 26), (17, 27), (18, 24),
    (18, 25), (19, 32), (21, inf), (22, 32), (23, inf), (24, 30), (24, 31), (30, 34), (30, 36),
    (31, inf), (32, inf), (33, 40), (34, inf), (34, inf), (35, 39), (35, inf), (44, 48), (48, inf),
]  # fmt: skip


def turbine(unit: float = 1.0) -> Spans:
    """The wheels: failed by their one inspection, or good at it."""
    good = [n - d for n, d in zip(TURBINE_INSPECTED, TURBINE_FAILED, strict=True)]
    hours = [unit * hour for hour in TURBINE_HOURS]
    return spans([0] * len(hours) + hours, hours + [inf] * len(hours), TURBINE_FAILED + good)


def cracks(unit: float = 1.0) -> Spans:
    """The parts: cracked between two inspections, or whole at the last."""
    days = [unit * day for day in CRACKS_DAYS]
    return spans([0, *days], [*days, inf], [*CRACKS_FAILED, CRACKS_PARTS - sum(CRACKS_FAILED)])


def arm(pairs: list[tuple[float, float]]) -> Spans:
    """One arm of the breast cosmesis study."""
    return spans([a for a, _ in pairs], [b for _, b in pairs])


def turnbull_1974() -> Spans:
    """B. W. Turnbull, J. Amer. Statist. Assoc. 69 (1974) 169: 44 units, exact, right- and left-censored.

    As in the tests of the R package survival. An exact time t lies in (t - 1, t], right-censored at t beyond
    it, left-censored at t up to it.
    """
    exact, right, left = [12, 6, 2, 3], [3, 2, 0, 3], [2, 4, 2, 5]
    ends = [(t - 1.0, float(t)) for t in (1, 2, 3, 4)]
    ends += [(float(t), inf) for t in (1, 2, 3, 4)] + [(0.0, float(t)) for t in (1, 2, 3, 4)]
    return spans([a for a, _ in ends], [b for _, b in ends], exact + right + left)
