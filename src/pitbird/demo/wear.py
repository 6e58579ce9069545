"""How sensors, alarms and inlets really fail, unseen: the hidden truth of the simulated fleet.

Wear-out is Weibull (shape 3) in the age of the part, sudden failure exponential; a channel also loses
sensitivity linearly since its last calibration and fails when an alarm can no longer be reached. The
parameters are the demo's own; no public failure rate of portable detectors is known.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Final

from pitbird.demo.entries import Fault
from pitbird.demo.fleet import Gas
from pitbird.fleet.times import DAY, Ms

YEAR: Final = 365 * DAY
NEVER: Final = 1 << 62


@dataclass(slots=True)
class Episode:
    """One stretch in which a part did not work: until when, and which entry found it, if any has."""

    fault: Fault
    until: Ms | None = None
    found_by: str | None = None


@dataclass(slots=True)
class Part:
    """A channel's sensor with its inlet, or one of the alarms, of one detector."""

    name: str
    scale_years: float
    sudden_per_year: float
    tolerates: float = 0.0
    """The share of sensitivity at which the alarm is just reached; 0 for alarms."""
    drift_per_year: float = 0.0
    wears_out: int = NEVER
    cause: str = "sensor-worn"
    calibrated: int = 0
    fails: int = NEVER
    fails_why: str = "sensor-worn"
    episode: Episode | None = None

    def settle(self) -> None:
        """Work out when it fails next: by wear, or by drift since it was last adjusted."""
        self.fails, self.fails_why = self.wears_out, self.cause
        if self.drift_per_year > 0:
            drifted = self.calibrated + int((1 - self.tolerates) / self.drift_per_year * YEAR)
            if drifted < self.fails:
                self.fails, self.fails_why = drifted, "drifted"

    def sensitivity(self, at: int) -> float:
        """The share of its calibrated response that is left, before any failure."""
        return max(0.0, 1.0 - self.drift_per_year * max(0, at - self.calibrated) / YEAR)


@dataclass(slots=True)
class Wear:
    """All parts of all detectors, and every episode so far."""

    rng: Random
    parts: dict[str, dict[str, Part]] = field(default_factory=dict)
    episodes: list[Episode] = field(default_factory=list)

    def fit(self, detector: str, gas: Gas, at: int, age_years: float) -> None:
        """A sensor of some age is in a channel from now on."""
        drift = min(0.45, self.rng.lognormvariate(-2.4, 0.6))
        part = Part(gas.name, gas.life_years, gas.sudden_per_year, gas.step_to_alarm, drift, calibrated=at)
        self._draw(part, at, age_years)
        self.parts.setdefault(detector, {})[gas.name] = part

    def fit_alarm(self, detector: str, signal: str, at: int) -> None:
        """A buzzer, a lamp or a vibrating motor is in a detector from now on."""
        sudden = {"sound": 0.015, "light": 0.004, "vibration": 0.03}[signal]
        part = Part(signal, 30.0, sudden, cause="alarm-dead")
        self._draw(part, at, 1.0)
        self.parts.setdefault(detector, {})[signal] = part

    def _draw(self, part: Part, at: int, age_years: float) -> None:
        wear = self.rng.weibullvariate(part.scale_years, 3.0)
        while wear <= age_years:
            wear = self.rng.weibullvariate(part.scale_years, 3.0)
        sudden = self.rng.expovariate(part.sudden_per_year)
        part.wears_out = at + int(min(wear - age_years, sudden) * YEAR)
        part.settle()

    def faults(self, detector: str, at: int) -> tuple[Fault, ...]:
        """What does not work on a detector at this moment, in the order of its parts."""
        found: list[Fault] = []
        for part in self.parts[detector].values():
            if part.fails <= at:
                found.append(self._episode(detector, part).fault)
        return tuple(found)

    def _episode(self, detector: str, part: Part) -> Episode:
        if part.episode is None:
            part.episode = Episode(Fault(detector, part.name, part.fails_why, Ms(part.fails)))
            self.episodes.append(part.episode)
        return part.episode

    def found(self, detector: str, at: int, entry: str) -> None:
        """An entry shows what does not work."""
        for part in self.parts[detector].values():
            if part.fails <= at:
                episode = self._episode(detector, part)
                episode.found_by = episode.found_by or entry

    def strike(self, detector: str, name: str, at: int, cause: str) -> None:
        """Something from outside (a knock, a poison) stops a part, unless it had failed before."""
        part = self.parts[detector][name]
        if part.fails > at:
            part.wears_out, part.cause = at, cause
            part.settle()

    def spare(self, detector: str, since: int, until: int) -> None:
        """Nothing on this detector fails of itself within a stretch: what would have, fails later."""
        for part in self.parts[detector].values():
            if since <= part.wears_out <= until:
                part.wears_out = until + YEAR
            part.settle()

    def calibrated(self, detector: str, at: int) -> None:
        """Every channel is adjusted; drift begins anew."""
        for part in self.parts[detector].values():
            if part.fails > at:
                part.calibrated = at
                part.settle()

    def mend(self, detector: str, at: int, gases: dict[str, Gas]) -> tuple[str, tuple[str, ...]]:
        """Put right all that has failed; gives the first cause and the channels that got a new sensor."""
        cause, replaced = "not-found", []
        for part in list(self.parts[detector].values()):
            if part.fails > at:
                continue
            episode = self._episode(detector, part)
            episode.until = Ms(at)
            cause = episode.fault.cause if cause == "not-found" else cause
            if part.name not in gases:
                self.fit_alarm(detector, part.name, at)
            elif episode.fault.cause == "inlet-blocked":
                part.episode, part.cause, part.calibrated = None, "sensor-worn", at
                self._draw(part, at, 0.5)
            else:
                replaced.append(part.name)
                self.fit(detector, gases[part.name], at, 0.0)
        return cause, tuple(replaced)

    def close(self, end: Ms) -> None:
        """At the end of the story, write down the episodes that nobody has come across."""
        for detector in self.parts:
            self.faults(detector, end)
