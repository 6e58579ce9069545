"""Rule sets as the book knows them: in force at sites, adopted before, or coming with the package."""

from __future__ import annotations

from dataclasses import dataclass

from pitbird.fleet.state import AdoptionFact, OtherState, SiteState
from pitbird.fleet.times import Ms
from pitbird.rules.decision import RuleSet
from pitbird.rules.loading import load_shipped, shipped
from pitbird.services.gate import rule_set
from pitbird.services.knowing import Now


@dataclass(frozen=True)
class InForce:
    """A rule set and the sites at which it holds; ``rules`` is None for sites without any."""

    rules: RuleSet | None
    sites: tuple[str, ...]


def adopted(adoption: AdoptionFact) -> RuleSet:
    """The rule set of an adoption; one that cannot be read holds no rules."""
    state = Now().state(adoption.rules)
    text = state.description.get(adoption.digest) if isinstance(state, OtherState) else None
    return rule_set(text, adoption.digest)


def in_force(at: Ms, *, site: str | None = None) -> tuple[InForce, ...]:
    """What holds at an instant at every site (or one), sites with the same rules together."""
    found: dict[str, tuple[RuleSet | None, list[str]]] = {}
    for state in sorted(Now().all_of(SiteState), key=lambda each: each.subject):
        if site is not None and state.subject != site:
            continue
        adoption = state.adopted_at(at)
        rules = adopted(adoption) if adoption is not None else None
        found.setdefault(adoption.digest if adoption else "", (rules, []))[1].append(state.subject)
    return tuple(InForce(rules, tuple(sites)) for rules, sites in found.values())


def named(name: str) -> RuleSet | None:
    """A rule set by its id: one that comes with the package, else the highest version ever adopted."""
    if name in shipped():
        return load_shipped(name)
    state = Now().state(f"rules:{name}")
    if not isinstance(state, OtherState):
        return None
    read = [rule_set(text, digest) for digest, text in state.description.items()]
    return max((rules for rules in read if rules.rules), key=lambda rules: rules.version, default=None)


def adopted_names() -> tuple[str, ...]:
    """The ids of sets that were adopted and do not come with the package."""
    names = {
        adoption.rules.partition(":")[2] for state in Now().all_of(SiteState) for adoption in state.adoptions
    }
    return tuple(sorted(names - set(shipped())))
