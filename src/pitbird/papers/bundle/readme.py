"""``README.txt`` of an audit bundle: what it shows and what it cannot, and how to check it. Plain words."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

WIDTH: Final = 88


@dataclass(frozen=True)
class Told:
    """What the text says of this one bundle; ``asked`` are lines as a reader wants them."""

    title: str
    origin: str
    size: int
    entries: int
    subjects: int
    asked: Sequence[tuple[str, str]]
    since: str | None
    until: str | None
    verifiers: Sequence[str] = ("verify.py", "verify.html")
    pages: Sequence[tuple[str, str]] = ()
    left_out: Sequence[str] = ()


def readme(told: Told) -> bytes:
    """The text, UTF-8 with line feeds; long lines are broken at spaces."""
    parts = [
        _heading("AUDIT BUNDLE", "="),
        _paragraph(
            f"A part of the record book “{told.title}”, made for somebody who checks it: {told.entries} of "
            f"the {told.size} entries that the book held. Nothing but this file and one number from its "
            "keeper is needed to check it: no account, no network, and not the program that made it."
        ),
        _listed(told.asked),
        _heading("What it shows"),
        _items(_shows(told)),
        _heading("What it does not show"),
        _items(_split(_NOT_SHOWN)),
        _heading("How to check it"),
        _paragraphs(_FINGERPRINT),
        _items(_ways(told.verifiers)),
        _paragraphs(_ANSWER),
        _heading("What is here"),
        _items(_split(_FILES)),
        _pages(told.pages),
        _left_out(told.left_out),
        _heading("Cautions"),
        _paragraphs(_CAUTIONS),
    ]
    return ("\n".join(part for part in parts if part)).encode()


def _shows(told: Told) -> Iterable[str]:
    yield (
        f"Unaltered: each entry here stood, exactly so, in the book of {told.size} entries ({told.origin}) "
        "whose head its keeper signed."
    )
    yield (
        f"Complete: about each of the {told.subjects} things, people and places in scope.json not one entry "
        "is missing, up to the last that the book held. Entries are numbered for each of them, and the "
        "signed census says how many there are."
    )
    if told.since is not None:
        yield (
            f"For detectors this goes for everything recorded from {told.since} on; at least one entry from "
            "before is here as a fence. Cylinders, places, the book itself and people who were asked for are "
            "here from their first entry. Of others who tested, what was written about themselves and their "
            "training is here, and nothing is claimed of the rest."
        )
    if told.until is not None:
        yield (
            "What was written after the period asked for is among the entries too, since nothing could be "
            "shown to be complete without it; the pages keep to the period."
        )


_NOT_SHOWN: Final = """
That what was written down is true. Somebody who records a test that was never made makes an entry like any
other. Compare with gas used, with other papers, with people and with what you see.

That everything that was done was written down.

Anything about a thing, person or place that scope.json does not name. Entries about others may be here, since
one entry may be about several; of those nothing is claimed.

That an entry was written when it says it happened. When it happened and when it was recorded are both there;
pages/late.csv lists those far apart.

The names and texts that were erased or left out: they are told as withheld, and how many.
"""

_FILES: Final = """
entries.jsonl: the entries, one on each line, as JSON. This is the evidence.

checkpoint.note, census.json, tree.txt, scope.json, MANIFEST.note, key.txt, keys/: what shows that they are
unaltered and complete.

pages/: the same entries as tables (CSV for a spreadsheet, JSON Lines for a program), and papers. They are for
reading; where they and entries.jsonl differ, entries.jsonl counts. In the CSV files a cell that a spreadsheet
could take for a formula has an apostrophe before it; the JSON Lines have it as it is.
"""

_FINGERPRINT: Final = """
First get the fingerprint of the book's key from its keeper by another way than this file: by telephone, on
paper, or from a letter or page that you trusted before. A fingerprint that came together with the bundle, by
the same mail or on the same stick, shows nothing: who could change the one could change the other. Then use
one of these; two that agree are better than one:
"""

_ANSWER: Final = """
The answer is one of: it holds; consistent in itself (right as far as it goes, but no fingerprint was given:
somebody may have made all of it anew); it does not hold; refused (cannot be read as a bundle). There is no
part answer: one fault, and it does not hold. The faults say where.

Check the ZIP file as it came; packing it anew changes it. A checkpoint of this book that you
kept from an earlier audit shows more: give it too, and the verifier says whether the book only grew since.
"""

_CAUTIONS: Final = """
A passed bump test says that gas reached the sensors and that the alarms came. It says nothing about accuracy,
and nothing about the day after. No detector is called safe here. Local codes, the instrument's manual and
licensed practice come first.

The bundle may name people. Keep it as you would keep the book, and no longer than you need it.
"""


def _ways(verifiers: Sequence[str]) -> Iterable[str]:
    if "verify.html" in verifiers:
        yield (
            "Open verify.html in a browser; it works without a network. Choose the ZIP file, type the "
            "fingerprint."
        )
    if "verify.py" in verifiers:
        yield "With Python and its package cryptography: python3 verify.py BUNDLE.zip --key FINGERPRINT"
    yield "With the program (it needs no book of its own): pitbird verify BUNDLE.zip --key FINGERPRINT"
    yield "Or write your own: the form is described in docs/bundle.md of the program (pitbird-bundle/1)."
    if verifiers:
        yield (
            "A verifier that came inside the bundle could have been changed with it. Where much depends on "
            "the answer, take it from where you trust it: the program's own source."
        )


def _heading(text: str, under: str = "-") -> str:
    return f"{text}\n{under * len(text)}\n"


def _split(text: str) -> list[str]:
    """The paragraphs of a text, each on one line."""
    return [" ".join(part.split()) for part in text.split("\n\n")]


def _paragraphs(text: str) -> str:
    return "\n".join(map(_paragraph, _split(text)))


def _paragraph(text: str) -> str:
    return textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False) + "\n"


def _items(texts: Iterable[str]) -> str:
    return "".join(
        textwrap.fill(
            text,
            WIDTH,
            initial_indent="- ",
            subsequent_indent="  ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        + "\n"
        for text in texts
    )


def _listed(pairs: Sequence[tuple[str, str]]) -> str:
    wide = max((len(term) for term, _ in pairs), default=0) + 2
    return "".join(
        textwrap.fill(
            value,
            WIDTH,
            initial_indent=f"  {term.ljust(wide)}",
            subsequent_indent=" " * (wide + 2),
            break_long_words=False,
            break_on_hyphens=False,
        )
        + "\n"
        for term, value in pairs
    )


def _pages(pages: Sequence[tuple[str, str]]) -> str:
    if not pages:
        return ""
    return "In pages/:\n" + _listed(pages)


def _left_out(said: Sequence[str]) -> str:
    text = _paragraph(
        "In pages/papers/: the same as papers to print. They bear the time of the last entry of the book, "
        "not that at which the bundle was made."
    )
    return text if not said else f"{text}\nPapers that are not here:\n{_items(said)}"
