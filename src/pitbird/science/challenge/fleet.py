"""A whole fleet against every cylinder at once, on arrays; the same numbers as ``judging`` gives one by one.

``load_fleet`` once, then ``judge_fleet`` for what suits what and ``alarm_numbers`` for every number of every
alarm. Equal detectors are judged once, and equal ways of reading a gas are read once per cylinder.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from pitbird.science.challenge.chance import STEPS, nodes
from pitbird.science.challenge.checking import check_mixture, check_sensors
from pitbird.science.challenge.judging import REQUIRED_PROBABILITY
from pitbird.science.challenge.readings import Model, NotJudged, Problem, read
from pitbird.science.challenge.response import LN10, time_to_alarm_s
from pitbird.science.challenge.values import Mixture, Sensor

Floats: TypeAlias = NDArray[np.float64]
Bools: TypeAlias = NDArray[np.bool_]
Whole: TypeAlias = NDArray[np.int64]

#: Elements worked on together, so that their arrays stay in the processor's cache.
CHUNK = 4096
#: Largest relative difference at which the time itself decides whether an alarm comes within the gas.
EDGE = 1e-12
#: Largest span spread for which both factors below zero need no thought when a probability is ruled out.
TAME_SPREAD = 0.2


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Alarms that gas must show, one row each: the columns of ``judging``, as arrays."""

    kind: Whole
    falling: Bools
    start: Floats
    threshold: Floats
    t90: Floats
    fast: Floats
    delay: Floats
    span_sd: Floats

    def __len__(self) -> int:
        return len(self.kind)

    def at(self, index: Whole) -> Rows:
        """Some of the rows."""
        return Rows(*(getattr(self, name)[index] for name in self.__slots__))

    def gain(self, gas_on_s: float, t90: Floats) -> Floats:
        """Share of the step that shows at the end of the gas."""
        late = np.maximum(gas_on_s - self.delay, 0.0)
        share: Floats = -np.expm1(-late * LN10 / t90)
        return share


@dataclass(frozen=True, slots=True, eq=False)
class Fleet:
    """A fleet as arrays. ``type_of[detector]`` is its type; ``places[row]`` is (type, sensor, alarm)."""

    basis: str
    type_of: Whole
    types: tuple[tuple[Sensor, ...], ...]
    kinds: tuple[Sensor, ...]
    rows: Rows
    places: NDArray[np.int64]
    #: Rows of the hardest alarm of each sensor and direction, in the order of their types.
    hardest: Whole
    #: Kind and type of every sensor, also of those whose alarms gas need not show.
    sensor_kind: Whole
    sensor_type: Whole

    def __len__(self) -> int:
        return len(self.type_of)


@dataclass(frozen=True, slots=True, eq=False)
class FleetFound:
    """Detectors by cylinders: the gas suits; every alarm trips; it cannot be judged."""

    suits: Bools
    trips: Bools
    refused: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Numbers:
    """Alarms (rows of the fleet) by cylinders, as ``AlarmFound``; nan for none."""

    time_s: Floats
    time_lean_s: Floats
    trips: Bools
    probability: Floats
    undetected_loss: Floats
    slowest_t90_s: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Readings:
    """Kinds by cylinders."""

    own: Floats
    low: Floats
    high: Floats
    sd: Floats
    refused: Bools


def load_fleet(detectors: Sequence[Sequence[Sensor]], basis: str) -> Fleet:
    """A fleet as arrays, ready to be judged; detectors are lists of sensors.

    Raises ``NotJudged`` with everything that is wrong with any of them (``detectors[3].sensors[0].t90_s``;
    where equal detectors are wrong, the first is named).
    """
    numbers: dict[tuple[Sensor, ...], int] = {}
    # The very same list again needs no comparison; held on to, so that its identity stays its own.
    same: dict[int, tuple[Sequence[Sensor], int]] = {}
    type_of: list[int] = []
    first: list[int] = []
    for n, detector in enumerate(detectors):
        held = same.get(id(detector))
        if held is None:
            held = same[id(detector)] = detector, numbers.setdefault(tuple(detector), len(numbers))
            if held[1] == len(first):
                first.append(n)
        type_of.append(held[1])
    types = tuple(numbers)
    problems = [
        replace(problem, where=f"detectors[{first[n]}].{problem.where}")
        for n, sensors in enumerate(types)
        for problem in check_sensors(sensors, basis)
    ]
    if problems:
        raise NotJudged(tuple(problems))
    return _arranged(np.array(type_of, dtype=np.int64), types, basis)


