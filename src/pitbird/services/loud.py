"""What is said loudly of a detector wherever it is named: held, issued untested, about to end, left out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from pitbird.fleet.state import DetectorState, ReasonOut, UntestedIssue
from pitbird.fleet.times import Ms, local

#: So many days before its end a life is spoken of.
SOON: Final = timedelta(days=30)


@dataclass(frozen=True)
class Ending:
    """A stated last day that is near or past: of the detector, or of the sensor of ``channel``."""

    day: str
    channel: str
    days_left: int


@dataclass(frozen=True)
class Loud:
    """``held`` is the incident for whose investigation the detector is kept as it is; ``untested`` the issue
    without a test that is in force; ``endings`` what ends within 30 days or has ended, the soonest first;
    ``left_out`` how many entries about it do not count because their clock cannot be right."""

    held: ReasonOut | None
    untested: UntestedIssue | None
    endings: tuple[Ending, ...]
    left_out: int = 0


def loud(state: DetectorState, as_of: Ms, zone: str | None) -> Loud:
    """What is to be said of a detector at a moment, on its site's calendar (UTC while no clock is known)."""
    issue = state.untested
    in_force = issue is not None and issue.at <= as_of < issue.until
    endings = _endings(state, as_of, zone)
    return Loud(held_for(state), issue if in_force else None, endings, len(state.doubtful))


def held_for(state: DetectorState) -> ReasonOut | None:
    """The open incident for which a detector is held; an open reason counts whatever its date."""
    return next((reason for reason in state.open_reasons if reason.because == "incident"), None)


def _endings(state: DetectorState, as_of: Ms, zone: str | None) -> tuple[Ending, ...]:
    today = local(as_of, zone or "UTC").date()
    stated = [(state.life_ends, "")]
    stated += [(channel.sensor_ends, channel.name) for channel in state.channels]
    found = []
    for text, channel in stated:
        try:
            day = date.fromisoformat(text) if text else None
        except ValueError:
            continue  # the rules say that it cannot be read
        if day is not None and day - today <= SOON:
            found.append(Ending(day.isoformat(), channel, (day - today).days))
    return tuple(sorted(found, key=lambda each: (each.day, each.channel)))
