"""Folded states: what the entries about one subject amount to. Values only; instants are ``Ms``.

``count`` is how many entries are about the subject (its last ``nth``), ``not_understood`` holds entries
of kinds this version does not know, ``doubtful`` those left out because their clock cannot be right.

Every list is bounded and newest first, so that a state does not grow with the age of the book. Where a
bound cuts something off, less is known, and less known never makes a yes.

``gc=False``: values that hold only texts, numbers and other such values cannot make a cycle, and thousands of
states are read sooner when nobody looks for one.
"""

from __future__ import annotations

from typing import Final

import msgspec

from pitbird.fleet.times import Ms

TESTS_KEPT: Final = 16
EVENTS_KEPT: Final = 24
REASONS_KEPT: Final = 64
SPANS_KEPT: Final = 16
FAILURES_KEPT: Final = 32
#: A question about a cylinder looks at so many of its latest tests.
TESTS_ON_KEPT: Final = 10
#: Lives of sensors, of all channels together.
LIVES_KEPT: Final = 48
#: Changes of sensors, of all channels together.
FITTED_KEPT: Final = 24


class AlarmFact(msgspec.Struct, frozen=True, gc=False):
    """An alarm as described: ``at`` in the channel's unit."""

    name: str
    at: str
    direction: str
    shown_by: str


class OtherGas(msgspec.Struct, frozen=True, gc=False):
    """What the manual says a channel reads when shown so much of another gas."""

    gas: str
    amount: str
    unit: str
    reads: str


class ChannelFact(msgspec.Struct, frozen=True, gc=False):
    """A channel as described."""

    name: str
    gas: str
    principle: str
    unit: str
    range_high: str
    clean_air: str
    clean_air_tolerance: str
    alarms: tuple[AlarmFact, ...]
    lfl_basis: str | None = None
    sensor_ends: str | None = None
    t90_s: str | None = None
    t90_fast_s: str | None = None
    other_gases: tuple[OtherGas, ...] = ()

    @property
    def must_show(self) -> AlarmFact | None:
        """The highest alarm that gas must show; of falling ones (oxygen) the lowest. None: gas shows none."""
        by_gas = [alarm for alarm in self.alarms if alarm.shown_by == "gas"]
        rising = [alarm for alarm in by_gas if alarm.direction == "rising"]
        falling = [alarm for alarm in by_gas if alarm.direction == "falling"]
        if falling:
            return min(falling, key=lambda alarm: float(alarm.at))
        return max(rising, key=lambda alarm: float(alarm.at)) if rising else None


class ShownFact(msgspec.Struct, frozen=True, gc=False):
    """What one channel did in a test, over all its gas applications (any *no* wins over a *yes*)."""

    channel: str
    reached: bool
    cylinder: str
    gas_on_s: float
    gauge_bar: str | None = None
    regulator: str | None = None


class TestFact(msgspec.Struct, frozen=True, gc=False):
    """One bump test. ``outcome`` is the worse of what was stated and what the facts say.

    ``counts`` is false where the clock is in doubt (a pass dated after it was recorded). ``at`` is when it
    began: the entry's time or the first gas on, whichever was earlier, so that a test across a change-over
    serves the day in which it began. ``index`` is the entry's place in the book.
    """

    entry: str
    index: int
    at: Ms
    by: str
    site: str | None
    outcome: str
    footing: str
    shown: tuple[ShownFact, ...]
    cylinders: tuple[str, ...]
    signals: tuple[tuple[str, str], ...]
    checks: tuple[tuple[str, str], ...]
    clean_air: tuple[tuple[str, str | None, str], ...]
    cleared: tuple[tuple[str, str], ...]
    temperature_c: str | None = None
    spoiled_because: str | None = None
    counts: bool = True


class CalibrationFact(msgspec.Struct, frozen=True, gc=False):
    """The latest calibration of one channel."""

    channel: str
    entry: str
    at: Ms
    by: str
    passed: bool
    cylinders: tuple[str, ...]


class EventFact(msgspec.Struct, frozen=True, gc=False):
    """Something that may end a pass: a drop, a fresh-air set, a calibration, a repair, new set-points."""

    what: str
    at: Ms
    entry: str


class ReasonOut(msgspec.Struct, frozen=True, gc=False):
    """An open reason why a detector is out of service; closed only by an entry that names it."""

    entry: str
    at: Ms
    because: str
    channels: tuple[str, ...] = ()


