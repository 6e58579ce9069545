"""The logic of a bump test in one place: what a detector has to show, and what the facts seen amount to.

Plans and facts are plain JSON values, because the same decision is made twice: here, and in
``web/static/pitbird/bump-test.js`` for the page that works without signal. ``bump_vectors.json`` beside this
file holds the cases on which both must agree.

What is decided to the safe side, and why:

- A *no* is a fail even where another fact is missing or a check of the gas was not right. Only a reason given
  by the tester that says the gas did not arrive (hood slipped, gas ran out, wrong gas, broken off) takes a
  channel's *no* away, and only in the last gas application: the earlier ones had ended as they should.
- No such reason takes away a signal that was looked for and did not come, a reading that was wrong in clean
  air, a blocked inlet, or readings that did not come back. Where no alarm came at all, the signals are to be
  left unanswered, not answered *no*.
- What was not looked at, or contradicts the detector's description, is never a pass: the test is spoiled.
- Gas that was not on for any time exposes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any, Final, Literal, TypedDict

import msgspec

from pitbird.fleet.state import ChannelFact, DetectorState

Outcome = Literal["passed", "failed", "spoiled"]

#: Checks of the detector itself: a *no* is a fail.
DETECTOR_CHECKS: Final = ("whole_and_clean", "inlets_clear", "battery")
#: Checks of the gas, and of the moment: a *no* says that this attempt proves nothing.
GAS_CHECKS: Final = ("warmed_up", "hose_tight", "gauge_shows_pressure", "cylinder_in_date")
#: All checks before gas, in the order in which they are made.
CHECKS: Final = (
    "whole_and_clean", "inlets_clear", "warmed_up", "battery",
    "cylinder_in_date", "gauge_shows_pressure", "hose_tight",
)  # fmt: skip
SIGNALS: Final = ("sound", "light", "vibration")
CLEARED: Final = ("readings", "peaks")
#: Reasons to break off which say that the gas of the last application may not have arrived.
GAS_DID_NOT_ARRIVE: Final = ("hood-slipped", "gas-ran-out", "wrong-gas", "broken-off")

_DECIMAL = re.compile(r"-?(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,6})?")
_RANK: Final[dict[str, int]] = {"passed": 0, "spoiled": 1, "failed": 2}


class MustShow(TypedDict):
    """The alarm that gas must bring about, ``at`` in the channel's unit."""

    name: str
    at: str
    direction: str


class PlanChannel(TypedDict):
    """One channel: what it must show by gas (None: nothing), and what it reads in clean air."""

    name: str
    gas: str
    unit: str
    must_show: MustShow | None
    clean_air: str
    tolerance: str


class Step(TypedDict):
    """One step of the test; ``what`` names the check, channel or signal it is about ("" where none)."""

    step: str
    what: str


class Plan(TypedDict):
    """Everything a bump test of one detector has to show, as plain JSON values."""

    detector: str
    draws: str
    checks: list[str]
    channels: list[PlanChannel]
    signals: list[str]
    cleared: list[str]
    steps: list[Step]


def plan(detector: DetectorState) -> Plan:
    """What a bump test of this detector has to show, from its description in the book.

    A detector that was never described gets a plan without channels, with which no test can pass.
    """
    channels = [_plan_channel(channel) for channel in detector.channels]
    signals: list[str] = [signal for signal in SIGNALS if signal in detector.signals]
    return {
        "detector": detector.subject,
        "draws": detector.draws,
        "checks": list(CHECKS),
        "channels": channels,
        "signals": signals,
        "cleared": list(CLEARED),
        "steps": _steps(channels, signals),
    }


def _plan_channel(channel: ChannelFact) -> PlanChannel:
    alarm = channel.must_show
    return {
        "name": channel.name,
        "gas": channel.gas,
        "unit": channel.unit,
        "must_show": {"name": alarm.name, "at": alarm.at, "direction": alarm.direction} if alarm else None,
        "clean_air": channel.clean_air,
        "tolerance": channel.clean_air_tolerance,
    }


def _steps(channels: Sequence[PlanChannel], signals: Sequence[str]) -> list[Step]:
    """The steps in order. ``gas-on`` to ``gas-off`` is repeated for every cylinder that is needed."""
    pairs = [
        *(("check", check) for check in CHECKS),
        *(("clean-air", channel["name"]) for channel in channels),
        ("gas-on", ""),
        *(("reached", channel["name"]) for channel in channels if channel["must_show"]),
        *(("signal", signal) for signal in signals),
        ("gas-off", ""),
        *(("cleared", what) for what in CLEARED),
    ]
    return [{"step": step, "what": what} for step, what in pairs]


