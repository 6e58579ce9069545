"""What a challenge is made of: test gas, and sensors with their alarms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from pitbird.science.gases import gas_of, lfl_vol_pct, same_gas

PPM_PER_VOL_PCT: Final = 10_000.0
#: Oxygen in clean dry air, % vol, as the trade has it (common practice, no source).
AIR_OXYGEN_VOL_PCT: Final = 20.9

#: No band where infrared detectors look: no dipole at all, or (last row) none in the C-H band near 3.3 um.
#: From memory; symmetric diatomic molecules and atoms have no infrared spectrum.
NO_INFRARED: Final = frozenset({"hydrogen", "oxygen", "nitrogen", "chlorine", "argon", "helium"})
NOT_IN_CH_BAND: Final = NO_INFRARED | {"carbon monoxide", "hydrogen sulfide", "ammonia"}

AmountUnit = Literal["ppm", "vol_pct"]
Unit = Literal["ppm", "vol_pct", "pct_lfl"]
Principle = Literal["catalytic", "infrared", "electrochemical", "oxygen", "photoionisation", "other"]
ShownBy = Literal["gas", "self-check", "none"]
#: Gas and number, in the order given.
ByGas = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Component:
    """A certified component: amount in its unit, expanded uncertainty (k = 2) in % of the amount."""

    gas: str
    amount: float
    unit: AmountUnit
    expanded_uncertainty_pct: float = 0.0

    @property
    def vol_pct(self) -> float:
        """The amount, % vol."""
        return self.amount if self.unit == "vol_pct" else self.amount / PPM_PER_VOL_PCT


@dataclass(frozen=True, slots=True)
class Mixture:
    """The gas of a cylinder; what the components leave is the balance."""

    components: tuple[Component, ...]
    balance: str = "nitrogen"

    @property
    def balance_vol_pct(self) -> float:
        """What the components leave, % vol."""
        return 100.0 - sum(component.vol_pct for component in self.components)

    @property
    def balance_is_air(self) -> bool:
        """Whether the balance is air, which carries oxygen of its own."""
        return is_air(self.balance)

    @property
    def oxygen_vol_pct(self) -> float:
        """Oxygen, % vol: as certified, or that of the air in the balance."""
        stated = [c.vol_pct for c in self.components if same_gas(c.gas, "oxygen")]
        if stated:
            return stated[0]
        return AIR_OXYGEN_VOL_PCT / 100 * self.balance_vol_pct if self.balance_is_air else 0.0


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm of a sensor, in the sensor's unit, and by what a test shows it."""

    name: str
    at: float
    shown_by: ShownBy = "gas"


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor of a detector as the test sees it.

    ``t90_s`` is the slowest that counts as healthy, ``t90_fast_s`` the fastest credible; ``delay_s`` stands
    beside t90. ``relative_response``: reading / true value, in the sensor's unit, of other gases, in place
    of the model; ``cross_sensitivity``: reading units per ppm of other gases, negative ones too.
    """

    name: str
    gas: str
    principle: Principle
    unit: Unit
    clean_air_reading: float
    t90_s: float
    alarms: tuple[Alarm, ...]
    t90_fast_s: float | None = None
    delay_s: float = 0.0
    span_sd_pct: float = 0.0
    relative_response: ByGas = ()
    cross_sensitivity: ByGas = ()

    @property
    def fast_s(self) -> float:
        """The fastest credible t90, [s]; ``t90_s`` where none is given."""
        return self.t90_s if self.t90_fast_s is None else self.t90_fast_s

    @property
    def flammable(self) -> bool:
        """Whether the channel measures what burns: a scale in %LFL, a bead, or an infrared sensor on a gas
        with C-H bonds."""
        return measures_what_burns(self.gas, self.principle, self.unit)

    def falls(self, alarm: Alarm) -> bool:
        """Whether an alarm falls: it is set below the clean-air reading."""
        return alarm.at < self.clean_air_reading


def measures_what_burns(gas: str, principle: str, unit: str) -> bool:
    """Whether a channel measures what burns; see ``Sensor.flammable``."""
    by_bond = principle == "infrared" and canonical(gas) not in NOT_IN_CH_BAND
    return unit == "pct_lfl" or ((principle == "catalytic" or by_bond) and burns(gas))


def is_air(gas: str) -> bool:
    """Whether a balance is air."""
    return canonical(gas) in ("air", "synthetic air")


def canonical(gas: str) -> str:
    """The name under which a gas is known here, or the text itself."""
    known = gas_of(gas)
    return known.name if known is not None else " ".join(gas.split()).lower()


def burns(gas: str) -> bool:
    """Whether a gas has a lower flammable limit on either basis."""
    known = gas_of(gas)
    return known is not None and (known.lfl_iec is not None or known.lfl_nfpa is not None)


def pct_lfl(gas: str, vol_pct: float, basis: str) -> float | None:
    """A concentration as % of the lower flammable limit on a basis; None where that limit is not known."""
    limit = lfl_vol_pct(gas, basis)
    return None if limit is None else 100 * vol_pct / float(limit)


def by_gas(pairs: ByGas, gas: str) -> float | None:
    """The number given for a gas under whichever of its names; None if there is none."""
    return next((value for named, value in pairs if same_gas(named, gas)), None)
