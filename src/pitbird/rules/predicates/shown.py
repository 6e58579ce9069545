"""Predicates about what one test showed: alarms, signals, checks, clean air, clearing, time of gas,
footing."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from typing import Final

from pitbird.fleet.state import TESTS_KEPT, ChannelFact
from pitbird.fleet.times import HOUR
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    CHECKS,
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Facts,
    Kind,
    Parameter,
    Scope,
    number,
    predicate,
)
from pitbird.rules.predicates.met import once
from pitbird.rules.predicates.reaching import reached_by
from pitbird.science.gases import gas_of

_BARE: Final = {"bare-report": Code(NOT_APPLICABLE)}


@predicate(
    "footing-accepted",
    Scope.TEST,
    parameters=(
        Parameter(
            "reported",
            Kind.WORD,
            "whether a bare pass from elsewhere counts",
            choices=("counts", "does-not-count"),
        ),
    ),
    codes={
        "shown-and-recorded": Code(MET),
        "report-accepted": Code(MET),
        "report-not-accepted": Code(NOT_MET, "test"),
        "no-gas-recorded": Code(NOT_MET, "test"),
        "report-contradicts-itself": Code(NOT_MET, "test"),
        "footing-not-understood": Code(UNKNOWN, "test"),
    },
)
def footing_accepted(attempt: Attempt, rule: Bound) -> Finding:
    """The test was seen and recorded, with the gas it was done with; a bare report of a pass counts only if
    the parameter says so. A pass in which a channel is noted as not having reached its alarm is none."""
    test = attempt.test
    if missed := attempt.met.missed:
        return rule.finds("report-contradicts-itself", (("channels", ", ".join(missed)),), (test.entry,))
    if test.footing == "shown":
        return rule.finds("shown-and-recorded" if test.shown and test.cylinders else "no-gas-recorded")
    if test.footing == "reported":
        return rule.finds("report-accepted" if rule.values["reported"] == "counts" else "report-not-accepted")
    return rule.finds("footing-not-understood", (("footing", test.footing),))


@predicate(
    "every-alarm-shown",
    Scope.TEST,
    codes={
        "every-alarm-shown": Code(MET),
        **_BARE,
        "alarm-not-shown": Code(NOT_MET, "test-every-channel"),
        "no-alarm-to-show": Code(UNKNOWN, "describe-detector"),
    },
)
def every_alarm_shown(attempt: Attempt, rule: Bound) -> Finding:
    """Every channel that has an alarm to be shown by gas (as the detector is described now) reached the
    highest of them in the test. A detector none of whose alarms gas must show cannot be judged."""
    met = attempt.met
    asked, reached, missed = met.asked, met.reached, met.missed
    if not asked:
        return rule.finds("no-alarm-to-show")
    lacking = [name for name in asked if name in missed or (name not in reached and not attempt.reported)]
    if lacking:
        return rule.finds("alarm-not-shown", (("channels", ", ".join(lacking)),), (attempt.test.entry,))
    if attempt.reported and not reached.issuperset(asked):
        return rule.finds("bare-report")
    return rule.finds("every-alarm-shown")


@predicate(
    "signals-seen",
    Scope.TEST,
    codes={
        "signals-seen": Code(MET),
        **_BARE,
        "signal-not-seen": Code(NOT_MET, "test-signals"),
        "no-signals-described": Code(UNKNOWN, "describe-detector"),
    },
)
def signals_seen(attempt: Attempt, rule: Bound) -> Finding:
    """Each signal that the detector has (sound, light, vibration) was noticed in the test; one that nobody
    noted was not noticed."""
    fitted = attempt.detector.signals
    if not fitted:
        return rule.finds("no-signals-described")
    lacking, unnoted = _answers(fitted, attempt.test.signals)
    if not attempt.reported:
        lacking = tuple(name for name in fitted if name in lacking or name in unnoted)
    if lacking:
        return rule.finds("signal-not-seen", (("signals", ", ".join(lacking)),), (attempt.test.entry,))
    if attempt.reported and len(dict(attempt.test.signals)) < len(fitted):
        return rule.finds("bare-report")
    return rule.finds("signals-seen")


@once
def _answers(
    asked: tuple[str, ...], said: tuple[tuple[str, str], ...]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Which of the asked-for things were answered "no", and which were not answered."""
    answers = dict(said)
    wrong = tuple(name for name in asked if answers.get(name, "yes") != "yes")
    absent = tuple(name for name in asked if name not in answers)
    return wrong, absent


@predicate(
    "checks-made",
    Scope.TEST,
    parameters=(Parameter("checks", Kind.WORDS, "what must have been looked at before gas", choices=CHECKS),),
    codes={
        "checks-made": Code(MET),
        **_BARE,
        "check-found-wrong": Code(NOT_MET, "put-right-and-test"),
        "check-not-made": Code(NOT_MET, "test-with-checks"),
    },
)
def checks_made(attempt: Attempt, rule: Bound) -> Finding:
    """Each named check before gas was made and was right. A check that is not recorded was not made."""
    wrong, absent = _answers(rule.values["checks"], attempt.test.checks)
    if wrong:
        return rule.finds("check-found-wrong", (("checks", ", ".join(wrong)),), (attempt.test.entry,))
    if absent and attempt.reported:
        return rule.finds("bare-report")
    if absent:
        return rule.finds("check-not-made", (("checks", ", ".join(absent)),), (attempt.test.entry,))
    return rule.finds("checks-made")


