"""How often the site rules ask for a bump test: the longest time that a pass may last by them."""

from __future__ import annotations

from typing import Final

from pitbird.fleet.state import OtherState, SiteState
from pitbird.fleet.times import Ms
from pitbird.rules.decision import Rule, RuleSet
from pitbird.services.gate import rule_set
from pitbird.services.knowing import Known, Now

_HOURS: Final = 24.0


def asked_days(now: Ms, site: str | None = None, known: Known | None = None) -> float | None:
    """The days between tests that the rules in force ask for: of the site, else the longest of all sites'.

    None where a site has no rules in force, or none of its rules says how long a pass lasts at most.
    """
    source = known or Now()
    places = [place for place in source.all_of(SiteState) if site in (None, place.subject)]
    asked = [_of(_in_force(place, now, source), len(place.change_overs)) for place in places]
    found = [each for each in asked if each is not None]
    return max(found) if found and len(found) == len(asked) else None


def _in_force(place: SiteState, now: Ms, source: Known) -> RuleSet | None:
    adopted = [adoption for adoption in place.adoptions if adoption.since <= now]
    if not adopted:
        return None
    newest = max(adopted, key=lambda adoption: adoption.since)
    documents = source.state(newest.rules)
    text = documents.description.get(newest.digest) if isinstance(documents, OtherState) else None
    return rule_set(text, newest.digest)


def _of(rules: RuleSet | None, change_overs: int) -> float | None:
    found = [_lasts(rule, change_overs) for rule in rules.rules] if rules else []
    return min((each for each in found if each is not None), default=None)


def _lasts(rule: Rule, change_overs: int) -> float | None:
    """How long a pass lasts by one rule that stops, at most [days]; None where it says nothing of that."""
    if rule.strength != "stops":
        return None
    if rule.predicate == "gas-test-within-days":
        return float(str(rule.parameters["days"]))
    if rule.predicate != "gas-test-current":
        return None
    lasts = rule.parameters["lasts"]
    if lasts == "hours":
        return float(str(rule.parameters["hours"])) / _HOURS
    return 1.0 / max(1, change_overs) if lasts == "shift" else 1.0
