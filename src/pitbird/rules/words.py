"""The words for decisions: a sentence, a remedy and the source for every finding, in the reader's language.

Every message goes through the ``gettext`` that the caller passes in; facts stand in it by name. The
catalogues are functions, so that the usual extraction of ``_("...")`` finds every message.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from pitbird.fleet.times import Ms, local, ms_of
from pitbird.rules.decision import Finding, Verdict

Gettext = Callable[[str], str]
Message = Callable[[Gettext], str]
Clock = Callable[[Ms, str | None], str]
Written = Callable[[str], str]


class _Facts(dict[str, str]):
    """Facts by name; one that a message asks for and the finding lacks shows as a question mark."""

    def __missing__(self, key: str) -> str:
        return "?"


def when(instant: Ms, zone: str | None) -> str:
    """An instant on the site's clock with the zone's abbreviation, ``2026-03-02 06:41 WET`` (its offset,
    ``-03``, where the zone has none; IANA tz database); in UTC where the clock is not known."""
    return local(instant, zone or "UTC").strftime("%Y-%m-%d %H:%M %Z")


def sentence(
    finding: Finding,
    *,
    zone: str | None,
    gettext: Gettext,
    names: Mapping[str, str] | None = None,
    clock: Clock = when,
    day: Written = str,
    number: Written = str,
) -> str:
    """What was found, in one or two sentences. ``names`` gives persons and cylinders their names, by
    subject; ``clock``, ``day`` and ``number`` write an instant, an ISO day and a decimal as the reader wants
    them."""
    message = SENTENCES.get(finding.code)
    if message is None:
        return gettext("Found {code}, for which there are no words; it counts as it is marked.").format(
            code=finding.code
        )
    manner = _Manner(zone, gettext, names or {}, clock, day, number)
    shown = _Facts({name: _shown(name, value, manner) for name, value in finding.facts})
    if finding.until is not None:
        shown["until"] = clock(finding.until, zone)
    return message(gettext).format_map(shown)


def remedy(finding: Finding, *, gettext: Gettext) -> str:
    """What a person can do about it; empty where nothing needs doing."""
    message = REMEDIES.get(finding.remedy)
    return message(gettext) if message is not None else ""


def source(finding: Finding, *, gettext: Gettext) -> str:
    """Where the rule comes from, and how well that is known; empty where there is neither."""
    message = KNOWN.get(finding.known)
    if not finding.source or finding.source.startswith("common practice"):  # says itself how it is known
        return finding.source
    return f"{finding.source} [{message(gettext)}]" if message is not None else finding.source


def verdict_words(verdict: Verdict, *, gettext: Gettext) -> str:
    """The verdict's name."""
    return VERDICTS[verdict](gettext)


def until_words(until: Ms, *, zone: str | None, gettext: Gettext) -> str:
    """Until when a yes holds."""
    return gettext("until {until}").format(until=when(until, zone))


_SUBJECTS: Final = ("person", "to", "authority", "holder", "wearer", "cylinder")
_WORDY: Final = ("what", "because", "checks", "signals", "remedies", "topic", "unit", "gas")
_NUMBERS: Final = (
    "at", "drawn", "gauge_bar", "given", "high", "hose", "label_lfl", "low", "minimum_bar", "minimum_c",
    "needs", "on_label", "own_lfl", "probability", "reading", "reads", "seconds", "share", "temperature_c",
    "value", "wanted",
)  # fmt: skip
_REACHES: Final = re.compile(r" \((?P<gas>.+): (?P<part>\S+) of (?P<amount>\S+) (?P<unit>[^)]+)\)")


@dataclass(frozen=True)
class _Manner:
    """How a reader wants facts written."""

    zone: str | None
    gettext: Gettext
    names: Mapping[str, str]
    clock: Clock
    day: Written
    number: Written


