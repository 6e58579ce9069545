"""Whether a cylinder serves a detector: what the book says about both, put to the challenge calculation.

The physics stands in ``pitbird.science.challenge``; here only what is known is translated, and what is not
known is named. Nothing is assumed that would make a test look better than it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from pitbird.fleet.state import AlarmFact, ChannelFact, ComponentFact, OtherGas
from pitbird.science.challenge import wording
from pitbird.science.challenge.delivery import STRAIGHT, Delivery, diluted
from pitbird.science.challenge.judging import REQUIRED_PROBABILITY, AlarmFound, Found, SensorFound, judge
from pitbird.science.challenge.readings import NotJudged
from pitbird.science.challenge.values import Alarm, Component, Mixture, Sensor
from pitbird.science.gases import IEC
from pitbird.science.relative import model_response


@dataclass(frozen=True, slots=True)
class Served:
    """One channel in the gas of a cylinder: what was found, or why that cannot be said."""

    channel: ChannelFact
    found: SensorFound | None
    why: tuple[str, ...] = ()

    @property
    def asked(self) -> AlarmFound | None:
        """The alarm that a test must show: the highest, of falling ones the lowest."""
        must = self.channel.must_show
        if self.found is None or must is None:
            return None
        return next((alarm for alarm in self.found.alarms if alarm.name == must.name), None)

    @property
    def serves(self) -> bool | None:
        """Whether every alarm that gas must show comes in time; None where that cannot be said."""
        if self.channel.must_show is None:
            return True
        if self.found is None:
            return None
        return all(alarm.trips for alarm in self.found.alarms if alarm.shown_by == "gas")


def serving(
    channels: tuple[ChannelFact, ...],
    components: tuple[ComponentFact, ...],
    balance: str,
    gas_on_s: float,
    required_probability: float = REQUIRED_PROBABILITY,
    delivery: Delivery = STRAIGHT,
) -> tuple[Served, ...]:
    """Each channel of a detector in the gas of a cylinder, the gas on for so many seconds.

    Channels are judged one by one, each on its own flammable basis. A channel without a t90 cannot be judged.
    """
    mixture = (components, balance)
    return tuple(serve(channel, *mixture, gas_on_s, required_probability, delivery) for channel in channels)


@lru_cache(maxsize=16_384)
def serve(
    channel: ChannelFact,
    components: tuple[ComponentFact, ...],
    balance: str,
    gas_on_s: float,
    required_probability: float = REQUIRED_PROBABILITY,
    delivery: Delivery = STRAIGHT,
) -> Served:
    """One channel in the gas of a cylinder; kept, because fleets are of few types and few mixtures."""
    missing = tuple(_missing(channel, components, balance))
    if missing:
        return Served(channel, None, missing)
    try:
        found = judge(
            _mixture(components, balance),
            [sensor_of(channel)],
            basis=channel.lfl_basis or IEC,
            gas_on_s=gas_on_s,
            required_probability=required_probability,
            model=model_response,
            delivery=delivery,
        )
    except NotJudged as refused:
        return Served(channel, None, tuple(problem.problem for problem in refused.problems))
    return Served(channel, found.sensors[0])


def problems(
    served: Served,
    components: tuple[ComponentFact, ...],
    balance: str,
    gas_on_s: float,
    delivery: Delivery = STRAIGHT,
) -> tuple[str, ...]:
    """What is wrong with this gas for a channel, in sentences; what cannot be judged says why."""
    if served.found is None:
        return tuple(f"{served.channel.name}: {why}" for why in served.why)
    mixture = _mixture(components, balance)
    return wording.problems(
        Found((served.found,), bool(served.serves)),
        diluted(mixture, delivery.share) if delivery.share < 1 else mixture,
        basis=served.channel.lfl_basis or IEC,
        gas_on_s=gas_on_s,
        required_probability=REQUIRED_PROBABILITY,
        model=model_response,
    )


def _missing(channel: ChannelFact, components: tuple[ComponentFact, ...], balance: str) -> Iterator[str]:
    if number(channel.t90_s) is None:
        yield "the book does not say its t90"
    if number(channel.clean_air) is None or any(number(alarm.at) is None for alarm in channel.alarms):
        yield "its clean-air reading or a set-point is no number"
    if not components or not balance:
        yield "the book does not say what is in the cylinder"
    if any(number(component.amount) is None for component in components):
        yield "an amount in the cylinder is no number"


def sensor_of(channel: ChannelFact) -> Sensor:
    """A channel as the challenge sees it; its worked readings as factors.

    A reading in another gas is a response where that gas is of the kind that the channel measures (both
    burn, or any vapour on a photoionisation lamp), a cross-sensitivity otherwise.
    """
    slow = float(channel.t90_s or 0)
    fast = number(channel.t90_fast_s)
    return Sensor(
        name=channel.name,
        gas=channel.gas,
        principle=channel.principle,  # type: ignore[arg-type] # the kind allows these words only
        unit=channel.unit,  # type: ignore[arg-type]
        clean_air_reading=float(channel.clean_air),
        t90_s=slow,
        alarms=tuple(map(_alarm, channel.alarms)),
        t90_fast_s=fast if fast is not None and fast <= slow else None,
        relative_response=tuple(
            (each.gas, _per_amount(each)) for each in channel.other_gases if _like(channel, each)
        ),
        cross_sensitivity=tuple(
            (each.gas, _per_ppm(each)) for each in channel.other_gases if not _like(channel, each)
        ),
    )


def _alarm(alarm: AlarmFact) -> Alarm:
    return Alarm(alarm.name, float(alarm.at), alarm.shown_by)  # type: ignore[arg-type] # as the kind allows


def _like(channel: ChannelFact, other: OtherGas) -> bool:
    return other.unit == channel.unit and channel.principle in _RESPONDING


#: Principles whose readings of other gases are responses of the same kind.
_RESPONDING: Final = frozenset({"catalytic", "infrared", "photoionisation"})


def _per_amount(other: OtherGas) -> float:
    return float(other.reads) / float(other.amount)


def _per_ppm(other: OtherGas) -> float:
    return _per_amount(other) / (10_000 if other.unit == "vol_pct" else 1)


def _mixture(components: tuple[ComponentFact, ...], balance: str) -> Mixture:
    return Mixture(
        tuple(
            Component(
                component.gas,
                float(component.amount),
                component.unit,  # type: ignore[arg-type] # as the kind allows
                float(component.expanded_uncertainty_pct or 0),
            )
            for component in components
        ),
        balance,
    )


def number(text: str | None) -> float | None:
    """A decimal text as a number; None for none."""
    try:
        return None if text is None else float(text)
    except ValueError:
        return None
