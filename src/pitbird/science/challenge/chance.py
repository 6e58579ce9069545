r"""The probability that the product of two independent normal numbers reaches a value, in plain numbers.

.. math:: P(XY \ge k) = \int_{y>0} \varphi(y)\, P(X \ge k/y)\, dy + \int_{y<0} \varphi(y)\, P(X \le k/y)\, dy

Y is the one of the two with the smaller relative spread, so that the integrand is smooth; over the normal
density the trapezoidal rule then converges faster than any power of its step. Steps are chosen so that the
error stays below 1e-9 (against Gauss-Legendre with fine panels). ``fleet`` has the same on arrays.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

#: How far out the normal density is followed, in standard deviations: beyond lies 2e-17.
REACH: Final = 8.5
#: Largest relative spread of the outer number, and the step that serves up to it.
STEPS: Final = ((0.1, 0.5), (0.3, 0.0625), (math.inf, 0.01))


def step_for(relative_sd: float) -> float:
    """The step of the rule, in standard deviations, for a relative spread of the outer number."""
    return next(step for limit, step in STEPS if relative_sd <= limit)


@lru_cache(maxsize=8)
def nodes(step: float) -> tuple[tuple[float, float], ...]:
    """Nodes, in standard deviations, and weights (that sum to 1) of the trapezoidal rule."""
    count = int(REACH / step)
    at = [n * step for n in range(-count, count + 1)]
    weights = [math.exp(-z * z / 2) for z in at]
    total = math.fsum(weights)
    return tuple((z, weight / total) for z, weight in zip(at, weights, strict=True))


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def product_reaches(need: float, mean: float, sd: float, span_sd: float) -> float:
    """P(X Y >= need) for X ~ N(mean, sd) and Y ~ N(1, span_sd), independent.

    ``need`` must be positive. Exact to 1e-9 for relative spreads up to 0.4 of both; certain where both
    spreads are 0.
    """
    if sd == 0 and span_sd == 0:
        return 1.0 if mean >= need else 0.0
    # The outer number, and the inner one whose distribution stands in closed form.
    if sd <= span_sd * abs(mean):
        outer, outer_sd, inner, inner_sd = mean, sd, 1.0, span_sd
    else:
        outer, outer_sd, inner, inner_sd = 1.0, span_sd, mean, sd
    if outer == 0:
        return 0.0
    total = 0.0
    for z, weight in nodes(step_for(outer_sd / abs(outer))):
        y = outer + outer_sd * z
        if y > 0:
            total += weight * _below((inner - need / y) / inner_sd)
        elif y < 0:
            total += weight * _below((need / y - inner) / inner_sd)
    return min(total, 1.0)