def outcome(plan: Plan, facts: Mapping[str, Any]) -> tuple[Outcome, tuple[str, ...]]:
    """What the facts of a bump test amount to, and why.

    ``facts`` are those of a ``bump-test`` entry: ``checks``, ``clean_air``, ``applications``, ``signals``,
    ``cleared``, ``spoiled_because``. *Failed* wins over *spoiled*, *spoiled* over *passed*. The reasons are
    those of the outcome, as ``code:what``:

    - failed: ``check-failed``, ``clean-air-wrong``, ``not-reached``, ``signal-silent``, ``not-cleared``;
    - spoiled: ``spoiled`` (why the tester broke off), ``nothing-to-show``, ``no-signal-fitted``,
      ``check-missing``, ``gas-check-failed``, ``clean-air-missing``, ``not-exposed``, ``not-counted`` (a *no*
      that the tester's reason takes away), ``unknown-channel``, ``signal-missing``, ``cleared-missing``;
    - passed: none.
    """
    fails, gaps = _findings(plan, facts)
    if fails:
        return "failed", tuple(dict.fromkeys(fails))
    if gaps:
        return "spoiled", tuple(dict.fromkeys(gaps))
    return "passed", ()


def settle(plan: Plan, facts: Mapping[str, Any]) -> Outcome:
    """The outcome of an entry: the worse of what it states (``outcome``) and what its facts say.

    For ``footing`` *reported* (a bare pass or fail from elsewhere) what was not recorded is no gap, but
    whatever was recorded as *no* still fails.
    """
    stated: Outcome = facts["outcome"]
    if facts.get("footing", "shown") == "reported":
        fails, _ = _findings(plan, facts)
        return worst(stated, "failed" if fails else "passed")
    return worst(stated, outcome(plan, facts)[0])


def settled(detector: DetectorState, facts: Mapping[str, Any]) -> Outcome:
    """``settle`` with the plan of a detector. Outcomes are remembered by all that they hang on, since most
    tests of a fleet have the same facts but for times, pressures and readings under gas."""
    told = {name: facts[name] for name in _TOLD if name in facts}
    told["applications"] = [
        {
            "gas_on": "0",
            "gas_off": "1" if _had_gas(application) else "0",
            "channels": [
                {"channel": item.get("channel"), "reached": item.get("reached")}
                for item in application.get("channels") or ()
            ],
        }
        for application in facts.get("applications") or ()
    ]
    return _settled(detector.channels, detector.signals, msgspec.json.encode(told))


#: What an outcome hangs on, beside the gas applications.
_TOLD: Final = ("outcome", "footing", "spoiled_because", "checks", "clean_air", "signals", "cleared")


@lru_cache(maxsize=4096)
def _settled(channels: tuple[ChannelFact, ...], signals: tuple[str, ...], told: bytes) -> Outcome:
    """The outcome of what was told and nothing else: the facts are read back from what they are known by."""
    return settle(_remembered(channels, signals), msgspec.json.decode(told))


@lru_cache(maxsize=512)
def _remembered(channels: tuple[ChannelFact, ...], signals: tuple[str, ...]) -> Plan:
    """A plan that is only read: what decides an outcome does not hang on the detector's name."""
    return plan(DetectorState(subject="", channels=channels, signals=signals))


def worst(stated: Outcome, worked_out: Outcome) -> Outcome:
    """The worse of two outcomes: failed, then spoiled, then passed."""
    return max(stated, worked_out, key=_RANK.__getitem__)


def spoiled_because(facts: Mapping[str, Any], reasons: Iterable[str]) -> str:
    """What to write as ``spoiled_because``: the tester's own reason, else what the worked-out reasons say."""
    given = facts.get("spoiled_because")
    if given is not None:
        return str(given)
    return "not-every-channel" if any(reason.startswith("not-exposed:") for reason in reasons) else "other"


def _findings(plan: Plan, facts: Mapping[str, Any]) -> tuple[list[str], list[str]]:
    """Everything that fails the test, and everything that keeps it from proving anything."""
    fails: list[str] = []
    gaps: list[str] = []
    because = facts.get("spoiled_because")
    if because is not None:
        gaps.append(f"spoiled:{because}")
    _look_at_checks(plan, facts.get("checks") or {}, fails, gaps)
    _look_at_clean_air(plan, facts.get("clean_air") or (), fails, gaps)
    _look_at_gas(plan, facts.get("applications") or (), because, fails, gaps)
    _look_at_signals(plan, facts.get("signals") or {}, fails, gaps)
    cleared = facts.get("cleared") or {}
    for what in plan["cleared"]:
        if cleared.get(what) == "no":
            fails.append(f"not-cleared:{what}")
        elif cleared.get(what) != "yes":
            gaps.append(f"cleared-missing:{what}")
    return fails, gaps


