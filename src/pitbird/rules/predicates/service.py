"""Predicates about the detector itself: described, understood, in service, come back properly, not at its
end."""

from __future__ import annotations

from pitbird.fleet.state import DetectorState, FailedOn, FailureFact
from pitbird.fleet.times import Ms
from pitbird.rules.decision import Finding
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
    at,
    end_of_day,
    predicate,
    real_day,
)
from pitbird.rules.predicates.gas_question import MAY_BE_GAS, facts_of, question_at


@predicate(
    "described",
    Scope.MOMENT,
    codes={
        "detector-described": Code(MET),
        "detector-not-in-book": Code(UNKNOWN, "describe-detector"),
        "detector-without-channels": Code(UNKNOWN, "describe-detector"),
    },
)
def described(moment: Moment, rule: Bound) -> Finding:
    """The book describes the detector, with at least one channel, and an alarm on every channel."""
    detector = moment.detector
    if detector.described_by is None:
        return rule.finds("detector-not-in-book")
    if not detector.channels or not all(channel.alarms for channel in detector.channels):
        return rule.finds("detector-without-channels", entries=(detector.described_by,))
    return rule.finds("detector-described", entries=(detector.described_by,))


@predicate(
    "understood",
    Scope.MOMENT,
    codes={
        "all-understood": Code(MET),
        "entries-not-understood": Code(UNKNOWN, "correct-entry"),
    },
)
def understood(moment: Moment, rule: Bound) -> Finding:
    """Every entry about the detector is of a kind that is known; an unknown one could mean anything."""
    strange = moment.detector.not_understood
    if strange:
        return rule.finds("entries-not-understood", (("count", str(len(strange))),), strange)
    return rule.finds("all-understood")


@predicate(
    "in-service",
    Scope.MOMENT,
    codes={
        "no-reason-against": Code(MET),
        "taken-out-of-service": Code(NOT_MET, "return-to-service"),
        "held-for-investigation": Code(NOT_MET, "keep-as-it-is"),
        "failed-on-gas-in-question": Code(NOT_MET, "ask-gas-first"),
        "failed-on-withdrawn-gas": Code(NOT_MET, "return-to-service"),
    },
)
def in_service(moment: Moment, rule: Bound) -> Finding:
    """No reason is open why the detector is out of service. An open reason counts whatever its date. Of
    several reasons an incident is told first: the detector is evidence. A failed test on a cylinder on which
    others failed too (two in a row, or two detectors) is told as a question about the gas, or, once that
    cylinder is withdrawn, as a failure on withdrawn gas; the detector stays out until the failure is answered
    all the same."""
    reasons = moment.detector.open_reasons
    if not reasons:
        return rule.finds("no-reason-against")
    for reason in reasons:
        if reason.because == "incident":
            held: Facts = (at("since_at", reason.at), ("count", str(len(reasons))))
            return rule.finds("held-for-investigation", held, (reason.entry,))
    if asked := _gas_asked(moment):
        name, failure = asked
        facts = (*facts_of(name, failure), ("count", str(len(reasons))))
        code = "failed-on-withdrawn-gas" if _withdrawn(moment, name) else "failed-on-gas-in-question"
        return rule.finds(code, facts, tuple(reason.entry for reason in reasons))
    newest = max(reasons, key=lambda reason: reason.at)
    facts = (
        ("because", newest.because),
        at("since_at", min(reason.at for reason in reasons)),
        ("count", str(len(reasons))),
    )
    return rule.finds("taken-out-of-service", facts, tuple(reason.entry for reason in reasons))


def _withdrawn(moment: Moment, name: str) -> bool:
    """Whether a cylinder is in quarantine or was given up as empty: then nobody tests with it any more."""
    cylinder = moment.surroundings.cylinders[name]
    emptied = cylinder.emptied_at is not None and cylinder.emptied_at <= moment.as_of
    return emptied or cylinder.withdrawn_at(moment.as_of) is not None


def _gas_asked(moment: Moment) -> tuple[str, FailedOn] | None:
    """The cylinder, and the failed test on it, that should be asked about before this detector: only where
    every open reason is a failed test on a cylinder that is in question still."""
    tests = {test.entry: test for test in moment.detector.tests}
    found: tuple[str, FailedOn] | None = None
    for reason in moment.detector.open_reasons:
        test = tests.get(reason.entry)
        asked = None
        for name in test.cylinders if test is not None else ():
            cylinder = moment.surroundings.cylinders.get(name)
            if cylinder is None or reason.entry not in {failure.entry for failure in cylinder.failures}:
                continue
            failure = question_at(cylinder, moment.horizon, in_a_row=MAY_BE_GAS, detectors=MAY_BE_GAS)
            asked = (name, failure) if failure is not None else asked
        if asked is None:
            return None
        found = found or asked
    return found


@predicate(
    "untested-issue-noted",
    Scope.MOMENT,
    codes={
        "no-untested-issue": Code(NOT_APPLICABLE),
        "issued-untested": Code(NOT_MET, "test"),
    },
)
def untested_issue_noted(moment: Moment, rule: Bound) -> Finding:
    """While an issue without a test is in force it is said loudly, as a warning. It never makes a yes."""
    issue = moment.detector.untested
    if issue is None or not issue.at <= moment.as_of < issue.until:
        return rule.finds("no-untested-issue")
    facts = (("to", issue.to), ("authority", issue.authority), at("issue_ends_at", issue.until))
    return rule.finds("issued-untested", facts, (issue.entry,), strength="warns")


