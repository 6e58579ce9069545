"""What a bump test in the simulated fleet records, given what is really wrong with the detector."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import cos, pi
from random import Random
from typing import Any, Final

from pitbird.demo.entries import Body, Fault, instant
from pitbird.demo.fleet import Type
from pitbird.demo.gas import Cylinder, Stand
from pitbird.fleet.times import DAY

_CHECKS: Final = {
    "whole_and_clean": "yes",
    "inlets_clear": "yes",
    "warmed_up": "yes",
    "battery": "yes",
    "cylinder_in_date": "yes",
    "gauge_shows_pressure": "yes",
    "hose_tight": "yes",
}
_BETWEEN_MS: Final = 35_000
_FITTED_MS: Final = 20_000


@dataclass(slots=True)
class Attempt:
    """A test as it went: what to write, when it was over, and how it came out."""

    fields: Body
    about: tuple[str, ...]
    at: int
    outcome: str
    truth: tuple[Fault, ...]
    texts: dict[str, str] = field(default_factory=dict)


def degrees(rng: Random, at: int, indoors: bool) -> str:
    """The temperature where the test is made: warm in July, cold in January, milder under a roof."""
    season = -cos(2 * pi * ((at / DAY) % 365.25 - 15) / 365.25)
    middle, swing = (18.0, 4.0) if indoors else (13.5, 6.5)
    return str(round(max(2.0, middle + swing * season + 2.5 * (rng.random() - 0.5))))


def bump(
    rng: Random,
    detector: str,
    kind: Type,
    stands: list[tuple[Stand, Cylinder]],
    at: int,
    truth: tuple[Fault, ...],
    *,
    skip: str | None = None,
) -> Attempt:
    """A bump test from start to end: gas from each cylinder in turn, every channel and every alarm looked at.

    ``truth`` is what does not work. ``skip`` leaves one test gas out without anybody noticing. Where the
    gas runs out the attempt is spoiled.
    """
    dead = {fault.part for fault in truth}
    applications: list[Body] = []
    alarmed = failed = False
    now = at
    for stand, cylinder in stands:
        if cylinder.mix.key == skip:
            continue
        gas_on = max(now, cylinder.since + _FITTED_MS)
        seconds = rng.randint(*cylinder.mix.gas_on_s) + rng.randrange(1000) / 1000
        lasted = cylinder.draw(seconds, stand.point.flow_l_min)
        gas_off = gas_on + int(seconds * 1000)
        now = gas_off + _BETWEEN_MS
        cylinder.used_until = max(cylinder.used_until, gas_off)
        application: Body = {
            "cylinder": cylinder.id,
            "regulator": stand.point.regulator,
            "gas_on": instant(gas_on),
            "gas_off": instant(gas_off),
        }
        if not lasted or rng.random() < 0.3:
            application["gauge_bar"] = cylinder.gauge()
        applications.append(application)
        if not lasted:
            return _spoiled(rng, detector, applications, "gas-ran-out", gas_off, truth)
        shown = []
        for gas in kind.gases:
            if gas.mix != cylinder.mix.key:
                continue
            if gas.name in dead or gas.gas == cylinder.weak_in:
                peak = _weak_peak(rng, gas.clean_air, cylinder.mix.applied(gas))
                shown.append({"channel": gas.name, "reached": "no", "peak": peak})
                failed = True
            else:
                after = min(seconds - 2, gas.after_s * (0.85 + 0.6 * rng.random()))
                shown.append({"channel": gas.name, "reached": "yes", "after_s": str(int(after) + 1)})
                alarmed = True
        application["channels"] = shown
    fields: Body = {
        "detector": detector,
        "checks": dict(_CHECKS),
        "clean_air": [
            {"channel": gas.name, "reading": rng.choice(gas.clean_readings), "right": "yes"}
            for gas in kind.gases
        ],
        "applications": applications,
    }
    if alarmed:
        signals = {signal: "no" if signal in dead else "yes" for signal in kind.signals}
        failed = failed or "no" in signals.values()
        fields["signals"] = signals
    fields["cleared"] = {"readings": "yes", "peaks": "yes"}
    if rng.random() < 0.9:
        fields["temperature_c"] = degrees(rng, at, stands[0][0].place.id == "site:hulmar-workshop")
    fields["outcome"] = outcome = "failed" if failed else "passed"
    about = (detector, *(application["cylinder"] for application in applications))
    return Attempt(fields, about, now - _BETWEEN_MS + rng.randint(8_000, 15_000), outcome, truth)


def _weak_peak(rng: Random, clean: str, applied: str) -> str:
    low, high = float(clean), float(applied)
    return f"{low + (high - low) * 0.3 * rng.random():.1f}"


def spoiled(
    rng: Random, detector: str, stand: Stand, at: int, truth: tuple[Fault, ...], because: str | None = None
) -> Attempt:
    """An attempt that broke off: it proves nothing and withdraws nothing."""
    because = because or rng.choice(("hood-slipped", "hood-slipped", "broken-off", "broken-off", "wrong-gas"))
    seconds = rng.uniform(4, 16)
    at = max(at, stand.now.since + _FITTED_MS)
    stand.now.draw(seconds, stand.point.flow_l_min)
    application: dict[str, Any] = {
        "cylinder": stand.now.id,
        "regulator": stand.point.regulator,
        "gas_on": instant(at),
        "gas_off": instant(at + int(seconds * 1000)),
    }
    return _spoiled(rng, detector, [application], because, at + int(seconds * 1000), truth)


def _spoiled(
    rng: Random, detector: str, applications: list[Body], because: str, over: int, truth: tuple[Fault, ...]
) -> Attempt:
    fields = {
        "detector": detector,
        "checks": dict(_CHECKS),
        "applications": applications,
        "outcome": "spoiled",
        "spoiled_because": because,
    }
    about = (detector, *(application["cylinder"] for application in applications))
    return Attempt(fields, about, over + rng.randint(5_000, 15_000), "spoiled", truth)
