"""Which cylinders serve which detectors: every type of detector put to a cylinder, each type judged once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState, OtherState
from pitbird.fleet.times import Ms, local
from pitbird.rules.delivering import Delivered, delivered
from pitbird.rules.serving import Served, serving
from pitbird.services.knowing import Known, Now

#: How long the gas is taken to be on where nobody says otherwise [s]; the slowest sensors take up to 90.
GAS_ON_S: Final = 30.0

#: Make, model, channels, how it draws, and what its pump draws.
Type = tuple[str, str, tuple[ChannelFact, ...], str, str | None]
Serves = Literal["serves", "in-part", "not", "cannot-tell"]
Against = Literal["emptied", "withdrawn", "expired"]


@dataclass(frozen=True, slots=True)
class TypeServed:
    """One type of detector (make, model and channels alike) in the gas of a cylinder.

    ``serves``: ``serves`` every alarm that gas must show; ``in-part`` some channels whole, the others need
    another cylinder; ``not`` a single channel; ``cannot-tell`` where that hangs on what is not known.
    """

    make: str
    model: str
    channels: tuple[ChannelFact, ...]
    detectors: tuple[str, ...]
    served: tuple[Served, ...]
    delivered: Delivered = field(default_factory=Delivered)

    @property
    def serves(self) -> Serves:
        """The answer over all channels that a test must show something of."""
        answers = [each.serves for each in self.served if each.channel.must_show is not None]
        if not answers or None in answers:
            return "cannot-tell"
        if all(answers):
            return "serves"
        return "in-part" if any(answers) else "not"

    @property
    def slowest_s(self) -> float | None:
        """When the last alarm of the channels that it serves comes, leanest gas and slowest sensor [s]."""
        times = [
            alarm.time_lean_s
            for each in self.served
            if each.serves and (alarm := each.asked) is not None and alarm.time_lean_s is not None
        ]
        return max(times, default=None)

    @property
    def worst_loss(self) -> float | None:
        """The largest loss that a pass could hide, over the channels that it serves [-]."""
        losses = [
            alarm.undetected_loss
            for each in self.served
            if each.serves and (alarm := each.asked) is not None and alarm.undetected_loss is not None
        ]
        return max(losses, default=None)


def types_served(
    cylinder: CylinderState,
    *,
    gas_on_s: float = GAS_ON_S,
    site: str | None = None,
    known: Known | None = None,
) -> list[TypeServed]:
    """Every type of detector (of a site) in the gas of a cylinder as its regulator gives it, the types with
    most detectors first."""
    found = []
    regulator = regulator_of(cylinder, known or Now())
    for (make, model, channels, draws, pump), subjects in types(site=site, known=known).items():
        way = delivered(draws, pump, regulator)
        served = serving(channels, cylinder.components, cylinder.balance, gas_on_s, delivery=way.delivery)
        found.append(TypeServed(make, model, channels, tuple(subjects), served, way))
    return sorted(found, key=lambda each: (-len(each.detectors), each.make, each.model))


def detector_served(
    detector: DetectorState, cylinder: CylinderState, gas_on_s: float, known: Known | None = None
) -> TypeServed:
    """One detector in the gas of a cylinder, as the regulator fitted to it gives it."""
    way = delivered(detector.draws, detector.pump_l_min, regulator_of(cylinder, known or Now()))
    served = serving(
        detector.channels, cylinder.components, cylinder.balance, gas_on_s, delivery=way.delivery
    )
    return TypeServed(detector.make, detector.model, detector.channels, (detector.subject,), served, way)


def regulator_of(cylinder: CylinderState, known: Known) -> OtherState | None:
    """The regulator with which a cylinder was opened; None where the book does not say."""
    state = known.state(cylinder.regulator) if cylinder.regulator else None
    return state if isinstance(state, OtherState) else None


def types(*, site: str | None = None, known: Known | None = None) -> Mapping[Type, list[str]]:
    """The detectors (of a site) by type: make, model, channels (the life of their sensors aside) and pump."""
    found: dict[Type, list[str]] = {}
    states: Iterable[DetectorState] = (known or Now()).all_of(DetectorState, site)
    for state in sorted(states, key=lambda each: each.subject):
        if state.channels:
            kind = (state.make, state.model, _alike(state.channels), state.draws, state.pump_l_min)
            found.setdefault(kind, []).append(state.subject)
    return found


def _alike(channels: tuple[ChannelFact, ...]) -> tuple[ChannelFact, ...]:
    from msgspec.structs import replace

    return tuple(replace(channel, sensor_ends=None) for channel in channels)


def against(state: CylinderState, now: Ms, zone: str | None) -> Against | None:
    """Why no test is made with a cylinder now, whatever is left in it and whomever it serves: ``emptied``,
    ``withdrawn`` or ``expired``; None for nothing. The last day of use itself still counts."""
    if state.emptied_at is not None and state.emptied_at <= now:
        return "emptied"
    if state.withdrawn_at(now) is not None:
        return "withdrawn"
    if state.expires is not None and state.expires < local(now, zone or "UTC").date().isoformat():
        return "expired"
    return None