class FailureFact(msgspec.Struct, frozen=True, gc=False):
    """The latest failed test (or failed calibration), and what has been done about it since."""

    entry: str
    at: Ms
    channels: tuple[str, ...]
    answered_by: str | None = None
    answered_at: Ms | None = None
    cause: str | None = None
    tested: str | None = None


class LifeFact(msgspec.Struct, frozen=True, gc=False):
    """The life of one channel's sensor as gas showed it: good at ``since`` and last at ``good_until``.

    ``failed_at`` is the first test or calibration (``failed_at_a``) that showed it failed, by the entry
    ``failed_by``; ``cause`` what a return to service then said. ``ended_at`` is when it was replaced,
    repaired or adjusted while good. ``used_…`` are the same instants on the clock that runs only while the
    detector is handed out (ms).
    """

    channel: str
    since: Ms
    good_until: Ms
    used_since: int = 0
    used_good: int = 0
    failed_at: Ms | None = None
    used_failed: int | None = None
    failed_at_a: str | None = None
    failed_by: str | None = None
    cause: str | None = None
    ended_at: Ms | None = None


class FittedFact(msgspec.Struct, frozen=True, gc=False):
    """When the sensor of a channel (None: of every channel) was put in, as told from ``since`` on.

    ``fitted`` is None where a sensor was changed and it is not known which, or when; ``used`` the time that
    the detector had been handed out by then (ms). ``by_day`` says that a description told the day, ``sensor``
    which one it is.
    """

    channel: str | None
    since: Ms
    fitted: Ms | None
    used: int | None = None
    by_day: bool = False
    sensor: str | None = None


class Custody(msgspec.Struct, frozen=True, gc=False):
    """Who has the detector. ``handed_over_at`` is the last change from wearer to wearer.

    ``since`` is when it can have begun at the latest, ``told_at`` when it did by its own clock, where that is
    earlier.
    """

    holder: str | None
    since: Ms
    entry: str
    permit: str | None = None
    due_back: Ms | None = None
    handed_over_at: Ms | None = None
    told_at: Ms | None = None

    @property
    def begun(self) -> Ms:
        """When it can have begun at the earliest."""
        return self.since if self.told_at is None else self.told_at


class UntestedIssue(msgspec.Struct, frozen=True, gc=False):
    """Issued without a test that counts, on whose authority, until when."""

    entry: str
    at: Ms
    to: str
    authority: str
    until: Ms


class DetectorState(msgspec.Struct, frozen=True, gc=False):
    """What the book says about one detector. ``fitted`` is None where it was folded before that was kept."""

    subject: str
    count: int = 0
    last_at: Ms = Ms(0)
    last_index: int = -1
    described_by: str | None = None
    described_at: Ms | None = None
    make: str = ""
    model: str = ""
    serial: str = ""
    firmware: str | None = None
    draws: str = "diffusion"
    signals: tuple[str, ...] = ()
    site: str | None = None
    channels: tuple[ChannelFact, ...] = ()
    activated: str | None = None
    life_ends: str | None = None
    maker_calibrates: bool = False
    tests: tuple[TestFact, ...] = ()
    calibrations: tuple[CalibrationFact, ...] = ()
    events: tuple[EventFact, ...] = ()
    open_reasons: tuple[ReasonOut, ...] = ()
    last_failure: FailureFact | None = None
    repairs: tuple[EventFact, ...] = ()
    custody: Custody | None = None
    handed_out_ms: int = 0
    lives: tuple[LifeFact, ...] = ()
    untested: UntestedIssue | None = None
    not_understood: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()
    pump_l_min: str | None = None
    fitted: tuple[FittedFact, ...] | None = None


class ComponentFact(msgspec.Struct, frozen=True, gc=False):
    """One gas of a mixture as certified."""

    gas: str
    amount: str
    unit: str
    expanded_uncertainty_pct: str | None = None
    label_pct_lfl: str | None = None
    label_lfl_vol_pct: str | None = None


class Span(msgspec.Struct, frozen=True, gc=False):
    """A stretch of time, ``[since, until)``; ``until`` is None while it lasts."""

    since: Ms
    until: Ms | None
    entry: str
    because: str = ""


