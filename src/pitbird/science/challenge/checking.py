"""What is wrong with a challenge before anything is calculated: every fault at once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from pitbird.science.challenge.readings import NOT_IONISED, Problem
from pitbird.science.challenge.values import (
    NO_INFRARED,
    NOT_IN_CH_BAND,
    PPM_PER_VOL_PCT,
    Alarm,
    Component,
    Mixture,
    Sensor,
    burns,
    canonical,
    is_air,
)
from pitbird.science.gases import BASES, gas_of, lfl_vol_pct, same_gas

#: The end of each scale.
MOST: Final = {"ppm": 100 * PPM_PER_VOL_PCT, "vol_pct": 100.0, "pct_lfl": 100.0}
#: What an oxygen channel may read in clean air, % vol: 20.9, or less where it was set at another pressure.
CLEAN_OXYGEN: Final = (15.0, 25.0)
INERT: Final = ("nitrogen", "argon", "helium")


def check(
    mixture: Mixture, sensors: Sequence[Sensor], basis: str, gas_on_s: float, required_probability: float
) -> list[Problem]:
    """Everything that is wrong with a challenge, by place (``sensors[0].alarms[1].at``)."""
    return [
        *_check_terms(basis, gas_on_s, required_probability),
        *check_mixture(mixture),
        *check_sensors(sensors, basis),
    ]


def _check_terms(basis: str, gas_on_s: float, required_probability: float) -> Iterator[Problem]:
    if basis not in BASES:
        yield Problem("basis", basis, f"must be {' or '.join(BASES)}")
    if not (math.isfinite(gas_on_s) and gas_on_s > 0):
        yield Problem("gas_on_s", gas_on_s, "must be more than 0 seconds")
    if not 0 < required_probability < 1:
        yield Problem("required_probability", required_probability, "must lie between 0 and 1")


def check_mixture(mixture: Mixture) -> list[Problem]:
    """What is wrong with a mixture."""
    found = list(_check_balance(mixture))
    if not mixture.components:
        found.append(Problem("gas.components", [], "there must be at least one component"))
    met: dict[str, int] = {}
    for n, component in enumerate(mixture.components):
        place = f"gas.components[{n}]"
        found += _check_component(component, place)
        first = met.setdefault(canonical(component.gas), n)
        if first != n:
            problem = f"the same gas as gas.components[{first}]; each stands once"
            found.append(Problem(f"{place}.gas", component.gas, problem))
    total = sum(c.vol_pct for c in mixture.components if 0 <= c.amount <= MOST[c.unit])
    if total > 100 * (1 + 1e-12):
        found.append(
            Problem("gas.components", "", f"together {total:.5g} % vol; at most 100 % vol is possible")
        )
    return found


def _check_balance(mixture: Mixture) -> Iterator[Problem]:
    balance = mixture.balance
    if is_air(balance):
        if any(same_gas(component.gas, "oxygen") for component in mixture.components):
            problem = "air has oxygen of its own, and oxygen is listed too; write the balance as nitrogen"
            yield Problem("gas.balance", balance, problem)
    elif burns(balance):
        problem = f"{balance} burns: it cannot be a balance; write it as a component, with its amount"
        yield Problem("gas.balance", balance, problem)
    elif canonical(balance) not in INERT:
        yield Problem("gas.balance", balance, f"must be air, {', '.join(INERT[:-1])} or {INERT[-1]}")


def _check_component(component: Component, place: str) -> Iterator[Problem]:
    if is_air(component.gas):
        problem = "air is a balance; write its oxygen as a component, or air as the balance"
        yield Problem(f"{place}.gas", component.gas, problem)
    else:
        yield from _known(component.gas, f"{place}.gas")
    most = MOST[component.unit]
    if not 0 <= component.amount <= most:  # also what is not a number
        yield Problem(
            f"{place}.amount", component.amount, f"must lie between 0 and {most:g} {component.unit}"
        )
    if not 0 <= component.expanded_uncertainty_pct <= 100:
        problem = "must lie between 0 and 100 % of the amount (k = 2)"
        yield Problem(f"{place}.expanded_uncertainty_pct", component.expanded_uncertainty_pct, problem)


def _known(gas: str, place: str) -> Iterator[Problem]:
    if gas_of(gas) is None:
        yield Problem(place, gas, "not a gas that is known here; write its name or its CAS number", gas)


def check_sensors(sensors: Sequence[Sensor], basis: str) -> list[Problem]:
    """What is wrong with the sensors of a detector."""
    found = [] if sensors else [Problem("sensors", [], "there must be at least one sensor")]
    names: dict[str, int] = {}
    for n, sensor in enumerate(sensors):
        place = f"sensors[{n}]"
        if names.setdefault(sensor.name, n) != n:
            found.append(
                Problem(f"{place}.name", sensor.name, "another sensor bears this name; give each its own")
            )
        found += check_sensor(sensor, basis, place)
    return found


def check_sensor(sensor: Sensor, basis: str, place: str) -> list[Problem]:
    """What is wrong with one sensor."""
    return [
        *_known(sensor.gas, f"{place}.gas"),
        *_check_principle(sensor, basis, place),
        *_check_numbers(sensor, place),
        *_check_alarms(sensor, place),
        *_check_factors(sensor, place),
    ]


def _check_principle(sensor: Sensor, basis: str, place: str) -> Iterator[Problem]:
    principle, gas = sensor.principle, canonical(sensor.gas)
    at = f"{place}.principle"
    if gas_of(sensor.gas) is None:
        return
    if principle == "catalytic" and not burns(gas):
        yield Problem(at, principle, f"{sensor.gas} does not burn: no bead can see it")
    elif principle == "infrared" and gas in NO_INFRARED:
        yield Problem(at, principle, f"an infrared sensor does not see {sensor.gas}")
    elif principle == "photoionisation" and gas in NOT_IONISED:
        yield Problem(at, principle, f"no lamp in use (up to 11.7 eV) ionises {sensor.gas}")
    elif principle == "oxygen" and gas != "oxygen":
        yield Problem(at, principle, f"an oxygen sensor measures oxygen, not {sensor.gas}")
    if sensor.unit == "pct_lfl" and basis in BASES:
        if not burns(gas):
            yield Problem(f"{place}.unit", sensor.unit, f"{sensor.gas} has no LFL; write ppm or vol_pct")
        elif lfl_vol_pct(gas, basis) is None:
            yield Problem(f"{place}.unit", sensor.unit, f"no LFL of {sensor.gas} is known on {basis}")


def _check_numbers(sensor: Sensor, place: str) -> Iterator[Problem]:
    if not (math.isfinite(sensor.t90_s) and sensor.t90_s > 0):
        yield Problem(f"{place}.t90_s", sensor.t90_s, "must be more than 0 seconds")
    elif not 0 < sensor.fast_s <= sensor.t90_s:
        problem = f"the fastest credible t90 must be more than 0 and no more than t90_s, {sensor.t90_s:g}"
        yield Problem(f"{place}.t90_fast_s", sensor.fast_s, problem)
    if not (math.isfinite(sensor.delay_s) and sensor.delay_s >= 0):
        yield Problem(f"{place}.delay_s", sensor.delay_s, "must be 0 seconds or more")
    if not 0 <= sensor.span_sd_pct <= 100:
        yield Problem(f"{place}.span_sd_pct", sensor.span_sd_pct, "must lie between 0 and 100 %")
    if not 0 <= sensor.clean_air_reading <= MOST[sensor.unit]:
        problem = f"must lie between 0 and {MOST[sensor.unit]:g} {sensor.unit}"
        yield Problem(f"{place}.clean_air_reading", sensor.clean_air_reading, problem)
    elif same_gas(sensor.gas, "oxygen"):
        scale = PPM_PER_VOL_PCT if sensor.unit == "ppm" else 1.0
        if not CLEAN_OXYGEN[0] <= sensor.clean_air_reading / scale <= CLEAN_OXYGEN[1]:
            problem = "an oxygen channel reads about 20.9 % vol in clean air"
            yield Problem(f"{place}.clean_air_reading", sensor.clean_air_reading, problem)


def _check_alarms(sensor: Sensor, place: str) -> Iterator[Problem]:
    if not sensor.alarms:
        yield Problem(f"{place}.alarms", [], "there must be at least one alarm")
    names: dict[str, int] = {}
    for n, alarm in enumerate(sensor.alarms):
        if names.setdefault(alarm.name, n) != n:
            problem = "another alarm of this sensor bears this name; give each its own"
            yield Problem(f"{place}.alarms[{n}].name", alarm.name, problem)
        yield from _check_alarm(sensor, alarm, f"{place}.alarms[{n}].at")


def _check_alarm(sensor: Sensor, alarm: Alarm, place: str) -> Iterator[Problem]:
    most = MOST[sensor.unit]
    if not 0 <= alarm.at <= most:
        yield Problem(place, alarm.at, f"outside the scale, 0 to {most:g} {sensor.unit}")
    elif alarm.at == sensor.clean_air_reading:
        problem = "is the clean-air reading: this alarm would sound all the time; write where it is set"
        yield Problem(place, alarm.at, problem)
    elif sensor.falls(alarm) and not same_gas(sensor.gas, "oxygen"):
        start = f"{sensor.clean_air_reading:g}"
        problem = f"below the clean-air reading, {start}: an alarm that falls belongs to oxygen"
        yield Problem(place, alarm.at, problem)


def _check_factors(sensor: Sensor, place: str) -> Iterator[Problem]:
    for field in ("relative_response", "cross_sensitivity"):
        pairs = sensor.relative_response if field == "relative_response" else sensor.cross_sensitivity
        met: set[str] = set()
        for gas, value in pairs:
            at = f"{place}.{field}.{gas}"
            yield from _known(gas, at)
            if canonical(gas) in met:
                yield Problem(at, value, "the same gas stands twice, under two names; keep one")
            met.add(canonical(gas))
            if not math.isfinite(value):
                yield Problem(at, value, "not a finite number")
            elif field == "relative_response":
                yield from _check_response(sensor, gas, value, at)
            elif same_gas(gas, sensor.gas):
                problem = "the sensor's own gas has no cross-sensitivity; leave it out"
                yield Problem(at, value, problem)
    twice = [
        g for g, _ in sensor.relative_response if any(same_gas(g, c) for c, _ in sensor.cross_sensitivity)
    ]
    for gas in twice:
        problem = "stands in relative_response and in cross_sensitivity; keep one of the two"
        yield Problem(f"{place}.cross_sensitivity.{gas}", "", problem)


def _check_response(sensor: Sensor, gas: str, value: float, at: str) -> Iterator[Problem]:
    if value < 0:
        yield Problem(at, value, "must be 0 or more; a negative effect is a cross_sensitivity")
    elif same_gas(gas, sensor.gas) and value != 1:
        yield Problem(at, value, f"the sensor is set up for {sensor.gas}: its factor is 1; leave it out")
    elif sensor.unit == "pct_lfl" and not burns(gas) and gas_of(gas) is not None:
        yield Problem(at, value, f"{gas} has no LFL to compare with; write a cross_sensitivity per ppm")
    elif value > 0 and sensor.principle == "infrared":
        blind = NOT_IN_CH_BAND if sensor.flammable else NO_INFRARED
        if canonical(gas) in blind:
            yield Problem(at, value, f"an infrared sensor does not see {gas}; write 0 or leave it out")
