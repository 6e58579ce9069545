r"""Gas let into a room: what share of the air it becomes, well mixed or near the person who lets it in.

Every model here is linear, so one answer serves all components: the share :math:`s` of the air that is
released gas. A component that makes up :math:`C_g` of that gas and :math:`C_0` of clean air then stands at
:math:`C = C_0 + (C_g - C_0)\,s`, oxygen likewise. Volumes [m³], flows [m³/min], times [min], shares [-].

Perfect mixing hides the cloud at the release: `two_zones` is the second answer, for whoever stands there.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

SHORT_TERM_MIN: Final = 15.0
SHIFT_MIN: Final = 480.0
#: Oxygen in dry clean air, % vol, as the trade writes it (20.95 to four digits).
CLEAN_AIR_OXYGEN_VOL_PCT: Final = 20.9


@dataclass(frozen=True, slots=True)
class Shares:
    """Share of released gas in air: the highest, its highest 15-minute mean, its 8-hour mean.

    The eight hours begin with the release; where the release lasts longer than that, they are the eight that
    give the highest mean. ``peak_at_min`` is the time of the highest share.
    """

    peak: float
    mean_15min: float
    mean_8h: float
    peak_at_min: float


@dataclass(frozen=True, slots=True)
class Course:
    """Share over time from the start of the release, and its integral [min]; it rises once and falls once."""

    share: Callable[[float], float]
    integral: Callable[[float], float]
    peak_at_min: float
    released_within_min: float

    def mean(self, start_min: float, length_min: float) -> float:
        """Mean share over a span of time."""
        return (self.integral(start_min + length_min) - self.integral(start_min)) / length_min

    def highest_mean(self, length_min: float) -> float:
        """The highest mean over any span of a length: that which begins and ends at the same share."""
        low, high = max(self.peak_at_min - length_min, 0.0), self.peak_at_min

        def rise(start: float) -> float:
            return self.share(start + length_min) - self.share(start)

        return self.mean(_falling_root(rise, low, high), length_min)

    def shares(self) -> Shares:
        """The figures that limits are held against."""
        peak = self.share(self.peak_at_min)
        # A mean is never above what it is a mean of; rounding may say so.
        short = min(self.highest_mean(SHORT_TERM_MIN), peak)
        worst = self.released_within_min > SHIFT_MIN
        shift = self.highest_mean(SHIFT_MIN) if worst else self.mean(0.0, SHIFT_MIN)
        return Shares(peak, short, min(shift, short), self.peak_at_min)


def one_zone(
    released_m3: float, room_m3: float, *, ventilation_m3_min: float = 0.0, release_min: float = 0.0
) -> Course:
    r"""Share of released gas in a well-mixed room at constant pressure.

    .. math:: V\,ds/dt = G (1 - s) - Q s

    with G the flow of the release (0 after it) and Q the ventilation; a release at once (``release_min`` 0)
    leaves :math:`s = 1 - e^{-V_g/V}`. Steady state :math:`G/(G + Q)`; for G much smaller than Q the build-up
    :math:`(G/Q)(1 - e^{-Qt/V})` of the industrial ventilation manuals.

    Valid for a release that mixes at once through the whole room, which is what makes it an average: the air
    near the release holds more. Raises ValueError for a room without volume, less gas than none, or more gas
    than the room has volume. Source: mass balance; form as in ACGIH, Industrial Ventilation, dilution
    ventilation chapter (edition not checked).
    """
    _checked(released_m3, room_m3, ventilation_m3_min, release_min)
    left = ventilation_m3_min / room_m3
    if release_min == 0:
        start = -math.expm1(-released_m3 / room_m3)
        return Course(lambda t: start * _left(left, t), lambda t: start * _once(left, t), 0.0, 0.0)
    flow = released_m3 / release_min
    together = flow + ventilation_m3_min
    steady = flow / together if together > 0 else 0.0
    rate = together / room_m3
    end = -steady * math.expm1(-rate * release_min)
    through = steady * rate * _twice(rate, release_min)

    def share(t: float) -> float:
        return -steady * math.expm1(-rate * t) if t <= release_min else end * _left(left, t - release_min)

    def integral(t: float) -> float:
        if t <= release_min:
            return steady * rate * _twice(rate, t)
        return through + end * _once(left, t - release_min)

    return Course(share, integral, release_min, release_min)


@dataclass(frozen=True, slots=True)
class TwoZones:
    """The course near the person, and in the rest of the room."""

    near: Course
    far: Course


def two_zones(
    released_m3: float,
    room_m3: float,
    *,
    near_m3: float,
    interzonal_m3_min: float,
    ventilation_m3_min: float = 0.0,
    release_min: float = 0.0,
) -> TwoZones:
    r"""Share of released gas near the release and in the rest of the room.

    .. math::
        V_N\,ds_N/dt &= G (1 - s_N) + \beta (s_F - s_N) \\
        V_F\,ds_F/dt &= (\beta + G)(s_N - s_F) - Q s_F

    ``room_m3`` is the whole room, :math:`V_F = V - V_N`; all gas comes out within the near zone; beta is the
    flow of air between the zones, each way. The terms with G in the flows keep the pressure constant; without
    them (G much smaller than beta) this is the near-field / far-field model. At once: all gas pushes into the
    near zone before any air moves otherwise, which carries less of it out than a room mixed all the while.

    Closed form for each phase, through the two eigenvalues.
    Source: M. Nicas, Am. Ind. Hyg. Assoc. J. 57 (1996) 542 (from memory); AIHA, Mathematical Models for
    Estimating Occupational Exposure to Chemicals, 2nd ed. 2009 (from memory). Raises ValueError as
    `one_zone`, and for a near zone that is not smaller than the room or a flow between zones of none.
    """
    _checked(released_m3, room_m3, ventilation_m3_min, release_min)
    if not 0 < near_m3 < room_m3:
        raise ValueError("near_m3: more than 0 and less than the room")
    if interzonal_m3_min <= 0:
        raise ValueError("interzonal_m3_min: more than 0")
    far_m3 = room_m3 - near_m3
    flow = released_m3 / release_min if release_min else 0.0
    during = _Phase(near_m3, far_m3, interzonal_m3_min, ventilation_m3_min, flow, (0.0, 0.0))
    end = during.at(release_min) if release_min else _pushed(released_m3, near_m3, far_m3)
    after = replace(during, flow=0.0, start=end)
    # The far zone is highest once the two have nearly evened out, within e^-60 of it at the latest.
    even_min = 60.0 * near_m3 * far_m3 / (room_m3 * interzonal_m3_min)
    far_peak = release_min + _falling_root(after.far_slope, 0.0, even_min)
    return TwoZones(
        _course(during, after, release_min, 0, release_min), _course(during, after, release_min, 1, far_peak)
    )


@dataclass(frozen=True, slots=True)
class _Phase:
    """Two zones between one change of the release and the next: dy/dt = A y + (b, 0), from a start.

    Both eigenvalues of A are real, at most 0, and never equal, since the zones exchange air.
    """

    near: float
    far: float
    beta: float
    ventilation: float
    flow: float
    start: tuple[float, float]

    def rates(self) -> tuple[float, float]:
        """The fast and the slow rate of decay [1/min]."""
        through = self.beta + self.flow
        into, out = through / self.near, (through + self.ventilation) / self.far
        crossed = self.beta * through / (self.near * self.far)
        fast = (into + out + math.hypot(into - out, 2 * math.sqrt(crossed))) / 2
        return fast, through * (self.ventilation + self.flow) / (self.near * self.far) / fast

    def at(self, t: float) -> tuple[float, float]:
        """Near and far share."""
        return self._state(t, _left, _once)

    def integral(self, t: float) -> tuple[float, float]:
        """Near and far share, integrated from the start of the phase."""
        return self._state(t, _once, _twice)

    def far_slope(self, t: float) -> float:
        """Which way the far share goes."""
        near, far = self.at(t)
        return ((self.beta + self.flow) * (near - far) - self.ventilation * far) / self.far

    def _state(
        self, t: float, of_start: Callable[[float, float], float], of_source: Callable[[float, float], float]
    ) -> tuple[float, float]:
        one = self._applied(of_start, t, self.start)
        other = self._applied(of_source, t, (self.flow / self.near, 0.0))
        return one[0] + other[0], one[1] + other[1]

    def _applied(
        self, f: Callable[[float, float], float], t: float, y: tuple[float, float]
    ) -> tuple[float, float]:
        # f(A) by its two eigenvalues (Sylvester's formula).
        fast, slow = self.rates()
        through = self.beta + self.flow
        base, step = f(slow, t), (f(slow, t) - f(fast, t)) / (fast - slow)
        near = (slow - through / self.near) * y[0] + self.beta / self.near * y[1]
        far = through / self.far * y[0] + (slow - (through + self.ventilation) / self.far) * y[1]
        return base * y[0] + step * near, base * y[1] + step * far


def _pushed(gas: float, near: float, far: float) -> tuple[float, float]:
    """Shares just after a release at once: only its own flow counts, and it takes no time."""
    from scipy.linalg import expm  # here: few rooms need it

    flows = [[-gas / near, 0.0, gas / near], [gas / far, -gas / far, 0.0], [0.0, 0.0, 0.0]]
    pushed = expm(flows)
    return float(pushed[0][2]), float(pushed[1][2])


def _course(during: _Phase, after: _Phase, release_min: float, zone: int, peak_at_min: float) -> Course:
    until = during.integral(release_min)[zone] if release_min else 0.0

    def share(t: float) -> float:
        return during.at(t)[zone] if t < release_min else after.at(t - release_min)[zone]

    def integral(t: float) -> float:
        if t < release_min:
            return during.integral(t)[zone]
        return until + after.integral(t - release_min)[zone]

    return Course(share, integral, peak_at_min, release_min)


# --- Ventilation, and the two ways in which manuals write incomplete mixing


def ventilation_divided(flow: float, k: float) -> float:
    """Effective ventilation Q' = Q / K, with K from 1 (complete mixing) upward, in use 3 to 10.

    Convention of the industrial ventilation manuals (ACGIH). Not that of `ventilation_multiplied`: a K of one
    put into the other turns poor mixing into more than complete. Raises ValueError for K below 1.
    """
    if not k >= 1:
        raise ValueError(
            "the mixing factor that divides is 1 or more; one of 1 or less is the other convention"
        )
    return flow / k


def ventilation_multiplied(flow: float, k: float) -> float:
    """Effective ventilation Q' = K Q, with K from above 0 to 1 (complete mixing), in use 0.2 to 0.9.

    Convention of the explosion prevention standards (NFPA 69, annex on ventilation calculations). Raises
    ValueError for K outside (0, 1].
    """
    if not 0 < k <= 1:
        raise ValueError(
            "the mixing efficiency that multiplies is above 0 and at most 1; one of 1 or more is the other "
            "convention"
        )
    return flow * k


def build_up(flow: float, ventilation: float, room: float, time: float) -> float:
    r"""Share after a time of steady release, its own flow being small: :math:`(G/Q')(1 - e^{-Q't/V})` [-].

    Any one unit of volume and of time throughout; ``ventilation`` is the effective one.
    """
    return -flow / ventilation * math.expm1(-ventilation * time / room)


def build_up_time(flow: float, ventilation: float, room: float, share: float) -> float:
    """Time until a share is reached by `build_up`; infinite where it never is."""
    part = share * ventilation / flow
    return math.inf if part >= 1 else -room / ventilation * math.log1p(-part)


def air_changes(before: float, after: float) -> float:
    """Effective air changes that bring a concentration down from one value to another: ln(before/after)."""
    if not 0 < after <= before:
        raise ValueError("the second concentration is above 0 and not more than the first")
    return math.log(before / after)


def half_life(ventilation: float, room: float) -> float:
    """Time in which effective ventilation halves a concentration: V ln 2 / Q'."""
    return room * math.log(2) / ventilation


