"""A calibration certificate: as found, as left, the uncertainty, the gas and what the tolerance decides."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pitbird.fleet.state import ChannelFact, DetectorState
from pitbird.fleet.times import local, ms_of
from pitbird.papers.bump_test import Gas, gas_words
from pitbird.papers.loud import LoudOf, lapsed, lines_or, loud_part
from pitbird.papers.reading import Reader, Written, capital, code, corrected_words, detector_words
from pitbird.papers.sheet import (
    Facts,
    Keyed,
    Lines,
    Loud,
    Part,
    Section,
    Sheet,
    Standing,
    Strong,
    Table,
    Text,
    Words,
)
from pitbird.science.calibration_deviations import expanded_deviation


@dataclass(frozen=True)
class Calibration:
    """What the certificate is made from: the entry, the detector as it was described then, the cylinders,
    whether the one who did it was trained in calibration then, and what is loud of the detector now."""

    entry: Written
    detector: DetectorState
    gas: Mapping[str, Gas]
    trained: str
    loud: LoudOf


def sheet(calibration: Calibration, reader: Reader, standing: Standing) -> Sheet:
    """The certificate. Where the entry was corrected, that stands first, and the figures are what counts."""
    entry = calibration.entry
    body = _counting(entry)
    detector = code(entry.body["detector"])
    counts = not entry.corrections or entry.counts is body
    result = (
        capital(body["result"]) if counts else f"Corrected, nothing of it counts; written as {body['result']}"
    )
    answer = f"{result}, {reader.moment(body['at'])}, by {reader.named(body['by'])}."
    lost = "" if counts else " · DOES NOT COUNT"
    return Sheet(
        title=f"Calibration of detector {detector}",
        running=f"Detector {detector} · entry {entry.index}{lost}",
        foot=reader.foot(),
        answer=(Strong(answer),),
        opening=_opening(calibration, body, reader),
        sections=(
            Section("The calibration", (Facts(_facts(calibration, body, reader)),)),
            Section("As found, as left", _found(calibration, body, reader), wide=True),
            Section("How it was decided", _decided(body, reader)),
            Section("The gas", _gas(calibration, body, reader)),
            Section(
                "Corrections", (lines_or(corrected_words(entry, reader), "Nobody has corrected this entry."),)
            ),
            Section("Signed", (Lines(("Calibrated by", "On", "Looked at by")),)),
        ),
        shows=(
            "What each channel read in the gas named, before and after it was adjusted, on this day.",
            "For the points applied only, in the surroundings of that day.",
        ),
        shows_not=(
            "No accuracy beyond the figures above is claimed.",
            "Nothing at other points of the range, in other gases, at other temperatures or on other days.",
            "It is no certificate of an accredited laboratory (ISO/IEC 17025).",
            "That the alarms come. That is what a bump test looks at.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def _counting(entry: Written) -> Mapping[str, Any]:
    """The figures that count: those of the entry, or of the calibration that stands in its place."""
    instead = entry.counts
    return instead if instead is not None and instead.get("kind") == "calibration" else entry.body


def _opening(calibration: Calibration, body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    entry = calibration.entry
    parts: list[Part] = []
    if entry.corrections:
        index = entry.corrections[-1].index
        if entry.counts is body:
            said = f"The figures are those that entry {index} put in its place."
        elif entry.counts is None:
            said = f"Entry {index} voided it: THE FIGURES BELOW COUNT FOR NOTHING."
        else:
            said = f"Entry {index} put something else in its place: THE FIGURES BELOW COUNT FOR NOTHING."
        parts.append(Loud(f"Entry {entry.index} was corrected", (said,)))
    at_odds = tuple(
        f"{channel['channel']}: stated as {channel['result']}, but the figures lie outside the tolerance."
        for channel in body["channels"]
        if channel["result"] == "within" and within(channel, body.get("tolerance_pct")) is False
    )
    if at_odds:
        parts.append(Loud("What is stated is not what the figures say", at_odds))
    day = local(ms_of(body["at"]), reader.zone).date()
    for subject in body.get("cylinders", ()):
        gas = calibration.gas.get(subject)
        if gas and lapsed(gas.state.expires, day):
            said = f"Its last day of use was {reader.day(gas.state.expires)}, before the calibration."
            parts.append(Loud(f"Cylinder {code(subject)} was out of date", (said,)))
        if gas and gas.quarantined:
            parts.append(Loud(f"Cylinder {code(subject)} was in quarantine then", (gas.quarantined,)))
    return (*parts, *loud_part(calibration.loud, reader))


def _facts(
    calibration: Calibration, body: Mapping[str, Any], reader: Reader
) -> tuple[tuple[str, Words], ...]:
    pairs: list[tuple[str, Words]] = [
        *detector_words(calibration.detector, reader),
        ("Calibrated on", reader.moment(body["at"])),
        ("Written in the book", reader.moment(calibration.entry.recorded_at)),
        ("By", (reader.named(body["by"]), calibration.trained)),
        ("At site", reader.name(body.get("where")) or "not stated"),
        ("Zeroed first", body.get("zeroed") or "not recorded"),
        ("Result", Strong(body["result"])),
    ]
    if body.get("certificate"):
        pairs.append(("Outside certificate", Keyed(body["certificate"])))
    if body.get("note"):
        pairs.append(("Note", reader.text(body["note"])))
    return tuple(pairs)


def _found(calibration: Calibration, body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    channels = {channel.name: channel for channel in calibration.detector.channels}
    rows = tuple(
        _row(calibration, body, item, channels.get(item["channel"]), reader) for item in body["channels"]
    )
    head = (
        "Channel",
        "Unit",
        "Applied",
        "As found",
        "off by",
        "As left",
        "off by",
        "U, k = 2",
        "Tolerance, ±",
        "Result",
    )
    sides = ("left", "left", "right", "right", "right", "right", "right", "right", "right", "left")
    widths = (1.2, 1.1, 1.2, 1.3, 1.1, 1.3, 1.1, 1.3, 1.4, 2.1)
    note = (
        "U is the expanded uncertainty (k = 2, about 95 %) of each deviation: that of the gas by its "
        "certificate and the step of the display as far as the digits written show it, added in squares "
        "(JCGM 100:2008). Repeatability, drift, flow, temperature and pressure are not in it; it is the "
        "least it can be."
    )
    return (Table(head, rows, widths=widths, sides=sides), Text(note))


def _row(
    calibration: Calibration,
    body: Mapping[str, Any],
    item: Mapping[str, Any],
    channel: ChannelFact | None,
    reader: Reader,
) -> tuple[Words, ...]:
    uncertain = uncertainty(calibration, body, item, channel)
    tolerance = tolerance_of(item, body.get("tolerance_pct"))
    return (
        item["channel"],
        reader.number("", channel.unit).strip() if channel else "not described",
        reader.number(item["applied"]),
        reader.number(item.get("as_found")),
        _off(item, "as_found", reader),
        reader.number(item.get("as_left")),
        _off(item, "as_left", reader),
        reader.number(f"{uncertain:.2g}") if uncertain is not None else "not known",
        reader.number(_short(tolerance)) if tolerance is not None else "not stated",
        result_words(item, body.get("tolerance_pct"), uncertain),
    )


def _off(item: Mapping[str, Any], field: str, reader: Reader) -> str:
    if item.get(field) is None:
        return "–"
    off = Decimal(item[field]) - Decimal(item["applied"])
    return reader.number(f"{off:+f}" if off else "0").replace("-", "−")


def _short(value: Decimal) -> str:
    return f"{value.normalize():f}"


def tolerance_of(item: Mapping[str, Any], tolerance_pct: str | None) -> Decimal | None:
    """The tolerance in the channel's unit: so many percent of the gas applied."""
    return None if tolerance_pct is None else abs(Decimal(item["applied"])) * Decimal(tolerance_pct) / 100


