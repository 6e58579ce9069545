"""Retention periods as data: those that come with pitbird, overridden by the user's own file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from importlib import resources
from pathlib import Path
from typing import Any, Final

from pitbird.fleet.kinds import KINDS
from pitbird.intake.faults import Fault, listed, shown
from pitbird.rules.loading import KNOWN

OWN_FILE: Final = "retention.toml"
#: The list of who saw what has a period too, though it is no kind of entry.
WHO_SAW: Final = "who-saw"
FROM: Final = ("entry", "left", "retired")
LONGEST: Final = 200
_FIELDS: Final = ("id", "about", "kinds", "from", "years", "applies", "source", "edition", "known")
_ID: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


@dataclass(frozen=True)
class Period:
    """How long the sealed texts of some kinds of entry are kept, from when on, and who says so.

    ``start``: ``entry`` counts from the entry, ``left`` from when the people it is about left, ``retired``
    from when its detectors went out of service for good. ``own``: from the user's file.
    """

    id: str
    about: str
    kinds: tuple[str, ...]
    start: str
    years: int
    applies: bool
    source: str
    edition: str
    known: str
    own: bool = False


class PeriodsRefused(ValueError):
    """The user's own file cannot be used; ``faults`` holds every fault found. Nothing may be erased by it."""

    def __init__(self, file: str, faults: tuple[Fault, ...]) -> None:
        self.file = file
        self.faults = faults
        super().__init__("\n".join(f"{file}: {fault}" for fault in faults))


def read_periods(home: Path) -> tuple[Period, ...]:
    """The periods in force: the shipped ones, each replaced by the one of the same id in the user's file.

    Raises ``PeriodsRefused`` with every fault of that file: a file that is half right is not used in part.
    """
    periods = {period.id: period for period in shipped_periods()}
    file = home / OWN_FILE
    if file.exists():
        try:
            own, faults = parse_periods(file.read_text(encoding="utf-8"), own=True)
        except (UnicodeDecodeError, OSError) as fault:
            raise PeriodsRefused(OWN_FILE, (Fault("file", "", f"cannot be read: {fault}"),)) from None
        if faults:
            raise PeriodsRefused(OWN_FILE, faults)
        periods |= {period.id: period for period in own}
    return tuple(periods.values())


def shipped_periods() -> tuple[Period, ...]:
    """The periods that come with pitbird, with their sources."""
    text = resources.files("pitbird.services").joinpath("retention.toml").read_text(encoding="utf-8")
    periods, faults = parse_periods(text)
    if faults:
        raise PeriodsRefused("retention.toml of the package", faults)
    return periods


def parse_periods(text: str, *, own: bool = False) -> tuple[tuple[Period, ...], tuple[Fault, ...]]:
    """Periods from a TOML text, or every fault in it at once."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        return (), (Fault("file", "", f"not TOML: {fault}"),)
    faults = [
        Fault(str(key), "", "no such field; use [[period]] only") for key in document if key != "period"
    ]
    given = document.get("period", [])
    if not isinstance(given, list):
        return (), (*faults, Fault("period", shown(given), "write each period as [[period]] with its fields"))
    periods: list[Period] = []
    for place, item in enumerate(given, start=1):
        if not isinstance(item, Mapping):
            faults.append(Fault(f"period[{place}]", shown(item), "write it as [[period]] with its fields"))
            continue
        found = list(_faults_of(item, place, {period.id for period in periods}))
        faults += found
        if not found:
            periods.append(_period(item, own))
    return (() if faults else tuple(periods)), tuple(faults)


def _period(item: Mapping[str, Any], own: bool) -> Period:
    texts = {name: item[name].strip() for name in ("about", "source", "edition")}
    return Period(
        id=item["id"],
        kinds=tuple(dict.fromkeys(item["kinds"])),
        start=item["from"],
        years=item["years"],
        applies=item["applies"],
        known=item["known"],
        own=own,
        **texts,
    )


def _faults_of(item: Mapping[str, Any], place: int, before: set[str]) -> list[Fault]:
    """Every fault of one period; where it has an id, the faults name it."""
    name = item.get("id")
    where = f"period[{place}]" + (f" ({name})" if isinstance(name, str) and _ID.fullmatch(name) else "")
    faults: list[Fault] = []

    def fault(field: str, problem: str) -> None:
        value = shown(item[field]) if field in item else ""
        faults.append(Fault(f"{where}.{field}", value, problem if value else f"not given; {problem}"))

    for key in item:
        if key not in _FIELDS:
            close = get_close_matches(key, _FIELDS, n=1)
            fault(key, f"no such field{f'; did you mean {close[0]}?' if close else ''}")
    if type(name) is not str or not _ID.fullmatch(name):
        fault("id", "write small letters, digits and dashes, such as permit-tests")
    elif name in before:
        fault("id", "stands twice in this file; keep one of the two")
    for field in ("about", "source", "edition"):
        text = item.get(field)
        if type(text) is not str or not text.strip():
            fault(field, 'write a line of text (edition = "none" where there is none)')
    if item.get("from") not in FROM:
        fault("from", f"write {listed(FROM)}")
    years = item.get("years")
    if type(years) is not int or not 0 <= years <= LONGEST:
        fault("years", f"write whole years, from 0 to {LONGEST}")
    if type(item.get("applies")) is not bool:
        fault("applies", "write true or false")
    if item.get("known") not in KNOWN:
        fault("known", f"how well the source is known: write {listed(KNOWN)}")
    problem = _kinds_problem(item.get("kinds"), item.get("from"))
    if problem:
        fault("kinds", problem)
    return faults


def _kinds_problem(kinds: object, start: object) -> str:
    known = {*KINDS, WHO_SAW}
    if not isinstance(kinds, list) or not kinds or not all(type(kind) is str for kind in kinds):
        return 'list at least one kind of entry, such as ["bump-test"]'
    for kind in kinds:
        if kind not in known:
            close = get_close_matches(kind, known, n=1)
            return f"no kind is called {kind!r}{f'; did you mean {close[0]}?' if close else ''}"
    if WHO_SAW in kinds and (start != "entry" or len(kinds) > 1):
        return f'{WHO_SAW!r} stands alone, with from = "entry"'
    return ""


def years_after(day: date, years: int) -> date:
    """The same day so many years later; 29 February becomes 1 March, which is the longer."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)
