"""The readable part of a bundle: its entries as tables, made from nothing but the entries that are in it.

Every entry of the period comes into at least one table. A correction that replaces an entry stands in the
table of the original's kind too, with the original's index under ``instead_of``; the original says under
``stands`` by which entry it was replaced. ``all_here`` says whether the bundle holds every entry about what
the row is about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from pitbird.fleet.differing import differences
from pitbird.fleet.folding.item import item_instead, item_of
from pitbird.fleet.times import MINUTE, Ms, local, ms_of, text_of
from pitbird.papers.bundle.csv_form import Cell
from pitbird.papers.bundle.kinds_told import TELLERS, Body, Row, code, joined, other

WITHHELD: Final = "withheld"
#: So long after it happened an entry is listed as written late.
LATE_MS: Final = 15 * MINUTE

_BEFORE: Final = ("index", "at_local", "at_utc")
_AFTER: Final = (
    "by", "by_name", "site", "stands", "instead_of", "all_here", "note", "recorded_utc", "zone", "entry",
)  # fmt: skip


def _with(*own: str) -> tuple[str, ...]:
    """A table's own columns between those that all tables share."""
    return (*_BEFORE, *own, *_AFTER)


_TEST: Final = (
    "detector", "outcome_as_written", "footing", "spoiled_because", "channels_not_reached", "channels",
    "cylinders", "regulators", "gauge_bar", "gas_on_utc", "gas_on_s", "sound", "light", "vibration",
    "checks_answered_no", "clean_air", "readings_back", "peaks_cleared", "temperature_c",
    "slip", "slip_entered_by",
)  # fmt: skip

