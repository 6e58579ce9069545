"""Exposure limits by named set, each with its source, its edition and how well the numbers are known.

Defaults for a calculation, never the law: limits change, and the law of the place, its present edition and
the person's own rules come first. Where a number stands here from memory it says so wherever it is shown.
A gas that has no limit in a set is not without danger: it may be a plain asphyxiant, or be limited elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from types import MappingProxyType
from typing import Final, Literal

from pitbird.science.gases import same_gas

Known = Literal["seen", "second hand", "memory", "unsure"]
KNOWN_WORDS: Final[dict[str, str]] = {
    "seen": "read in the source",
    "second hand": "as others quote the source",
    "memory": "from memory; check it against the source",
    "unsure": "from memory and unsure; check it against the source before use",
}


class UnknownSet(ValueError):
    """A set of limits that is not known."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Limits of one gas [ppm]; None where the set has none.

    ``twa_ppm``: mean over 8 hours. ``stel_ppm``: highest mean over 15 minutes. ``ceiling_ppm``: never to be
    passed, or, where ``ceiling_minutes`` is given, as a mean over so many minutes. ``peak_ppm``: the most
    above the ceiling, for ``peak_minutes`` at most. ``known``: of the least known of these numbers.
    """

    gas: str
    twa_ppm: float | None = None
    stel_ppm: float | None = None
    ceiling_ppm: float | None = None
    ceiling_minutes: float | None = None
    peak_ppm: float | None = None
    peak_minutes: float | None = None
    known: Known = "memory"
    #: Where it stands, when not in the table of the set; what to heed.
    note: str = ""

    def __str__(self) -> str:
        """``8 h 35 ppm, ceiling 200 ppm``."""
        minutes = f" over {self.ceiling_minutes:g} min" if self.ceiling_minutes else ""
        peak = f" for {self.peak_minutes:g} min" if self.peak_minutes else ""
        parts = (
            ("8 h {:g} ppm", self.twa_ppm),
            ("15 min {:g} ppm", self.stel_ppm),
            (f"ceiling {{:g}} ppm{minutes}", self.ceiling_ppm),
            (f"peak {{:g}} ppm{peak}", self.peak_ppm),
        )
        return ", ".join(words.format(value) for words, value in parts if value is not None)


@dataclass(frozen=True, slots=True)
class LimitSet:
    """A named set of limits, with its source and edition."""

    name: str
    title: str
    source: str
    edition: str
    limits: tuple[Limit, ...]

    def of(self, gas: str) -> Limit | None:
        """The limit of a gas by name, formula or CAS number; None if the set has none here."""
        return next((limit for limit in self.limits if same_gas(limit.gas, gas)), None)

    def cited(self, limit: Limit) -> str:
        """Source, edition, note and how well known, for standing beside a number."""
        note = f"; {limit.note}" if limit.note else ""
        return f"{self.source}, {self.edition}{note} ({KNOWN_WORDS[limit.known]})"


OSHA: Final = LimitSet(
    "osha-pel",
    "OSHA permissible exposure limits, general industry",
    "29 CFR 1910.1000, tables Z-1 and Z-2",
    "as in force in 2024",
    (
        Limit("carbon monoxide", 50, known="seen"),
        Limit("hydrogen sulfide", ceiling_ppm=20, peak_ppm=50, peak_minutes=10, known="seen",
              note="the peak once a shift, if no other exposure"),
        Limit("sulfur dioxide", 5, known="seen"),
        Limit("nitrogen dioxide", ceiling_ppm=5, known="seen"),
        Limit("nitric oxide", 25, known="seen"),
        Limit("ammonia", 50, known="seen"),
        Limit("chlorine", ceiling_ppm=1, known="seen"),
        Limit("hydrogen cyanide", 10, known="seen", note="skin"),
        Limit("carbon dioxide", 5000, known="seen"),
        Limit("ozone", 0.1),
        Limit("phosphine", 0.3),
        Limit("hydrogen chloride", ceiling_ppm=5),
        Limit("hydrogen fluoride", 3),
        Limit("chlorine dioxide", 0.1),
        Limit("formaldehyde", 0.75, 2, note="29 CFR 1910.1048"),
        Limit("ethylene oxide", 1, 5, note="29 CFR 1910.1047"),
        Limit("benzene", 1, 5, note="29 CFR 1910.1028"),
        Limit("toluene", 200, ceiling_ppm=300, peak_ppm=500, peak_minutes=10),
        Limit("n-pentane", 1000),
        Limit("n-hexane", 500),
        Limit("propane", 1000),
    ),
)  # fmt: skip

NIOSH: Final = LimitSet(
    "niosh-rel",
    "NIOSH recommended exposure limits",
    "NIOSH Pocket Guide to Chemical Hazards",
    "DHHS (NIOSH) 2005-149 and its web edition; the mean is over up to 10 hours",
    (
        Limit("carbon monoxide", 35, ceiling_ppm=200, known="second hand"),
        Limit("hydrogen sulfide", ceiling_ppm=10, ceiling_minutes=10, known="seen"),
        Limit("sulfur dioxide", 2, 5, known="seen"),
        Limit("nitrogen dioxide", stel_ppm=1, known="seen"),
        Limit("nitric oxide", 25),
        Limit("ammonia", 25, 35),
        Limit("chlorine", ceiling_ppm=0.5, ceiling_minutes=15, known="seen"),
        Limit("hydrogen cyanide", stel_ppm=4.7, note="skin"),
        Limit("carbon dioxide", 5000, 30_000),
        Limit("ozone", ceiling_ppm=0.1),
        Limit("phosphine", 0.3, 1),
        Limit("hydrogen chloride", ceiling_ppm=5),
        Limit("hydrogen fluoride", 3, ceiling_ppm=6, ceiling_minutes=15),
        Limit("chlorine dioxide", 0.1, 0.3),
        Limit("formaldehyde", 0.016, ceiling_ppm=0.1, ceiling_minutes=15),
        Limit("ethylene oxide", 0.1, ceiling_ppm=5, ceiling_minutes=10, note="less than 0.1"),
        Limit("benzene", 0.1, 1),
        Limit("toluene", 100, 150),
        Limit("n-pentane", 120, ceiling_ppm=610, ceiling_minutes=15),
        Limit("n-hexane", 50),
        Limit("propane", 1000),
    ),
)

ACGIH: Final = LimitSet(
    "acgih-tlv",
    "ACGIH threshold limit values",
    "ACGIH, TLVs and BEIs",
    "about 2024",
    (
        Limit("carbon monoxide", 25, known="second hand"),
        Limit("hydrogen sulfide", 1, 5, known="seen"),
        Limit("sulfur dioxide", stel_ppm=0.25, note="no 8-hour value"),
        Limit("nitrogen dioxide", 0.2),
        Limit("nitric oxide", 25),
        Limit("ammonia", 25, 35),
        Limit("chlorine", 0.1, 0.4, known="unsure", note="2018; 0.5 and 1 before"),
        Limit("hydrogen cyanide", ceiling_ppm=4.7, note="skin"),
        Limit("carbon dioxide", 5000, 30_000),
        Limit("ozone", 0.05, note="heavy work; 0.08 moderate, 0.1 light, 0.2 up to 2 hours"),
        Limit("phosphine", 0.05, ceiling_ppm=0.15, known="unsure", note="0.3 and 1 before 2019"),
        Limit("hydrogen chloride", ceiling_ppm=2),
        Limit("hydrogen fluoride", 0.5, ceiling_ppm=2, note="skin"),
        Limit("chlorine dioxide", ceiling_ppm=0.1, known="unsure", note="0.1 and 0.3 before 2018"),
        Limit("formaldehyde", 0.1, 0.3, note="2017; ceiling 0.3 before"),
        Limit("ethylene oxide", 1),
        Limit("benzene", 0.02, known="unsure", note="2024; 0.5 and 2.5 before"),
        Limit("toluene", 20),
        Limit("n-pentane", 1000),
        Limit("n-hexane", 50, note="skin"),
        Limit("isobutylene", 250),
    ),
)

EH40: Final = LimitSet(
    "eh40",
    "UK workplace exposure limits",
    "HSE, EH40/2005",
    "4th ed. (2020)",
    (
        Limit("carbon monoxide", 20, 100),
        Limit("hydrogen sulfide", 5, 10),
        Limit("sulfur dioxide", 0.5, 1),
        Limit("nitrogen dioxide", 0.5, 1),
        Limit("nitric oxide", 2),
        Limit("ammonia", 25, 35),
        Limit("chlorine", stel_ppm=0.5),
        Limit("hydrogen cyanide", 0.9, 4.5, note="skin"),
        Limit("carbon dioxide", 5000, 15_000),
        Limit("ozone", stel_ppm=0.2),
        Limit("phosphine", 0.1, 0.2),
        Limit("hydrogen chloride", 1, 5),
        Limit("hydrogen fluoride", 1.8, 3),
        Limit("chlorine dioxide", 0.1, 0.3),
        Limit("formaldehyde", 2, 2),
        Limit("ethylene oxide", 1, known="unsure", note="skin"),
        Limit("benzene", 1, note="skin"),
        Limit("toluene", 50, 100, note="skin"),
        Limit("n-pentane", 600),
        Limit("n-hexane", 20),
    ),
)

EU: Final = LimitSet(
    "eu",
    "EU limit values (indicative unless noted)",
    "Directives 2000/39/EC, 2006/15/EC, 2009/161/EU and (EU) 2017/164",
    "as of 2024; the member state's own limits are the law",
    (
        Limit("carbon monoxide", 20, 100),
        Limit("hydrogen sulfide", 5, 10),
        Limit("sulfur dioxide", 0.5, 1),
        Limit("nitrogen dioxide", 0.5, 1),
        Limit("nitric oxide", 2),
        Limit("ammonia", 20, 50),
        Limit("chlorine", stel_ppm=0.5),
        Limit("hydrogen cyanide", 0.9, 4.5, note="skin"),
        Limit("carbon dioxide", 5000, known="second hand"),
        Limit("phosphine", 0.1, 0.2),
        Limit("hydrogen chloride", 5, 10),
        Limit("hydrogen fluoride", 1.8, 3),
        Limit("formaldehyde", 0.3, 0.6, note="binding, Directive (EU) 2019/983"),
        Limit("benzene", 0.2, note="binding, Directive (EU) 2022/431, from April 2026"),
        Limit("toluene", 50, 100, note="skin"),
        Limit("n-pentane", 1000),
        Limit("n-hexane", 20),
    ),
)

SETS: Final[Mapping[str, LimitSet]] = MappingProxyType(
    {each.name: each for each in (OSHA, NIOSH, ACGIH, EH40, EU)}
)


@dataclass(frozen=True, slots=True)
class Idlh:
    """Immediately dangerous to life or health: an escape value, never one to work at [ppm]."""

    gas: str
    ppm: float
    known: Known = "memory"
    note: str = ""


IDLH_SOURCE: Final = "NIOSH, immediately dangerous to life or health (revised 1994, and later profiles)"
IDLH: Final[tuple[Idlh, ...]] = (
    Idlh("carbon monoxide", 1200, "second hand"),
    Idlh("hydrogen sulfide", 100, "seen"),
    Idlh("sulfur dioxide", 100, "seen"),
    Idlh("nitrogen dioxide", 13, "unsure", note="profile of 2017; 20 in 1994"),
    Idlh("nitric oxide", 100),
    Idlh("ammonia", 300),
    Idlh("chlorine", 10),
    Idlh("hydrogen cyanide", 50),
    Idlh("carbon dioxide", 40_000),
    Idlh("ozone", 5),
    Idlh("phosphine", 50),
    Idlh("hydrogen chloride", 50),
    Idlh("hydrogen fluoride", 30),
    Idlh("chlorine dioxide", 5),
    Idlh("formaldehyde", 20),
    Idlh("ethylene oxide", 800),
    Idlh("benzene", 500),
    Idlh("toluene", 500),
    Idlh("n-pentane", 1500, note="a tenth of the LFL"),
    Idlh("n-hexane", 1100, note="a tenth of the LFL"),
    Idlh("propane", 2100, note="a tenth of the LFL"),
)

#: Oxygen outside this is a hazardous atmosphere [% vol]: 29 CFR 1910.146(b) (read in the source).
OXYGEN_LOW_VOL_PCT: Final = 19.5
OXYGEN_HIGH_VOL_PCT: Final = 23.5


def limit_set(name: str) -> LimitSet:
    """The set of a name; ``UnknownSet`` with near names where there is none."""
    if name in SETS:
        return SETS[name]
    close = get_close_matches(name.lower(), SETS, n=2, cutoff=0.5)
    offer = f"; did you mean {' or '.join(close)}?" if close else "."
    raise UnknownSet(f"no set of exposure limits of that name{offer} There are {', '.join(SETS)}")


@lru_cache(maxsize=256)
def limits_of(gas: str) -> tuple[tuple[LimitSet, Limit], ...]:
    """Every limit of a gas that is known here, with the set it stands in."""
    found = ((each, each.of(gas)) for each in SETS.values())
    return tuple((each, limit) for each, limit in found if limit is not None)


def idlh(gas: str) -> Idlh | None:
    """The value immediately dangerous to life or health of a gas; None if not known here."""
    return next((each for each in IDLH if same_gas(each.gas, gas)), None)
