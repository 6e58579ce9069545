"""CSV tables -> drafts: detectors, people, cylinders, and bare passes and fails from elsewhere.

The first line names the columns (``COLUMNS``; case, spaces and dashes do not matter). Commas, semicolons,
tabs and bars are told apart by that line. A detector with several channels, or a cylinder with several gases,
takes one line for each; what belongs to the whole stands on its first line and may be repeated or left empty
on the others. Codes may be written with or without their sort (``D-017`` or ``detector:D-017``).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from io import StringIO
from typing import Any, Final, Literal, NamedTuple

from pitbird.intake.drafts import complete, put_commitments, take_texts, with_book_times
from pitbird.intake.entries import read_body
from pitbird.intake.faults import Fault, listed, shown
from pitbird.intake.words import near

TableKind = Literal["detector", "person", "cylinder", "bump-test"]


class TableDraft(NamedTuple):
    """One draft, and the line it begins on."""

    line: int
    draft: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its header, what stands in it, whether the table must have it."""

    header: str
    help: str
    required: bool = False
    #: Put in front of a code that does not say its sort.
    sort: str = ""
    #: Belongs to the part that each line holds (a channel, a gas), not to the whole.
    part: bool = False
    #: Several words in one cell.
    many: bool = False


_BY_LINE: Final[dict[str, str]] = {"detector": "channels", "cylinder": "components"}

COLUMNS: Final[dict[str, tuple[Column, ...]]] = {
    "detector": (
        Column("detector", "the detector's code", True, sort="detector"),
        Column("make", "who made it, in your own words", True),
        Column("model", "its model, in your own words", True),
        Column("serial", "its serial number", True),
        Column("home", "the site it belongs to", True, sort="site"),
        Column("signals", "what it warns with: sound, light, vibration", True, many=True),
        Column("firmware", "its firmware"),
        Column("draws", "pump or diffusion"),
        Column("pump_l_min", "what its pump draws, litres a minute"),
        Column("activated", "date of first use"),
        Column("life_ends", "date on which its life ends"),
        Column("note", "a remark, kept apart from the book"),
        Column("channel", "the channel's name", True, part=True),
        Column("gas", "the gas it measures", True, part=True),
        Column("principle", "catalytic, infrared, electrochemical, oxygen, photoionisation or other",
               True, part=True),
        Column("unit", "ppm, vol_pct or pct_lfl", True, part=True),
        Column("range_high", "the end of its range", True, part=True),
        Column("clean_air", "what it reads in clean air", True, part=True),
        Column("clean_air_tolerance", "how far from that is still right", True, part=True),
        Column("alarms", "name and set-point, ';' between them: low 5; high 10; twa 5 none. After "
               "the set-point may stand falling, and how a test shows it: gas, self-check, none",
               True, part=True),
        Column("lfl_basis", "for pct_lfl: iec-60079-20-1 or nfpa-497", part=True),
        Column("sensor_serial", "the sensor's serial number", part=True),
        Column("sensor_fitted", "date on which the sensor was fitted", part=True),
        Column("sensor_ends", "date on which the sensor's life ends", part=True),
        Column("t90_s", "its t90 in seconds, the slowest that counts as healthy", part=True),
        Column("t90_fast_s", "the t90 of a fast new sensor in seconds", part=True),
    ),
    "person": (
        Column("person", "the person's code", True, sort="person"),
        Column("name", "the name, kept apart from the book", True),
        Column("roles", "keeper, tester, competent, wearer, trainer", many=True),
        Column("home", "the site", sort="site"),
        Column("left", "date of leaving"),
        Column("note", "a remark, kept apart from the book"),
    ),
    "cylinder": (
        Column("cylinder", "the cylinder's code", True, sort="cylinder"),
        Column("balance", "the balance gas", True),
        Column("expires", "the last day it may be used", True),
        Column("minimum_pressure_bar", "the certificate's minimum pressure, bar (gauge)", True),
        Column("home", "the site it belongs to", True, sort="site"),
        Column("lot", "lot"),
        Column("certificate", "number of the certificate"),
        Column("traceable_to", "what the values are traceable to"),
        Column("made", "date of filling"),
        Column("water_capacity_l", "water capacity in litres"),
        Column("free_gas_l", "free gas in litres"),
        Column("full_pressure_bar", "pressure when full, bar (gauge)"),
        Column("minimum_temperature_c", "lowest temperature of use, degrees Celsius"),
        Column("note", "a remark, kept apart from the book"),
        Column("gas", "one gas of the mixture", True, part=True),
        Column("amount", "its certified amount", True, part=True),
        Column("unit", "ppm or vol_pct", True, part=True),
        Column("expanded_uncertainty_pct", "relative expanded uncertainty (k = 2) in percent", part=True),
        Column("label_pct_lfl", "the %LFL on the label", part=True),
        Column("label_lfl_vol_pct", "what the label takes for 100 %LFL, % vol", part=True),
    ),
    "bump-test": (
        Column("detector", "the detector's code", True, sort="detector"),
        Column("at", "date and time with its offset, such as 2026-03-02T06:41+00:00", True),
        Column("outcome", "passed, failed or spoiled", True),
        Column("by", "who tested", sort="person"),
        Column("where", "the site", sort="site"),
        Column("zone", "the site's time zone, such as Europe/Lisbon"),
        Column("spoiled_because", "for spoiled: why"),
        Column("note", "a remark, kept apart from the book"),
    ),
}  # fmt: skip

