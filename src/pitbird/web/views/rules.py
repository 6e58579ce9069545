"""The site rules in force: each rule in words, with its source and how well that is known."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from pitbird.rules import words
from pitbird.rules.decision import Rule, RuleSet
from pitbird.rules.loading import shipped
from pitbird.rules.predicates import PREDICATES
from pitbird.services import clock
from pitbird.services.rule_sets import adopted as adopted_set
from pitbird.services.rule_sets import adopted_names, named
from pitbird.web import names as naming
from pitbird.web.vocabulary import FIELD_WORDS, VALUE_WORDS, word
from pitbird.web.who import may_write, roles_of


@require_safe
def rules(request: HttpRequest) -> HttpResponse:
    """The rules at each site: those in force, those to come, those before."""
    now = clock.now()
    places = []
    shown: dict[str, dict[str, Any]] = {}
    for site in naming.sites():
        adopted = site.adopted_at(now)
        coming = [each for each in site.adoptions if each.since > now]
        if adopted is not None and adopted.digest not in shown:
            shown[adopted.digest] = _told(adopted_set(adopted))
        places.append(
            {
                "site": site,
                "code": naming.code(site.subject),
                "adopted": adopted,
                "id": shown[adopted.digest]["id"] if adopted else "",
                "title": shown[adopted.digest]["title"] if adopted else "",
                "anchor": f"set-{adopted.digest[:12]}" if adopted else "",
                "coming": [
                    (each, f"{rules.title} ({rules.id})") for each in coming for rules in [adopted_set(each)]
                ],
                "before": [each for each in site.adoptions if adopted and each.since < adopted.since],
            }
        )
    context = {
        "places": places,
        "sets": [
            {**told, "anchor": f"set-{digest[:12]}", "digest": digest} for digest, told in shown.items()
        ],
        "others": [found for name in (*shipped(), *adopted_names()) if (found := named(name))],
        "may_adopt": may_write("rules-adopted", roles_of(request)),
        "may_add_site": may_write("site", roles_of(request)),
    }
    return render(request, "pitbird/rules.html", context)


def _told(rules: RuleSet) -> dict[str, Any]:
    return {
        "title": rules.title or _("rules that cannot be read"),
        "id": rules.id,
        "version": rules.version,
        "about": rules.about,
        "rules": [tell_rule(rule) for rule in rules.rules],
    }


def tell_rule(rule: Rule) -> dict[str, Any]:
    """One rule in words; its parameters as pairs."""
    predicate = PREDICATES.get(rule.predicate)
    known = words.KNOWN.get(rule.known)
    return {
        "id": rule.id,
        "about": predicate.about
        if predicate
        else _("A question that this version does not know; it never gives a yes."),
        "strength": rule.strength,
        "source": f"{rule.source} ({rule.edition})" if rule.edition else rule.source,
        "known": known(_) if known else rule.known,
        "parameters": [(name.replace("_", " "), _value(value)) for name, value in rule.parameters.items()],
    }


def _value(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(_word(str(each)) for each in value) or _("none")
    return _word(str(value))


def _word(value: str) -> str:
    message = words.WORDS.get(value)
    if message is not None:
        return message(_)
    return word(value) if value in VALUE_WORDS else str(FIELD_WORDS.get(value, value)).lower()
