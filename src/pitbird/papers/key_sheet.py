"""The key sheet: by which key the book signs, to hand over on paper, so that it comes by another way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pitbird.papers.reading import Reader
from pitbird.papers.sheet import (
    Facts,
    Figure,
    Keyed,
    Lines,
    Listed,
    Part,
    Section,
    Sheet,
    Standing,
    Strong,
    Text,
    Words,
)
from pitbird.papers.typesetting import qr

#: Words on one line, so that they can be read aloud and ticked off.
_WORDS: Final = 6


@dataclass(frozen=True)
class Key:
    """A key of the book: its line (name+hash+base64), its fingerprint in groups, and the same in words."""

    line: str
    fingerprint: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Keys:
    """The key in use, and those that it was changed from, the first one first."""

    origin: str
    present: Key
    former: Sequence[Key] = ()


def sheet(keys: Keys, reader: Reader, standing: Standing) -> Sheet:
    """The sheet of a book's key."""
    changed: tuple[Section, ...] = ()
    if keys.former:
        rows: tuple[Words, ...] = tuple(Keyed(key.fingerprint) for key in keys.former)
        changed = (Section("Earlier keys", (Text(_LED_ON), Listed(rows))),)
    return Sheet(
        title="The key of the record book",
        running=f"key sheet · as of {reader.moment(reader.made_at)}",
        foot=reader.foot(),
        answer=(Strong("Keep it where you keep what you trust."),),
        opening=(Text(_WHAT),),
        sections=(
            Section("The fingerprint", (Facts(_facts(keys)),), wide=True),
            Section("The key itself", (_picture(keys.present), Text(Keyed(keys.present.line)))),
            *changed,
            Section("How to hand it over", (Listed(_HOW),)),
            Section("Handed over", (Lines(("By the keeper", "To", "On")),)),
        ),
        shows=("By which key the keeper of this book signs.",),
        shows_not=(
            "That no entry was changed or is missing: bundles and checkpoints show that.",
            "That the book is true: nothing on paper shows that.",
            "That this sheet comes from the keeper. Whoever hands it over answers for that.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def _facts(keys: Keys) -> tuple[tuple[str, Words], ...]:
    groups = keys.present.fingerprint.split()
    lines = [" ".join(groups[at : at + 4]) for at in range(0, len(groups), 4)]
    words = [
        " ".join(keys.present.words[at : at + _WORDS]) for at in range(0, len(keys.present.words), _WORDS)
    ]
    return (
        ("Book", Keyed(keys.origin)),
        ("Fingerprint (SHA-256)", tuple(map(Keyed, lines))),
        ("The same in words (BIP-39, English)", tuple(words)),
    )


def _picture(key: Key) -> Part:
    return Figure(qr(key.line), f"QR code: {key.line}", width_mm=36)


_WHAT = (
    "Whoever checks a bundle, a checkpoint or a paper of this book needs this fingerprint, by another way "
    "than what they check: a bundle that brings its own along shows only that it is consistent in itself. "
    "It is no secret. The words are for reading aloud; they open nothing."
)
_LED_ON = (
    "The key was changed. Whoever holds one of these is led on to the present key by the notes in a "
    "bundle (keys/), each signed by the old key and the new."
)
_HOW = (
    "On paper, from hand to hand; or read aloud by telephone to somebody whose voice you know.",
    "Not together with a bundle, and not by the same mail.",
    "Where it differs from what somebody holds: rely on neither, and find out why.",
)
