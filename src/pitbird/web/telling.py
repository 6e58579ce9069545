"""Decisions as a page shows them: the stamp's words and time, the decisive sentence, every finding."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms
from pitbird.rules import words
from pitbird.rules.decision import Finding, Outcome, Verdict
from pitbird.services.gate import GateRow
from pitbird.services.loud import Ending, loud
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.language import number
from pitbird.web.names import Names


@dataclass(frozen=True)
class ToldFinding:
    """One finding in words."""

    outcome: str
    strength: str
    sentence: str
    remedy: str
    source: str
    rule: str
    code: str
    entries: tuple[str, ...]
    decisive: bool


@dataclass(frozen=True)
class ToldLoud:
    """One thing that is said of a detector wherever it is named; ``grave`` where it may hurt somebody."""

    sentence: str
    grave: bool


@dataclass(frozen=True)
class ToldDecision:
    """A decision in words."""

    subject: str
    code: str
    verdict: str
    words: str
    until: str
    when: str
    reason: str
    remedy: str
    findings: tuple[ToldFinding, ...]
    warnings: tuple[ToldFinding, ...]


def tell_finding(finding: Finding, zone: str | None, names: Names) -> ToldFinding:
    """A finding in words."""
    return ToldFinding(
        outcome=finding.outcome.value,
        strength=finding.strength,
        sentence=words.sentence(
            finding,
            zone=zone,
            gettext=_,
            names=names.mapping,
            clock=times.short,
            day=times.day_shown,
            number=number,
        ),
        remedy=words.remedy(finding, gettext=_) if finding.outcome is not Outcome.MET else "",
        source=words.source(finding, gettext=_),
        rule=finding.rule,
        code=finding.code,
        entries=finding.entries,
        decisive=finding.decisive,
    )


def tell_loud(state: DetectorState, as_of: Ms, zone: str | None, names: Names) -> tuple[ToldLoud, ...]:
    """Held for an investigation, issued untested, a life that ends soon or has ended; empty for none."""
    found, told = loud(state, as_of, zone), []
    if found.held is not None:
        said = _("Held for an investigation: do not test, zero or charge it.")
        told.append(ToldLoud(said, grave=True))
    if found.untested is not None:
        names.read([found.untested.authority])
        said = _("Issued untested until %(until)s. On the authority of %(authority)s.") % {
            "until": times.short(found.untested.until, zone),
            "authority": names(found.untested.authority),
        }
        told.append(ToldLoud(said, grave=True))
    told += [ToldLoud(ending_words(ending), grave=ending.days_left < 0) for ending in found.endings]
    if found.left_out:
        said = ngettext(
            "%d entry about it is left out: its clock cannot be right.",
            "%d entries about it are left out: their clock cannot be right.",
            found.left_out,
        )
        told.append(ToldLoud(said % found.left_out, grave=False))
    return tuple(told)


def ending_words(ending: Ending) -> str:
    """When a life ends or has ended, its last day included."""
    values = {"day": times.day_shown(ending.day), "channel": ending.channel}
    if ending.days_left < 0:
        if ending.channel:
            return _("The life of sensor %(channel)s ended on %(day)s.") % values
        return _("Its life ended on %(day)s.") % values
    left = _("today is its last day")
    if ending.days_left:
        left = ngettext("%d day left", "%d days left", ending.days_left) % ending.days_left
    if ending.channel:
        return _("Sensor %(channel)s ends on %(day)s: %(left)s.") % {**values, "left": left}
    return _("Ends on %(day)s: %(left)s.") % {**values, "left": left}


def subjects_in(findings: Iterable[Finding]) -> set[str]:
    """The people and things that findings name."""
    return {
        value
        for finding in findings
        for _name, value in finding.facts
        if value.startswith(("person:", "site:"))
    }


def tell_decision(row: GateRow, zone: str | None, names: Names, *, all_findings: bool = True) -> ToldDecision:
    """A decision in words; a yes always comes with its end, or it is no yes on the page."""
    decision = row.decision
    names.read(subjects_in(decision.findings if all_findings else decision.telling))
    yes = decision.verdict is Verdict.MAY_GO_OUT
    decisive = decision.decisive
    told = tell_finding(decisive, zone, names) if decisive is not None else None
    warnings = tuple(
        tell_finding(finding, zone, names)
        for finding in decision.telling
        if finding.strength == "warns" and finding.outcome in (Outcome.NOT_MET, Outcome.UNKNOWN)
    )
    return ToldDecision(
        subject=decision.detector,
        code=naming.code(decision.detector),
        verdict=decision.verdict.value,
        words=words.verdict_words(decision.verdict, gettext=_),
        until=times.short(decision.until, zone) if yes else "",
        when="" if yes else _when(row, zone),
        reason=told.sentence if told else "",
        remedy=told.remedy if told else "",
        findings=tuple(
            tell_finding(finding, zone, names)
            for finding in sorted(decision.findings if all_findings else (), key=_gravity)
        ),
        warnings=warnings,
    )


def _gravity(finding: Finding) -> tuple[bool, int]:
    """The decisive finding first, then what stops, what is not known, what warns, and what is met."""
    against = finding.outcome in (Outcome.NOT_MET, Outcome.UNKNOWN)
    if not against:
        return (True, 3)
    return (
        not finding.decisive,
        2 if finding.strength == "warns" else int(finding.outcome is Outcome.UNKNOWN),
    )


def _when(row: GateRow, zone: str | None) -> str:
    state, verdict = row.state, row.decision.verdict
    if verdict is Verdict.OUT_OF_SERVICE and state.open_reasons:
        return _("since %s") % times.short(min(reason.at for reason in state.open_reasons), zone)
    if verdict is Verdict.NOT_YET:
        counted = next((test.at for test in state.tests if test.entry == row.decision.test), None)
        return _("last pass %s") % times.short(counted, zone) if counted else _("no pass that counts")
    return _("as of %s") % times.short(row.decision.as_of, zone)


#: Numbers up to twelve in words, as a book writes them.
def count_words(number: int) -> str:
    """``four`` for 4, ``13`` for 13."""
    small = (
        pgettext("count", "none"), pgettext("count", "one"), pgettext("count", "two"),
        pgettext("count", "three"),
        pgettext("count", "four"), pgettext("count", "five"), pgettext("count", "six"),
        pgettext("count", "seven"),
        pgettext("count", "eight"), pgettext("count", "nine"), pgettext("count", "ten"),
        pgettext("count", "eleven"), pgettext("count", "twelve"),
    )  # fmt: skip
    return small[number] if number < len(small) else str(number)


def answer_words(counts: dict[Verdict, int]) -> str:
    """The gate's answer in a sentence or two: ``Two of six may go out. Three need something first.``"""
    total = sum(counts.values())
    yes, not_yet = counts[Verdict.MAY_GO_OUT], counts[Verdict.NOT_YET]
    out, unknown = counts[Verdict.OUT_OF_SERVICE], counts[Verdict.CANNOT_TELL]
    if not total:
        return _("There is no detector here.")
    parts = [
        _capital(
            _("%(yes)s of %(total)s may go out.") % {"yes": count_words(yes), "total": count_words(total)}
        )
    ]
    if not_yet:
        parts.append(
            _capital(
                ngettext("%(n)s needs something first.", "%(n)s need something first.", not_yet)
                % {"n": count_words(not_yet)}
            )
        )
    if unknown:
        parts.append(_capital(_("Of %(n)s the book cannot tell.") % {"n": count_words(unknown)}))
    if out:
        parts.append(
            _capital(
                ngettext("%(n)s is out of service.", "%(n)s are out of service.", out)
                % {"n": count_words(out)}
            )
        )
    return " ".join(parts)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