class GaugeFact(msgspec.Struct, frozen=True, gc=False):
    """A gauge reading in bar (gauge)."""

    at: Ms
    bar: str
    entry: str


class FailedOn(msgspec.Struct, frozen=True, gc=False):
    """A test that failed on a cylinder: whether the gas is to be asked first is a matter of the rules.

    ``in_a_row`` counts the failed tests on the cylinder without a pass between, this one included;
    ``detectors`` the different detectors that failed among its last ten tests. ``until`` is when the
    question was answered by a release that names the entry.
    """

    entry: str
    at: Ms
    detector: str
    in_a_row: int
    detectors: int
    until: Ms | None = None


class TestedOn(msgspec.Struct, frozen=True, gc=False):
    """One of the latest tests on a cylinder, passed or failed; spoiled ones say nothing about the gas."""

    at: Ms
    detector: str
    failed: bool


class CylinderState(msgspec.Struct, frozen=True, gc=False):
    """What the book says about one cylinder of test gas."""

    subject: str
    count: int = 0
    last_at: Ms = Ms(0)
    last_index: int = -1
    described_by: str | None = None
    lot: str | None = None
    certificate: str | None = None
    components: tuple[ComponentFact, ...] = ()
    balance: str = ""
    expires: str | None = None
    water_capacity_l: str | None = None
    free_gas_l: str | None = None
    full_pressure_bar: str | None = None
    minimum_pressure_bar: str | None = None
    minimum_temperature_c: str | None = None
    site: str | None = None
    received_at: Ms | None = None
    opened_at: Ms | None = None
    opened_site: str | None = None
    regulator: str | None = None
    emptied_at: Ms | None = None
    emptied_by: str | None = None
    withdrawn: tuple[Span, ...] = ()
    gauges: tuple[GaugeFact, ...] = ()
    tests: int = 0
    gas_on_ms: int = 0
    fails: int = 0
    spoiled: int = 0
    recent: tuple[TestedOn, ...] = ()
    failures: tuple[FailedOn, ...] = ()
    last_test_at: Ms | None = None
    not_understood: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()
    traceable_to: str | None = None
    made: str | None = None

    def withdrawn_at(self, instant: Ms) -> Span | None:
        """The quarantine that held at an instant, if any."""
        for span in self.withdrawn:
            if span.since <= instant and (span.until is None or instant < span.until):
                return span
        return None


class TrainingFact(msgspec.Struct, frozen=True, gc=False):
    """One training: ``until`` is the last day on which it holds (site-local), None if open."""

    topic: str
    at: Ms
    until: str | None
    entry: str
    passed: bool


class PersonState(msgspec.Struct, frozen=True, gc=False):
    """What the book says about one person: by id; the name is kept apart."""

    subject: str
    count: int = 0
    last_at: Ms = Ms(0)
    last_index: int = -1
    described_by: str | None = None
    name: str | None = None
    roles: tuple[str, ...] = ()
    home: str | None = None
    left: str | None = None
    trainings: tuple[TrainingFact, ...] = ()
    not_understood: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()


class AdoptionFact(msgspec.Struct, frozen=True, gc=False):
    """Site rules in force from an instant."""

    since: Ms
    rules: str
    version: int
    digest: str
    entry: str


class SiteState(msgspec.Struct, frozen=True, gc=False):
    """What the book says about one site: its clock and its rules."""

    subject: str
    count: int = 0
    last_at: Ms = Ms(0)
    last_index: int = -1
    described_by: str | None = None
    name: str = ""
    zone: str = ""
    change_overs: tuple[str, ...] = ("04:00",)
    adoptions: tuple[AdoptionFact, ...] = ()
    not_understood: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()

    def adopted_at(self, instant: Ms) -> AdoptionFact | None:
        """The adoption in force at an instant: the latest that began by then."""
        for adoption in self.adoptions:
            if adoption.since <= instant:
                return adoption
        return None


class OtherState(msgspec.Struct, frozen=True, gc=False):
    """A regulator, a sensor, a rule set, a phone or the book: counted, with its description as last written.

    A rule set's description holds every document ever adopted, by its digest.
    """

    subject: str
    count: int = 0
    last_at: Ms = Ms(0)
    last_index: int = -1
    described_by: str | None = None
    description: dict[str, str] = {}
    not_understood: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()


State = DetectorState | CylinderState | PersonState | SiteState | OtherState