def _shown(name: str, value: str, manner: _Manner) -> str:
    """One fact as a reader wants it: an instant on the site's clock, a subject by its name, words in
    words."""
    gettext = manner.gettext
    if name.endswith("_at"):
        return manner.clock(ms_of(value), manner.zone)
    if name.endswith("_on"):
        return manner.day(value)
    if name in _SUBJECTS:
        return manner.names.get(value, value.partition(":")[2] or value)
    if name in _WORDY:
        return ", ".join(_word(part, gettext) for part in value.split(", "))
    if name in _NUMBERS:
        return manner.number(value)
    if name == "why":
        return "; ".join(_word(part, gettext) for part in value.split("; "))
    if name == "limit":
        return manner.number(" ".join(_limit_word(part, gettext) for part in value.split(" ")))
    if name == "reaches" and (parts := _REACHES.fullmatch(value)):
        reached = {**parts.groupdict(), "gas": _word(parts["gas"], gettext)}
        reached |= {key: manner.number(reached[key]) for key in ("part", "amount")}
        reached["unit"] = _word("vol_pct", gettext) if reached["unit"] == "% vol" else reached["unit"]
        return gettext(" ({gas}: {part} of {amount} {unit})").format(**reached)
    return value


def _word(word: str, gettext: Gettext) -> str:
    message = WORDS.get(word)
    return message(gettext) if message is not None else word


def _limit_word(word: str, gettext: Gettext) -> str:
    message = LIMIT_WORDS.get(word)
    return message(gettext) if message is not None else word


VERDICTS: Final[dict[Verdict, Message]] = {
    Verdict.MAY_GO_OUT: lambda _: _("may go out"),
    Verdict.NOT_YET: lambda _: _("not yet"),
    Verdict.OUT_OF_SERVICE: lambda _: _("out of service"),
    Verdict.CANNOT_TELL: lambda _: _("cannot tell"),
}

KNOWN: Final[dict[str, Message]] = {
    "seen": lambda _: _("seen in the source"),
    "seen-2": lambda _: _("as quoted by others"),
    "memory-high": lambda _: _("from memory, confidence high"),
    "memory-medium": lambda _: _("from memory, confidence medium"),
    "memory-low": lambda _: _("from memory, confidence low"),
    "common-practice": lambda _: _("common practice"),
}

WORDS: Final[dict[str, Message]] = {
    # what happened
    "drop": lambda _: _("it was dropped"),
    "water": lambda _: _("it got wet"),
    "over-range": lambda _: _("it read over its range"),
    "suspected-poison": lambda _: _("it may have met a sensor poison"),
    "fault": lambda _: _("it showed a fault"),
    "flat-battery": lambda _: _("its battery went flat"),
    "sensor-changed": lambda _: _("a sensor was changed"),
    "filter-changed": lambda _: _("a filter was changed"),
    "firmware-changed": lambda _: _("its firmware was changed"),
    "set-point-changed": lambda _: _("an alarm set-point was changed"),
    "fresh-air-set": lambda _: _("it was set in fresh air"),
    "calibration": lambda _: _("it was calibrated"),
    "repaired": lambda _: _("it was repaired"),
    "described-anew": lambda _: _("its channels or alarms were described anew"),
    # why out of service or in quarantine
    "alarm-in-use": lambda _: _("it alarmed in use"),
    "failed": lambda _: _("it failed a test"),
    "test-failed": lambda _: _("it failed a bump test"),
    "calibration-failed": lambda _: _("it failed a calibration"),
    "damaged": lambda _: _("damaged"),
    "overdue": lambda _: _("overdue"),
    "suspect": lambda _: _("in doubt"),
    "life-ended": lambda _: _("at the end of its life"),
    "lost": lambda _: _("lost"),
    "incident": lambda _: _("after an incident"),
    "other": lambda _: _("another reason"),
    "suspect-contents": lambda _: _("contents in doubt"),
    "leak": lambda _: _("leaking"),
    "no-certificate": lambda _: _("without certificate"),
    "recalled": lambda _: _("recalled"),
    # what is looked at
    "whole_and_clean": lambda _: _("whole and clean"),
    "inlets_clear": lambda _: _("gas inlets clear"),
    "warmed_up": lambda _: _("warmed up"),
    "battery": lambda _: _("battery"),
    "hose_tight": lambda _: _("hose tight"),
    "gauge_shows_pressure": lambda _: _("gauge shows pressure"),
    "cylinder_in_date": lambda _: _("cylinder in date"),
    "sound": lambda _: _("sound"),
    "light": lambda _: _("light"),
    "vibration": lambda _: _("vibration"),
    "readings": lambda _: _("readings back to clean air"),
    "peaks": lambda _: _("peaks cleared"),
    # topics and units
    "bump-test": lambda _: _("bump test"),
    "wearing": lambda _: _("wearing a detector"),
    "train-the-trainer": lambda _: _("training others"),
    "ppm": lambda _: _("ppm"),
    "vol_pct": lambda _: _("% vol"),
    "pct_lfl": lambda _: _("%LFL"),
    # why an alarm cannot be judged
    "the book does not say its t90": lambda _: _("the book does not say its t90"),
    "its clean-air reading or a set-point is no number": lambda _: _(
        "its clean-air reading or a set-point is no number"
    ),
    "the book does not say what is in the cylinder": lambda _: _(
        "the book does not say what is in the cylinder"
    ),
    "an amount in the cylinder is no number": lambda _: _("an amount in the cylinder is no number"),
    # gases
    "methane": lambda _: _("methane"),
    "propane": lambda _: _("propane"),
    "butane": lambda _: _("butane"),
    "pentane": lambda _: _("pentane"),
    "hexane": lambda _: _("hexane"),
    "hydrogen": lambda _: _("hydrogen"),
    "oxygen": lambda _: _("oxygen"),
    "nitrogen": lambda _: _("nitrogen"),
    "air": lambda _: _("air"),
    "carbon monoxide": lambda _: _("carbon monoxide"),
    "carbon dioxide": lambda _: _("carbon dioxide"),
    "hydrogen sulfide": lambda _: _("hydrogen sulfide"),
    "sulfur dioxide": lambda _: _("sulfur dioxide"),
    "nitrogen dioxide": lambda _: _("nitrogen dioxide"),
    "ammonia": lambda _: _("ammonia"),
    "chlorine": lambda _: _("chlorine"),
    "isobutylene": lambda _: _("isobutylene"),
}

