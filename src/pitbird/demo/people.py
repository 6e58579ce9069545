"""The invented people of the undertaking, and what they write when they write something."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_TARVELA: Final = "site:tarvela-works"
_OMBREL: Final = "site:ombrel-digesters"
_RIBALVA: Final = "site:ribalva-sewers"
_HULMAR: Final = "site:hulmar-workshop"


@dataclass(frozen=True, slots=True)
class Somebody:
    """A person: an id for the book, a name that is kept apart from it, what they do, where they belong."""

    id: str
    name: str
    home: str
    roles: tuple[str, ...]


_WEARS: Final = ("tester", "wearer")

PEOPLE: Final[tuple[Somebody, ...]] = (
    Somebody("person:P-01", "Ilda Morvane", _HULMAR, ("keeper", "tester", "competent")),
    Somebody("person:P-02", "Rasmo Tilbeck", _HULMAR, ("trainer", "competent", "tester", "wearer")),
    Somebody("person:P-03", "Odile Fanquer", _HULMAR, ("competent", "tester", "wearer")),
    Somebody("person:P-04", "Bento Harraz", _OMBREL, ("competent", "keeper", "tester", "wearer")),
    Somebody("person:P-05", "Lucia Penhalt", _TARVELA, ("trainer", "tester", "wearer")),
    Somebody("person:P-06", "Joab Currel", _TARVELA, _WEARS),
    Somebody("person:P-07", "Nuria Sandelo", _TARVELA, _WEARS),
    Somebody("person:P-08", "Tomé Varrick", _TARVELA, _WEARS),
    Somebody("person:P-09", "Greta Louvim", _TARVELA, _WEARS),
    Somebody("person:P-10", "Aldo Quintrel", _TARVELA, _WEARS),
    Somebody("person:P-11", "Mirela Douge", _TARVELA, _WEARS),
    Somebody("person:P-12", "Caio Ferrant", _TARVELA, _WEARS),
    Somebody("person:P-13", "Salomé Wendt", _OMBREL, _WEARS),
    Somebody("person:P-14", "Duarte Ilvo", _OMBREL, _WEARS),
    Somebody("person:P-15", "Petra Omboni", _OMBREL, _WEARS),
    Somebody("person:P-16", "Hugo Lantier", _OMBREL, _WEARS),
    Somebody("person:P-17", "Zelda Carpim", _OMBREL, _WEARS),
    Somebody("person:P-18", "Ivo Brandel", _OMBREL, _WEARS),
    Somebody("person:P-19", "Clara Nespra", _OMBREL, _WEARS),
    Somebody("person:P-20", "Elmo Rastevo", _RIBALVA, _WEARS),
    Somebody("person:P-21", "Inês Tavarol", _RIBALVA, _WEARS),
    Somebody("person:P-22", "Marlo Dessin", _RIBALVA, _WEARS),
    Somebody("person:P-23", "Yara Pontrel", _RIBALVA, _WEARS),
    Somebody("person:P-24", "Otto Meirol", _HULMAR, _WEARS),
    Somebody("person:P-25", "Sancha Bruvel", _HULMAR, _WEARS),
)

KEEPER: Final = "person:P-01"
TRAINER: Final = "person:P-02"
LAPSES_AT_THE_END: Final = "person:P-17"
"""The tester whose training has run out by the morning of the demo."""
LAPSES_FOR_A_WHILE: Final = "person:P-07"
"""The tester whose training ran out for some weeks in the middle of the history."""


def competent(site: str) -> str:
    """Who calibrates and repairs at a site."""
    return {_OMBREL: "person:P-04", _TARVELA: "person:P-03"}.get(site, "person:P-02")


DETECTOR_NOTES: Final = (
    "Clip is loose, still holds. New one ordered.",
    "Label with the number is wearing off.",
    "Display scratched, readable.",
    "Charging contact cleaned.",
    "Pump sounds louder than the others. Flow is right.",
    "Case cracked at one corner, inlet side whole.",
)
SITE_NOTES: Final = (
    "Test bench moved to the covered yard; the old corner had exhaust from the van.",
    "Contractor asked to see the book for last month; shown.",
    "Two detectors on loan to the island for the week.",
    "Nobody in the store before seven on Thursday, key with the control room.",
)
DROP_NOTES: Final = (
    "Fell from the belt on the grating, about a metre and a half.",
    "Slipped out of the pocket at the ladder.",
    "Knocked off the bench.",
)
WATER_NOTES: Final = ("Went under while the hatch was rinsed.", "Soaked by the jetting lance.")
FAIL_NOTES: Final = (
    "Gas on for the whole time, nothing came on that channel.",
    "Tried the hood twice before writing it down.",
    "Other detectors passed on the same cylinder just before.",
)
WRONG_DETECTOR: Final = "The label of the neighbour on the rack was scanned."
WRONG_OUTCOME: Final = "The wrong box was ticked; everything came, seen by two people."
UNTESTED_REASONS: Final = (
    "Test gas ran out; pump blocked and sewage rising. A second, tested detector goes along.",
    "Regulator broken at the island; one hour's reading of the inlet from outside the shaft only.",
)