def _arranged(type_of: Whole, types: tuple[tuple[Sensor, ...], ...], basis: str) -> Fleet:
    kinds: dict[tuple[object, ...], int] = {}
    models: list[Sensor] = []
    columns: list[tuple[float, ...]] = []
    places: list[tuple[int, int, int]] = []
    hardest: list[int] = []
    sensor_kind: list[int] = []
    sensor_type: list[int] = []
    for t, sensors in enumerate(types):
        for s, sensor in enumerate(sensors):
            key = (
                sensor.gas, sensor.principle, sensor.unit, sensor.relative_response, sensor.cross_sensitivity
            )  # fmt: skip
            kind = kinds.setdefault(key, len(kinds))
            if kind == len(models):
                models.append(sensor)
            sensor_kind.append(kind)
            sensor_type.append(t)
            top: dict[bool, int] = {}
            for a, alarm in enumerate(sensor.alarms):
                if alarm.shown_by != "gas":
                    continue
                falls, threshold = sensor.falls(alarm), abs(alarm.at - sensor.clean_air_reading)
                row = len(columns)
                if falls not in top or threshold > columns[top[falls]][3]:
                    top[falls] = row
                columns.append(
                    (
                        kind, falls, sensor.clean_air_reading, threshold, sensor.t90_s, sensor.fast_s,
                        sensor.delay_s, sensor.span_sd_pct / 100,
                    )
                )  # fmt: skip
                places.append((t, s, a))
            hardest += top.values()
    table = np.array(columns, dtype=np.float64).reshape(-1, 8).T
    rows = Rows(table[0].astype(np.int64), table[1].astype(np.bool_), *np.ascontiguousarray(table[2:]))
    return Fleet(
        basis=basis,
        type_of=type_of,
        types=types,
        kinds=tuple(models),
        rows=rows,
        places=np.array(places, dtype=np.int64).reshape(-1, 3),
        hardest=np.array(hardest, dtype=np.int64),
        sensor_kind=np.array(sensor_kind, dtype=np.int64),
        sensor_type=np.array(sensor_type, dtype=np.int64),
    )


def _readings(fleet: Fleet, cylinders: Sequence[Mixture], model: Model | None) -> _Readings:
    problems = [
        Problem(problem.where.replace("gas.", f"cylinders[{n}].", 1), problem.value, problem.problem)
        for n, cylinder in enumerate(cylinders)
        for problem in check_mixture(cylinder)
    ]
    if problems:
        raise NotJudged(tuple(problems))
    shape = (len(fleet.kinds), len(cylinders))
    found = np.zeros((4, *shape))
    refused = np.zeros(shape, dtype=np.bool_)
    for k, kind in enumerate(fleet.kinds):
        for c, cylinder in enumerate(cylinders):
            try:
                reading = read(kind, cylinder, fleet.basis, model)
            except NotJudged:
                refused[k, c] = True
                continue
            found[:, k, c] = reading.own, reading.own_low, reading.own_high, reading.own_sd
    own, low, high, sd = found
    return _Readings(own, low, high, sd, refused)