#: The words in an exposure limit ("8 h 35 ppm, ceiling 200 ppm over 10 min").
LIMIT_WORDS: Final[dict[str, Message]] = {
    "ceiling": lambda _: _("ceiling"),
    "peak": lambda _: _("peak"),
    "over": lambda _: _("over"),
    "for": lambda _: _("for"),
}

REMEDIES: Final[dict[str, Message]] = {
    "test": lambda _: _("Do a bump test."),
    "test-every-channel": lambda _: _(
        "Do a bump test with gas for every channel named; if it fails, take it out."
    ),
    "test-signals": lambda _: _(
        "Do a bump test and notice sound, light and vibration; if one fails, take it out."
    ),
    "test-with-checks": lambda _: _("Look it over first, then do a bump test and note each check."),
    "test-with-clean-air": lambda _: _("Look at the readings in clean air first, then do a bump test."),
    "test-longer": lambda _: _("Do a bump test with gas on for longer."),
    "test-warmer": lambda _: _("Warm the cylinder up as its certificate says, then do a bump test."),
    "test-with-temperature": lambda _: _("Do a bump test and note the temperature."),
    "test-with-gauge": lambda _: _("Read the gauge of the cylinder, note it, and do a bump test."),
    "test-by-trained": lambda _: _("Let a person with valid training do a bump test, or train this one."),
    "set-alarm-lower": lambda _: _(
        "Let a competent person set the alarm no higher than the limit that holds here, and describe it anew."
    ),
    "show-methane": lambda _: _("Do the bump test with a gas that contains methane."),
    "test-other-cylinder": lambda _: _("Do a bump test with another cylinder that is fit for it."),
    "fresh-air-and-test": lambda _: _(
        "Set it in air known to be clean, as the manual says; then do a bump test. If it stays, take it out."
    ),
    "clear-and-test": lambda _: _("Let the readings come back, clear the peaks, and do a bump test."),
    "put-right-and-test": lambda _: _("Put right what was found wrong; then do a bump test."),
    "hand-over": lambda _: _("Enter the hand-over (or that it came back); then do a bump test."),
    "correct-entry": lambda _: _("Look at the entries named; correct what is wrong by a correction."),
    "describe-detector": lambda _: _("Enter the description of the detector with its channels and alarms."),
    "describe-cylinder": lambda _: _(
        "Enter what the cylinder's certificate says; or test with another cylinder."
    ),
    "describe-regulator": lambda _: _(
        "Enter the regulator with its flow, and which one is on the cylinder or was used in the test."
    ),
    "fit-regulator": lambda _: _(
        "Fit a demand-flow regulator, or a fixed-flow one that gives at least what the pump draws; then do a "
        "bump test."
    ),
    "go-by-vol": lambda _: _(
        "Go by the % vol on the certificate and the detector's own LFL, not by the %LFL on the label; let a "
        "competent person say which basis holds here."
    ),
    "describe-person": lambda _: _("Enter the person and the training; or let another person do it."),
    "describe-site": lambda _: _("Enter the site with its time zone and change-over times."),
    "look-at-gas": lambda _: _(
        "Compare the gas on the certificate with the alarm set-points; see the gas plan."
    ),
    "look-at-sensor": lambda _: _("Let a competent person look at the sensor; it may be slow."),
    "calibrate": lambda _: _("Let a competent person calibrate it, as its manual says; then do a bump test."),
    "return-to-service": lambda _: _(
        "A competent person finds the cause, sees to it, and returns it to service naming every reason."
    ),
    "hand-back-and-test": lambda _: _("Enter that it came back; then do a bump test."),
    "ask-gas-first": lambda _: _(
        "Ask about the gas before you ask about the detectors: look at regulator, hose, certificate and "
        "gauge; then quarantine the cylinder, or release it naming the failed test; test with another one."
    ),
    "keep-as-it-is": lambda _: _(
        "Do not test, zero, charge or repair it: keep it, and its records, as they are until the "
        "investigation has released it."
    ),
    "train": lambda _: _("Train the person, and enter it."),
    "set-clock": lambda _: _("Set the clock of the machine that keeps the book, and ask again."),
    "adopt-rules": lambda _: _("Adopt site rules with a rule that asks for a gas test."),
    "replace": lambda _: _("Replace what is at its end; take the detector out of service until then."),
}