@predicate(
    "cleared-after-test",
    Scope.TEST,
    parameters=(
        Parameter(
            "what",
            Kind.WORDS,
            "what must have been brought back after gas",
            choices=("readings", "peaks"),
        ),
    ),
    codes={
        "cleared-after-test": Code(MET),
        **_BARE,
        "not-cleared": Code(NOT_MET, "clear-and-test"),
    },
)
def cleared_after_test(attempt: Attempt, rule: Bound) -> Finding:
    """After gas the readings came back to clean air and the peaks were cleared, as far as named. What is not
    recorded was not done."""
    wrong, absent = _answers(rule.values["what"], attempt.test.cleared)
    if not wrong and absent and attempt.reported:
        return rule.finds("bare-report")
    if wrong or absent:
        return rule.finds("not-cleared", (("what", ", ".join(wrong or absent)),), (attempt.test.entry,))
    return rule.finds("cleared-after-test")


#: Oxygen in clean air, % vol, and how far a described value may lie from it. Common practice, no source.
OXYGEN_IN_AIR: Final = Decimal("20.9")
OXYGEN_MARGIN: Final = Decimal("0.1")


@predicate(
    "clean-air-right",
    Scope.TEST,
    codes={
        "clean-air-right": Code(MET),
        **_BARE,
        "clean-air-wrong": Code(NOT_MET, "fresh-air-and-test"),
        "clean-air-not-looked-at": Code(NOT_MET, "test-with-clean-air"),
        "clean-air-value-doubtful": Code(UNKNOWN, "describe-detector"),
    },
)
def clean_air_right(attempt: Attempt, rule: Bound) -> Finding:
    """Before gas every channel read what it must in clean air: within the described tolerance of the
    described value, which must be 20.9 % vol (give or take 0.1) for oxygen, above zero for carbon dioxide
    (which then must not read zero either) and zero for every other gas. Where a reading is given it is
    judged, and a "yes" beside a wrong reading does not help; without a reading the yes or no of the tester
    is taken."""
    code, facts, absent = _clean_air(attempt.detector.channels, attempt.test.clean_air)
    if code == "clean-air-wrong":
        return rule.finds(code, facts, (attempt.test.entry,))
    if absent and not attempt.reported:
        missing = (("channels", ", ".join(absent)),)
        return rule.finds("clean-air-not-looked-at", missing, (attempt.test.entry,))
    if code:
        return rule.finds(code, facts, (attempt.test.entry,))
    return rule.finds("bare-report" if absent else "clean-air-right")


@once
def _clean_air(
    channels: tuple[ChannelFact, ...], clean_air: tuple[tuple[str, str | None, str], ...]
) -> tuple[str, Facts, tuple[str, ...]]:
    """Code and facts of the first channel that read wrong, else of the last whose description is doubtful,
    else no code; and the channels that were not looked at."""
    looked: dict[str, list[tuple[str | None, str]]] = {}
    for name, reading, right in clean_air:
        looked.setdefault(name, []).append((reading, right))
    absent = tuple(channel.name for channel in channels if channel.name not in looked)
    doubtful = None
    for channel in channels:
        for reading, right in looked.get(channel.name, ()):
            verdict = "yes" if reading is None else judge_clean_air(
                channel.gas, channel.principle, channel.clean_air, channel.clean_air_tolerance, reading
            )  # fmt: skip
            if verdict == "no" or right != "yes":
                facts = (("channel", channel.name), ("reading", reading or ""), ("wanted", channel.clean_air))
                return "clean-air-wrong", facts, absent
            if verdict != "yes":
                doubtful = channel
    if doubtful is None:
        return "", (), absent
    return "clean-air-value-doubtful", (("channel", doubtful.name), ("value", doubtful.clean_air)), absent


@lru_cache(maxsize=8192)
def judge_clean_air(gas: str, principle: str, described: str, tolerance: str, reading: str) -> str:
    """Whether a reading is right for clean air: ``yes``, ``no``, or ``doubtful`` where the description itself
    does not fit clean air (zero on toxic and flammable gases, 20.9 % vol on oxygen, not zero on carbon
    dioxide: common practice, no source). A reading that is no number is wrong."""
    value, around, give = number(reading), number(described), number(tolerance)
    if value is None:
        return "no"
    if around is None or give is None or give < 0:
        return "doubtful"
    if abs(value - around) > give:
        return "no"
    known = gas_of(gas)
    if principle == "oxygen" or (known is not None and known.name == "oxygen"):
        return "yes" if abs(around - OXYGEN_IN_AIR) <= OXYGEN_MARGIN else "doubtful"
    if known is not None and known.name == "carbon dioxide":
        if value <= 0:
            return "no"
        return "yes" if around > 0 else "doubtful"
    return "yes" if around == 0 else "doubtful"


