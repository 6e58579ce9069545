"""Entries that say what a thing is: site, person, detector with its channels, sensor, regulator, cylinder.

Each may be written again for the same subject: the newest description holds from its ``at``. A
detector whose channels or alarms changed needs gas again, which the fold sees for itself.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, ClassVar, Final, Literal, Self

from pydantic import Field, StrictBool, model_validator

from pitbird.fleet.kinds.base import (
    Body,
    ChannelName,
    ClockTime,
    CylinderRef,
    Day,
    Dec,
    DetectorRef,
    LflBasis,
    Name,
    Part,
    PersonRef,
    Principle,
    RegulatorRef,
    Sealed,
    SensorRef,
    SiteRef,
    Unit,
    Zone,
    common,
)


class Site(Body):
    """A place with its own clock, stock of gas and site rules."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "site",
        **common(1),
        "site": "site:north-works",
        "name": "North works",
        "site_zone": "Europe/Lisbon",
        "change_overs": ["04:00"],
    }
    kind: Literal["site"] = "site"
    site: SiteRef
    name: Name
    site_zone: Zone
    change_overs: Annotated[tuple[ClockTime, ...], Field(min_length=1, max_length=6)] = ("04:00",)
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.site,)


Role = Literal["keeper", "tester", "competent", "wearer", "trainer"]


class Person(Body):
    """A person who tests, wears, repairs or answers for detectors; the name is sealed."""

    SEALED: ClassVar[tuple[str, ...]] = ("name", "note")
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "person",
        **common(2),
        "person": "person:P-07",
        "name": "sha256:" + "5e" * 32,
        "roles": ["tester", "wearer"],
        "home": "site:north-works",
    }
    kind: Literal["person"] = "person"
    person: PersonRef
    name: Sealed
    roles: Annotated[tuple[Role, ...], Field(max_length=5)] = ()
    home: SiteRef | None = None
    left: Day | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.person,)