@predicate(
    "life-not-ended",
    Scope.MOMENT,
    codes={
        "life-not-ended": Code(MET),
        "no-end-of-life-stated": Code(NOT_APPLICABLE),
        "life-ended": Code(NOT_MET, "replace"),
        "sensor-life-ended": Code(NOT_MET, "replace"),
        "end-of-life-not-readable": Code(UNKNOWN, "describe-detector"),
        "no-site-clock": Code(UNKNOWN, "describe-site"),
    },
)
def life_not_ended(moment: Moment, rule: Bound) -> Finding:
    """Neither the detector nor a sensor is past its stated last day (that day included, on the site's
    calendar). Where none is stated the rule does not apply."""
    detector = moment.detector
    stated = [("", detector.life_ends)] if detector.life_ends is not None else []
    stated += [(channel.name, channel.sensor_ends) for channel in detector.channels if channel.sensor_ends]
    if not stated:
        return rule.finds("no-end-of-life-stated")
    if moment.day is None or moment.zone is None:
        return rule.finds("no-site-clock")
    days = [(day, channel) for channel, day in stated if real_day(day) is not None and day is not None]
    entries = (detector.described_by,) if detector.described_by else ()
    if len(days) < len(stated):
        return rule.finds("end-of-life-not-readable", entries=entries)
    day, channel = min(days)
    if moment.day > day:
        if not channel:
            return rule.finds("life-ended", (("ended_on", day),), entries)
        return rule.finds("sensor-life-ended", (("channel", channel), ("ended_on", day)), entries)
    return rule.finds("life-not-ended", (("ends_on", day),), entries, end_of_day(day, moment.zone))


REMEDIES = ("calibration", "repaired", "sensor-changed")


@predicate(
    "returned-properly",
    Scope.MOMENT,
    parameters=(
        Parameter(
            "remedies",
            Kind.WORDS,
            "what counts as mending after a failure; one of them is enough",
            choices=REMEDIES,
        ),
    ),
    codes={
        "no-failure": Code(NOT_APPLICABLE),
        "failure-mended-and-tested": Code(MET),
        "failure-not-answered": Code(NOT_MET, "return-to-service"),
        "cause-not-named": Code(NOT_MET, "return-to-service"),
        "not-mended-since-failure": Code(NOT_MET, "calibrate"),
        "no-pass-since-mending": Code(NOT_MET, "test"),
        "pass-since-mending-cannot-be-judged": Code(UNKNOWN, "test"),
    },
)
def returned_properly(moment: Moment, rule: Bound) -> Finding:
    """After the latest failure (of a test or a calibration) a competent person answered it and named the
    cause, one of the named remedies came after it, and the counted pass lies after both. A calibration is a
    remedy if it passed on every channel that failed (on every channel where the failure names none)."""
    failure = failure_in_play(moment.detector, moment.horizon)
    if failure is None:
        return rule.finds("no-failure")
    facts: Facts = (at("failed_at", failure.at),)
    if failure.answered_by is None or failure.answered_at is None or failure.answered_at > moment.as_of:
        return rule.finds("failure-not-answered", facts, (failure.entry,))
    entries: tuple[str, ...] = (failure.entry, failure.answered_by)
    if not failure.cause:
        return rule.finds("cause-not-named", facts, entries)
    mended = _mended(moment, failure, rule.values["remedies"])
    if mended is None:
        wanted = ", ".join(rule.values["remedies"])
        return rule.finds("not-mended-since-failure", (*facts, ("remedies", wanted)), entries)
    facts = (*facts, at("mended_at", mended[0]))
    after = max(mended[0], failure.at)
    test = moment.counted
    if test is not None and test.at > after:
        return rule.finds("failure-mended-and-tested", facts, (*entries, mended[1], test.entry))
    if any(judged.test.at > after for judged in moment.unknown):
        return rule.finds("pass-since-mending-cannot-be-judged", facts, entries)
    return rule.finds("no-pass-since-mending", facts, entries)


def failure_in_play(detector: DetectorState, as_of: Ms) -> FailureFact | None:
    """The latest failure if it matters at ``as_of``: it lies before, or it is dated later although it was
    already answered (or is still open), so that its clock is in doubt: then the fail wins."""
    failure = detector.last_failure
    if failure is None:
        return None
    if failure.at <= as_of or failure.answered_at is None or failure.answered_at <= as_of:
        return failure
    return None


def _mended(moment: Moment, failure: FailureFact, remedies: tuple[str, ...]) -> tuple[Ms, str] | None:
    """When and by which entry the failure was first mended, as far as the book's states still tell."""
    detector, as_of = moment.detector, moment.as_of
    found = [
        (act.at, act.entry)
        for act in detector.repairs
        if act.what in ("repaired", "sensor-changed")
        and act.what in remedies
        and failure.at < act.at <= as_of
    ]
    if "calibration" in remedies:
        wanted = failure.channels or tuple(channel.name for channel in detector.channels)
        passed = {
            calibration.channel: calibration
            for calibration in detector.calibrations
            if calibration.passed and failure.at < calibration.at <= as_of
        }
        if wanted and all(channel in passed for channel in wanted):
            last = max((passed[channel] for channel in wanted), key=lambda calibration: calibration.at)
            found.append((last.at, last.entry))
    return min(found) if found else None
