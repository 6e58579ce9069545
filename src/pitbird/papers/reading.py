"""How a paper reads the book: entries with their corrections, and the words for people, times and values.

Values only: who calls has read names and texts, and knows the clock of the site.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import Ms, ms_of
from pitbird.papers import locales
from pitbird.papers.locales import Locale
from pitbird.papers.sheet import Keyed, Leaf

WITHHELD: Final = "withheld (erased)"
#: So long after it happened an entry is said to have been written late.
LATE_MS: Final = 15 * 60_000

#: Words for listed values whose own letters do not read as words.
_VALUES: Final = {
    "ppm": "ppm", "vol_pct": "% vol", "pct_lfl": "%LFL", "iec-60079-20-1": "IEC 60079-20-1",
    "nfpa-497": "NFPA 497", "not-fitted": "not fitted", "hood-slipped": "the hood slipped",
    "gas-ran-out": "the gas ran out", "wrong-gas": "the wrong gas",
    "not-every-channel": "not every channel got gas", "outdoors": "outdoors, in clean air",
    "zero-air": "zero air from a cylinder", "drop": "a drop", "over-range": "over-range",
    "suspected-poison": "suspected poisoning of a sensor", "fault": "a fault shown",
    "flat-battery": "a flat battery", "sensor-changed": "a sensor changed",
    "filter-changed": "a filter changed", "firmware-changed": "the firmware changed",
    "set-point-changed": "an alarm set-point changed", "life-ended": "its life has ended",
    "incident": "an incident", "sensor-worn": "sensor worn out", "alarm-dead": "an alarm did not work",
    "gas-at-fault": "the test gas was at fault", "handling": "handling of the test",
    "not-found": "no cause found", "competent": "competent person", "suspect-contents": "its contents are in "
    "doubt", "no-certificate": "no certificate", "leak": "a leak", "train-the-trainer": "training others",
    "whole_and_clean": "Whole and clean", "inlets_clear": "Inlets clear", "warmed_up": "Warmed up",
    "battery": "Battery", "hose_tight": "Hose tight", "gauge_shows_pressure": "Gauge shows pressure",
    "cylinder_in_date": "Cylinder in date", "sound": "Sound", "light": "Light", "vibration": "Vibration",
    "readings": "Readings back to clean air", "peaks": "Peaks and averages cleared",
    "retention-ended": "it need not be kept any longer", "request": "asked for",
    "mistake": "written by mistake", "test-failed": "a test failed",
    "calibration-failed": "a calibration failed", "no-work-affected": "no work affected",
    "cannot-be-told": "it cannot be told", "restored": "restored from a copy",
    "planned": "as planned", "exposed": "others may have had the old one",
}  # fmt: skip


def word(value: str) -> str:
    """A listed value in words."""
    return _VALUES.get(value) or value.replace("-", " ").replace("_", " ")


def topic_words(topic: str) -> str:
    """What somebody is trained in: "trained in bump tests"."""
    return "bump tests" if topic == "bump-test" else word(topic)


def code(subject: str | None) -> str:
    """``D-017`` for ``detector:D-017``."""
    return (subject or "").partition(":")[2] or (subject or "")


def capital(text: str) -> str:
    """The same with a capital first letter."""
    return text[:1].upper() + text[1:]


@dataclass(frozen=True)
class Written:
    """An entry as the book holds it, with its corrections in the book's order.

    ``amounts_to`` is, of a bump test, the outcome by its facts where that is known; ``left_out`` that the
    entry does not count, since its clock cannot be right.
    """

    index: int
    entry_id: str
    leaf_hash: bytes
    recorded_at: Ms
    body: Mapping[str, Any]
    nth: Mapping[str, int] = field(default_factory=dict)
    corrections: tuple[Written, ...] = ()
    amounts_to: str = ""
    left_out: bool = False

    @property
    def at(self) -> Ms:
        """When it happened, as its body says."""
        return ms_of(self.body["at"])

    @property
    def zone(self) -> str:
        """The clock of its site."""
        return self.body.get("zone") or "UTC"

    @property
    def counts(self) -> Mapping[str, Any] | None:
        """What it says as it counts now: its body, or what stands instead; None where that voids it."""
        return self.body if not self.corrections else self.corrections[-1].body.get("replacement")

    def leaf(self, book: str) -> Leaf:
        """Where it stands in a book."""
        return Leaf(book, self.entry_id, self.index, self.leaf_hash)


@dataclass(frozen=True)
class Reader:
    """The words of one paper: whose names are open, on which clock, in which locale, made when.

    ``names`` has everybody who is named; ``texts`` the sealed texts that were not erased; ``gettext`` puts
    stamps, findings and what is loud into the language of the locale.
    """

    made_at: Ms
    zone: str
    locale: Locale
    book: str
    title: str
    names: Mapping[str, str] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    gettext: Callable[[str], str] = str

    @property
    def language(self) -> str:
        """The language of stamps, findings and what is loud: that of the locale where there is one of it."""
        return self.locale.language

    def name(self, subject: str | None) -> str:
        """The name of a person or a site, else its code."""
        return self.names.get(subject or "") or code(subject)

    def named(self, subject: str | None) -> str:
        """A name with its code behind it."""
        name = self.name(subject)
        return name if name == code(subject) else f"{name} ({code(subject)})"

    def text(self, commitment: str | None) -> str:
        """A sealed text; "withheld (erased)" where it is gone, "" where there never was one."""
        return self.texts.get(commitment, WITHHELD) if commitment else ""

    def moment(self, at: Ms | str, *, seconds: bool = False, zone: str = "") -> str:
        """A day and time with the day of the week."""
        instant = ms_of(at) if isinstance(at, str) else at
        return locales.moment(instant, zone or self.zone, self.locale, weekday=True, seconds=seconds)

    def short(self, at: Ms) -> str:
        """A day and time for a column of a table, without the day of the week."""
        return locales.moment(at, self.zone, self.locale)

    def day(self, text: str | None) -> str:
        """A day; "not stated" for none."""
        return locales.day(text, self.locale) if text else "not stated"

    def number(self, text: str | Decimal | None, unit: str = "") -> str:
        """A number as recorded, with its unit; "not recorded" for none."""
        if text is None:
            return "not recorded"
        shown = locales.number(str(text), self.locale)
        return f"{shown}\u00a0{word(unit)}" if unit else shown

    def foot(self) -> str:
        """The foot of each page: when it was printed, from which book."""
        return f"Printed {self.moment(self.made_at)} from the book “{self.title}”"


def detector_words(state: DetectorState, reader: Reader) -> tuple[tuple[str, Any], ...]:
    """What a detector is, as lines of a printed form."""
    return (
        ("Detector", Keyed(code(state.subject))),
        ("Make and model", f"{state.make} {state.model}".strip() or "not described"),
        ("Serial number", Keyed(state.serial) if state.serial else "not described"),
        ("Belongs to", reader.name(state.site) or "no site"),
    )


def contents_words(state: CylinderState, reader: Reader) -> str:
    """A mixture in one line, as certified."""
    parts = [f"{each.gas} {reader.number(each.amount, each.unit)}" for each in state.components]
    rest = [f"rest {state.balance}"] if state.balance else []
    return ", ".join([*parts, *rest]) or "not described"


def corrected_words(entry: Written, reader: Reader) -> tuple[str, ...]:
    """Each correction of an entry in a sentence, the last one being the one that counts."""
    said = []
    for made in entry.corrections:
        how = "replaces it" if made.body.get("replacement") else "voids it"
        said.append(
            f"Entry {made.index} {how}, {reader.moment(made.recorded_at)}, "
            f"by {reader.named(made.body['by'])}: {reader.text(made.body.get('reason'))}"
        )
    return tuple(said)


def joined(parts: Iterable[str]) -> str:
    """``a, b and c``."""
    listed = [part for part in parts if part]
    return " and ".join(filter(None, (", ".join(listed[:-1]), listed[-1]))) if listed else ""
