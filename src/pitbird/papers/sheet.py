"""A page of the record book, as values: what a paper is put together from before it is typeset.

A paper is a ``Sheet``: its title, the answer under it, what must not be overlooked, sections, what it shows
and what not, and the reference by which anyone can hold it against a bundle of the book. Words stand in it
as they are to be read; ``print_sheet`` makes the PDF.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import msgspec

from pitbird.papers.typesetting import Paper, qr, typeset


class Keyed(msgspec.Struct, frozen=True, tag_field="is", tag="keyed"):
    """A serial or lot number or a hash, set in letters that cannot be mixed up."""

    text: str


class Strong(msgspec.Struct, frozen=True, tag_field="is", tag="strong"):
    """Words in bold."""

    text: str


class Stamp(msgspec.Struct, frozen=True, tag_field="is", tag="stamp"):
    """A verdict ("may-go-out", "not-yet", "out-of-service", "cannot-tell") with its words and its time.

    Small in a table, large as a part of its own. A "may-go-out" without a time is printed as "cannot tell".
    ``lang`` is the language of its words.
    """

    verdict: str
    words: str
    time: str = ""
    lang: str = "en"

    def __post_init__(self) -> None:
        """Never print a yes without its end."""
        if self.verdict == "may-go-out" and not self.time:
            msgspec.structs.force_setattr(self, "verdict", "cannot-tell")
            msgspec.structs.force_setattr(self, "words", "Cannot tell")
            msgspec.structs.force_setattr(self, "time", "no end time is known")
            msgspec.structs.force_setattr(self, "lang", "en")


One = str | Keyed | Strong | Stamp
#: What a cell, a value or a line may hold: one, or several one under another.
Words = One | tuple[One, ...]


class Facts(msgspec.Struct, frozen=True, tag_field="is", tag="facts"):
    """The printed form: terms and their values, two of them ``across`` where they are short."""

    pairs: tuple[tuple[str, Words], ...]
    across: int = 1


class Text(msgspec.Struct, frozen=True, tag_field="is", tag="text"):
    """A paragraph."""

    words: Words


class Listed(msgspec.Struct, frozen=True, tag_field="is", tag="listed"):
    """Several things, one a line."""

    lines: tuple[Words, ...]


class Empty(msgspec.Struct, frozen=True, tag_field="is", tag="empty"):
    """Where there is nothing, the sentence that says so between two rules."""

    words: Words


class Table(msgspec.Struct, frozen=True, tag_field="is", tag="table"):
    """A ruled table; ``sides`` "left" or "right" and ``widths`` (relative; 0: as needed) per column."""

    head: tuple[str, ...]
    rows: tuple[tuple[Words, ...], ...]
    widths: tuple[float, ...] | None = None
    sides: tuple[str, ...] | None = None


class Loud(msgspec.Struct, frozen=True, tag_field="is", tag="loud"):
    """What must not be overlooked, in a heavy frame."""

    head: str
    lines: tuple[Words, ...] = ()


class Finding(msgspec.Struct, frozen=True):
    """One finding: ``outcome`` "met", "not-met" or "unknown", ``strength`` "stops" or "warns"."""

    outcome: str
    strength: str
    word: str
    sentence: str
    remedy: str = ""
    source: str = ""


class Findings(msgspec.Struct, frozen=True, tag_field="is", tag="findings"):
    """The reasons of a decision, in the language ``lang``."""

    findings: tuple[Finding, ...]
    lang: str = "en"


class Figure(msgspec.Struct, frozen=True, tag_field="is", tag="figure"):
    """A drawing (SVG) with its words for those who cannot see it; as wide as the column, or so many mm."""

    svg: str
    alt: str
    width_mm: float | None = None


class Lines(msgspec.Struct, frozen=True, tag_field="is", tag="lines"):
    """Lines to sign on, side by side."""

    terms: tuple[str, ...]


Part = Facts | Text | Listed | Empty | Table | Loud | Findings | Figure | Lines | Stamp


class Section(msgspec.Struct, frozen=True):
    """Parts under a heading, which stands in the margin, or above them where they are ``wide``."""

    title: str
    parts: tuple[Part, ...]
    wide: bool = False


class Leaf(msgspec.Struct, frozen=True):
    """An entry as the book holds it: by its leaf it is found in a bundle."""

    book: str
    entry: str
    index: int
    leaf_hash: bytes

    def reference(self) -> str:
        """``pitbird-leaf/1 BOOK INDEX LEAFHASH``: what the QR code says, to check without network."""
        return f"pitbird-leaf/1 {self.book} {self.index} {self.leaf_hash.hex()}"


class Sealed(msgspec.Struct, frozen=True):
    """A checkpoint of the book as a paper names it."""

    origin: str
    size: int
    root: bytes


class Standing(msgspec.Struct, frozen=True):
    """How a paper stands to the book: the entry it is about, the checkpoint it stands under, and in words
    what is amiss with that (none made, an older one, not yet covering the entry); ``alarm`` where the book
    cannot be relied on, which then stands first on the paper."""

    leaf: Leaf | None
    checkpoint: Sealed | None
    said: tuple[str, ...] = ()
    alarm: str = ""


class Sheet(msgspec.Struct, frozen=True):
    """A whole paper. ``running`` stands at the head of each page, ``foot`` at its foot."""

    title: str
    running: str
    foot: str
    opening: tuple[Part, ...]
    sections: tuple[Section, ...]
    shows: tuple[str, ...]
    shows_not: tuple[str, ...]
    standing: Standing
    answer: tuple[Words, ...] = ()
    locale: str = "en-GB"


#: What every paper ends with.
DEFERS: Final = (
    "The instrument’s manual, the site’s own rules, the law of the place and the advice of a competent "
    "person come before anything printed here."
)
_TERMS: Final = {
    "entry": "Entry",
    "index": "Index in the book",
    "leaf": "Leaf hash",
    "origin": "Checkpoint of",
    "size": "Entries in it",
    "root": "Root hash, short",
}


def print_sheet(sheet: Sheet, *, made_at: datetime, paper: Paper = "a4") -> bytes:
    """The PDF of a sheet (see ``typesetting.typeset``)."""
    parts = [
        *sheet.sections,
        Section("What it shows", (Listed(sheet.shows),)),
        Section("What it does not show", (Listed((*sheet.shows_not, DEFERS)),)),
    ]
    reference = {
        "title": "Where it stands in the book",
        "wide": False,
        "blocks": [_reference(sheet.standing)],
    }
    alarm = (Loud("Do not rely on this paper", (sheet.standing.alarm,)),) if sheet.standing.alarm else ()
    data = {
        "title": sheet.title,
        "lang": sheet.locale if sheet.locale.startswith("en") else "en",
        "running": sheet.running,
        "foot": sheet.foot,
        "page": ["page", "of"],
        "answer": msgspec.to_builtins(sheet.answer),
        "opening": msgspec.to_builtins((*alarm, *sheet.opening)),
        "sections": [*(_section(part) for part in parts), reference],
    }
    return typeset("sheet", data, made_at=made_at, paper=paper)


def _section(section: Section) -> dict[str, object]:
    return {"title": section.title, "wide": section.wide, "blocks": msgspec.to_builtins(section.parts)}


def _reference(standing: Standing) -> dict[str, object]:
    leaf, sealed = standing.leaf, standing.checkpoint
    named: dict[str, object] = {"is": "reference", "terms": _TERMS, "standing": list(standing.said)}
    named["checkpoint"] = sealed and {
        "origin": sealed.origin,
        "size": str(sealed.size),
        "root": sealed.root.hex()[:16],
    }
    if leaf is not None:
        text = leaf.reference()
        named |= {"entry": leaf.entry, "index": str(leaf.index), "leaf": leaf.leaf_hash.hex()}
        named |= {"qr": qr(text), "alt": f"QR code: {text}"}
    return named


def lines(*each: One | None) -> Words:
    """Several words one under another, those that are none left out."""
    found: Sequence[One] = [one for one in each if one]
    return found[0] if len(found) == 1 else tuple(found)
