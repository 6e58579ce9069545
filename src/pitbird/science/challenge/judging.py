"""One detector against one cylinder: every alarm, what a pass could miss, and whether the gas suits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from pitbird.science.challenge import response
from pitbird.science.challenge.chance import product_reaches
from pitbird.science.challenge.checking import check
from pitbird.science.challenge.delivery import STRAIGHT, Delivery, delivery_problems, diluted
from pitbird.science.challenge.readings import Model, NotJudged, Problem, Reading, read
from pitbird.science.challenge.values import Alarm, Mixture, Sensor, ShownBy
from pitbird.science.challenge.windows import Window, window

REQUIRED_PROBABILITY: Final = 0.95


@dataclass(frozen=True, slots=True)
class AlarmFound:
    """One alarm under the gas; see ``judge`` for each number."""

    name: str
    at: float
    shown_by: ShownBy
    falling: bool
    time_s: float | None
    time_lean_s: float | None
    trips: bool
    probability: float
    undetected_loss: float | None
    slowest_t90_s: float | None


@dataclass(frozen=True, slots=True)
class SensorFound:
    """One sensor under the gas, as it reaches the sensor, with the window that the guidance gives it."""

    sensor: Sensor
    reading: Reading
    alarms: tuple[AlarmFound, ...]
    window: Window | None


@dataclass(frozen=True, slots=True)
class Found:
    """A detector under the gas."""

    sensors: tuple[SensorFound, ...]
    suits: bool


def judge(
    mixture: Mixture,
    sensors: Sequence[Sensor],
    *,
    basis: str,
    gas_on_s: float,
    required_probability: float = REQUIRED_PROBABILITY,
    model: Model | None = None,
    delivery: Delivery = STRAIGHT,
) -> Found:
    r"""Whether a mixture, for as long as it is on, sets off every alarm that gas must show.

    .. math:: r(t) = r_0 + (R - r_0)\left(1 - e^{-(t - d) \ln 10 / t_{90}}\right)

    R is the final reading of the sensor's own gas (for a flammable channel: of all that burns, through its
    factors); other components set nothing off here, for a channel set off by another channel's gas proves
    nothing. Per alarm:

    ``time_s``, ``time_lean_s``
        from gas on, delay included, at the certified value and at its lean end, with ``t90_s``; None: never.
    ``trips``
        ``time_lean_s`` is no later than ``gas_on_s``.
    ``probability``
        that it comes within ``gas_on_s``, step and span independent and normal; exact for their product.
    ``undetected_loss``
        the largest fractional loss of sensitivity that still passes, at the rich end and the fastest t90;
        None where the alarm does not trip.
    ``slowest_t90_s``
        the largest t90 that still passes at the certified value and full sensitivity.

    ``delivery``: where air is drawn in beside the gas, what reaches the sensors is thinner, and a hose takes
    time. Whether and when alarms come is judged with both; the loss that a pass could hide without them,
    since a pump that draws less than is said, or a quicker hose, would hide more.

    ``suits``: gas shows at least one alarm, and every alarm that it must show trips, each with the required
    probability at least. Valid for a step of gas that reaches all sensors at once, at the temperature and
    pressure of the calibration. Raises ``NotJudged`` with every problem at once.

    >>> from pitbird.science.challenge.values import Component
    >>> gas = Mixture((Component("carbon monoxide", 100, "ppm"),))
    >>> co = Sensor("CO", "carbon monoxide", "electrochemical", "ppm", 0, 30, (Alarm("A1", 30),))
    >>> round(judge(gas, [co], basis="nfpa-497", gas_on_s=20).sensors[0].alarms[0].time_s, 2)
    4.65
    """
    problems = problems_of(
        mixture,
        sensors,
        basis=basis,
        gas_on_s=gas_on_s,
        required_probability=required_probability,
        model=model,
        delivery=delivery,
    )
    if problems:
        raise NotJudged(tuple(problems))
    found = [_under(sensor, mixture, basis, gas_on_s, model, delivery) for sensor in sensors]
    asked = [alarm for one in found for alarm in one.alarms if alarm.shown_by == "gas"]
    suits = bool(asked) and all(a.trips and a.probability >= required_probability for a in asked)
    return Found(tuple(found), suits)


def _under(
    sensor: Sensor, mixture: Mixture, basis: str, gas_on_s: float, model: Model | None, delivery: Delivery
) -> SensorFound:
    """One sensor under what reaches it."""
    whole = read(sensor, mixture, basis, model)
    own_window = window(sensor, basis)
    if delivery == STRAIGHT:
        alarms = tuple(alarm_found(sensor, alarm, whole, gas_on_s) for alarm in sensor.alarms)
        return SensorFound(sensor, whole, alarms, own_window)
    reached = read(sensor, diluted(mixture, delivery.share), basis, model) if delivery.share < 1 else whole
    later = replace(sensor, delay_s=sensor.delay_s + delivery.delay_s)
    alarms = tuple(_delivered(sensor, later, alarm, whole, reached, gas_on_s) for alarm in sensor.alarms)
    return SensorFound(later, reached, alarms, own_window)


def _delivered(
    sensor: Sensor, later: Sensor, alarm: Alarm, whole: Reading, reached: Reading, gas_on_s: float
) -> AlarmFound:
    """One alarm: when it comes with what reaches the sensor, what a pass hides with the gas as certified."""
    found = alarm_found(later, alarm, reached, gas_on_s)
    if not found.trips:
        return found
    return replace(found, undetected_loss=alarm_found(sensor, alarm, whole, gas_on_s).undetected_loss)


def problems_of(
    mixture: Mixture,
    sensors: Sequence[Sensor],
    *,
    basis: str,
    gas_on_s: float,
    required_probability: float = REQUIRED_PROBABILITY,
    model: Model | None = None,
    delivery: Delivery = STRAIGHT,
) -> list[Problem]:
    """All that is wrong with a challenge, by place: what is asked, and each sensor in this gas.

    A sensor that is at fault itself, or in a mixture or on a basis that is, is not looked at any further.
    """
    found = check(mixture, sensors, basis, gas_on_s, required_probability)
    if any(problem.where.startswith(("gas.", "basis")) for problem in found):
        return found
    found += delivery_problems(mixture, sensors, delivery)
    at_fault = {problem.where.partition(".")[0] for problem in found}
    for n, sensor in enumerate(sensors):
        place = f"sensors[{n}]"
        if place in at_fault:
            continue
        try:
            read(sensor, mixture, basis, model)
        except NotJudged as refused:
            found += [replace(problem, where=f"{place}.{problem.where}") for problem in refused.problems]
    return found


def alarm_found(sensor: Sensor, alarm: Alarm, reading: Reading, gas_on_s: float) -> AlarmFound:
    """One alarm of a sensor under a known final reading; see ``judge``."""
    falling = sensor.falls(alarm)
    threshold = abs(alarm.at - sensor.clean_air_reading)
    step, lean, rich = reading.ends(sensor, falling=falling)
    t90, delay = sensor.t90_s, sensor.delay_s
    time_lean = response.time_to_alarm_s(threshold, lean, t90, delay)
    trips = time_lean is not None and time_lean <= gas_on_s
    shown = response.gain(gas_on_s, t90, delay)
    probability = 0.0
    if shown > 0:
        probability = product_reaches(threshold / shown, step, reading.own_sd, sensor.span_sd_pct / 100)
    loss = None
    if trips:
        # Rounding at the very edge must not turn a pass into "no loss": it is a loss of 0.
        loss = response.undetected_loss(threshold, rich, gas_on_s, sensor.fast_s, delay) or 0.0
    return AlarmFound(
        name=alarm.name,
        at=alarm.at,
        shown_by=alarm.shown_by,
        falling=falling,
        time_s=response.time_to_alarm_s(threshold, step, t90, delay),
        time_lean_s=time_lean,
        trips=trips,
        probability=probability,
        undetected_loss=loss,
        slowest_t90_s=response.slowest_t90_s(threshold, step, gas_on_s, delay),
    )