SENTENCES: Final[dict[str, Message]] = {
    # the detector
    "detector-described": lambda _: _("The detector is described in the book."),
    "detector-not-in-book": lambda _: _("The book does not describe this detector."),
    "detector-without-channels": lambda _: _("The detector is described without channels or without alarms."),
    "all-understood": lambda _: _("Every entry about the detector is understood."),
    "entries-not-understood": lambda _: _("Entries about the detector that are not understood: {count}."),
    "no-reason-against": lambda _: _("No reason is open why it is out of service."),
    "taken-out-of-service": lambda _: _(
        "Out of service since {since_at}: {because}. Open reasons to be answered: {count}."
    ),
    "held-for-investigation": lambda _: _(
        "Held for an investigation since {since_at}. Open reasons to be answered: {count}."
    ),
    "failed-on-gas-in-question": lambda _: _(
        "It failed on cylinder {cylinder}, on which {in_a_row} tests failed in a row and {detectors} "
        "detectors failed among the last ten tests. Open reasons to be answered: {count}."
    ),
    "failed-on-withdrawn-gas": lambda _: _(
        "It failed on cylinder {cylinder}, on which {in_a_row} tests failed in a row and {detectors} "
        "detectors among the last ten tests, and which is withdrawn. Open reasons to be answered: {count}."
    ),
    "no-untested-issue": lambda _: _("No issue without a test is in force."),
    "issued-untested": lambda _: _(
        "Issued to {to} without a test that counts, on the authority of {authority}, until {issue_ends_at}."
    ),
    "life-not-ended": lambda _: _("The stated end of life, {ends_on}, has not passed."),
    "no-end-of-life-stated": lambda _: _("No end of life is stated."),
    "life-ended": lambda _: _("The stated end of life, {ended_on}, has passed."),
    "sensor-life-ended": lambda _: _("The stated end of life of sensor {channel}, {ended_on}, has passed."),
    "end-of-life-not-readable": lambda _: _("A stated end of life is no date that can be read."),
    "no-failure": lambda _: _("No failure is on record."),
    "failure-mended-and-tested": lambda _: _(
        "The failure of {failed_at} was answered, it was mended by {mended_at}, and has passed a test since."
    ),
    "failure-not-answered": lambda _: _("The failure of {failed_at} is not answered."),
    "cause-not-named": lambda _: _("The failure of {failed_at} is answered, but no cause is named."),
    "not-mended-since-failure": lambda _: _(
        "Since the failure of {failed_at} the book shows none of these: {remedies}."
    ),
    "no-pass-since-mending": lambda _: _(
        "No test that counts lies after the failure of {failed_at} and the mending of {mended_at}."
    ),
    "pass-since-mending-cannot-be-judged": lambda _: _(
        "Whether the test since the failure of {failed_at} counts cannot be told."
    ),
    # the counted test
    "pass-in-force": lambda _: _("A test that counts is in force until {until}."),
    "no-test": lambda _: _("No passed bump test is on record."),
    "no-pass-since-failure": lambda _: _("No passed bump test since the failure of {failed_at}."),
    "no-pass-that-counts": lambda _: _("The newest passed test, of {tested_at}, does not count."),
    "pass-cannot-be-judged": lambda _: _("Whether the test of {tested_at} counts cannot be told."),
    "pass-ended-working-day": lambda _: _(
        "The test of {tested_at} held to the end of its working day, {ended_at}."
    ),
    "pass-ended-shift": lambda _: _("The test of {tested_at} held to the end of its shift, {ended_at}."),
    "pass-ended-hours": lambda _: _("The test of {tested_at} held to {ended_at}."),
    "pass-older-than-days": lambda _: _("The test of {tested_at} is too old; it held to {ended_at}."),
    "no-site-clock": lambda _: _("The time zone or the change-over times of the site are not known."),
    "no-event-since-test": lambda _: _("Nothing that ends a pass has happened since the test."),
    "no-test-to-compare": lambda _: _("There is no test that counts to compare with."),
    "event-since-test": lambda _: _(
        "Since the test of {tested_at}: {what} ({happened_at}). That ends the pass."
    ),
    "event-not-understood": lambda _: _("Since the test something happened that is not understood: {what}."),
    "events-no-longer-kept": lambda _: _("So much has happened that not all of it is at hand."),
    "nothing-lost": lambda _: _("Since the test the book lost nothing that is known of."),
    "book-restored-since-test": lambda _: _(
        "The book was restored from an older copy, as found at {restored_at}, after the test of {tested_at}: "
        "a failed test or a drop may be lost."
    ),
    "no-hand-over-since-test": lambda _: _("It was not handed from wearer to wearer since the test."),
    "handed-over-since-test": lambda _: _(
        "It was handed over at {handed_over_at}, after the test of {tested_at}. Who takes it over tests it."
    ),
    "tested-since-use": lambda _: _("It was given gas after it last came back from use."),
    "in-use": lambda _: _("{holder} has had it in use since {since_at}."),
    "used-since-test": lambda _: _("It was in use to {back_at}, after the test of {tested_at}."),
    "calibrated-since-use": lambda _: _("It was calibrated after it last came back from use."),
    "not-calibrated-since-use": lambda _: _(
        "It was in use to {back_at}, and has not been calibrated on every channel since."
    ),
    "held-by-another": lambda _: _("{holder} holds the detector, not {wearer}."),
    "attempts-within": lambda _: _("The pass came within the attempts allowed."),
    "attempts-no-longer-kept": lambda _: _("How many spoiled attempts came before the pass is not at hand."),
    "too-many-attempts": lambda _: _("Spoiled attempts before the pass: {count}; allowed: {allowed}."),
    # what the test showed
    "bare-report": lambda _: _("A bare report of a pass: it does not hold this."),
    "shown-and-recorded": lambda _: _("The test was seen and recorded."),
    "report-accepted": lambda _: _("A bare report of a pass, which the site rules accept."),
    "report-not-accepted": lambda _: _("A bare report of a pass, which the site rules do not accept."),
    "report-contradicts-itself": lambda _: _(
        "A pass in which a channel did not reach its alarm: {channels}."
    ),
    "no-gas-recorded": lambda _: _("The test records no gas on any channel."),
    "footing-not-understood": lambda _: _("How the test came to be recorded is not understood: {footing}."),
    "every-alarm-shown": lambda _: _("Every alarm that gas must show came."),
    "alarm-not-shown": lambda _: _("The test did not show the alarm of: {channels}."),
    "no-alarm-to-show": lambda _: _(
        "No alarm of the detector is to be shown by gas, so gas cannot show any."
    ),
    "signals-seen": lambda _: _("Each signal it has was noticed."),
    "signal-not-seen": lambda _: _("Not noticed in the test: {signals}."),
    "no-signals-described": lambda _: _("Which signals the detector has is not described."),
    "checks-made": lambda _: _("It was looked over before gas."),
    "check-found-wrong": lambda _: _("Found wrong before gas: {checks}."),
    "check-not-made": lambda _: _("Not looked at before gas: {checks}."),
    "cleared-after-test": lambda _: _("It was brought back after gas."),
    "not-cleared": lambda _: _("Not noted after gas: {what}."),
    "clean-air-right": lambda _: _("In clean air every channel read what it must."),
    "clean-air-wrong": lambda _: _(
        "In clean air {channel} did not read what it must (read {reading}, wanted {wanted})."
    ),
    "clean-air-not-looked-at": lambda _: _("The readings in clean air were not noted for: {channels}."),
    "clean-air-value-doubtful": lambda _: _(
        "{channel} is described as reading {value} in clean air, which is not what clean air gives."
    ),
    "gas-on-long-enough": lambda _: _("Gas was on long enough."),
    "gas-on-too-short": lambda _: _("Gas was on for less than {seconds} s on: {channels}."),
    "gas-on-not-recorded": lambda _: _("How long gas was on is not recorded for: {channels}."),
    "gas-on-short-enough": lambda _: _("Gas was on no longer than needed."),
    "gas-on-too-long": lambda _: _("Gas was on for more than {seconds} s on: {channels}."),
    # the gas
    "no-cylinder-named": lambda _: _("The test names no cylinder."),
    "cylinder-not-known": lambda _: _(
        "Cylinder {cylinder} is not described, or not understood, in the book."
    ),
    "cylinder-in-date": lambda _: _("The gas was in date."),
    "cylinder-out-of-date": lambda _: _(
        "Cylinder {cylinder} was past its expiry day, {expired_on}, when used."
    ),
    "no-expiry-known": lambda _: _("No expiry day is known for cylinder {cylinder}."),
    "pressure-enough": lambda _: _("The gas was above its minimum pressure."),
    "pressure-check-only": lambda _: _(
        "The gauge showed pressure, as the tester noted; no reading is on record."
    ),
    "pressure-too-low": lambda _: _(
        "Cylinder {cylinder} showed {gauge_bar} bar; its minimum is {minimum_bar} bar."
    ),
    "pressure-check-said-no": lambda _: _("The tester noted that the gauge did not show pressure."),
    "pressure-not-known": lambda _: _("The pressure of cylinder {cylinder} at the test is not known."),
    "no-minimum-pressure-known": lambda _: _("No minimum pressure is known for cylinder {cylinder}."),
    "warm-enough": lambda _: _("The gas was not too cold."),
    "too-cold-for-gas": lambda _: _(
        "It was {temperature_c} °C; cylinder {cylinder} must not be used below {minimum_c} °C."
    ),
    "temperature-not-known": lambda _: _("The temperature at the test is not known."),
    "no-minimum-temperature-known": lambda _: _("No minimum temperature is known for cylinder {cylinder}."),
    "cylinder-not-withdrawn": lambda _: _("The cylinder was neither in quarantine nor given up as empty."),
    "cylinder-not-in-question": lambda _: _("No question about the gas was open."),
    "cylinder-in-question": lambda _: _(
        "Cylinder {cylinder} was in question since {failed_at}: {in_a_row} tests failed on it in a row, "
        "{detectors} detectors among its last ten tests."
    ),
    "questions-no-longer-kept": lambda _: _(
        "So many tests failed on cylinder {cylinder} that whether it was in question is no longer at hand."
    ),
    "cylinder-quarantined": lambda _: _("Cylinder {cylinder} was in quarantine since {since_at}: {because}."),
    "cylinder-emptied": lambda _: _("Cylinder {cylinder} was given up as empty at {emptied_at}."),
    "quarantines-no-longer-kept": lambda _: _(
        "Whether cylinder {cylinder} was in quarantine then is no longer at hand."
    ),
    "gas-in-window": lambda _: _("The gas had the strength that the alarms ask for."),
    "gas-not-recorded": lambda _: _("Which gas they met is not recorded for: {channels}."),
    "gas-not-comparable": lambda _: _(
        "The gas in cylinder {cylinder} cannot be compared with the alarms of {channel}."
    ),
    "gas-too-weak": lambda _: _(
        "{channel}: the gas, {given} {unit}, is weaker than advised ({low} to {high} {unit})."
    ),
    "gas-too-strong": lambda _: _(
        "{channel}: the gas, {given} {unit}, is stronger than advised ({low} to {high} {unit})."
    ),
    "no-gas-fits-alarms": lambda _: _(
        "{channel}: the alarm asks for gas of {low} {unit} or more, the limit is {high} {unit}; none fits."
    ),
    "alarm-took-too-long": lambda _: _(
        "{channel}: gas was on for more than {seconds} s, the time within which the alarm should come."
    ),
    "gas-sets-off-alarms": lambda _: _(
        "By its certificate the gas brings every alarm that it must, within the time it was on."
    ),
    "alarm-not-judged": lambda _: _("Whether the gas can set off {channel} cannot be worked out: {why}."),
    "alarm-out-of-reach": lambda _: _(
        "{channel}: this gas takes it to {reads} {unit} at most, too little for the {alarm} alarm at {at}."
    ),
    "gas-off-too-soon": lambda _: _(
        "{channel}: a slow healthy sensor needs {needs} s to the {alarm} alarm at {at} {unit}; the gas was "
        "on for {seconds} s."
    ),
    "alarm-may-not-come": lambda _: _(
        "{channel}: the {alarm} alarm at {at} {unit} comes within {seconds} s with a probability of "
        "{probability} only."
    ),
    "regulator-gives-enough": lambda _: _("The regulator gives what the pump draws."),
    "no-pump": lambda _: _("The detector has no pump that would draw air in beside the gas."),
    "no-gas-named": lambda _: _("Which gas its channels met is not recorded."),
    "pump-not-described": lambda _: _(
        "The regulator gives {given} L/min; what the detector's pump draws is not in the book, so whether "
        "air is drawn in beside the gas cannot be told."
    ),
    "regulator-not-known": lambda _: _(
        "Which regulator was on cylinder {cylinder}, or its flow, is not in the book, so whether it gives "
        "what the pump draws cannot be told."
    ),
    "gas-thinned": lambda _: _(
        "{channel}: the regulator on cylinder {cylinder} gives less, {given} L/min, than the pump draws, "
        "{drawn} L/min: {share} % of what reaches the sensor is test gas{reaches}, the rest is air."
    ),
    "gas-on-too-short-for-hose": lambda _: _(
        "Gas was on for less than {seconds} s and {hose} s in the hose on: {channels}."
    ),
    "lfl-basis-agrees": lambda _: _("Label and detector take the same concentration for 100 %LFL."),
    "no-lfl-on-label": lambda _: _("The label's %LFL is not written down; the % vol of its certificate is."),
    "no-lfl-channel": lambda _: _("No channel in %LFL was shown gas."),
    "lfl-basis-differs": lambda _: _(
        "{channel}: the label of cylinder {cylinder} says {on_label} %LFL {gas} (100 %LFL is {label_lfl} % "
        "vol there); the detector takes {own_lfl} % vol for 100 %LFL, so a healthy one reads {reads} %LFL."
    ),
    "alarms-within-limits": lambda _: _("No alarm stands above the chosen exposure limits."),
    "no-limit-for-its-gases": lambda _: _("The chosen set has no limit for the gases it measures."),
    "set-point-not-readable": lambda _: _("A set-point of {channel} cannot be read."),
    "alarm-above-limit": lambda _: _(
        "{channel}: the lowest alarm stands at {at} {unit}, above the limit ({limit}; {known})."
    ),
    "methane-shown-methane": lambda _: _("The methane channel was shown methane."),
    "no-methane-channel": lambda _: _("No catalytic channel is set up for methane."),
    "methane-by-another-gas": lambda _: _(
        "{channel} is set up for methane and was shown another gas ({gas}). A poisoned bead loses methane "
        "first: with a tenth of its activity left it may still give 85 % on pentane and 40 % on methane (an "
        "illustration, not measured)."
    ),
    # people
    "person-not-known": lambda _: _("{person} is not described, or not understood, in the book."),
    "training-not-readable": lambda _: _("Until when the training of {person} holds cannot be read."),
    "never-trained": lambda _: _("No training of {person} is on record for: {topic}."),
    "training-failed": lambda _: _("The newest training of {person} was not passed: {topic}."),
    "training-run-out": lambda _: _("The training of {person} ran out on {until_on}: {topic}."),
    "person-had-left": lambda _: _("{person} had left on {left_on}."),
    "tester-trained": lambda _: _("The tester's training held at the test."),
    "wearer-trained": lambda _: _("The wearer's training holds."),
    "no-wearer-asked": lambda _: _("No wearer was named."),
    # calibration
    "maker-calibrates": lambda _: _("Only the maker can calibrate this detector."),
    "no-such-channel": lambda _: _("The detector has no channel that this rule asks about."),
    "never-calibrated": lambda _: _("No calibration of {channel} is on record."),
    "calibration-failed": lambda _: _("The newest calibration of {channel}, of {calibrated_at}, failed."),
    "only-later-calibration-kept": lambda _: _(
        "Of {channel} only a later calibration is at hand, of {calibrated_at}."
    ),
    "calibration-current": lambda _: _("The calibration is current until {until}."),
    "calibration-overdue": lambda _: _(
        "{channel} was calibrated at {calibrated_at}, more than {days} days ago."
    ),
    "calibrated-this-shift": lambda _: _("It was calibrated in this shift."),
    "not-calibrated-this-shift": lambda _: _(
        "{channel} was calibrated at {calibrated_at}; that shift ended at {ended_at}."
    ),
    "calibrated-since": lambda _: _("Nothing that calls for a calibration has happened since the last one."),
    "not-calibrated-since": lambda _: _("Not calibrated on every channel since {happened_at}: {what}."),
    # the gate itself
    "no-rules-in-force": lambda _: _("No site rules are in force, and without rules there is no yes."),
    "no-rules-in-set": lambda _: _("The site rules hold no rule, and without rules there is no yes."),
    "no-gas-test-rule": lambda _: _("No rule in force asks for a gas test; without gas there is no yes."),
    "no-rules-at-test": lambda _: _("No site rules were in force at the test of {tested_at}."),
    "clock-behind-book": lambda _: _(
        "By the clock here it is {asked_at}, yet an entry was recorded at {recorded_at}: the clock is wrong, "
        "or was."
    ),
    "predicate-not-known": lambda _: _("Rule {rule} asks something that is not known here: {predicate}."),
    "parameters-not-usable": lambda _: _("Rule {rule} has parameters that cannot be used ({predicate})."),
    "outcome-not-understood": lambda _: _("The outcome of the test is not understood."),
    "test-after-moment": lambda _: _("A test of {tested_at} lies after this moment and was not used."),
    "test-clock-in-doubt": lambda _: _(
        "A pass dated {tested_at} does not count: it is dated after it was recorded. Correct its time."
    ),
    "test-before-failure": lambda _: _("A pass of {tested_at} lies before a failure and does not count."),
    "test-spoiled": lambda _: _(
        "An attempt of {tested_at} was spoiled; it shows nothing and withdraws nothing."
    ),
    "entries-left-out": lambda _: _("Entries were left out because they are dated after they were recorded."),
    "newer-test-does-not-count": lambda _: _(
        "A newer pass, of {tested_at}, does not count; the one before it is in force."
    ),
}
