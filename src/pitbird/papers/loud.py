"""What is printed loudly of a detector wherever it is named, and the stamp of a decision."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms
from pitbird.papers import sheet
from pitbird.papers.reading import Reader
from pitbird.rules import words
from pitbird.rules.decision import Decision, Outcome, Verdict

_HEADS: Final = {
    Verdict.MAY_GO_OUT: "May go out",
    Verdict.NOT_YET: "Not yet",
    Verdict.OUT_OF_SERVICE: "Out of service",
    Verdict.CANNOT_TELL: "Cannot tell",
}


@dataclass(frozen=True)
class Untested:
    """An issue without a test that is in force."""

    to: str
    authority: str
    until: Ms


@dataclass(frozen=True)
class LoudOf:
    """What is loud of a detector at a moment: held for an incident, issued untested, lives that end (last
    day, channel or "", days left), how many entries are left out for their clock."""

    held_since: Ms | None = None
    untested: Untested | None = None
    endings: tuple[tuple[str, str, int], ...] = ()
    left_out: int = 0


def loud_lines(found: LoudOf, reader: Reader) -> tuple[str, ...]:
    """Each loud thing in a sentence; empty for none."""
    lines = []
    if found.held_since is not None:
        since = reader.moment(found.held_since)
        lines.append(f"HELD FOR AN INVESTIGATION since {since}: do not test, zero or charge it.")
    if found.untested is not None:
        lines.append(
            f"ISSUED UNTESTED to {reader.named(found.untested.to)} until "
            f"{reader.moment(found.untested.until)}, on the authority of "
            f"{reader.named(found.untested.authority)}."
        )
    lines += [_ending(*ending, reader) for ending in found.endings]
    if found.left_out:
        plural = "entry" if found.left_out == 1 else "entries"
        lines.append(f"{found.left_out} {plural} about it left out: their clock cannot be right.")
    return tuple(lines)


def _ending(day: str, channel: str, days_left: int, reader: Reader) -> str:
    whose = f"The life of sensor {channel}" if channel else "Its life"
    if days_left < 0:
        return f"{whose} ENDED on {reader.day(day)}."
    return f"{whose} ends on {reader.day(day)}."


def loud_part(found: LoudOf, reader: Reader) -> tuple[sheet.Part, ...]:
    """The frame with what is loud; none where nothing is."""
    lines = loud_lines(found, reader)
    return (sheet.Loud("Look here first", lines),) if lines else ()


def stamp(decision: Decision, state: DetectorState, reader: Reader) -> sheet.Stamp:
    """A decision as a stamp with its time; a yes always with its end."""
    verdict = decision.verdict
    time = f"as of {reader.moment(decision.as_of)}"
    if verdict is Verdict.MAY_GO_OUT:
        time = f"until {reader.moment(decision.until)}" if decision.until is not None else ""
    elif verdict is Verdict.OUT_OF_SERVICE and state.open_reasons:
        time = f"since {reader.moment(min(reason.at for reason in state.open_reasons))}"
    elif verdict is Verdict.NOT_YET:
        counted = next((test.at for test in state.tests if test.entry == decision.test), None)
        time = f"last pass {reader.moment(counted)}" if counted is not None else "no pass that counts"
    return sheet.Stamp(verdict.value, _HEADS[verdict], time)


def findings(decision: Decision, reader: Reader, *, every: bool = True) -> sheet.Findings:
    """The reasons of a decision, what speaks against it first; those that do not apply are left out."""
    found = decision.findings if every else decision.telling
    order = {Outcome.NOT_MET: 0, Outcome.UNKNOWN: 1, Outcome.MET: 2}
    kept = [each for each in found if each.outcome in order]
    kept.sort(key=lambda each: (not each.decisive, order[each.outcome], each.strength == "warns"))
    return sheet.Findings(
        tuple(
            sheet.Finding(
                each.outcome.value,
                each.strength,
                _word(each.outcome, each.strength),
                words.sentence(
                    each,
                    zone=reader.zone,
                    gettext=str,
                    names=reader.names,
                    clock=lambda at, _: reader.moment(at),
                ),
                words.remedy(each, gettext=str) if each.outcome is not Outcome.MET else "",
                words.source(each, gettext=str),
            )
            for each in kept
        )
    )


def _word(outcome: Outcome, strength: str) -> str:
    if outcome is Outcome.MET:
        return "met"
    if outcome is Outcome.UNKNOWN:
        return "not known"
    return "warns" if strength == "warns" else "stops"


def reason(decision: Decision, reader: Reader) -> tuple[str, ...]:
    """Why not, and what to do; what only warns after it. Empty for a yes without a warning."""
    found = findings(decision, reader, every=False).findings
    return tuple(" ".join(filter(None, (each.sentence, each.remedy))) for each in found)


def lapsed(day: str | None, today: date) -> bool:
    """Whether a last day is past, or cannot be read."""
    if not day:
        return False
    try:
        return date.fromisoformat(day) < today
    except ValueError:
        return True


def lines_or(lines: Iterable[str], nothing: str) -> sheet.Part:
    """A list, or the sentence that there is none."""
    listed = tuple(lines)
    return sheet.Listed(listed) if listed else sheet.Empty(nothing)
