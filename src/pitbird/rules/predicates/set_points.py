"""Whether a detector would alarm before an exposure limit is passed."""

from __future__ import annotations

from functools import lru_cache

from pitbird.fleet.state import ChannelFact
from pitbird.rules.decision import Finding
from pitbird.rules.own_limits import FORM, fault_of, own_limit_of
from pitbird.rules.predicates.base import (
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
    predicate,
)
from pitbird.rules.serving import number
from pitbird.science.exposure_limits import SETS, Limit, limit_set

_PPM: dict[str, float] = {"ppm": 1.0, "vol_pct": 10_000.0}


@predicate(
    "alarms-within-limits",
    Scope.MOMENT,
    parameters=(
        Parameter("limits", Kind.WORD, "the set of exposure limits", choices=(*SETS, "own")),
        Parameter(
            "own",
            Kind.NAMES,
            f"the site's own limits, a line for each gas, as {FORM}",
            when=("limits", "own"),
            each=fault_of,
        ),
    ),
    codes={
        "alarms-within-limits": Code(MET),
        "no-limit-for-its-gases": Code(NOT_APPLICABLE),
        "set-point-not-readable": Code(UNKNOWN, "describe-detector"),
        "alarm-above-limit": Code(NOT_MET, "set-alarm-lower"),
    },
)
def alarms_within_limits(moment: Moment, rule: Bound) -> Finding:
    """For every channel in ppm or % vol whose gas has a limit in the chosen set, the lowest alarm that rises
    stands no higher than the lowest of its limits (8 hours, 15 minutes, ceiling). The limits carry their own
    source, edition and how well they are known; those of the place come first. A site writes its own in the
    rule (``limits = "own"``), each with its source."""
    chosen, own = rule.values["limits"], rule.values.get("own", ())
    limited = False
    for channel in moment.detector.channels:
        judged = _judged(channel, chosen, own)
        if judged is None:
            continue
        limited = True
        code, facts = judged
        if code:
            entry = moment.detector.described_by
            return rule.finds(code, facts, (entry,) if entry else ())
    return rule.finds("alarms-within-limits" if limited else "no-limit-for-its-gases")


@lru_cache(maxsize=1024)
def _judged(channel: ChannelFact, chosen: str, own: tuple[str, ...]) -> tuple[str, Facts] | None:
    """What is found of a channel; None where no limit of the set is about it."""
    per_unit = _PPM.get(channel.unit)
    rising = [alarm for alarm in channel.alarms if alarm.direction == "rising"]
    if per_unit is None or not rising or channel.principle == "oxygen":
        return None
    found = own_limit_of(own, channel.gas) if chosen == "own" else _of_set(chosen, channel.gas)
    if found is None or _lowest(found[0]) is None:
        return None
    limit, cited = found
    points = [number(alarm.at) for alarm in rising]
    if any(point is None for point in points):
        return "set-point-not-readable", (("channel", channel.name),)
    lowest = min(point for point in points if point is not None)
    if lowest * per_unit <= (_lowest(limit) or 0) * (1 + 1e-9):
        return "", ()
    return "alarm-above-limit", (
        ("channel", channel.name),
        ("at", f"{lowest:g}"),
        ("unit", channel.unit),
        ("limit", str(limit)),
        ("set", "own" if chosen == "own" else limit_set(chosen).title),
        ("known", cited),
    )


def _of_set(chosen: str, gas: str) -> tuple[Limit, str] | None:
    limits = limit_set(chosen)
    limit = limits.of(gas)
    return None if limit is None else (limit, limits.cited(limit))


def _lowest(limit: Limit) -> float | None:
    named = [each for each in (limit.twa_ppm, limit.stel_ppm, limit.ceiling_ppm) if each is not None]
    return min(named, default=None)