def displaced_oxygen_vol_pct(
    released_m3: float, room_m3: float, oxygen: float = CLEAN_AIR_OXYGEN_VOL_PCT
) -> float:
    """Oxygen [% vol] where inert gas pushes out air only, before any of it mixes: O (1 - Vg/V).

    Lower than the mixed answer O exp(-Vg/V), which lets some of the gas out with the air.
    """
    return oxygen * max(1 - released_m3 / room_m3, 0.0)


def _checked(released: float, room: float, ventilation: float, release_min: float) -> None:
    if not room > 0:
        raise ValueError("room_m3: more than 0")
    if not 0 <= released <= room:
        raise ValueError("released_m3: from 0 to the volume of the room")
    if ventilation < 0 or release_min < 0:
        raise ValueError("ventilation and length of the release: 0 or more")


def _left(rate: float, t: float) -> float:
    return math.exp(-rate * t)


def _once(rate: float, t: float) -> float:
    """Integral of exp(-rate t) from 0 to t."""
    x = rate * t
    return t if x < 1e-17 else -math.expm1(-x) / rate  # a rate of nothing, or too small to hold its digits


def _twice(rate: float, t: float) -> float:
    """Integral of `_once` from 0 to t."""
    x = rate * t
    if x < 1e-4:  # the difference below would lose its digits
        return t * t * (0.5 - x / 6 + x * x / 24)
    return (t + math.expm1(-x) / rate) / rate


def _falling_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function passes zero, the nearer end where it does not."""
    if high <= low or function(low) <= 0:
        return low
    if function(high) >= 0:
        return high
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-10 * max(high, 1.0)))
