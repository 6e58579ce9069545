"""Which sensors are likely to need replacing soon: their sensitivity as calibrations found it, carried on.

What a calibration adjusts away is added up again: the sensitivity left is the product of every as-found
reading over the gas applied since the sensor was fitted, repaired or changed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import DAY, Ms, ms_of
from pitbird.rules.serving import number
from pitbird.science.gases import same_gas
from pitbird.services.counted import counted
from pitbird.services.knowing import Known, Now

if TYPE_CHECKING:
    from pitbird.science.drift import Drift, Passing

#: Share of its first sensitivity at which a sensor is taken to be worn out; ours, the manual's comes first.
WORN: Final = 0.5
#: A quarter of a year.
AHEAD_DAYS: Final = 91.0
#: Expanded uncertainty of a certificate that states none [%]; ours.
USUAL_UNCERTAINTY_PCT: Final = 5.0
#: A sensor is looked at closely where so many times its fastest fall so far would bring it to the limit.
_MARGIN: Final = 3.0


@dataclass(frozen=True, slots=True)
class Reading:
    """The sensitivity left at one calibration, against the first [-]; ``sd`` that of the gas."""

    at: Ms
    left: float
    sd: float
    cylinder: str


@dataclass(frozen=True, slots=True)
class Wear:
    """One sensor: what is left of it, when it will pass the limit, and how that is known.

    ``chance`` that it lies below the limit at the end of the time looked ahead. ``ends`` is the last day that
    its description states, where that comes before.
    """

    detector: str
    channel: str
    gas: str
    readings: tuple[Reading, ...]
    chance: float
    passing: Passing | None
    drift: Drift | None
    ends: str | None = None

    @property
    def left(self) -> float | None:
        """Share of its first sensitivity at the last calibration; None where only its last day is known."""
        return self.readings[-1].left if self.readings else None


@dataclass(frozen=True, slots=True)
class WearAhead:
    """The sensors that may need replacing within a time, the likeliest first.

    ``looked_at`` sensors had calibrations enough to carry on; ``too_few`` had not.
    """

    now: Ms
    days: float
    worn: float
    sensors: tuple[Wear, ...]
    looked_at: int
    too_few: int


def wear_ahead(
    *,
    now: Ms,
    days: float = AHEAD_DAYS,
    worn: float = WORN,
    site: str | None = None,
    only: str | None = None,
    least_chance: float = 0.05,
    known: Known | None = None,
    calibrations: Iterable[Mapping[str, Any]] | None = None,
) -> WearAhead:
    """The sensors whose sensitivity may fall below a limit within so many days, with the chance of it.

    ``only`` looks at one detector. ``calibrations`` are bodies of entries where the caller has them; else
    those of the book, corrections heeded.
    """
    from pitbird.science.drift import FEWEST

    source = known or Now()
    states = {
        state.subject: state
        for state in source.all_of(DetectorState, site)
        if only is None or state.subject == only
    }
    found = readings_of(counted("calibration") if calibrations is None else calibrations, states, source)
    sensors, looked_at, too_few = [], 0, 0
    for state in states.values():
        for channel in state.channels:
            series = found.get((state.subject, channel.name), ())
            if len(series) < FEWEST:
                too_few += 1
                seen = None
            else:
                looked_at += 1
                seen = _forecast(series, now, days, worn) if _near(series, days, worn) else None
            ends = _ends(channel.sensor_ends, now, days)
            chance = seen[0] if seen else 0.0
            if ends or chance >= least_chance:
                told = (*seen[1:],) if seen else (None, None)
                sensors.append(
                    Wear(state.subject, channel.name, channel.gas, tuple(series), chance, *told, ends)
                )
    sensors.sort(key=lambda each: (each.ends is None, -each.chance, each.detector, each.channel))
    return WearAhead(now, days, worn, tuple(sensors), looked_at, too_few)


def readings_of(
    calibrations: Iterable[Mapping[str, Any]], states: Mapping[str, DetectorState], known: Known
) -> dict[tuple[str, str], list[Reading]]:
    """What each channel's calibrations found, added up since its detector was last repaired or re-fitted."""
    bodies: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for body in calibrations:
        if body["detector"] in states:
            bodies[body["detector"]].append(body)
    gases = known.some(
        sorted({name for each in bodies.values() for b in each for name in b.get("cylinders", ())})
    )
    found: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for subject, listed in bodies.items():
        since = max((event.at for event in states[subject].repairs), default=Ms(0))
        gas_of = {channel.name: channel.gas for channel in states[subject].channels}
        scale: dict[str, float] = {}
        for body in sorted(listed, key=lambda each: (ms_of(each["at"]), each["id"])):
            if ms_of(body["at"]) < since:
                continue
            for channel in body["channels"]:
                name = channel["channel"]
                sd, cylinder = _gas(body, gas_of.get(name, ""), gases)
                for left in _left(channel, scale):
                    found[subject, name].append(Reading(ms_of(body["at"]), left, sd, cylinder))
    return found


