"""What was seen in a bump test: from options to facts, what is missing, and the words for what came of it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final

from pitbird.cli.bump_words import in_use_words
from pitbird.cli.naming import code, known
from pitbird.cli.refusing import Faults, near_words
from pitbird.cli.times import read_time
from pitbird.fleet.bump import CHECKS, SIGNALS, Plan
from pitbird.fleet.times import Ms, text_of

SPOILED: Final = ("hood-slipped", "gas-ran-out", "broken-off", "wrong-gas", "not-every-channel", "other")
LONGEST_S: Final = 3600
_LEEWAY: Final = 120_000
_DECIMAL: Final = re.compile(r"-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,6})?")


@dataclass
class Options:
    """The options of the command as they were given."""

    cylinder: str | None
    apply: list[str]
    regulator: str | None
    all_checks_well: bool
    check: list[str]
    clean_air: list[str]
    reached: list[str]
    not_reached: list[str]
    signals: dict[str, str | None]
    gas_on: str | None
    gas_seconds: float | None
    cleared: str | None
    gauge: str | None
    temperature: str | None
    spoiled: str | None


@dataclass
class Application:
    """One cylinder: which channels it exposed, and for how long; None where that was not said."""

    cylinder: str | None = None
    exposed: tuple[str, ...] = ()
    seconds: float | None = None
    gas_on: Ms | None = None
    gas_off: Ms | None = None
    gauge: str | None = None


@dataclass
class Seen:
    """The facts so far; what is absent was not said."""

    checks: dict[str, str] = field(default_factory=dict)
    clean_air: dict[str, dict[str, str]] = field(default_factory=dict)
    applications: list[Application] = field(default_factory=list)
    regulator: str | None = None
    reached: dict[str, str] = field(default_factory=dict)
    signals: dict[str, str] = field(default_factory=dict)
    cleared: dict[str, str] = field(default_factory=dict)
    temperature: str | None = None
    spoiled: str | None = None
    start: Ms | None = None

    def placed(self, now: Ms) -> list[tuple[Application, Ms, Ms]]:
        """Each application with gas on and off: as they were seen, else one after another, ending now."""
        lengths = [round((each.seconds or 0) * 1000) for each in self.applications]
        moment = self.start if self.start is not None else Ms(now - sum(lengths))
        placed = []
        for each, length in zip(self.applications, lengths, strict=True):
            on = each.gas_on if each.gas_on is not None else moment
            moment = each.gas_off if each.gas_off is not None else Ms(on + length)
            placed.append((each, on, moment))
        return placed

    def ended(self, now: Ms) -> Ms:
        """When the test ended: the last gas off, if it was said when gas went on, else now."""
        return self.placed(now)[-1][2] if self.start is not None and self.applications else now

    def as_facts(self, now: Ms) -> dict[str, Any]:
        """The facts as a bump-test entry holds them."""
        applications = [
            {
                "cylinder": each.cylinder,
                **({"regulator": self.regulator} if self.regulator else {}),
                **({"gauge_bar": each.gauge} if each.gauge else {}),
                "gas_on": text_of(on),
                "gas_off": text_of(off),
                "channels": [
                    {"channel": name, "reached": self.reached[name]}
                    for name in each.exposed
                    if name in self.reached
                ],
            }
            for each, on, off in self.placed(now)
        ]
        facts: dict[str, Any] = {
            "checks": self.checks,
            "clean_air": [{"channel": name, **said} for name, said in self.clean_air.items()],
            "applications": applications,
            "signals": self.signals,
            "cleared": self.cleared,
        }
        if self.temperature is not None:
            facts["temperature_c"] = self.temperature
        if self.spoiled is not None:
            facts["spoiled_because"] = self.spoiled
        return facts


def read(options: Options, plan: Plan | None, zone: str | None, now: Ms, faults: Faults) -> Seen:
    """The facts that the options say; every fault in them is added, and nothing is guessed."""
    seen = Seen()
    seen.checks = _checks(options, faults)
    seen.temperature = decimal("temperature", options.temperature, faults)
    if options.spoiled is not None and options.spoiled not in SPOILED:
        faults.add(
            f"spoiled: {options.spoiled!r} is no reason{near_words(options.spoiled, SPOILED)}; "
            f"use one of: {', '.join(SPOILED)}"
        )
    else:
        seen.spoiled = options.spoiled
    if options.regulator is not None:
        seen.regulator = known("regulator", options.regulator, faults)
    seen.cleared = _cleared(options.cleared, faults)
    for name, answer in options.signals.items():
        if (said := yes_no(name, answer, faults)) is not None:
            if plan is not None and name not in plan["signals"]:
                faults.add(f"{name}: {code(plan['detector'])} has no {name}; leave --{name} out")
            seen.signals[name] = said
    seen.clean_air = _clean_air(options.clean_air, plan, faults)
    seen.reached = _reached(options, plan, faults)
    before = len(faults.lines)
    seen.applications = _applications(options, plan, faults)
    if options.gas_on is not None:
        seen.start = _start(seen, options.gas_on, zone, now, faults)
    exposed = {name for each in seen.applications for name in each.exposed}
    lost = [name for name in seen.reached if name not in exposed]
    if len(faults.lines) == before:
        # An answer without its gas would be lost, a "no" among them.
        for name in lost:
            faults.add(f"reached: an answer for {name}, but no gas for it; name its cylinder")
    return seen


def decimal(field: str, text: str | None, faults: Faults) -> str | None:
    """A measured value as the book wants it."""
    if text is not None and not _DECIMAL.fullmatch(text):
        faults.add(
            f"{field}: {text!r} is not a decimal; write digits with a point, such as 20.9, without unit"
        )
        return None
    return text


def yes_no(field: str, text: str | None, faults: Faults) -> str | None:
    """``yes`` or ``no``, and nothing else."""
    if text is None or text in ("yes", "no"):
        return text
    faults.add(f"{field}: {text!r} is neither yes nor no")
    return None


def _pairs(field: str, given: Iterable[str], faults: Faults) -> list[tuple[str, str]]:
    """``NAME=VALUE`` options; one given twice with two values is refused."""
    pairs: dict[str, str] = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign or not name or not value:
            faults.add(f"{field}: {text!r} is not of the form NAME=VALUE")
        elif pairs.setdefault(name.strip(), value.strip()) != value.strip():
            faults.add(
                f"{field}: {name} is said twice, {pairs[name.strip()]!r} and {value.strip()!r}; keep one"
            )
    return list(pairs.items())


def _checks(options: Options, faults: Faults) -> dict[str, str]:
    checks = dict.fromkeys(CHECKS, "yes") if options.all_checks_well else {}
    for name, value in _pairs("check", options.check, faults):
        name = name.replace("-", "_")
        if name not in CHECKS:
            faults.add(
                f"check: there is no check {name!r}{near_words(name, CHECKS)}; use one of:"
                f" {', '.join(CHECKS)}"
            )
        elif (said := yes_no(f"check {name}", value, faults)) is not None:
            if options.all_checks_well and said == "no":
                faults.add(f"check: {name}=no contradicts --all-checks-well; keep one of the two")
            checks[name] = said
    return checks


def _cleared(text: str | None, faults: Faults) -> dict[str, str]:
    match text:
        case None:
            return {}
        case "yes" | "no":
            return {"readings": text, "peaks": text}
        case "readings":
            return {"readings": "yes", "peaks": "no"}
        case "peaks":
            return {"readings": "no", "peaks": "yes"}
    faults.add(f"cleared: {text!r} is none of yes, no, readings, peaks")
    return {}


def _clean_air(given: list[str], plan: Plan | None, faults: Faults) -> dict[str, dict[str, str]]:
    seen: dict[str, dict[str, str]] = {}
    for name, value in _pairs("clean-air", given, faults):
        if name == "all" and value == "right":
            names = [channel["name"] for channel in plan["channels"]] if plan else []
            seen.update({each: {"right": "yes"} for each in names if each not in seen})
        elif plan is not None and _channel(name, plan, "clean-air", faults):
            said = clean_air_said(name, value, plan)
            if said is None:
                faults.add(
                    f"clean-air: {value!r} of {name} is neither a reading such as 0 or 20.9, nor right or"
                    " wrong"
                )
            else:
                seen[name] = said
    return seen


def clean_air_said(name: str, value: str, plan: Plan) -> dict[str, str] | None:
    """A reading in clean air with whether it is right for its channel; None if it is no reading."""
    from decimal import Decimal

    if value in ("right", "wrong"):
        return {"right": "yes" if value == "right" else "no"}
    if not _DECIMAL.fullmatch(value):
        return None
    channel = next(each for each in plan["channels"] if each["name"] == name)
    away = abs(Decimal(value) - Decimal(channel["clean_air"]))
    return {"reading": value, "right": "yes" if away <= Decimal(channel["tolerance"]) else "no"}


def _channel(name: str, plan: Plan, field: str, faults: Faults) -> bool:
    names = [channel["name"] for channel in plan["channels"]]
    if name in names:
        return True
    faults.add(
        f"{field}: {code(plan['detector'])} has no channel {name!r}{near_words(name, names)}; it has"
        f" {', '.join(names)}"
    )
    return False


def must_show(plan: Plan) -> list[str]:
    """The channels that must show an alarm by gas."""
    return [channel["name"] for channel in plan["channels"] if channel["must_show"]]


def _reached(options: Options, plan: Plan | None, faults: Faults) -> dict[str, str]:
    if plan is None:
        return {}
    reached: dict[str, str] = {}
    lists = [("reached", "yes", options.reached), ("not-reached", "no", options.not_reached)]
    for option, answer, given in lists:
        for name in split(given):
            for each in must_show(plan) if name == "all" else [name]:
                if not _channel(each, plan, option, faults):
                    continue
                if reached.setdefault(each, answer) != answer:
                    faults.add(
                        f"reached: {each} stands both in --reached and in --not-reached; keep one of the two"
                    )
    return reached


def split(given: Iterable[str]) -> list[str]:
    """Words given several times or with commas."""
    return [word.strip() for text in given for word in text.split(",") if word.strip()]


def _applications(options: Options, plan: Plan | None, faults: Faults) -> list[Application]:
    if options.cylinder and options.apply:
        faults.add("cylinder: --cylinder and --apply exclude each other; use --apply for every cylinder")
    gauge = decimal("gauge", options.gauge, faults)
    made = []
    for text in options.apply:
        application = _applied(text, options.gas_seconds, plan, faults)
        if application is not None:
            made.append(application)
    if options.cylinder and not options.apply:
        exposed = tuple(must_show(plan)) if plan else ()
        name = known("cylinder", options.cylinder, faults)
        made.append(Application(name, exposed, seconds("gas-seconds", options.gas_seconds, faults)))
    if made:
        made[0].gauge = gauge
    return made


def _applied(text: str, usual: float | None, plan: Plan | None, faults: Faults) -> Application | None:
    parts = text.removeprefix("cylinder:").split(":")
    if len(parts) not in (2, 3) or not all(part.strip() for part in parts):
        faults.add(f"apply: {text!r} is not CYLINDER:CHANNELS:SECONDS, such as C-112:H2S,CO:20")
        return None
    name = known("cylinder", parts[0], faults, field="apply")
    channels = split([parts[1]])
    if channels == ["all"] and plan is not None:
        channels = must_show(plan)
    exposed = tuple(each for each in channels if plan is None or _channel(each, plan, "apply", faults))
    long: float | None = usual
    if len(parts) == 3:
        try:
            long = float(parts[2])
        except ValueError:
            faults.add(f"apply: {parts[2]!r} in {text!r} is no number of seconds")
            return None
    return Application(name, exposed, seconds("apply", long, faults))


def seconds(field: str, value: float | None, faults: Faults) -> float | None:
    """Gas-on time: above 0, at most an hour."""
    if value is not None and not 0 < value <= LONGEST_S:
        faults.add(f"{field}: {value:g} seconds of gas; it must be more than 0 and at most {LONGEST_S}")
        return None
    return value


def _start(seen: Seen, text: str, zone: str | None, now: Ms, faults: Faults) -> Ms | None:
    """When the first gas went on; the applications follow one another."""
    try:
        start = read_time(text, zone, field="gas-on")
    except ValueError as fault:
        # Where the site is not known, that has been said already.
        if zone is not None or "no zone" not in str(fault):
            faults.add(str(fault))
        return None
    if start + sum(each.seconds or 0 for each in seen.applications) * 1000 > now + _LEEWAY:
        faults.add(f"gas-on: {text!r} lies in the future; look at the date, the hour and the offset")
    return start


def missing(seen: Seen, plan: Plan | None, site: str | None, faults: Faults) -> None:
    """Everything that a script left out. A test said to be spoiled may leave out what was not looked at."""
    if seen.spoiled is not None or plan is None or not plan["channels"]:
        return
    unsaid = [check for check in CHECKS if check not in seen.checks]
    if unsaid:
        faults.add(
            f"check: not said: {', '.join(unsaid)}; give --all-checks-well, or --check NAME=yes or no for"
            " each"
        )
    for channel in plan["channels"]:
        name = channel["name"]
        if name not in seen.clean_air:
            faults.add(
                f"clean-air: {name} is not said; give --clean-air {name}=READING, or {name}=right or wrong"
            )
    _missing_gas(seen, plan, site, faults)
    for signal in SIGNALS:
        if signal in plan["signals"] and signal not in seen.signals:
            faults.add(f"{signal}: not said; give --{signal} yes or no")
    if not seen.cleared:
        faults.add("cleared: not said; give --cleared yes, no, readings or peaks")


def _missing_gas(seen: Seen, plan: Plan, site: str | None, faults: Faults) -> None:
    if not seen.applications:
        if not any(line.startswith(("apply:", "cylinder:")) for line in faults.lines):
            faults.add(f"cylinder: not said; give --cylinder or --apply{in_use_words(site)}")
    elif any(each.seconds is None for each in seen.applications) and not any(
        "seconds" in line for line in faults.lines
    ):
        faults.add("gas-seconds: not said; give how long the gas was on")
    exposed = {name for each in seen.applications for name in each.exposed}
    for name in must_show(plan):
        if seen.applications and name not in exposed:
            faults.add(f"apply: no gas for {name}; add it to an --apply, or give --spoiled not-every-channel")
        elif name not in seen.reached:
            faults.add(f"reached: {name} is not said; name it in --reached or in --not-reached")
