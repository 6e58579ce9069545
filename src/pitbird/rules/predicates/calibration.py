"""Predicates about calibration: within so many days, in this shift, after what calls for a new one."""

from __future__ import annotations

from operator import attrgetter
from typing import Final

from pitbird.fleet.state import EVENTS_KEPT, CalibrationFact, ChannelFact
from pitbird.fleet.times import Ms, next_change_over
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    EVENTS,
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Bound,
    Code,
    Facts,
    Kind,
    Moment,
    Parameter,
    Scope,
    at,
    days_after,
    predicate,
)
from pitbird.rules.predicates.currency import in_use, last_use
from pitbird.science.gases import same_gas

_AT: Final = attrgetter("at")
_GASES: Final = Parameter(
    "gases",
    Kind.NAMES,
    "the gases whose channels are asked for; empty means every channel",
    may_be_empty=True,
)
_MAKER: Final = Parameter(
    "calibrated_by_maker",
    Kind.WORD,
    "whether detectors that only their maker can calibrate are left out",
    choices=("exempt", "not-exempt"),
)
_CODES: Final = {
    "maker-calibrates": Code(NOT_APPLICABLE),
    "no-such-channel": Code(NOT_APPLICABLE),
    "never-calibrated": Code(NOT_MET, "calibrate"),
    "calibration-failed": Code(NOT_MET, "calibrate"),
    "only-later-calibration-kept": Code(UNKNOWN, "calibrate"),
}


def _exempt(moment: Moment, rule: Bound) -> bool:
    return moment.detector.maker_calibrates and rule.values["calibrated_by_maker"] == "exempt"


def _asked(moment: Moment, rule: Bound) -> tuple[ChannelFact, ...]:
    gases = rule.values.get("gases", ())
    if not gases:
        return moment.detector.channels
    return tuple(
        channel for channel in moment.detector.channels if any(same_gas(channel.gas, gas) for gas in gases)
    )


def _latest(
    moment: Moment, rule: Bound, channels: tuple[ChannelFact, ...]
) -> Finding | list[CalibrationFact]:
    """The latest calibration of each channel, all passed; or the finding that says what is wrong."""
    kept = {calibration.channel: calibration for calibration in moment.detector.calibrations}
    good = []
    later: Finding | None = None
    for channel in channels:
        calibration = kept.get(channel.name)
        if calibration is None:
            return rule.finds("never-calibrated", (("channel", channel.name),))
        if calibration.at > moment.as_of:
            facts: Facts = (("channel", channel.name), at("calibrated_at", calibration.at))
            later = rule.finds("only-later-calibration-kept", facts, (calibration.entry,))
        elif not calibration.passed:
            facts = (("channel", channel.name), at("calibrated_at", calibration.at))
            return rule.finds("calibration-failed", facts, (calibration.entry,))
        good.append(calibration)
    return later or good


def _entries(calibrations: list[CalibrationFact]) -> tuple[str, ...]:
    first = calibrations[0].entry if calibrations else ""
    if calibrations and all(calibration.entry == first for calibration in calibrations):
        return (first,)
    return tuple(dict.fromkeys(calibration.entry for calibration in calibrations))


@predicate(
    "calibrated-within-days",
    Scope.MOMENT,
    parameters=(
        Parameter("days", Kind.WHOLE, "for how many days (of 24 hours) a calibration lasts", most=3660),
        _GASES,
        _MAKER,
    ),
    codes={**_CODES, "calibration-current": Code(MET), "calibration-overdue": Code(NOT_MET, "calibrate")},
)
def calibrated_within_days(moment: Moment, rule: Bound) -> Finding:
    """The latest calibration of every channel asked for was passed and is younger than so many days of 24
    hours. A detector without such a channel is not asked."""
    if _exempt(moment, rule):
        return rule.finds("maker-calibrates")
    channels = _asked(moment, rule)
    if not channels:
        return rule.finds("no-such-channel")
    latest = _latest(moment, rule, channels)
    if isinstance(latest, Finding):
        return latest
    oldest = min(latest, key=_AT)
    end = days_after(oldest.at, rule.values["days"])
    if moment.as_of >= end:
        facts: Facts = (
            ("channel", oldest.channel), at("calibrated_at", oldest.at), ("days", str(rule.values["days"])),
        )  # fmt: skip
        return rule.finds("calibration-overdue", facts, (oldest.entry,))
    return rule.finds("calibration-current", (), _entries(latest), end)