def judge_fleet(
    fleet: Fleet,
    cylinders: Sequence[Mixture],
    *,
    gas_on_s: float,
    required_probability: float = REQUIRED_PROBABILITY,
    model: Model | None = None,
) -> FleetFound:
    """Which cylinder suits which detector: ``judge(...).suits`` for every pair, detectors by cylinders.

    ``refused`` marks the pairs that ``judge`` would not judge; they never suit. The probability is worked out
    where bounds do not decide it: with z such that both factors z standard deviations low just reach the
    alarm, the probability is at least 1 - 2 Phi(-z), and at most 1 - Phi(-z)^2. Raises ``NotJudged`` for
    cylinders at fault.
    """
    _held(gas_on_s, required_probability)
    readings = _readings(fleet, cylinders, model)
    shape = (len(fleet.types), len(cylinders))
    refused = _any(readings.refused[fleet.sensor_kind], fleet.sensor_type, shape)
    rows, owner = fleet.rows.at(fleet.hardest), fleet.places[fleet.hardest, 0]
    asked = np.bincount(owner, minlength=len(fleet.types)) > 0
    missed = np.empty((len(rows), len(cylinders)), dtype=np.bool_)
    for some in _pieces(len(rows), max(len(cylinders), 1)):
        part = rows.at(some)
        missed[some] = ~_trips(part, _steps(part, readings)[1], gas_on_s)
    trips = asked[:, None] & ~_any(missed, owner, shape) & ~refused
    unlikely = np.zeros_like(missed)
    row, cylinder = np.nonzero(trips[owner])
    unlikely[row, cylinder] = ~_likely(rows, row, cylinder, readings, gas_on_s, required_probability)
    suits = trips & ~_any(unlikely, owner, shape)
    return FleetFound(suits[fleet.type_of], trips[fleet.type_of], refused[fleet.type_of])