class Alarm(Part):
    """One alarm of a channel. ``shown_by``: whether a test must show it by gas, whether the detector's
    own self-check shows it, or whether no test does (a time-weighted alarm, mostly)."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]{0,23}$")]
    at: Dec
    direction: Literal["rising", "falling"] = "rising"
    shown_by: Literal["gas", "self-check", "none"] = "gas"


class WorkedReading(Part):
    """What the instrument's manual says of another gas: shown so much of it, the channel reads so much.

    A worked reading, because manuals print either a factor or its inverse. ``reads`` is in the channel's
    unit, and negative where the gas takes off from its reading.
    """

    gas: Name
    amount: Dec
    unit: Unit
    reads: Dec


class Channel(Part):
    """One gas that a detector measures: what, how, in which unit, with which alarms."""

    name: ChannelName
    gas: Name
    principle: Principle
    unit: Unit
    range_high: Dec
    clean_air: Dec
    clean_air_tolerance: Dec
    lfl_basis: LflBasis | None = None
    alarms: Annotated[tuple[Alarm, ...], Field(min_length=1, max_length=8)]
    sensor_serial: Name | None = None
    sensor_fitted: Day | None = None
    sensor_ends: Day | None = None
    t90_s: Dec | None = None
    t90_fast_s: Dec | None = None
    other_gases: Annotated[tuple[WorkedReading, ...], Field(max_length=24)] | None = None

    @model_validator(mode="after")
    def _other_gases_stand_once(self) -> Self:
        for reading in self.other_gases or ():
            if Decimal(reading.amount) <= 0:
                raise ValueError("a worked reading is of more than nothing of a gas: 'amount' is above 0")
            if reading.unit == "pct_lfl" and self.unit != "pct_lfl":
                raise ValueError(
                    "a gas shown in %LFL belongs to a channel in %LFL; write its amount in ppm or % vol"
                )
        gases = [reading.gas for reading in self.other_gases or ()]
        if len(set(gases)) != len(gases):
            raise ValueError("two worked readings of one gas; keep the one of the sensor that is fitted")
        return self

    @model_validator(mode="after")
    def _gas_shows_one_direction(self) -> Self:
        directions = {alarm.direction for alarm in self.alarms if alarm.shown_by == "gas"}
        if len(directions) > 1:
            raise ValueError(
                "alarms that rise and alarms that fall are both to be shown by gas, but a test says of a "
                "channel only once that it was reached; describe the rising ones as a channel of their own "
                "(O2-high), or say with 'shown_by' that gas does not show them"
            )
        return self

    @model_validator(mode="after")
    def _scale_needs_its_basis(self) -> Self:
        if self.unit == "pct_lfl" and self.lfl_basis is None:
            raise ValueError("a channel in %LFL must name its 'lfl_basis': iec-60079-20-1 or nfpa-497")
        names = [alarm.name for alarm in self.alarms]
        if len(set(names)) != len(names):
            raise ValueError("two alarms of one channel bear the same name; give each its own")
        return self


class Detector(Body):
    """A portable gas detector with its channels. Make and model are the user's own words."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "detector",
        **common(3),
        "detector": "detector:D-017",
        "make": "Heron Works",
        "model": "Quartet P",
        "serial": "Q-88213",
        "firmware": "2.1",
        "draws": "pump",
        "signals": ["sound", "light", "vibration"],
        "home": "site:north-works",
        "channels": [
            {
                "name": "H2S",
                "gas": "hydrogen sulfide",
                "principle": "electrochemical",
                "unit": "ppm",
                "range_high": "100",
                "clean_air": "0",
                "clean_air_tolerance": "1",
                "alarms": [{"name": "low", "at": "5"}, {"name": "high", "at": "10"}],
                "t90_s": "30",
            }
        ],
    }
    kind: Literal["detector"] = "detector"
    detector: DetectorRef
    make: Name
    model: Name
    serial: Name
    firmware: Name | None = None
    draws: Literal["pump", "diffusion"] = "diffusion"
    pump_l_min: Dec | None = None
    signals: Annotated[tuple[Literal["sound", "light", "vibration"], ...], Field(min_length=1, max_length=3)]
    home: SiteRef
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=12)]
    activated: Day | None = None
    life_ends: Day | None = None
    calibrated_by_maker_only: StrictBool = False
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)

    @model_validator(mode="after")
    def _only_a_pump_draws(self) -> Self:
        if self.pump_l_min is None:
            return self
        if self.draws != "pump":
            raise ValueError("what a pump draws, 'pump_l_min', belongs to a detector that 'draws' by pump")
        if Decimal(self.pump_l_min) <= 0:
            raise ValueError("what the pump draws, 'pump_l_min', is above 0")
        return self

    @model_validator(mode="after")
    def _channels_bear_distinct_names(self) -> Self:
        names = [channel.name for channel in self.channels]
        if len(set(names)) != len(names):
            raise ValueError("two channels bear the same name; give each its own")
        return self


class Sensor(Body):
    """A sensor as a thing of its own: in stock, or fitted in a channel of a detector."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "sensor",
        **common(4),
        "sensor": "sensor:S-5521",
        "gas": "hydrogen sulfide",
        "principle": "electrochemical",
        "serial": "HS-5521",
        "made": "2025-11-01",
        "fitted_in": "detector:D-017",
        "channel": "H2S",
    }
    kind: Literal["sensor"] = "sensor"
    sensor: SensorRef
    gas: Name
    principle: Principle
    serial: Name
    made: Day | None = None
    fitted_in: DetectorRef | None = None
    channel: ChannelName | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.sensor, *((self.fitted_in,) if self.fitted_in else ()))


class Regulator(Body):
    """A regulator: the flow it gives, and whether it gives it always or only when drawn upon.

    ``hose_m`` is the hose that goes from it to the detector, ``hose_s_per_m`` how long the gas took for a
    metre of it where that was measured.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "regulator",
        **common(5),
        "regulator": "regulator:R-03",
        "flow": "fixed",
        "flow_l_min": "0.5",
        "serial": "F-3310",
    }
    kind: Literal["regulator"] = "regulator"
    regulator: RegulatorRef
    flow: Literal["fixed", "demand"]
    flow_l_min: Dec | None = None
    hose_m: Dec | None = None
    hose_s_per_m: Dec | None = None
    serial: Name | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.regulator,)

    @model_validator(mode="after")
    def _hose_has_a_length(self) -> Self:
        if self.hose_m is not None and Decimal(self.hose_m) < 0:
            raise ValueError("the length of the hose, 'hose_m', is 0 or more")
        if self.hose_s_per_m is not None and self.hose_m is None:
            raise ValueError("'hose_s_per_m' is of a hose: say its length too, 'hose_m'")
        if self.hose_s_per_m is not None and Decimal(self.hose_s_per_m) <= 0:
            raise ValueError("the time for a metre of hose, 'hose_s_per_m', is above 0")
        return self

    @model_validator(mode="after")
    def _fixed_flow_is_a_number(self) -> Self:
        if self.flow == "fixed" and self.flow_l_min is None:
            raise ValueError("a fixed-flow regulator must say its 'flow_l_min'")
        return self


