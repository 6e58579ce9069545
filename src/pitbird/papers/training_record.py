"""A training record: what a person was trained in, by whom, until when it holds, as the book has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from pitbird.fleet.state import PersonState
from pitbird.fleet.times import Ms, local, ms_of
from pitbird.papers.loud import lapsed
from pitbird.papers.reading import Reader, Written, capital, code, joined, topic_words, word
from pitbird.papers.sheet import (
    Empty,
    Facts,
    Keyed,
    Loud,
    Part,
    Section,
    Sheet,
    Standing,
    Strong,
    Table,
    Words,
)

TOPICS: Final = ("bump-test", "wearing", "calibration", "train-the-trainer")
#: What a role may not be acted in without.
_NEEDS: Final = {"tester": "bump-test", "wearer": "wearing", "competent": "calibration",
                 "trainer": "train-the-trainer"}  # fmt: skip


@dataclass(frozen=True)
class Person:
    """What the record is made from: the person, the training entries in the book's order, the moment."""

    state: PersonState
    entries: Sequence[Written]
    as_of: Ms


def sheet(person: Person, reader: Reader, standing: Standing) -> Sheet:
    """The training record of a person."""
    state = person.state
    name = reader.name(state.subject)
    today = local(person.as_of, reader.zone).date()
    held = [topic for topic in TOPICS if stands(person, topic, today) == "holds"]
    told = f"Holds now: {joined(map(topic_words, held))}." if held else "Nothing holds now."
    topics = tuple((capital(topic_words(topic)), _stands(person, topic, today, reader)) for topic in TOPICS)
    return Sheet(
        title=f"Training record of {name}",
        running=f"{code(state.subject)} · as of {reader.moment(person.as_of)}",
        foot=reader.foot(),
        answer=(Strong(told),),
        opening=_opening(person, today, reader),
        sections=(
            Section("The person", (Facts(_facts(state, name, reader)),)),
            Section("Where it stands", (Facts(topics),)),
            Section("Trainings", (_trainings(person, reader),), wide=True),
        ),
        shows=("That these trainings were written down, by whom and when, and until which day each holds.",),
        shows_not=(
            "What the training taught, or that the person still can do it.",
            "Trainings that nobody wrote down.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )  # fmt: skip


def stands(person: Person, topic: str, today: date) -> str:
    """How a person stands in a topic on a day: ``holds``, ``lapsed``, ``not passed`` or ``none``.

    The newest training decides, as it does at the gate.
    """
    fact = next((each for each in person.state.trainings if each.topic == topic), None)
    if fact is None:
        return "none"
    if not fact.passed:
        return "not passed"
    return "lapsed" if lapsed(fact.until, today) else "holds"


def _stands(person: Person, topic: str, today: date, reader: Reader) -> Words:
    how = stands(person, topic, today)
    fact = next((each for each in person.state.trainings if each.topic == topic), None)
    if fact is None:
        return "no training on record"
    if how == "not passed":
        return Strong(f"NOT PASSED, {reader.moment(fact.at)}")
    if how == "lapsed":
        return Strong(f"LAPSED: held until {reader.day(fact.until)}")
    return f"holds until {reader.day(fact.until)}" if fact.until else "holds, without an end"


def _opening(person: Person, today: date, reader: Reader) -> tuple[Part, ...]:
    lines: list[Words] = []
    for role in person.state.roles:
        topic = _NEEDS.get(role)
        if topic and stands(person, topic, today) != "holds":
            lines.append(f"May act as {word(role)}, but no training in {topic_words(topic)} holds.")
    if lapsed(person.state.left, today):
        lines.append(f"Left on {reader.day(person.state.left)}.")
    if person.state.doubtful:
        lines.append("Entries about this person are left out: their clock cannot be right.")
    return (Loud("Look here first", tuple(lines)),) if lines else ()


def _facts(state: PersonState, name: str, reader: Reader) -> tuple[tuple[str, Words], ...]:
    return (
        ("Name", name),
        ("Code", Keyed(code(state.subject))),
        ("May act as", joined(word(role) for role in state.roles) or "nothing"),
        ("Belongs to", reader.name(state.home) or "no site"),
        *((("Left on", reader.day(state.left)),) if state.left else ()),
    )


def _trainings(person: Person, reader: Reader) -> Part:
    rows = []
    for entry in person.entries:
        counts = entry.counts
        body = counts if counts is not None and counts.get("kind") == "training" else entry.body
        remark: Words = "counts"
        if entry.corrections:
            by = entry.corrections[-1].index
            replaced = counts is not None and counts.get("person") == person.state.subject
            remark = (
                f"replaced by entry {by}; printed as it counts" if replaced else Strong(f"VOID by entry {by}")
            )
        if entry.entry_id in person.state.doubtful:
            remark = Strong("LEFT OUT: its clock cannot be right")
        passed = body.get("result", "passed") == "passed"
        rows.append(
            (
                str(entry.index),
                reader.short(ms_of(body["at"])),
                capital(topic_words(body["topic"])),
                "passed" if passed else Strong("NOT PASSED"),
                reader.day(body.get("valid_until")) if body.get("valid_until") else "no end",
                reader.name(body.get("trainer")) or "not stated",
                remark,
            )
        )
    if not rows:
        return Empty("No training is on record.")
    head = ("Entry", "When", "In what", "Result", "Holds until", "Trained by", "In the book")
    return Table(head, tuple(rows), (1, 3.6, 1.8, 1.4, 1.9, 2.3, 2.2), ("right", *("left",) * 6))