_DELIMITERS: Final = ",;\t|"
_COMMITMENT: Final = "sha256:" + "0" * 64
_PROBE: Final = {
    "new_id": "0195a000-0000-7000-8000-000000000000",
    "at": "2026-03-02T06:41:00.000Z",
    "zone": "UTC",
    "by": "person:P-07",
}


def read_table(kind: TableKind, text: str) -> tuple[list[TableDraft], list[Fault]]:
    """Read a whole table: its drafts, and every fault in it with its line.

    Beside the table itself (headers, cells, lines that contradict each other) each draft is held to its kind,
    as if what a draft may leave out had been filled in. The drafts are to be used only if there is no fault.
    """
    try:
        lines = list(_lines(text))
    except _NotCsv as refused:
        problem = f"cannot be read as CSV ({refused.what}); look for a quotation mark that is not closed"
        return [], [Fault("table", "", problem, refused.line)]
    if not lines:
        return [], [Fault("table", "", f"empty; its first line names the columns: {_headers(kind)}", 1)]
    (head_line, cells), *rows = lines
    headers, faults = _read_header(kind, head_line, cells)
    if faults:
        return [], faults
    table = _Table(kind, headers)
    for line, row in rows:
        table.add(line, row)
    if not rows:
        table.faults.append(Fault("table", "", "has a header but no lines", head_line))
    drafts = [TableDraft(whole.line, whole.draft) for whole in table.wholes.values()]
    for whole in table.wholes.values():
        table.faults += _faults_of(whole)
    return drafts, sorted(table.faults, key=lambda fault: fault.line or 0)


class _NotCsv(ValueError):
    def __init__(self, what: str, line: int) -> None:
        super().__init__(what)
        self.what = what
        self.line = line


def _headers(kind: TableKind) -> str:
    return ", ".join(column.header for column in COLUMNS[kind])


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """The lines that are not blank, with the number of the line on which each begins."""
    text = text.removeprefix("\ufeff")
    first = next((line for line in StringIO(text, newline="") if line.strip()), "")
    delimiter = max(_DELIMITERS, key=first.count)
    reader = csv.reader(StringIO(text, newline=""), delimiter=delimiter, strict=True)
    begins = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield begins, [cell.strip() for cell in cells]
            begins = reader.line_num + 1
    except csv.Error as refused:
        raise _NotCsv(str(refused), begins) from None


def _read_header(kind: TableKind, line: int, cells: list[str]) -> tuple[list[str], list[Fault]]:
    headers = [re.sub(r"[\s-]+", "_", cell.lower()) for cell in cells]
    columns = {column.header: column for column in COLUMNS[kind]}
    faults = []
    for place, header in enumerate(headers):
        if not header:
            faults.append(Fault(f"column {place + 1}", "", "has no header; name it or take it out", line))
        elif header not in columns:
            problem = f"no such column in a table of this kind{near(header, columns)}"
            faults.append(Fault(f"column {place + 1}", shown(cells[place]), problem, line))
        elif header in headers[:place]:
            faults.append(
                Fault(f"column {place + 1}", shown(cells[place]), "stands twice; take one out", line)
            )
    faults += [
        Fault(
            f"{kind}.{column.header}", "", f"the table has no such column, and needs it: {column.help}", line
        )
        for column in columns.values()
        if column.required and column.header not in headers
    ]
    return headers, faults


@dataclass(slots=True)
class _Whole:
    """One draft as its lines add up to it, with the line of each of its parts."""

    kind: str
    line: int
    draft: dict[str, Any]
    part_lines: list[int] = field(default_factory=list)


