"""The words of the site rules, in the language of the command line."""

from __future__ import annotations

from pitbird.rules import words
from pitbird.rules.decision import Finding, Outcome, Verdict

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
