"""The record of one bump test: every gas application, what each channel did, by whom, and what that shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from pitbird.fleet.bump import CHECKS, CLEARED, SIGNALS
from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState
from pitbird.fleet.times import Ms, local, ms_of
from pitbird.papers.loud import LoudOf, lapsed, lines_or, loud_part
from pitbird.papers.reading import (
    LATE_MS,
    Reader,
    Written,
    capital,
    code,
    contents_words,
    corrected_words,
    detector_words,
    joined,
    word,
)
from pitbird.papers.sheet import (
    Facts,
    Keyed,
    Loud,
    Part,
    Section,
    Sheet,
    Standing,
    Strong,
    Table,
    Text,
    Words,
    lines,
)

#: What kept a test from showing something, or failed it, in words (the codes of ``fleet.bump.outcome``).
REASONS: Final = {
    "check-failed": "not right before gas: {what}", "clean-air-wrong": "wrong in clean air: {what}",
    "not-reached": "the alarm did not come: {what}", "signal-silent": "did not come: {what}",
    "not-cleared": "not after gas: {what}", "spoiled": "broken off: {what}",
    "nothing-to-show": "no alarm of this detector is shown by gas",
    "no-signal-fitted": "no signal is described",
    "check-missing": "not looked at: {what}", "gas-check-failed": "not right with the gas: {what}",
    "clean-air-missing": "clean air not read: {what}", "not-exposed": "no gas that shows it: {what}",
    "not-counted": "a no that does not count, the gas may not have arrived: {what}",
    "unknown-channel": "a channel it does not have: {what}", "signal-missing": "not looked for: {what}",
    "cleared-missing": "not looked at after gas: {what}",
}  # fmt: skip


@dataclass(frozen=True)
class Gas:
    """A cylinder of the test: as described now, the regulator's flow in words, traceable to what, and the
    quarantine in which it was at the test, if any."""

    state: CylinderState
    regulator: str = ""
    traceable_to: str = ""
    quarantined: str = ""


@dataclass(frozen=True)
class BumpTest:
    """What the record is made from.

    ``detector`` is as it was described when the test was written; ``amounts_to`` and ``reasons`` are what the
    facts of the entry amounted to then, ``counts_to`` what those of its replacement amount to (empty where
    that is no test of this detector). ``trained`` says whether the tester's training held; ``in_doubt`` that
    the clock cannot be right.
    """

    entry: Written
    detector: DetectorState
    gas: Mapping[str, Gas]
    amounts_to: str
    reasons: tuple[str, ...]
    counts_to: str
    trained: str
    in_doubt: bool
    loud: LoudOf


def sheet(test: BumpTest, reader: Reader, standing: Standing) -> Sheet:
    """The record of the test."""
    body = test.entry.body
    detector = code(body["detector"])
    answer = f"{_answer(test)}, {reader.moment(test.entry.at)}, by {reader.named(body['by'])}."
    lost = " · DOES NOT COUNT" if test.entry.corrections else ""
    corrected = corrected_words(test.entry, reader)
    instead = test.entry.counts
    sections = [
        Section(
            "The test as written" if test.entry.corrections else "The test",
            (Facts(_facts(test, body, reader)),),
        ),
        Section("Before gas", _before(test.detector, body, reader)),
        Section("Gas", _gas(test, body, reader), wide=True),
        Section("Signals, and after gas", (Facts(_after(test.detector, body), across=2),)),
        Section("Corrections", (lines_or(corrected, "Nobody has corrected this entry."),)),
    ]
    if test.entry.corrections and instead is not None:
        sections += _instead(test, instead, reader)
    return Sheet(
        title=f"Bump test of detector {detector}",
        running=f"Detector {detector} · entry {test.entry.index}{lost}",
        foot=reader.foot(),
        answer=(Strong(answer),),
        opening=_opening(test, body, reader),
        sections=tuple(sections),
        shows=_shows(test, body),
        shows_not=(
            "How accurate the detector is. That is what a calibration looks at.",
            "What it does afterwards: a pass ends when the site rules say so, and a drop may end it sooner.",
            "Whether it may go out now: that is answered by the gate, not by this paper.",
            "Alarms that the test did not show by gas, and a loss of sensitivity too small for it to see.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def _answer(test: BumpTest) -> str:
    """The outcome; of an entry that does not count never as if it did."""
    if test.entry.corrections:
        now = f"what counts is: {test.counts_to}" if test.counts_to else "nothing of it counts"
        return f"Corrected, {now}; written as {test.amounts_to}"
    if test.in_doubt and test.amounts_to == "passed":
        return "Left out for its clock; written as passed"
    return capital(test.amounts_to)


def _opening(test: BumpTest, body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    parts: list[Part] = []
    if test.entry.corrections:
        last = test.entry.corrections[-1]
        said = "Something else stands in its place, which is no bump test of this detector."
        if test.entry.counts is None:
            said = "It was voided: it counts for nothing."
        elif test.counts_to:
            said = f"Something else stands in its place, which is printed below: {test.counts_to}."
        parts.append(Loud(f"This entry does not count: entry {last.index} corrects it", (said,)))
    if body["outcome"] != test.amounts_to:
        head = f"Stated as {body['outcome']}; what was recorded amounts to: {test.amounts_to}"
        parts.append(Loud(head, tuple(reason_words(each) for each in test.reasons)))
    if test.in_doubt:
        parts.append(
            Loud("Its clock cannot be right", ("It counts for nothing until somebody says when it was.",))
        )
    parts += [Loud(head, said) for head, said in _gas_doubts(test, reader)]
    return (*parts, *loud_part(test.loud, reader))


def _gas_doubts(test: BumpTest, reader: Reader) -> list[tuple[str, tuple[str, ...]]]:
    counted = test.entry.counts or test.entry.body
    day = local(ms_of(counted["at"]), reader.zone).date()
    found: list[tuple[str, tuple[str, ...]]] = []
    for gas in test.gas.values():
        name = code(gas.state.subject)
        if lapsed(gas.state.expires, day):
            said = f"Its last day of use was {reader.day(gas.state.expires)}, before the test."
            found.append((f"Cylinder {name} was out of date", (said,)))
        if gas.quarantined:
            found.append((f"Cylinder {name} was in quarantine at the test", (gas.quarantined,)))
    return found


def reason_words(reason: str) -> str:
    """A reason of an outcome (``not-reached:CO``) in words."""
    name, _, what = reason.partition(":")
    return capital(REASONS.get(name, name).format(what=word(what).lower() if what.islower() else what)) + "."


def _facts(test: BumpTest, body: Mapping[str, Any], reader: Reader) -> tuple[tuple[str, Words], ...]:
    entry = test.entry
    late = entry.recorded_at - ms_of(body["at"]) > LATE_MS
    tester = lines(reader.named(body["by"]), test.trained)
    reported = "reported from elsewhere" if body.get("footing") == "reported" else "seen and recorded"
    pairs: list[tuple[str, Words]] = [
        *detector_words(test.detector, reader),
        ("Tested on", reader.moment(body["at"], seconds=True)),
        (
            "Written in the book",
            lines(reader.moment(entry.recorded_at), "late: look at why" if late else None),
        ),
        ("Tester", tester),
        ("At site", reader.name(body.get("where")) or "not stated"),
        ("Footing", reported),
        (
            "Outcome as written" if entry.corrections else "Outcome",
            lines(Strong(test.amounts_to), *(reason_words(each) for each in test.reasons)),
        ),
    ]
    if body.get("temperature_c") is not None:
        pairs.append(("Temperature", reader.number(body["temperature_c"], "°C")))
    if slip := body.get("slip"):
        by = slip.get("countersigned_by")
        signed = f"countersigned by {reader.named(by)}" if by else "not countersigned"
        entered = (f"entered by {reader.named(slip['entered_by'])}",) if "entered_by" in slip else ()
        pairs.append(("Entered from a paper slip", lines(Keyed(slip["number"]), signed, *entered)))
    if body.get("note"):
        pairs.append(("Note", reader.text(body["note"])))
    return tuple(pairs)


def _before(detector: DetectorState, body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    checks = body.get("checks") or {}
    looked = tuple((word(name), _seen(checks.get(name))) for name in CHECKS)
    channels = {channel.name: channel for channel in detector.channels}
    rows = []
    for item in body.get("clean_air") or ():
        channel = channels.get(item["channel"])
        reading = reader.number(item.get("reading"), channel.unit if channel and item.get("reading") else "")
        rows.append(
            (item["channel"], reading, _expected(channel, reader), "yes" if item["right"] == "yes" else "NO")
        )
    air: Part = Table(("In clean air", "Read", "Should read", "Right"), tuple(rows), sides=("left",) * 4)
    return (Facts(looked, across=2), air if rows else Text("No reading in clean air is recorded."))


def _expected(channel: ChannelFact | None, reader: Reader) -> str:
    if channel is None:
        return "not described"
    tolerance = reader.number(channel.clean_air_tolerance, channel.unit)
    return f"{reader.number(channel.clean_air)} ± {tolerance}"


def _seen(value: str | None) -> Words:
    if value == "no":
        return Strong("NO")
    return word(value) if value else "not looked at"


def _gas(test: BumpTest, body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    applications: Sequence[Mapping[str, Any]] = body.get("applications") or ()
    if not applications:
        return (Text("No gas and no cylinder are recorded."),)
    parts: list[Part] = []
    for place, application in enumerate(applications, start=1):
        parts += _application(test, application, place, len(applications), reader)
    return tuple(parts)


def _application(
    test: BumpTest, application: Mapping[str, Any], place: int, count: int, reader: Reader
) -> tuple[Part, ...]:
    gas = test.gas.get(application["cylinder"])
    on, off = ms_of(application["gas_on"]), ms_of(application["gas_off"])
    time = f"{reader.moment(on, seconds=True)}, for {_seconds(Ms(off - on), reader)} s"
    pairs: list[tuple[str, Words]] = [
        ("Cylinder" if count == 1 else f"Cylinder, {place} of {count}", Keyed(code(application["cylinder"]))),
    ]
    if gas is not None:
        pairs += gas_words(gas, reader)
    pairs += [
        ("Gauge", reader.number(application.get("gauge_bar"), "bar" if "gauge_bar" in application else ""))
    ]
    pairs += [("Gas on", time)]
    channels = {channel.name: channel for channel in test.detector.channels}
    rows = tuple(
        (
            item["channel"],
            channels[item["channel"]].gas if item["channel"] in channels else "not described",
            _alarm(channels.get(item["channel"]), reader),
            "yes" if item["reached"] == "yes" else Strong("NO"),
            reader.number(item.get("after_s")),
            reader.number(item.get("peak")),
        )
        for item in application.get("channels") or ()
    )
    head = ("Channel", "Gas", "Alarm that gas must show", "Came", "After, s", "Highest reading")
    table = Table(
        head, rows, widths=(2, 3, 3, 1, 2, 2), sides=("left", "left", "left", "left", "right", "right")
    )
    return (Facts(tuple(pairs)), table if rows else Text("Of no channel is it recorded what it did."))


def gas_words(gas: Gas, reader: Reader) -> list[tuple[str, Words]]:
    """What a cylinder is, as lines of a printed form."""
    state = gas.state
    return [
        ("Contains", contents_words(state, reader)),
        (
            "Lot, certificate",
            lines(*(Keyed(each) for each in (state.lot, state.certificate) if each)) or "not stated",
        ),
        ("Traceable to", gas.traceable_to or "not stated"),
        ("Last day of use", reader.day(state.expires)),
        *([("Regulator", gas.regulator)] if gas.regulator else []),
    ]


def _alarm(channel: ChannelFact | None, reader: Reader) -> str:
    if channel is None:
        return "not described"
    must = channel.must_show
    if must is None:
        return "none by gas"
    down = ", falling" if must.direction == "falling" else ""
    return f"{must.name}, {reader.number(must.at, channel.unit)}{down}"


def _seconds(length: Ms, reader: Reader) -> str:
    return reader.number(f"{length / 1000:.1f}".removesuffix(".0"))


def _after(detector: DetectorState, body: Mapping[str, Any]) -> tuple[tuple[str, Words], ...]:
    signals, cleared = body.get("signals") or {}, body.get("cleared") or {}
    return (
        *(
            (word(name), _seen(signals.get(name)))
            for name in SIGNALS
            if name in detector.signals or signals.get(name) is not None
        ),
        *((word(name), _seen(cleared.get(name))) for name in CLEARED),
    )


def _instead(test: BumpTest, body: Mapping[str, Any], reader: Reader) -> list[Section]:
    """What stands in the place of a corrected test, where that is a test of the same detector."""
    if body.get("kind") != "bump-test" or body.get("detector") != test.entry.body["detector"]:
        return [
            Section("What stands instead", (Text("An entry of another kind, or about another detector."),))
        ]
    facts: tuple[tuple[str, Words], ...] = (
        ("Tested on", reader.moment(body["at"], seconds=True)),
        ("Tester", reader.named(body["by"])),
        ("Outcome", Strong(test.counts_to)),
        *_after(test.detector, body),
    )
    return [
        Section("What stands instead", (Facts(facts), *_before(test.detector, body, reader))),
        Section("Gas of what stands instead", _gas(test, body, reader), wide=True),
    ]


def _shows(test: BumpTest, body: Mapping[str, Any]) -> tuple[str, ...]:
    if test.entry.corrections and not test.counts_to:
        return (
            "Nothing of the detector: the entry counts no more. It shows that it once stood in the book.",
        )
    outcome = test.counts_to if test.entry.corrections else test.amounts_to
    if test.in_doubt:
        return ("That it was written. A pass whose clock cannot be right counts for nothing.",)
    if outcome == "spoiled":
        return ("Nothing of the detector: a spoiled attempt proves nothing and withdraws nothing.",)
    if body.get("footing") == "reported":
        return (f"That somebody reported it as {outcome}. What the detector did is not recorded here.",)
    if outcome == "failed":
        return ("That something which had to come did not come, or was not right, as printed above.",)
    counted = test.entry.counts or body
    channels = joined(
        dict.fromkeys(
            item["channel"] for each in counted.get("applications", ()) for item in each["channels"]
        )
    )
    return (
        f"That gas from the cylinders named reached the sensors of {channels} on this day.",
        "That the alarms named above came.",
    )
