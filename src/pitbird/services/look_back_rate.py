"""The failure rate that the book's own record gives for what failed, on the cautious side."""

from __future__ import annotations

from collections.abc import Iterable

from pitbird.fleet.look_back import Part
from pitbird.fleet.state import DetectorState
from pitbird.services.evidence import Observation, observations
from pitbird.services.knowing import Now

CONFIDENCE = 0.95


def evidence_rate(detector: str, parts: Iterable[Part]) -> float | None:
    """The upper limit of the failure rate [1/day] of the kinds of channel that failed, the highest of them,
    from the whole fleet's lives of sensors; None where none can be told, as of signals.

    The higher the rate, the earlier the failure is put: the upper limit is the cautious choice.
    """
    from pitbird.science.reliability.exponential import fit_exponential
    from pitbird.science.reliability.spans import spans

    names = {part.name for part in parts if part.sort == "channel"}
    states = Now().all_of(DetectorState)
    seen = list(observations(states, by="channel", clock="calendar", calibration_counts=True))
    groups = {each.group for each in seen if each.detector == detector and each.channel in names}
    limits = []
    for group in groups:
        listed: list[Observation] = [each for each in seen if each.group == group]
        lefts, rights = [each.left_days for each in listed], [each.right_days for each in listed]
        limit = fit_exponential(spans(lefts, rights), CONFIDENCE).rate_high
        if limit is None:
            return None
        limits.append(limit)
    return max(limits, default=None)