#: Each table: what it is, and its columns.
TABLES: Final[Mapping[str, tuple[str, tuple[str, ...]]]] = {
    "tests": ("bump tests", _with(*_TEST)),
    "spoiled": ("attempts at a bump test that were spoiled and prove nothing", _with(*_TEST)),
    "calibrations": ("calibrations, a line for each channel", _with(
        "detector", "result", "channel", "applied", "as_found", "as_left", "adjusted", "channel_result",
        "tolerance_pct", "cylinders", "zeroed", "certificate",
    )),
    "hand-outs": ("who had which detector: handed out and handed back", _with(
        "detector", "what", "person", "person_name", "from_store", "permit", "due_back_utc", "to_site",
    )),
    "untested": ("issued without a test that counts, on whose authority", _with(
        "detector", "to", "to_name", "authority", "authority_name", "until_utc", "reason",
    )),
    "events": ("what happened to detectors: drops, faults, alarms, out of service, repairs", _with(
        "about", "kind", "what", "channels", "answers",
    )),
    "trainings": ("training of those who tested", _with(
        "person", "person_name", "topic", "result", "trainer", "valid_until",
    )),
    "cylinders": ("test gas with its certificate's values, a line for each gas", _with(
        "cylinder", "lot", "certificate", "traceable_to", "gas", "amount", "unit",
        "expanded_uncertainty_pct", "label_pct_lfl", "label_lfl_vol_pct",
        "balance", "made", "expires", "free_gas_l", "full_pressure_bar",
        "minimum_pressure_bar", "minimum_temperature_c",
    )),
    "gas-used": ("the life of each cylinder: received, opened, gauge, emptied, in quarantine", _with(
        "cylinder", "kind", "gauge_bar", "regulator", "at_site", "because", "answers",
    )),
    "detectors": ("detectors as described, a line for each channel", _with(
        "detector", "make", "model", "serial", "firmware", "draws", "pump_l_min", "home", "channel", "gas",
        "principle", "unit", "lfl_basis", "range_high", "alarms", "sensor_serial", "sensor_ends",
    )),
    "regulators": ("regulators as described, with the hose that goes from each to the detector", _with(
        "regulator", "flow", "flow_l_min", "serial", "hose_m", "hose_s_per_m",
    )),
    "people": ("people as described", _with("person", "person_name", "roles", "home", "left")),
    "rules": ("site rules by the time from which they held, with what changed", _with(
        "of_site", "rules", "version", "in_force_from_utc", "in_force_to_utc", "changes",
    )),
    "late": ("entries written more than a quarter of an hour after it happened", _with(
        "kind", "about", "minutes",
    )),
    "corrections": ("corrected entries: what stood there and what stands instead, field by field", _with(
        "original", "original_kind", "original_at_utc", "how", "reason", "field", "original_value",
        "corrected_value",
    )),
    "other": ("all other entries: the book itself, sites, sensors, notes, erasures", _with(
        "kind", "about", "text",
    )),
}  # fmt: skip
#: Tables that tell what happened, and so keep to the period asked for; the others tell what things are.
OF_THE_PERIOD: Final = frozenset({
    "tests", "spoiled", "calibrations", "hand-outs", "untested", "events", "gas-used", "late", "corrections",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of the bundle; ``texts`` are the sealed texts that are open in the bundle, by commitment."""

    index: int
    recorded_at: str
    body: Body
    texts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Corrected:
    """A correction in the bundle: where it stands, and whether it voids the original."""

    index: int
    void: bool


@dataclass(frozen=True)
class Desk:
    """What rows need beside their entry.

    ``names`` of people and sites that are open in the bundle; ``corrections`` of an entry's id in the book's
    order, the last one counting; ``originals`` of corrections, by id, where they are in the bundle;
    ``complete`` the subjects whose entries are all here; ``first`` and ``last`` days of the period.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    corrections: Mapping[str, Sequence[Corrected]] = field(default_factory=dict)
    originals: Mapping[str, Entry] = field(default_factory=dict)
    complete: frozenset[str] = frozenset()
    first: date | None = None
    last: date | None = None

    def within(self, body: Body) -> bool:
        """Whether it happened in the period, by the days of its own site's clock."""
        day = local(ms_of(body["at"]), body.get("zone") or "UTC").date()
        return (self.first is None or self.first <= day) and (self.last is None or day <= self.last)


def rows(entry: Entry, desk: Desk) -> Iterator[tuple[str, Row]]:
    """The rows of an entry, each with its table; rules are told by ``rules_rows``."""
    body = entry.body
    stands = _stands(entry, desk)
    yield from _of_body(entry, body, desk, {"stands": stands})
    late = ms_of(entry.recorded_at) - ms_of(body["at"])
    if late > LATE_MS and desk.within(body):
        own: Row = {"kind": body["kind"], "about": joined(body["about"]), "minutes": late // MINUTE}
        yield "late", {**_common(entry, body, desk), "stands": stands, **own}
    if body["kind"] == "correction":
        yield from _correction(entry, desk)


def _of_body(entry: Entry, body: Body, desk: Desk, beside: Row) -> Iterator[tuple[str, Row]]:
    if body["kind"] in ("correction", "rules-adopted"):
        return
    teller = TELLERS.get(body["kind"], other)
    common = {**_common(entry, body, desk), **beside}
    for table, own in teller(body, lambda sealed: _text(entry, sealed), desk.names):
        if table not in OF_THE_PERIOD or desk.within(body):
            yield table, {**common, **own}


def _common(entry: Entry, body: Body, desk: Desk) -> Row:
    at, zone = ms_of(body["at"]), body.get("zone") or "UTC"
    foremost = body["about"][0] if body.get("about") else ""
    return {
        "index": entry.index,
        "entry": entry.body["id"],
        "at_utc": body["at"],
        "at_local": local(at, zone).isoformat(timespec="seconds"),
        "zone": zone,
        "recorded_utc": entry.recorded_at,
        "by": code(body.get("by")),
        "by_name": desk.names.get(body.get("by", ""), ""),
        "site": code(body.get("where")),
        "all_here": "yes" if foremost in desk.complete else "no",
        "note": _text(entry, body.get("note")),
    }


def _stands(entry: Entry, desk: Desk) -> str:
    """Whether an entry stands as it was written, in words."""
    body = entry.body
    made = desk.corrections.get(body["corrects"] if body["kind"] == "correction" else body["id"], ())
    if made and made[-1].index != entry.index:
        last = made[-1].index
        if body["kind"] == "correction":
            return f"no: entry {last} corrects the same entry again"
        return f"no: voided by entry {last}" if made[-1].void else f"no: replaced by entry {last}"
    if body["kind"] == "correction":
        return _believed(entry, desk)
    counts = item_of(entry.index, body, entry.recorded_at).counts
    return "yes" if counts else "no: dated after it was recorded, which no right clock does"


def _believed(entry: Entry, desk: Desk) -> str:
    """Whether what a correction puts in the place of its original stands (decision 13)."""
    body = entry.body
    if body.get("replacement") is None:
        return "yes"
    original = desk.originals.get(body["corrects"])
    if original is None:
        return "cannot be told here: what it corrects is not in this bundle"
    first = original.body, original.recorded_at
    counts = item_instead(entry.index, body, entry.recorded_at, first).counts
    return "yes" if counts else "no: it permits more than its original can bear out"


def _correction(entry: Entry, desk: Desk) -> Iterator[tuple[str, Row]]:
    body, stands = entry.body, _stands(entry, desk)
    original = desk.originals.get(body["corrects"])
    replacement = body.get("replacement")
    instead_of = original.index if original else None
    if replacement is not None:
        beside: Row = {"stands": stands, "instead_of": instead_of or body["corrects"]}
        yield from _of_body(entry, replacement, desk, beside)
    if not (desk.within(body) or (original and desk.within(original.body))):
        return
    common: Row = {
        **_common(entry, body, desk),
        "stands": stands,
        "instead_of": instead_of,
        "original": body["corrects"],
        "original_kind": original.body["kind"] if original else "not in this bundle",
        "original_at_utc": original.body["at"] if original else None,
        "how": body["how"],
        "reason": _text(entry, body.get("reason")),
    }
    if original is None or replacement is None:
        yield "corrections", common
        return
    for each in differences(original.body, replacement):
        told: Row = {
            "field": ".".join(each.path),
            "original_value": _value(each.old, original),
            "corrected_value": _value(each.new, entry),
        }
        yield "corrections", {**common, **told}


def _value(value: Any, entry: Entry) -> Cell:
    if isinstance(value, str) and value.startswith("sha256:"):
        return _text(entry, value)
    if isinstance(value, list):
        return "; ".join(str(_value(part, entry)) for part in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_value(part, entry)}" for key, part in value.items())
    return value if value is None or isinstance(value, str | int) else str(value)


def _text(entry: Entry, sealed: str | None) -> str:
    return "" if not sealed else entry.texts.get(sealed, WITHHELD)


@dataclass(frozen=True, slots=True)
class Adoption:
    """Rules that a site adopted: by which entry, which version, and in words what changed from those before.

    ``until`` is when other rules came into force at the site; None while these hold.
    """

    entry: Entry
    site: str
    rules: str
    version: int
    since: Ms
    until: Ms | None
    changes: Sequence[str]


def rules_rows(adoptions: Iterable[Adoption], desk: Desk) -> Iterator[Row]:
    """The rows of the table of rules: one for each site and adoption."""
    for each in adoptions:
        yield {
            **_common(each.entry, each.entry.body, desk),
            "stands": _stands(each.entry, desk),
            "all_here": "yes" if each.site in desk.complete else "no",
            "of_site": code(each.site),
            "rules": code(each.rules),
            "version": each.version,
            "in_force_from_utc": text_of(each.since),
            "in_force_to_utc": None if each.until is None else text_of(each.until),
            "changes": " ".join(each.changes),
        }