def _exposed(attempt: Attempt, rule: Bound) -> Finding | list[tuple[str, float]]:
    """Channel and seconds of gas, for every channel with an alarm to be shown by gas; or what is missing."""
    met = attempt.met
    if (met.absent or not met.asked) and not attempt.reported:
        absent = (("channels", ", ".join(met.absent)),)
        return rule.finds("gas-on-not-recorded", absent, (attempt.test.entry,))
    exposed = [(name, met.on[name]) for name in met.asked if name in met.on]
    return exposed or rule.finds("bare-report")


@predicate(
    "attempts-within",
    Scope.TEST,
    parameters=(
        Parameter(
            "spoiled", Kind.WHOLE, "how many spoiled attempts may come before the pass", least=0, most=10
        ),
        Parameter("hours", Kind.WHOLE, "how far back from the pass they are counted", most=8784),
    ),
    codes={
        "attempts-within": Code(MET),
        "too-many-attempts": Code(NOT_MET, "calibrate"),
        "attempts-no-longer-kept": Code(UNKNOWN, "test"),
    },
)
def attempts_within(attempt: Attempt, rule: Bound) -> Finding:
    """Not more than so many spoiled attempts lie directly before the test (since the pass or failure
    before it) and within so many hours of it."""
    test = attempt.test
    if len(attempt.attempts) == 1:
        return rule.finds("attempts-within")
    since = test.at - rule.values["hours"] * HOUR
    spoiled = []
    all_kept = False
    for other in attempt.attempts:  # newest first
        if other is test or other.at > test.at:
            continue
        if other.outcome != "spoiled" or other.at < since:
            all_kept = True
            break
        spoiled.append(other.entry)
    if len(spoiled) > rule.values["spoiled"]:
        facts = (("count", str(len(spoiled))), ("allowed", str(rule.values["spoiled"])))
        return rule.finds("too-many-attempts", facts, (*spoiled, test.entry))
    if not all_kept and len(attempt.attempts) >= TESTS_KEPT:
        return rule.finds("attempts-no-longer-kept")
    return rule.finds("attempts-within")


@predicate(
    "gas-on-at-least",
    Scope.TEST,
    parameters=(Parameter("seconds", Kind.WHOLE, "the shortest exposure", most=3600),),
    codes={
        "gas-on-long-enough": Code(MET),
        **_BARE,
        "gas-on-too-short": Code(NOT_MET, "test-longer"),
        "gas-on-too-short-for-hose": Code(NOT_MET, "test-longer"),
        "gas-on-not-recorded": Code(NOT_MET, "test"),
    },
)
def gas_on_at_least(attempt: Attempt, rule: Bound) -> Finding:
    """Gas was on for at least so many seconds on every channel that had to show an alarm, and for as long
    again as it takes through the hose of the regulator, where one is described (3 s a metre, or as
    measured)."""
    exposed = _exposed(attempt, rule)
    if isinstance(exposed, Finding):
        return exposed
    short = [name for name, seconds in exposed if not seconds >= rule.values["seconds"]]
    if short:
        facts = (("channels", ", ".join(short)), ("seconds", str(rule.values["seconds"])))
        return rule.finds("gas-on-too-short", facts, (attempt.test.entry,))
    if late := _late(attempt, exposed, rule.values["seconds"]):
        return rule.finds("gas-on-too-short-for-hose", late, (attempt.test.entry,))
    return rule.finds("gas-on-long-enough")


def _late(attempt: Attempt, exposed: Iterable[tuple[str, float]], seconds: int) -> Facts:
    """The channels on which gas was on for long enough, but not with the time in the hose; () for none."""
    ways = reached_by(attempt)
    hose: dict[str, float] = {}
    for (channel, _), way in zip(attempt.met.shown, ways, strict=False):
        hose[channel.name] = max(hose.get(channel.name, 0.0), way.delivery.delay_s)
    late = [name for name, on in exposed if not on >= seconds + hose.get(name, 0.0)]
    if not late:
        return ()
    longest = max(hose[name] for name in late)
    return (("channels", ", ".join(late)), ("seconds", str(seconds)), ("hose", f"{longest:g}"))


@predicate(
    "gas-on-within",
    Scope.TEST,
    parameters=(Parameter("seconds", Kind.WHOLE, "the longest exposure", most=3600),),
    codes={
        "gas-on-short-enough": Code(MET),
        **_BARE,
        "gas-on-too-long": Code(NOT_MET, "look-at-sensor"),
        "gas-on-not-recorded": Code(NOT_MET, "test"),
    },
)
def gas_on_within(attempt: Attempt, rule: Bound) -> Finding:
    """Gas was on for no more than so many seconds; a longer test hides a slow sensor and spends gas."""
    exposed = _exposed(attempt, rule)
    if isinstance(exposed, Finding):
        return exposed
    long = [name for name, seconds in exposed if not seconds <= rule.values["seconds"]]
    if long:
        facts = (("channels", ", ".join(long)), ("seconds", str(rule.values["seconds"])))
        return rule.finds("gas-on-too-long", facts, (attempt.test.entry,))
    return rule.finds("gas-on-short-enough")
