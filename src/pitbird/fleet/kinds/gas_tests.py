"""Entries made with gas in hand: bump test, fresh-air set, calibration."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from pitbird.fleet.kinds.base import (
    Body,
    ChannelName,
    CylinderRef,
    Dec,
    DetectorRef,
    Instant,
    Name,
    Part,
    PersonRef,
    RegulatorRef,
    Sealed,
    YesNo,
    common,
)

Outcome = Literal["passed", "failed", "spoiled"]
SpoiledBecause = Literal[
    "hood-slipped", "gas-ran-out", "broken-off", "wrong-gas", "not-every-channel", "other"
]


class ChannelShown(Part):
    """What one channel did while gas was on: ``reached`` is its highest alarm that gas must show."""

    channel: ChannelName
    reached: YesNo
    after_s: Dec | None = None
    peak: Dec | None = None


class Application(Part):
    """One cylinder, gas on, gas off, and what each exposed channel did."""

    cylinder: CylinderRef
    regulator: RegulatorRef | None = None
    gauge_bar: Dec | None = None
    gas_on: Instant
    gas_off: Instant
    channels: Annotated[tuple[ChannelShown, ...], Field(max_length=12)] = ()

    @model_validator(mode="after")
    def _gas_goes_off_after_on(self) -> Self:
        if self.gas_off < self.gas_on:
            raise ValueError("'gas_off' lies before 'gas_on'")
        return self


class CleanAir(Part):
    """What a channel read in clean air before gas, and whether that was right for it."""

    channel: ChannelName
    reading: Dec | None = None
    right: YesNo


class Checks(Part):
    """What was looked at before gas. Absent means: not looked at, never: fine."""

    whole_and_clean: YesNo | None = None
    inlets_clear: YesNo | None = None
    warmed_up: YesNo | None = None
    battery: YesNo | None = None
    hose_tight: YesNo | None = None
    gauge_shows_pressure: YesNo | None = None
    cylinder_in_date: YesNo | None = None


class Signals(Part):
    """Once for the detector: did it sound, flash and shake. ``not-fitted`` where it has none."""

    sound: Literal["yes", "no", "not-fitted"] | None = None
    light: Literal["yes", "no", "not-fitted"] | None = None
    vibration: Literal["yes", "no", "not-fitted"] | None = None


class Cleared(Part):
    """After gas: readings back to clean air, peaks and time-weighted values cleared."""

    readings: YesNo | None = None
    peaks: YesNo | None = None


class Slip(Part):
    """The paper slip on which a test was written down where phones are barred, who signed it besides, and who
    entered it where that is not the tester (``by``)."""

    number: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9-]{0,31}$")]
    countersigned_by: PersonRef | None = None
    entered_by: PersonRef | None = None


class BumpTest(Body):
    """A bump test (function check): test gas, to see every sensor respond and every alarm come.

    ``outcome`` is what the facts say: *failed* if anything that had to come did not, *passed* if all
    came, *spoiled* if the attempt broke off (it then proves nothing and withdraws nothing).
    ``footing`` is *shown* when the facts were seen and recorded, *reported* for a bare pass or fail
    from elsewhere.
    """

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "bump-test",
        **common(7),
        "detector": "detector:D-017",
        "checks": {
            "whole_and_clean": "yes",
            "inlets_clear": "yes",
            "warmed_up": "yes",
            "battery": "yes",
            "hose_tight": "yes",
            "gauge_shows_pressure": "yes",
            "cylinder_in_date": "yes",
        },
        "clean_air": [{"channel": "H2S", "reading": "0", "right": "yes"}],
        "applications": [
            {
                "cylinder": "cylinder:C-112",
                "regulator": "regulator:R-03",
                "gauge_bar": "41",
                "gas_on": "2026-03-02T06:40:10.000Z",
                "gas_off": "2026-03-02T06:40:32.000Z",
                "channels": [{"channel": "H2S", "reached": "yes", "after_s": "11"}],
            }
        ],
        "signals": {"sound": "yes", "light": "yes", "vibration": "yes"},
        "cleared": {"readings": "yes", "peaks": "yes"},
        "temperature_c": "12",
        "outcome": "passed",
    }
    kind: Literal["bump-test"] = "bump-test"
    detector: DetectorRef
    footing: Literal["shown", "reported"] = "shown"
    checks: Checks = Checks()
    clean_air: Annotated[tuple[CleanAir, ...], Field(max_length=12)] = ()
    applications: Annotated[tuple[Application, ...], Field(max_length=6)] = ()
    signals: Signals = Signals()
    cleared: Cleared = Cleared()
    temperature_c: Dec | None = None
    outcome: Outcome
    spoiled_because: SpoiledBecause | None = None
    slip: Slip | None = None
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector, *(application.cylinder for application in self.applications))

    @model_validator(mode="after")
    def _outcome_has_what_it_needs(self) -> Self:
        if self.outcome == "spoiled" and self.spoiled_because is None:
            raise ValueError("a spoiled test says why: 'spoiled_because'")
        if self.outcome != "spoiled" and self.spoiled_because is not None:
            raise ValueError("'spoiled_because' stands only with outcome spoiled")
        if self.footing == "shown" and self.outcome == "passed" and not self.applications:
            raise ValueError("no gas, no yes: a passed test names the cylinder it was done with")
        return self


class FreshAirSet(Body):
    """The detector was told that the air around it is clean (zero, and 20.9 % on oxygen)."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "fresh-air-set",
        **common(8),
        "detector": "detector:D-017",
        "air": "outdoors",
    }
    kind: Literal["fresh-air-set"] = "fresh-air-set"
    detector: DetectorRef
    air: Literal["outdoors", "zero-air", "indoors", "not-known"]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector,)


class AsFound(Part):
    """One channel in one gas: applied, read before adjusting (as found), read after (as left)."""

    channel: ChannelName
    applied: Dec
    as_found: Dec | None = None
    as_left: Dec | None = None
    adjusted: YesNo = "yes"
    result: Literal["within", "outside"]


class Calibration(Body):
    """A calibration: readings against a traceable gas, as found and as left, by a competent person."""

    SEALED: ClassVar[tuple[str, ...]] = ("note",)
    EXAMPLE: ClassVar[dict[str, Any]] = {
        "kind": "calibration",
        **common(9),
        "detector": "detector:D-017",
        "cylinders": ["cylinder:C-112"],
        "zeroed": "yes",
        "channels": [
            {"channel": "H2S", "applied": "20", "as_found": "18", "as_left": "20", "result": "within"}
        ],
        "tolerance_pct": "10",
        "result": "passed",
    }
    kind: Literal["calibration"] = "calibration"
    detector: DetectorRef
    cylinders: Annotated[tuple[CylinderRef, ...], Field(max_length=8)] = ()
    zeroed: YesNo | None = None
    channels: Annotated[tuple[AsFound, ...], Field(min_length=1, max_length=12)]
    tolerance_pct: Dec | None = None
    certificate: Name | None = None
    result: Literal["passed", "failed"]
    note: Sealed | None = None

    def subjects(self) -> tuple[str, ...]:
        return (self.detector, *self.cylinders)

    @model_validator(mode="after")
    def _a_channel_outside_is_no_pass(self) -> Self:
        if self.result == "passed" and any(channel.result == "outside" for channel in self.channels):
            raise ValueError("a calibration with a channel left outside its tolerance has not passed")
        return self