def alarm_numbers(
    fleet: Fleet, cylinders: Sequence[Mixture], *, gas_on_s: float, model: Model | None = None
) -> Numbers:
    """Every number of every alarm that gas must show, for each type of detector, against every cylinder.

    Rows as in ``fleet.places``. All numbers are nan, and nothing trips, where the sensor cannot be judged.
    """
    _held(gas_on_s, REQUIRED_PROBABILITY)
    readings = _readings(fleet, cylinders, model)
    shape = (len(fleet.rows), len(cylinders))
    found = Numbers(*(np.full(shape, np.nan, dtype=np.bool_ if n == 2 else np.float64) for n in range(6)))
    for some in _pieces(shape[0], max(shape[1], 1)):
        rows = fleet.rows.at(some)
        step, lean, rich = _steps(rows, readings)
        threshold, delay, tau = (x[:, None] for x in (rows.threshold, rows.delay, rows.t90 / LN10))
        known = ~readings.refused[rows.kind]
        trips = _trips(rows, lean, gas_on_s) & known
        full, fast = (rows.gain(gas_on_s, t90)[:, None] for t90 in (rows.t90, rows.fast))
        late = np.maximum(gas_on_s - delay, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            left = np.where(step > threshold, np.log1p(-threshold / step), np.nan)
            lean_left = np.where(lean > threshold, np.log1p(-threshold / lean), np.nan)
            loss = np.where(trips, np.maximum(1 - threshold / (rich * fast), 0.0), np.nan)
            need = np.where(full > 0, threshold / full, np.inf)
        found.time_s[some] = delay - tau * left
        found.time_lean_s[some] = delay - tau * lean_left
        found.trips[some] = trips
        found.undetected_loss[some] = loss
        found.slowest_t90_s[some] = np.where(late > 0, late * LN10 / -left, np.nan)
        span = rows.span_sd[:, None]
        found.probability[some] = product_reaches_all(need, step, readings.sd[rows.kind], span)
        for numbers in (found.time_s, found.time_lean_s, found.slowest_t90_s, found.probability):
            numbers[some] = np.where(known, numbers[some], np.nan)
    return found


def product_reaches_all(need: Floats, mean: Floats, sd: Floats, span_sd: Floats) -> Floats:
    """``chance.product_reaches`` on arrays (broadcast to one shape); ``need`` may be infinite."""
    together = np.broadcast_arrays(need, mean, sd, span_sd)
    shape = together[0].shape
    need, mean, sd, span = (np.ravel(x) for x in together)
    result = np.zeros(need.shape)
    certain = (sd == 0) & (span == 0)
    result[certain] = mean[certain] >= need[certain]
    swap = sd <= span * np.abs(mean)
    outer, outer_sd = np.where(swap, mean, 1.0), np.where(swap, sd, span)
    inner, inner_sd = np.where(swap, 1.0, mean), np.where(swap, span, sd)
    open_ = ~certain & (outer != 0) & np.isfinite(need)
    relative = np.divide(outer_sd, np.abs(outer), out=np.zeros_like(outer), where=open_)
    least = -1.0
    for most, step in STEPS:
        chosen = np.flatnonzero(open_ & (relative > least) & (relative <= most))
        least = most
        z, weight = np.array(nodes(step)).T
        for some in _pieces(len(chosen), len(z)):
            at = chosen[some]
            y = outer[at, None] + outer_sd[at, None] * z
            with np.errstate(divide="ignore", over="ignore"):
                reach = need[at, None] / y
                sided = np.where(y > 0, inner[at, None] - reach, reach - inner[at, None]) / inner_sd[at, None]
            sided[y == 0] = -np.inf
            result[at] = np.minimum(ndtr(sided) @ weight, 1.0)
    return result.reshape(shape)


def _held(gas_on_s: float, required_probability: float) -> None:
    problems = []
    if not (math.isfinite(gas_on_s) and gas_on_s > 0):
        problems.append(Problem("gas_on_s", gas_on_s, "must be more than 0 seconds"))
    if not 0 < required_probability < 1:
        problem = "must lie between 0 and 1"
        problems.append(Problem("required_probability", required_probability, problem))
    if problems:
        raise NotJudged(tuple(problems))


def _pieces(count: int, width: int) -> Iterable[Whole]:
    size = max(CHUNK * 8 // width, 1)
    return (np.arange(at, min(at + size, count)) for at in range(0, count, size))


def _any(found: Bools, owner: Whole, shape: tuple[int, int]) -> Bools:
    """Whether any row of an owner is marked; rows in the order of their owners."""
    result = np.zeros(shape, dtype=np.bool_)
    if len(owner):
        starts = np.flatnonzero(np.diff(owner, prepend=-1))
        result[owner[starts]] = np.logical_or.reduceat(found, starts, axis=0)
    return result


def _steps(rows: Rows, readings: _Readings) -> tuple[Floats, Floats, Floats]:
    """Steps towards each alarm: certified value, lean end, rich end; rows by cylinders."""
    sign = np.where(rows.falling, -1.0, 1.0)[:, None]
    start, falling = rows.start[:, None], rows.falling[:, None]
    own, low, high = (x[rows.kind] for x in (readings.own, readings.low, readings.high))
    lean, rich = np.where(falling, high, low), np.where(falling, low, high)
    return sign * (own - start), sign * (lean - start), sign * (rich - start)


def _trips(rows: Rows, lean: Floats, gas_on_s: float) -> Bools:
    """Whether the alarm comes within the gas at the lean end."""
    reached = lean * rows.gain(gas_on_s, rows.t90)[:, None]
    threshold = rows.threshold[:, None]
    trips = (reached >= threshold) & (lean > threshold)
    for row, cylinder in np.argwhere(np.abs(reached - threshold) <= EDGE * threshold):
        at = rows.at(row)
        time = time_to_alarm_s(*map(float, (at.threshold, lean[row, cylinder], at.t90, at.delay)))
        trips[row, cylinder] = time is not None and time <= gas_on_s
    return trips


def _likely(
    rows: Rows, row: Whole, cylinder: Whole, readings: _Readings, gas_on_s: float, required: float
) -> Bools:
    """Whether the probability is what is required, for pairs of row and cylinder that trip."""
    kind = rows.kind[row]
    start = rows.start[row]
    own, sd, span = readings.own[kind, cylinder], readings.sd[kind, cylinder], rows.span_sd[row]
    step = np.where(rows.falling[row], start - own, own - start)
    need = rows.threshold[row] / rows.gain(gas_on_s, rows.t90)[row]
    spread = step * span + sd
    root = spread + np.sqrt((step * span - sd) ** 2 + 4 * sd * span * need)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        z = 2 * (step - need) / root
    likely: Bools = z >= -ndtri((1 - required) / 2)
    never = (z < -ndtri(min(math.sqrt(1 - required + 1e-6), 1.0))) & (span < TAME_SPREAD)
    open_ = np.flatnonzero(~likely & ~never)
    chance = product_reaches_all(need[open_], step[open_], sd[open_], span[open_])
    likely[open_] = chance >= required
    return likely