def _left(channel: Mapping[str, Any], scale: dict[str, float]) -> Iterator[float]:
    """The sensitivity left at one calibration of a channel; ``scale`` holds what adjusting has made up for.

    The first calibration sets it to 1; where nothing was read before adjusting it is not known, and what came
    before cannot be added up any more.
    """
    name, applied = channel["channel"], number(channel["applied"])
    read, after = number(channel.get("as_found")), number(channel.get("as_left"))
    if applied is None or applied <= 0:
        return
    if name not in scale:
        scale[name] = 1.0
        yield 1.0
        if channel.get("adjusted", "yes") == "no" and read is not None and read > 0:
            scale[name] = applied / read
        return
    if read is None or read <= 0:
        return
    left = scale[name] * read / applied
    if channel.get("adjusted", "yes") != "no":
        scale[name] = left * applied / after if after is not None and after > 0 else left
    yield left


def _gas(body: Mapping[str, Any], gas: str, known: Mapping[str, Any]) -> tuple[float, str]:
    """Standard uncertainty of the gas applied, as a share of it, and the cylinder."""
    for name in body.get("cylinders", ()):
        cylinder = known.get(name)
        if not isinstance(cylinder, CylinderState):
            continue
        for component in cylinder.components:
            if same_gas(component.gas, gas):
                stated = number(component.expanded_uncertainty_pct)
                return (USUAL_UNCERTAINTY_PCT if stated is None else stated) / 200, name
    return USUAL_UNCERTAINTY_PCT / 200, ""


def _near(series: list[Reading], days: float, worn: float) -> bool:
    """Whether the limit is within reach at a multiple of the fastest fall between two calibrations."""
    falls = [(one.left - other.left) / max((other.at - one.at) / DAY, 1.0) for one, other in pairwise(series)]
    fastest = max([*falls, 0.0])
    return series[-1].left - _MARGIN * fastest * days <= worn


def _forecast(
    series: list[Reading], now: Ms, days: float, worn: float
) -> tuple[float, Passing | None, Drift | None]:
    from pitbird.science.drift import NoDrift, fit_drift

    start = series[0].at
    times = [(reading.at - start) / DAY for reading in series]
    end = max((now - start) / DAY + days, times[-1] + 1.0)
    try:
        drift = fit_drift(
            times,
            [reading.left for reading in series],
            gas_sd=[reading.sd * reading.left for reading in series],
            cylinder=[reading.cylinder for reading in series],
        )
    except NoDrift:
        return 0.0, None, None
    return drift.chance_below(worn, end), drift.passes(worn, upto_days=end), drift


def _ends(day: str | None, now: Ms, days: float) -> str | None:
    """The sensor's stated last day, if it lies before the end of the time looked ahead."""
    from datetime import date

    if day is None:
        return None
    last = (date.fromisoformat(day) - date(1970, 1, 1)).days
    return day if last <= now / DAY + days else None