@predicate(
    "calibrated-this-shift",
    Scope.MOMENT,
    parameters=(_GASES, _MAKER),
    codes={
        **_CODES,
        "calibrated-this-shift": Code(MET),
        "not-calibrated-this-shift": Code(NOT_MET, "calibrate"),
        "no-site-clock": Code(UNKNOWN, "describe-site"),
    },
)
def calibrated_this_shift(moment: Moment, rule: Bound) -> Finding:
    """The latest calibration of every channel asked for was passed, and none of the site's change-over times
    has come since."""
    if _exempt(moment, rule):
        return rule.finds("maker-calibrates")
    channels = _asked(moment, rule)
    if not channels:
        return rule.finds("no-such-channel")
    zone, change_overs = moment.zone, moment.surroundings.change_overs
    if zone is None or not change_overs:
        return rule.finds("no-site-clock")
    latest = _latest(moment, rule, channels)
    if isinstance(latest, Finding):
        return latest
    oldest = min(latest, key=_AT)
    end: Ms = next_change_over(oldest.at, zone, change_overs)
    if moment.as_of >= end:
        facts: Facts = (("channel", oldest.channel), at("calibrated_at", oldest.at), at("ended_at", end))
        return rule.finds("not-calibrated-this-shift", facts, (oldest.entry,))
    return rule.finds("calibrated-this-shift", (), _entries(latest), end)


@predicate(
    "calibrated-since",
    Scope.MOMENT,
    parameters=(
        Parameter("events", Kind.WORDS, "what calls for a new calibration", choices=EVENTS),
        _MAKER,
    ),
    codes={
        **_CODES,
        "calibrated-since": Code(MET),
        "not-calibrated-since": Code(NOT_MET, "calibrate"),
        "events-no-longer-kept": Code(UNKNOWN, "calibrate"),
    },
)
def calibrated_since(moment: Moment, rule: Bound) -> Finding:
    """Every channel was calibrated, and passed, after the newest of the named events. (An event does not say
    which channel it touched, so all are asked for.) Without such an event the rule does not ask."""
    if _exempt(moment, rule):
        return rule.finds("maker-calibrates")
    detector = moment.detector
    newest = None
    for event in detector.events:
        listed = event.what in rule.values["events"] and event.at <= moment.horizon
        if listed and (newest is None or event.at > newest.at):
            newest = event
    if newest is None:
        if len(detector.events) < EVENTS_KEPT:
            return rule.finds("calibrated-since")
        # What is no longer kept lies before everything that is: a calibration since then answers it.
        horizon = min(event.at for event in detector.events)
        latest = _latest(moment, rule, detector.channels)
        if not isinstance(latest, Finding) and all(calibration.at > horizon for calibration in latest):
            return rule.finds("calibrated-since")
        return rule.finds("events-no-longer-kept")
    latest = _latest(moment, rule, detector.channels)
    if isinstance(latest, Finding):
        return latest
    if all(calibration.at > newest.at for calibration in latest):
        return rule.finds("calibrated-since", (), _entries(latest))
    facts: Facts = (("what", newest.what), at("happened_at", newest.at))
    return rule.finds("not-calibrated-since", facts, (newest.entry,))


@predicate(
    "calibrated-since-use",
    Scope.MOMENT,
    parameters=(_MAKER,),
    codes={
        **_CODES,
        "in-use": Code(NOT_MET, "hand-back-and-test"),
        "calibrated-since-use": Code(MET),
        "not-calibrated-since-use": Code(NOT_MET, "calibrate"),
        "events-no-longer-kept": Code(UNKNOWN, "calibrate"),
    },
)
def calibrated_since_use(moment: Moment, rule: Bound) -> Finding:
    """Every channel was calibrated, and passed, after the detector last came back from use, or alarmed in it;
    uses are known as for tested-since-use. One that was never used needs a calibration all the same."""
    if _exempt(moment, rule):
        return rule.finds("maker-calibrates")
    if found := in_use(moment, rule):
        return found
    latest = _latest(moment, rule, moment.detector.channels)
    if isinstance(latest, Finding):
        return latest
    used = last_use(moment)
    oldest = min(latest, key=_AT, default=None)
    if used is not None and (oldest is None or oldest.at <= used[0]):
        entries = (used[1],) if oldest is None else (used[1], oldest.entry)
        return rule.finds("not-calibrated-since-use", (at("back_at", used[0]),), entries)
    events = moment.detector.events
    if oldest is not None and len(events) >= EVENTS_KEPT and min(e.at for e in events) >= oldest.at:
        return rule.finds("events-no-longer-kept")
    return rule.finds("calibrated-since-use", (), _entries(latest))
