"""The words of the site rules, in the language of the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitbird.rules import words
from pitbird.rules.decision import Finding, Outcome, Verdict

if TYPE_CHECKING:
    from pitbird.fleet.state import DetectorState
    from pitbird.fleet.times import Ms

OUTCOMES = {
    Outcome.NOT_MET: "not met",
    Outcome.UNKNOWN: "not known",
    Outcome.MET: "met",
    Outcome.DOES_NOT_APPLY: "does not apply",
}


def plain(message: str) -> str:
    """The message as it is written in the source; the command line speaks English."""
    return message


def verdict_words(verdict: Verdict) -> str:
    """The verdict's name."""
    return words.verdict_words(verdict, gettext=plain)


def sentence(finding: Finding, zone: str | None, names: dict[str, str] | None = None) -> str:
    """What was found, in a sentence."""
    return words.sentence(finding, zone=zone, gettext=plain, names=names)


def remedy(finding: Finding) -> str:
    """What a person can do about it."""
    return words.remedy(finding, gettext=plain)


def source(finding: Finding) -> str:
    """Where the rule comes from, and how well that is known."""
    return words.source(finding, gettext=plain)


def loud(state: DetectorState, as_of: Ms, zone: str | None) -> list[str]:
    """What is said of a detector wherever it is named: held, issued untested, at or near its end."""
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time
    from pitbird.services.loud import loud as found_loud

    found, lines = found_loud(state, as_of, zone), []
    if found.held is not None:
        lines.append("HELD FOR AN INVESTIGATION: do not test, zero or charge it.")
    if (issue := found.untested) is not None:
        until, authority = show_time(issue.until, zone), code(issue.authority)
        lines.append(f"ISSUED UNTESTED to {code(issue.to)} until {until} on the authority of {authority}.")
    for ending in found.endings:
        what = f"sensor {ending.channel}" if ending.channel else "its life"
        verb = "ended" if ending.days_left < 0 else "ends"
        lines.append(f"{what[:1].upper()}{what[1:]} {verb} on {ending.day}.")
    if found.left_out:
        lines.append(f"Left out for their clock (see `pitbird doubts`): {found.left_out}.")
    return lines