class _Table:
    """The drafts so far, by the code of the thing (tests: one for each line), and the faults so far."""

    def __init__(self, kind: TableKind, headers: list[str]) -> None:
        self.kind = kind
        self.headers = headers
        self.columns = {column.header: column for column in COLUMNS[kind]}
        self.wholes: dict[str, _Whole] = {}
        self.faults: list[Fault] = []

    def add(self, line: int, cells: list[str]) -> None:
        """Take one more line."""
        if len(cells) != len(self.headers):
            problem = (
                f"has {len(cells)} cells where the header has {len(self.headers)}; look for a stray delimiter"
            )
            self.faults.append(Fault("table", "", problem, line))
            return
        whole: dict[str, Any] = {}
        part: dict[str, Any] = {}
        for header, cell in zip(self.headers, cells, strict=True):
            if cell:
                (part if self.columns[header].part else whole)[header] = self._value(header, cell, line)
        if self.kind == "bump-test":
            draft = {"kind": self.kind, "footing": "reported", **whole}
            self.wholes[str(line)] = _Whole(self.kind, line, draft)
            return
        code = whole.get(self.kind)
        if code is None:
            problem = "missing; every line says what it is about"
            self.faults.append(Fault(f"{self.kind}.{self.kind}", "", problem, line))
        elif code not in self.wholes:
            self.wholes[code] = _Whole(self.kind, line, {"kind": self.kind, **whole})
            self._add_part(self.wholes[code], line, part)
        else:
            self._join(self.wholes[code], line, whole, part)

    def _join(self, known: _Whole, line: int, whole: dict[str, Any], part: dict[str, Any]) -> None:
        if self.kind not in _BY_LINE:
            problem = f"stands already on line {known.line}; keep one of the two lines"
            self.faults.append(Fault(f"{self.kind}.{self.kind}", shown(whole[self.kind]), problem, line))
            return
        for header, value in whole.items():
            if known.draft.setdefault(header, value) != value:
                problem = f"differs from line {known.line}, where it is {shown(known.draft[header])}"
                self.faults.append(Fault(f"{self.kind}.{header}", shown(value), problem, line))
        self._add_part(known, line, part)

    def _add_part(self, known: _Whole, line: int, part: dict[str, Any]) -> None:
        if self.kind not in _BY_LINE:
            return
        if self.kind == "detector" and "channel" in part:
            part = {"name": part.pop("channel"), **part}
        known.draft.setdefault(_BY_LINE[self.kind], []).append(part)
        known.part_lines.append(line)

    def _value(self, header: str, cell: str, line: int) -> Any:
        column = self.columns[header]
        if header == "alarms":
            alarms, problems = _alarms(cell)
            where = f"{self.kind}.{header}"
            self.faults += [Fault(where, shown(cell), problem, line) for problem in problems]
            return alarms
        if column.many:
            return [word.lower() for word in re.split(r"[\s,;/+|]+", cell) if word]
        if column.sort and ":" not in cell:
            return f"{column.sort}:{cell}"
        return cell


def _alarms(cell: str) -> tuple[list[dict[str, str]], list[str]]:
    """``low 19.5 falling; rich 23.5 self-check`` as alarms."""
    alarms: list[dict[str, str]] = []
    problems: list[str] = []
    for text in (part.strip() for part in cell.split(";")):
        if not text:
            continue
        name, *rest = text.split()
        alarm = {"name": name.lower(), "at": rest[0] if rest else ""}
        for word in (word.lower() for word in rest[1:]):
            if word in ("rising", "falling") and "direction" not in alarm:
                alarm["direction"] = word
            elif word in ("gas", "self-check", "none") and "shown_by" not in alarm:
                alarm["shown_by"] = word
            else:
                allowed = listed(["rising", "falling", "gas", "self-check", "none"])
                problems.append(f"{shown(word)} after the set-point of {name}; allowed there once: {allowed}")
        alarms.append(alarm)
    return alarms, problems


def _faults_of(whole: _Whole) -> list[Fault]:
    """What is wrong with a draft by its kind, as if what it may leave out had been filled in."""
    tidy, clock = with_book_times(whole.draft, line=whole.line)
    filled = complete(tidy, **_PROBE, where=None)
    rest, texts = take_texts(filled)
    _, faults = read_body(put_commitments(rest, dict.fromkeys(texts, _COMMITMENT)), line=whole.line)
    said = {fault.where for fault in clock}
    return [*clock, *(_placed(whole, fault) for fault in faults if fault.where not in said)]


def _placed(whole: _Whole, fault: Fault) -> Fault:
    """The fault at the line and the column where the part stands: ``detector.channels[1].unit`` -> line 3."""
    match = re.match(r"(?:channels|components)\[(\d+)\]\.(.+)", fault.field)
    if not match:
        return fault
    header = "channel" if match[2] == "name" else match[2].partition("[")[0]
    return Fault(f"{whole.kind}.{header}", fault.value, fault.problem, whole.part_lines[int(match[1])])


def documented(kind: TableKind) -> list[Mapping[str, object]]:
    """The columns of a table as plain data, for a page or a text that explains them."""
    return [
        {"header": column.header, "help": column.help, "required": column.required}
        for column in COLUMNS[kind]
    ]