def within(item: Mapping[str, Any], tolerance_pct: str | None) -> bool | None:
    """Whether a channel was left (else found) within its tolerance; None where the figures do not say."""
    reading, tolerance = item.get("as_left", item.get("as_found")), tolerance_of(item, tolerance_pct)
    if reading is None or tolerance is None:
        return None
    return abs(Decimal(reading) - Decimal(item["applied"])) <= tolerance


def uncertainty(
    calibration: Calibration, body: Mapping[str, Any], item: Mapping[str, Any], channel: ChannelFact | None
) -> float | None:
    """U of a channel's deviation; None where no certificate states the uncertainty of the channel's own gas.

    Where several cylinders hold the gas, the largest of theirs is taken.
    """
    gas = channel.gas.casefold() if channel else ""
    stated = [
        component.expanded_uncertainty_pct
        for subject in body.get("cylinders", ())
        if subject in calibration.gas
        for component in calibration.gas[subject].state.components
        if component.gas.casefold() == gas
    ]
    if not stated or None in stated:
        return None
    digits = [item[field] for field in ("as_found", "as_left") if item.get(field) is not None]
    step = min((10.0 ** -len(text.partition(".")[2]) for text in digits), default=0.0)
    return expanded_deviation(float(item["applied"]), max(float(each) for each in stated if each), step)


def result_words(item: Mapping[str, Any], tolerance_pct: str | None, uncertain: float | None) -> Words:
    """The result as stated, and where it is nearer to the tolerance than the uncertainty, that it is."""
    if item["result"] == "outside":
        return Strong("OUTSIDE")
    tolerance, reading = tolerance_of(item, tolerance_pct), item.get("as_left", item.get("as_found"))
    if tolerance is None or reading is None:
        return "within, as stated"
    off = abs(Decimal(reading) - Decimal(item["applied"]))
    if off > tolerance:
        return Strong("OUTSIDE by the figures")
    if uncertain is not None and float(off) + uncertain > float(tolerance):
        return "within, but not beyond its uncertainty"
    return "within"


def _decided(body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    if body.get("tolerance_pct") is None:
        return (
            Text(
                "No tolerance was written down: within and outside are as the one who calibrated stated them."
            ),
        )
    tolerance = reader.number(body["tolerance_pct"])
    return (
        Text(
            f"Tolerance: ± {tolerance} % of the gas applied. Decision rule: simple acceptance (JCGM "
            "106:2012, 8.2): a reading as left no further from the gas applied than the tolerance is within. "
            "The uncertainty is not taken off the tolerance; where the reading lies nearer to the limit than "
            "U, the table says so: it could be outside."
        ),
    )


def _gas(calibration: Calibration, body: Mapping[str, Any], reader: Reader) -> tuple[Part, ...]:
    if not body.get("cylinders"):
        return (Text("No cylinder is named: the gas cannot be traced."),)
    parts: list[Part] = []
    for subject in body["cylinders"]:
        gas = calibration.gas.get(subject)
        pairs: list[tuple[str, Words]] = [("Cylinder", Keyed(code(subject)))]
        if gas is None:
            parts.append(Facts((*pairs, ("Contains", "not described"))))
            continue
        pairs += gas_words(gas, reader)
        pairs += [
            (f"Uncertainty of {each.gas}", f"{reader.number(each.expanded_uncertainty_pct)} % (k = 2)")
            for each in gas.state.components
            if each.expanded_uncertainty_pct is not None
        ]
        parts.append(Facts(tuple(pairs)))
    return tuple(parts)
