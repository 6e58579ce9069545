"""What another rule set would answer today, and how it differs from the rules in force."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from pitbird.fleet.times import Ms
from pitbird.rules import words
from pitbird.rules.comparing import Tendency, change_words, compare, overall, tendency_words
from pitbird.rules.decision import RuleSet, Verdict
from pitbird.rules.loading import shipped
from pitbird.services import clock
from pitbird.services.gate import GateRow
from pitbird.services.rule_sets import in_force, named
from pitbird.services.what_if import Would, what_if
from pitbird.web import names as naming
from pitbird.web.names import Names
from pitbird.web.telling import ToldDecision, subjects_in, tell_decision
from pitbird.web.views import asked
from pitbird.web.who import may_write, roles_of

#: Which way a detector's answer would go, the one to look at first before the others.
GROUPS: Final[dict[str, Promise]] = {
    "out": gettext_lazy("Would go out, and stay in now"),
    "in": gettext_lazy("Would stay in, and may go out now"),
    "other": gettext_lazy("Would stay in for another reason"),
}


@dataclass(frozen=True)
class ToldChange:
    """One difference in words: the rule, the sentence, and which way it goes."""

    tendency: str
    sentence: str
    way: str


@dataclass(frozen=True)
class ToldDifference:
    """How a set differs from what is in force at some sites; ``before`` is "" where nothing is."""

    sites: str
    before: str
    whole: str
    changes: tuple[ToldChange, ...]


@never_cache
@require_safe
def would(request: HttpRequest, rules_id: str) -> HttpResponse:
    """Today's answers under a set, for the fleet or ``?site=``; nothing of it counts."""
    rules = named(rules_id)
    if rules is None:
        raise Http404(rules_id)
    question = asked.read(request)
    names = Names()
    today: dict[str, Any] = {"total": 0, "changed": 0, "groups": []}
    if not question.faults:
        today = today_under(rules, question.now, names, site=question.site)
    context = {
        **today,
        "here": "rules",
        "question": question,
        "rules": rules,
        "differences": differences(rules, question.now, names, site=question.site),
        "sites": naming.sites(),
        "site_name": names(question.site),
        "may_adopt": may_write("rules-adopted", roles_of(request)) and rules_id in shipped(),
    }
    return render(request, "pitbird/would.html", context, status=422 if question.faults else 200)


def today_under(rules: RuleSet, now: Ms, names: Names, *, site: str | None = None) -> dict[str, Any]:
    """What a set would answer today: how many detectors there are, how many would get another answer, and
    these, by the way it goes."""
    answer = what_if(rules, now=now, site=site)
    changed = answer.changed
    return {"total": len(answer.rows), "changed": len(changed), "groups": _groups(changed, names)}


def differences(
    rules: RuleSet, at: Ms, names: Names, *, site: str | None = None
) -> tuple[ToldDifference, ...]:
    """How a set differs from what holds at each site, sites with the same rules together."""
    told = []
    for held in in_force(at, site=site):
        where = ", ".join(names(each) for each in held.sites)
        if held.rules is None:
            told.append(ToldDifference(where, "", _("Nothing may go out there until rules are adopted."), ()))
            continue
        changes = compare(held.rules, rules)
        before = _("%(id)s, version %(version)s") % {"id": held.rules.id, "version": held.rules.version}
        whole = tendency_words(overall(changes), gettext=_) if changes else ""
        told.append(
            ToldDifference(
                where,
                before,
                whole,
                tuple(
                    ToldChange(
                        change.tendency.value,
                        change_words(change, gettext=_),
                        tendency_words(change.tendency, gettext=_),
                    )
                    for change in sorted(changes, key=lambda each: _ORDER.index(each.tendency))
                ),
            )
        )
    return tuple(told)


#: What lets more out is to be looked at first.
_ORDER: Final = (Tendency.LOOSER, Tendency.CANNOT_TELL, Tendency.STRICTER, Tendency.NEITHER)


def _groups(changed: Iterable[Would], names: Names) -> list[dict[str, Any]]:
    """The detectors with another answer, by the way it goes."""
    sorted_in: dict[str, list[dict[str, Any]]] = {key: [] for key in GROUPS}
    zones = {state.subject: state.zone for state in naming.sites()}
    rows = list(changed)
    names.read(subjects_in(each for row in rows for each in (*row.now.telling, *row.then.telling)))
    for row in rows:
        key = "other"
        if row.then.verdict is Verdict.MAY_GO_OUT:
            key = "out"
        elif row.now.verdict is Verdict.MAY_GO_OUT:
            key = "in"
        zone = zones.get(row.state.site or "")
        now, then = (
            tell_decision(GateRow(row.state, decision), zone, names, all_findings=False)
            for decision in (row.now, row.then)
        )
        sorted_in[key].append(
            {
                "code": now.code,
                "type": f"{row.state.make} {row.state.model}".strip(),
                "site": names(row.state.site),
                "now": _verdict(now),
                "then": _verdict(then),
                "why": now.reason if key == "out" else then.reason,
                "falls_away": key == "out",
            }
        )
    return [
        {"key": key, "heading": heading, "lines": sorted_in[key]}
        for key, heading in GROUPS.items()
        if sorted_in[key]
    ]


def _verdict(told: ToldDecision) -> str:
    """The verdict in words with the end of a yes; no stamp, for it is no answer."""
    verdict = words.verdict_words(Verdict(told.verdict), gettext=_)
    return (
        _("%(verdict)s until %(until)s") % {"verdict": verdict, "until": told.until}
        if told.until
        else verdict
    )


def sets_to_choose(names: Names) -> list[dict[str, Any]]:
    """The sets that come with the package: each with what differs from the rules in force now."""
    now = clock.now()
    return [
        {"rules": rules, "differences": differences(rules, now, names)}
        for name in shipped()
        if (rules := named(name)) is not None
    ]
