"""What lies between cylinder and sensor: the delay of a hose, and air drawn in beside too little gas."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from pitbird.science.challenge.readings import NotJudged, Problem
from pitbird.science.challenge.values import (
    AIR_OXYGEN_VOL_PCT,
    Component,
    Mixture,
    Sensor,
    burns,
    canonical,
)
from pitbird.science.gases import same_gas

#: Rule of thumb where nothing better is known (HSE, safety alert CEMHD1-2020, as summarised; see HSE RR635).
SECONDS_PER_METRE: Final = 3.0
#: Gases that stay gases and stick to no hose in use; from memory.
FREE: Final = frozenset(
    {
        "methane", "ethane", "propane", "n-butane", "isobutane", "ethylene", "propylene", "isobutylene",
        "acetylene", "hydrogen", "carbon monoxide", "carbon dioxide", "nitric oxide", "oxygen", "nitrogen",
        "argon", "helium",
    }
)  # fmt: skip
#: Carried by hoses of the right material only (PTFE is usual); from memory.
REACTIVE: Final = frozenset({"hydrogen sulfide", "sulfur dioxide"})
FIRST_TEST: Final = (
    "The first test with a hose, or for a new use, goes through the hose with the gas itself where that can "
    "be done (HSE CEMHD1-2020)."
)


@dataclass(frozen=True, slots=True)
class Delivery:
    """How gas comes from the regulator to the sensors: which share of what they get is test gas, [-], and
    the length of hose between, [m], with the time that it takes, [s/m]."""

    share: float = 1.0
    hose_m: float = 0.0
    hose_s_per_m: float = SECONDS_PER_METRE

    @property
    def delay_s(self) -> float:
        """Time in the hose, [s]."""
        return self.hose_m * self.hose_s_per_m


STRAIGHT: Final = Delivery()


def delivery_problems(mixture: Mixture, sensors: Sequence[Sensor], delivery: Delivery) -> list[Problem]:
    """What is wrong with a delivery: lengths that cannot be, and gases on which alarms hang that stick to
    the hose or are not known not to."""
    found = []
    if not 0 < delivery.share <= 1:
        found.append(Problem("share", delivery.share, "must be more than 0 and no more than 1"))
    if not (math.isfinite(delivery.hose_m) and delivery.hose_m >= 0):
        found.append(Problem("hose_m", delivery.hose_m, "must be 0 metres or more"))
    if not (math.isfinite(delivery.hose_s_per_m) and delivery.hose_s_per_m > 0):
        found.append(Problem("hose_s_per_m", delivery.hose_s_per_m, "must be more than 0 seconds a metre"))
    if found:
        return found
    for gas in hung_on(mixture, sensors):
        try:
            hose_delay(delivery.hose_m, gas)
        except NotJudged as refused:
            found += [replace(each, where="hose_m", value=delivery.hose_m) for each in refused.problems]
    return found


def hung_on(mixture: Mixture, sensors: Sequence[Sensor]) -> list[str]:
    """The components of a mixture by which a sensor is set off: its own gas, or all that burns."""
    return [
        component.gas
        for component in mixture.components
        if any(
            same_gas(component.gas, sensor.gas)
            or (sensor.flammable and burns(component.gas))
            or (sensor.principle == "photoionisation" and _carried(sensor, component.gas))
            for sensor in sensors
        )
    ]


def _carried(sensor: Sensor, gas: str) -> bool:
    return any(same_gas(gas, named) for named, _ in sensor.relative_response)


def delivery_cautions(mixture: Mixture, sensors: Sequence[Sensor], delivery: Delivery) -> tuple[str, ...]:
    """What to heed of a hose; nothing where there is none."""
    if not delivery.hose_m:
        return ()
    told = [caution for gas in hung_on(mixture, sensors) for caution in hose_delay(1, gas).cautions]
    return tuple(dict.fromkeys((FIRST_TEST, *told)))


@dataclass(frozen=True, slots=True)
class Delay:
    """Time in the hose, [s], and what to heed."""

    delay_s: float
    cautions: tuple[str, ...]


def hose_delay(length_m: float, gas: str, seconds_per_metre: float = SECONDS_PER_METRE) -> Delay:
    """Transport delay of a sample hose, [s]: length x 3 s a metre, or the user's own figure a metre.

    Refused (``NotJudged``) for vapours that stick to the hose, and for any gas of which it is not known that
    it does not: HSE's safety alert CEMHD1-2020 tells of a hose that carried methane in seconds, and with
    another vapour took more than a minute to show anything and over 15 minutes to 90 % of it; people died.
    """
    found = []
    if not (math.isfinite(length_m) and length_m >= 0):
        found.append(Problem("length_m", length_m, "must be 0 metres or more"))
    if not (math.isfinite(seconds_per_metre) and seconds_per_metre > 0):
        found.append(Problem("seconds_per_metre", seconds_per_metre, "must be more than 0 seconds a metre"))
    named = canonical(gas)
    if named not in FREE | REACTIVE and length_m > 0:
        problem = (
            f"no delay can be told for {gas} from the length of a hose: a vapour that sticks to it took over "
            "15 minutes where methane took seconds (HSE CEMHD1-2020); measure it with this gas and hose"
        )
        found.append(Problem("gas", gas, problem))
    if found:
        raise NotJudged(tuple(found))
    cautions = [FIRST_TEST]
    if named in REACTIVE:
        cautions.append(
            f"A hose of the wrong material, or a wet one, takes up {gas}; use the one the manual names."
        )
    return Delay(length_m * seconds_per_metre, tuple(cautions))


def diluted(mixture: Mixture, share: float) -> Mixture:
    """A mixture of which the sensors get a share, [-], and air for the rest; uncertainties stay."""
    if not 0 < share <= 1:
        raise NotJudged((Problem("share", share, "must be more than 0 and no more than 1"),))
    thinner = tuple(
        replace(component, amount=component.amount * share)
        for component in mixture.components
        if mixture.balance_is_air or not same_gas(component.gas, "oxygen")
    )
    if mixture.balance_is_air:
        return replace(mixture, components=thinner)
    spread = max(
        (c.expanded_uncertainty_pct for c in mixture.components if same_gas(c.gas, "oxygen")), default=0.0
    )
    oxygen = share * mixture.oxygen_vol_pct + (1 - share) * AIR_OXYGEN_VOL_PCT
    return replace(mixture, components=(*thinner, Component("oxygen", oxygen, "vol_pct", spread)))


@dataclass(frozen=True, slots=True)
class Dilution:
    """Share of the sample that is test gas, [-], and the finding in words; empty where all of it is."""

    share: float
    finding: str


def dilution(regulator_l_min: float, pump_l_min: float) -> Dilution:
    """What share of what a pumped detector draws is test gas from a fixed-flow regulator.

    share = regulator flow / pump flow where the pump draws more; the rest is the air beside the joint. A
    regulator that gives more than the pump draws lets the rest out; a demand-flow one gives what is drawn.
    """
    found = [
        Problem(name, flow, "must be more than 0 L/min")
        for name, flow in (("regulator_l_min", regulator_l_min), ("pump_l_min", pump_l_min))
        if not (math.isfinite(flow) and flow > 0)
    ]
    if found:
        raise NotJudged(tuple(found))
    share = min(1.0, regulator_l_min / pump_l_min)
    if share == 1:
        return Dilution(1.0, "")
    finding = (
        f"The regulator gives {regulator_l_min:g} L/min and the pump draws {pump_l_min:g} L/min: the "
        f"sensors get {100 * share:.3g} % of the certified strength, the rest is air; use a demand-flow "
        f"regulator, or a fixed-flow one of {pump_l_min:g} L/min or more."
    )
    return Dilution(share, finding)
