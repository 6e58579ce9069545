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
from pitbird.rules.words import Gettext, Message

_HEADS: Final[dict[Verdict, Message]] = {
    Verdict.MAY_GO_OUT: lambda _: _("May go out"),
    Verdict.NOT_YET: lambda _: _("Not yet"),
    Verdict.OUT_OF_SERVICE: lambda _: _("Out of service"),
    Verdict.CANNOT_TELL: lambda _: _("Cannot tell"),
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
    _ = reader.gettext
    lines = []
    if found.held_since is not None:
        said = _("HELD FOR AN INVESTIGATION since {since}: do not test, zero or charge it.")
        lines.append(said.format(since=reader.moment(found.held_since)))
    if found.untested is not None:
        said = _("ISSUED UNTESTED to {to} until {until}, on the authority of {authority}.")
        lines.append(
            said.format(
                to=reader.named(found.untested.to),
                until=reader.moment(found.untested.until),
                authority=reader.named(found.untested.authority),
            )
        )
    lines += [_ending(*ending, reader) for ending in found.endings]
    if found.left_out == 1:
        lines.append(_("1 entry about it left out: their clock cannot be right."))
    elif found.left_out:
        said = _("{count} entries about it left out: their clock cannot be right.")
        lines.append(said.format(count=found.left_out))
    return tuple(lines)


def _ending(day: str, channel: str, days_left: int, reader: Reader) -> str:
    _ = reader.gettext
    if days_left < 0:
        said = _("The life of sensor {channel} ENDED on {day}.") if channel else _("Its life ENDED on {day}.")
    else:
        said = _("The life of sensor {channel} ends on {day}.") if channel else _("Its life ends on {day}.")
    return said.format(channel=channel, day=reader.day(day))


def loud_part(found: LoudOf, reader: Reader) -> tuple[sheet.Part, ...]:
    """The frame with what is loud; none where nothing is."""
    lines = loud_lines(found, reader)
    return (sheet.Loud("Look here first", lines),) if lines else ()


def stamp(decision: Decision, state: DetectorState, reader: Reader) -> sheet.Stamp:
    """A decision as a stamp with its time; a yes always with its end."""
    _ = reader.gettext
    verdict = decision.verdict
    said, at = _("as of {time}"), decision.as_of
    if verdict is Verdict.MAY_GO_OUT:
        if decision.until is None:
            return _stamp(Verdict.CANNOT_TELL, _("no end time is known"), reader)
        said, at = _("until {time}"), decision.until
    elif verdict is Verdict.OUT_OF_SERVICE and state.open_reasons:
        said, at = _("since {time}"), min(reason.at for reason in state.open_reasons)
    elif verdict is Verdict.NOT_YET:
        counted = next((test.at for test in state.tests if test.entry == decision.test), None)
        if counted is None:
            return _stamp(verdict, _("no pass that counts"), reader)
        said, at = _("last pass {time}"), counted
    return _stamp(verdict, said.format(time=reader.moment(at)), reader)


def _stamp(verdict: Verdict, time: str, reader: Reader) -> sheet.Stamp:
    return sheet.Stamp(verdict.value, _HEADS[verdict](reader.gettext), time, reader.language)


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
                _word(each.outcome, each.strength, reader.gettext),
                words.sentence(
                    each,
                    zone=reader.zone,
                    gettext=reader.gettext,
                    names=reader.names,
                    clock=lambda at, _: reader.moment(at),
                    day=reader.day,
                    number=reader.number,
                ),
                words.remedy(each, gettext=reader.gettext) if each.outcome is not Outcome.MET else "",
                words.source(each, gettext=reader.gettext),
            )
            for each in kept
        ),
        reader.language,
    )


def _word(outcome: Outcome, strength: str, _: Gettext) -> str:
    if outcome is Outcome.MET:
        return _("met")
    if outcome is Outcome.UNKNOWN:
        return _("not known")
    return _("warns") if strength == "warns" else _("stops")


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