#: Labels round: so far may the %LFL on a label lie from its amount over its own LFL, in percent.
LABEL_ROUNDED_PCT: Final = 5


class Component(Part):
    """One gas of a mixture, as its certificate says it (expanded uncertainty relative, k = 2).

    ``label_pct_lfl`` is the %LFL that stands on the label, ``label_lfl_vol_pct`` what the label takes for
    100 %LFL, in % vol; the detector may take another value.
    """

    gas: Name
    amount: Dec
    unit: Literal["ppm", "vol_pct"]
    expanded_uncertainty_pct: Dec | None = None
    label_pct_lfl: Dec | None = None
    label_lfl_vol_pct: Dec | None = None

    @model_validator(mode="after")
    def _label_agrees_with_itself(self) -> Self:
        share, limit = self.label_pct_lfl, self.label_lfl_vol_pct
        for name, value in (("label_pct_lfl", share), ("label_lfl_vol_pct", limit)):
            if value is not None and Decimal(value) <= 0:
                raise ValueError(f"'{name}' is above 0")
        if share is None or limit is None:
            return self
        vol_pct = Decimal(self.amount) / (1 if self.unit == "vol_pct" else 10_000)
        meant = 100 * vol_pct / Decimal(limit)
        if abs(meant - Decimal(share)) * 100 > LABEL_ROUNDED_PCT * Decimal(share):
            raise ValueError(
                f"{self.amount} {self.unit} of {self.gas} is {meant:.3g} %LFL where {limit} % vol is 100 "
                f"%LFL, not {share}; look at the label again, or leave 'label_lfl_vol_pct' out"
            )
        return self


class Cylinder(Body):
    """A cylinder of test gas with its certificate. Pressures are gauge, in bar."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "cylinder",
        **common(6),
        "cylinder": "cylinder:C-112",
        "lot": "L-2291",
        "certificate": "TG-40871",
        "components": [
            {"gas": "methane", "amount": "2.2", "unit": "vol_pct", "expanded_uncertainty_pct": "2"},
            {"gas": "oxygen", "amount": "15", "unit": "vol_pct", "expanded_uncertainty_pct": "2"},
            {"gas": "carbon monoxide", "amount": "100", "unit": "ppm", "expanded_uncertainty_pct": "5"},
            {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm", "expanded_uncertainty_pct": "5"},
        ],
        "balance": "nitrogen",
        "made": "2025-10-06",
        "expires": "2027-10-06",
        "free_gas_l": "58",
        "full_pressure_bar": "69",
        "minimum_pressure_bar": "2",
        "minimum_temperature_c": "0",
        "home": "site:north-works",
    }
    kind: Literal["cylinder"] = "cylinder"
    cylinder: CylinderRef
    lot: Name | None = None
    certificate: Name | None = None
    traceable_to: Name | None = None
    components: Annotated[tuple[Component, ...], Field(min_length=1, max_length=16)]
    balance: Name
    made: Day | None = None
    expires: Day
    water_capacity_l: Dec | None = None
    free_gas_l: Dec | None = None
    full_pressure_bar: Dec | None = None
    minimum_pressure_bar: Dec
    minimum_temperature_c: Dec | None = None
    home: SiteRef
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.cylinder,)

    @model_validator(mode="after")
    def _gases_stand_once(self) -> Self:
        gases = [component.gas for component in self.components]
        if len(set(gases)) != len(gases):
            raise ValueError("a gas stands twice among the components; add the amounts up or remove one")
        return self