def _look_at_checks(plan: Plan, checks: Mapping[str, Any], fails: list[str], gaps: list[str]) -> None:
    for check in plan["checks"]:
        if checks.get(check) == "no":
            if check in GAS_CHECKS:
                gaps.append(f"gas-check-failed:{check}")
            else:
                fails.append(f"check-failed:{check}")
        elif checks.get(check) != "yes":
            gaps.append(f"check-missing:{check}")


def _look_at_clean_air(
    plan: Plan, seen: Sequence[Mapping[str, Any]], fails: list[str], gaps: list[str]
) -> None:
    seen_on: dict[object, list[Mapping[str, Any]]] = {}
    for item in seen:
        seen_on.setdefault(item.get("channel"), []).append(item)
    for channel in plan["channels"]:
        verdicts = [_clean_air(channel, item) for item in seen_on.get(channel["name"], ())]
        if "wrong" in verdicts:
            fails.append(f"clean-air-wrong:{channel['name']}")
        elif not verdicts or "unreadable" in verdicts:
            gaps.append(f"clean-air-missing:{channel['name']}")
    for name in _strangers(plan, seen):
        wrong = any(item.get("channel") == name and item.get("right") == "no" for item in seen)
        (fails if wrong else gaps).append(f"{'clean-air-wrong' if wrong else 'unknown-channel'}:{name}")


def _clean_air(channel: PlanChannel, item: Mapping[str, Any]) -> str:
    """Whether a reading in clean air was right; outside its tolerance it is wrong whatever was said."""
    if item.get("right") == "no":
        return "wrong"
    if item.get("right") != "yes":
        return "unreadable"
    if item.get("reading") is None:
        return "right"
    reading, expected, tolerance = (
        _millionths(text) for text in (item["reading"], channel["clean_air"], channel["tolerance"])
    )
    if reading is None or expected is None or tolerance is None:
        return "unreadable"
    return "right" if abs(reading - expected) <= tolerance else "wrong"


def _millionths(text: object) -> int | None:
    """A decimal string of the book as a whole number of millionths (below 2^53); None if it is none."""
    return _millionths_of(text) if isinstance(text, str) else None


@lru_cache(maxsize=4096)
def _millionths_of(text: str) -> int | None:
    if not _DECIMAL.fullmatch(text):
        return None
    whole, _, part = text.removeprefix("-").partition(".")
    number = int(whole) * 1_000_000 + int(part.ljust(6, "0"))
    return -number if text.startswith("-") else number


def _look_at_gas(
    plan: Plan, applications: Sequence[Mapping[str, Any]], because: object, fails: list[str], gaps: list[str]
) -> None:
    shown = [
        (item.get("channel"), item.get("reached"), _had_gas(application), place == len(applications) - 1)
        for place, application in enumerate(applications)
        for item in application.get("channels") or ()
    ]
    names = [channel["name"] for channel in plan["channels"]]
    strangers = _strangers(plan, [item for each in applications for item in each.get("channels") or ()])
    if not any(channel["must_show"] for channel in plan["channels"]):
        gaps.append("nothing-to-show")
    must = {channel["name"] for channel in plan["channels"] if channel["must_show"]}
    all_noes: dict[object, list[bool]] = {}
    exposed: set[object] = set()
    for channel, reached, gas, last in shown:
        if reached == "no":
            all_noes.setdefault(channel, []).append(last)
        elif reached == "yes" and gas:
            exposed.add(channel)
    for name in (*names, *strangers):
        noes, yes = all_noes.get(name, []), name in exposed
        taken_away = because in GAS_DID_NOT_ARRIVE and all(noes)
        if noes and not taken_away:
            fails.append(f"not-reached:{name}")
        elif noes:
            gaps.append(f"not-counted:{name}")
        elif name in strangers:
            gaps.append(f"unknown-channel:{name}")
        elif name in must and not yes:
            gaps.append(f"not-exposed:{name}")


def _had_gas(application: Mapping[str, Any]) -> bool:
    on, off = application.get("gas_on"), application.get("gas_off")
    return isinstance(on, str) and isinstance(off, str) and on < off


def _strangers(plan: Plan, items: Iterable[Mapping[str, Any]]) -> list[str]:
    """Channels that the facts name and the detector lacks, in order, none twice."""
    known = {channel["name"] for channel in plan["channels"]}
    return list(dict.fromkeys(str(item.get("channel")) for item in items if item.get("channel") not in known))


def _look_at_signals(plan: Plan, signals: Mapping[str, Any], fails: list[str], gaps: list[str]) -> None:
    if not plan["signals"]:
        gaps.append("no-signal-fitted")
    for signal in SIGNALS:
        if signals.get(signal) == "no":
            fails.append(f"signal-silent:{signal}")
        elif signal in plan["signals"] and signals.get(signal) != "yes":
            gaps.append(f"signal-missing:{signal}")
