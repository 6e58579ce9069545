"""The morning sheet for the wall: what may go out at a site, what not yet and why, what is out of service."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms
from pitbird.papers.loud import LoudOf, loud_lines, reason, stamp
from pitbird.papers.reading import Reader, capital, code
from pitbird.papers.sheet import Empty, Keyed, Loud, One, Part, Section, Sheet, Standing, Strong, Table, Words
from pitbird.rules.decision import Decision, Verdict

_HEADS = {
    Verdict.OUT_OF_SERVICE: "Out of service",
    Verdict.CANNOT_TELL: "Cannot tell",
    Verdict.NOT_YET: "Not yet",
    Verdict.MAY_GO_OUT: "May go out",
}


@dataclass(frozen=True)
class Line:
    """One detector with the decision about it and what is loud of it."""

    state: DetectorState
    decision: Decision
    loud: LoudOf


def sheet(site: str, as_of: Ms, lines: Sequence[Line], reader: Reader, standing: Standing) -> Sheet:
    """The sheet of a site, what stays in before what may go out."""
    place = reader.name(site)
    sections = []
    for verdict, head in _HEADS.items():
        found = [line for line in lines if line.decision.verdict is verdict]
        if found:
            rows = tuple(_row(line, reader) for line in found)
            table = Table(
                ("", "Detector", "Type, serial number", "Why, and what to do"), rows, (3.8, 1.2, 3.1, 4.9)
            )
            sections.append(Section(f"{head}: {len(found)}", (table,), wide=True))
    if not lines:
        sections.append(Section("Detectors", (Empty("The book knows no detector of this site."),)))
    return Sheet(
        title=f"What may go out: {place}",
        running=f"{place} · as of {reader.moment(as_of)}",
        foot=reader.foot(),
        answer=(Strong(_answer(lines)), f"As of {reader.moment(as_of)}."),
        opening=_opening(lines, reader),
        sections=tuple(sections),
        shows=("What the site rules made of the book at the moment printed above, and until when.",),
        shows_not=(
            "What happened after that moment: a drop or a failed test may have ended any yes here.",
            "Anything of a detector that is not on it. Where sheet and gate differ, the gate is right.",
            "Who has which detector. People are named by their codes, as everybody reads this.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def _answer(lines: Sequence[Line]) -> str:
    yes = sum(line.decision.verdict is Verdict.MAY_GO_OUT for line in lines)
    return f"{yes} of {len(lines)} may go out."


def _opening(lines: Sequence[Line], reader: Reader) -> tuple[Part, ...]:
    ends = [line.decision.until for line in lines if line.decision.until is not None]
    parts: list[Part] = []
    if ends:
        said = "After it ask the gate again, or print a new sheet. Then take this one down."
        parts.append(Loud(f"Not after {reader.moment(min(ends))}: the first yes ends then", (said,)))
    loud = [line for line in lines if line.loud.held_since is not None or line.loud.untested is not None]
    if loud:
        said_of: tuple[Words, ...] = tuple(
            f"{code(line.state.subject)}: {text}" for line in loud for text in loud_lines(line.loud, reader)
        )
        parts.append(Loud("Look here first", said_of))
    return tuple(parts)


def _row(line: Line, reader: Reader) -> tuple[Words, ...]:
    state = line.state
    loud: tuple[One, ...] = tuple(Strong(each) for each in loud_lines(line.loud, reader))
    why: tuple[One, ...] = tuple(capital(each) for each in reason(line.decision, reader))
    kind = f"{state.make} {state.model}".strip() or "not described"
    return (
        stamp(line.decision, state, reader),
        Keyed(code(state.subject)),
        (kind, Keyed(state.serial)) if state.serial else kind,
        (*loud, *why) or "",
    )
