"""The difference between two rule sets, rule by rule, and whether it lets more detectors out or fewer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from typing import Final

from pitbird.rules.decision import Rule, RuleSet
from pitbird.rules.loading import ALWAYS_STOPS
from pitbird.rules.predicates import PREDICATES

Gettext = Callable[[str], str]


class Tendency(StrEnum):
    """Which way a change goes: fewer may go out, more may, neither, or it cannot be told."""

    STRICTER = "stricter"
    LOOSER = "looser"
    NEITHER = "neither"
    CANNOT_TELL = "cannot-tell"


@dataclass(frozen=True, slots=True)
class Change:
    """One difference. ``what`` is added, removed, predicate, strength, source, or the parameter's name;
    ``old`` and ``new`` are as the documents write them (empty for none)."""

    rule: str
    what: str
    old: str
    new: str
    tendency: Tendency


_FOOTING: Final = "footing-accepted"
#: Parameters of which a smaller number lets fewer out (0, where it turns the question off, lets more out).
_LESS_IS_STRICTER: Final = frozenset({
    ("gas-test-within-days", "days"), ("gas-test-current", "hours"), ("calibrated-within-days", "days"),
    ("attempts-within", "spoiled"), ("gas-on-within", "seconds"),
    ("gas-in-window", "flammable_s"), ("gas-in-window", "toxic_s"), ("gas-in-window", "oxygen_s"),
})  # fmt: skip
_NOUGHT_IS_OFF: Final = frozenset({
    ("cylinder-not-in-question", "in_a_row"), ("cylinder-not-in-question", "detectors"),
})  # fmt: skip
_MORE_IS_STRICTER: Final = frozenset({("gas-on-at-least", "seconds"), ("attempts-within", "hours")})
#: Lists of which a longer one lets fewer out, and those of which a longer one lets more out.
_LONGER_IS_STRICTER: Final = frozenset({
    ("no-event-since-test", "events"), ("calibrated-since", "events"), ("checks-made", "checks"),
    ("cleared-after-test", "what"), ("calibrated-within-days", "gases"), ("calibrated-this-shift", "gases"),
})  # fmt: skip
#: Lists of gases asked for, in which none stands for all.
_NONE_IS_ALL: Final = frozenset({("calibrated-within-days", "gases"), ("calibrated-this-shift", "gases")})
_LONGER_IS_LOOSER: Final = frozenset({("returned-properly", "remedies")})
#: Decimals that narrow the window of the gas when they grow, or (False) when they shrink.
_WINDOW: Final[Mapping[tuple[str, str], bool]] = {
    ("gas-in-window", "low"): True,
    ("gas-in-window", "high"): False,
    ("gas-in-window", "flammable_max_pct_lfl"): False,
    ("gas-in-window", "oxygen_spread"): False,
}
#: Words from the stricter to the looser.
_WORDS: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("gas-test-current", "lasts"): ("shift", "working-day"),
    ("footing-accepted", "reported"): ("does-not-count", "counts"),
    ("cylinder-above-minimum-temperature", "unknown_is"): ("stops", "warns"),
    ("calibrated-within-days", "calibrated_by_maker"): ("not-exempt", "exempt"),
    ("calibrated-this-shift", "calibrated_by_maker"): ("not-exempt", "exempt"),
    ("calibrated-since", "calibrated_by_maker"): ("not-exempt", "exempt"),
    ("calibrated-since-use", "calibrated_by_maker"): ("not-exempt", "exempt"),
}


def compare(old: RuleSet, new: RuleSet) -> tuple[Change, ...]:
    """Every difference from one rule set to another, in the order of the new one, what was removed last.

    Rules are matched by their id. Only stopping rules decide, so a change of a rule that only warns goes
    neither way, nor does naming what is asked in any case (the built-in rules); bare reports, which count
    only where a set says so, go by what holds in the end. A set without a stopping gas-test rule never lets
    anything out: whatever brings or takes the only one goes that way.
    """
    before = {rule.id: rule for rule in old.rules}
    after = {rule.id: rule for rule in new.rules}
    changes: list[Change] = []
    for rule in new.rules:
        if rule.id in before:
            changes.extend(_changes(before[rule.id], rule))
        else:
            changes.append(Change(rule.id, "added", "", _said(rule), _whole(rule, Tendency.STRICTER)))
    for rule in old.rules:
        if rule.id not in after:
            changes.append(Change(rule.id, "removed", _said(rule), "", _whole(rule, Tendency.LOOSER)))
    return tuple(_in_the_end(old, new, change) for change in changes)


def overall(changes: Sequence[Change]) -> Tendency:
    """Which way all changes together go; those that go both ways cannot be told."""
    ways = {change.tendency for change in changes} - {Tendency.NEITHER}
    if not ways:
        return Tendency.NEITHER
    return ways.pop() if len(ways) == 1 else Tendency.CANNOT_TELL


def _whole(rule: Rule, tendency: Tendency) -> Tendency:
    """Which way it goes to add or to take away a whole rule, where a usual one goes ``tendency``."""
    asked_anyway = rule.predicate in ALWAYS_STOPS and rule.predicate != _FOOTING
    return Tendency.NEITHER if rule.strength != "stops" or asked_anyway else tendency


def _in_the_end(old: RuleSet, new: RuleSet, change: Change) -> Change:
    """The change with its tendency put right where it hangs on the rest of the sets."""
    if change.what == "source" or change.tendency is Tendency.NEITHER:
        return change
    touched = [rule for rules in (old, new) for rule in rules.rules if rule.id == change.rule]
    if {rule.predicate for rule in touched} == {_FOOTING}:
        return replace(change, tendency=_way(_reports_count(old), _reports_count(new)))
    if any(_asks_for_gas(rule) for rule in touched):
        had, has = any(map(_asks_for_gas, old.rules)), any(map(_asks_for_gas, new.rules))
        if not (had and has):
            return replace(change, tendency=_way(had, has))
    return change


def _way(before: bool, after: bool) -> Tendency:
    """Which way it goes when something that lets detectors out was so before and is so after."""
    if before == after:
        return Tendency.NEITHER
    return Tendency.LOOSER if after else Tendency.STRICTER


def _reports_count(rules: RuleSet) -> bool:
    """Whether a bare report counts: a rule says so and none says otherwise."""
    said = {rule.parameters.get("reported") for rule in rules.rules if rule.predicate == _FOOTING}
    return said == {"counts"}


def _asks_for_gas(rule: Rule) -> bool:
    predicate = PREDICATES.get(rule.predicate)
    return predicate is not None and predicate.gas_test and rule.strength == "stops"


def _said(rule: Rule) -> str:
    parameters = ", ".join(f"{name} = {_text(value)}" for name, value in rule.parameters.items())
    return f"{rule.predicate} ({rule.strength}{'; ' + parameters if parameters else ''})"


def _text(value: object) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def _changes(old: Rule, new: Rule) -> Iterator[Change]:
    if old.predicate != new.predicate:
        yield Change(new.id, "predicate", _said(old), _said(new), Tendency.CANNOT_TELL)
        return
    if old.strength != new.strength:
        tendency = Tendency.STRICTER if new.strength == "stops" else Tendency.LOOSER
        yield Change(new.id, "strength", old.strength, new.strength, tendency)
    for name in dict.fromkeys((*old.parameters, *new.parameters)):
        was, now = old.parameters.get(name), new.parameters.get(name)
        if _plain(was) != _plain(now):
            key = (new.predicate, name)
            # Where the strength changes too, that says which way the rule goes.
            decides = old.strength == new.strength == "stops"
            tendency = Tendency.NEITHER if not decides else _tendency(key, was, now)
            yield Change(new.id, name, _shown(key, was), _shown(key, now), tendency)
    source = (old.source, old.edition, old.known), (new.source, new.edition, new.known)
    if source[0] != source[1]:
        shown = [" ".join(part for part in one if part) for one in source]
        yield Change(new.id, "source", shown[0], shown[1], Tendency.NEITHER)


def _plain(value: object) -> object:
    return tuple(value) if isinstance(value, list | tuple) else value


def _shown(key: tuple[str, str], value: object) -> str:
    if key in _NONE_IS_ALL and isinstance(value, list | tuple) and not value:
        return "all"
    return "" if value is None else _text(value)


def _tendency(key: tuple[str, str], was: object, now: object) -> Tendency:
    if isinstance(was, int) and isinstance(now, int):
        return _of_numbers(key, was, now)
    if isinstance(was, list | tuple) and isinstance(now, list | tuple):
        return _of_lists(key, was, now)
    if isinstance(was, str) and isinstance(now, str) and key in _WINDOW:
        return _of_window(key, was, now)
    order = _WORDS.get(key, ())
    if was in order and now in order:
        return Tendency.STRICTER if order.index(str(now)) < order.index(str(was)) else Tendency.LOOSER
    return Tendency.CANNOT_TELL


def _of_numbers(key: tuple[str, str], was: int, now: int) -> Tendency:
    if key in _NOUGHT_IS_OFF:
        if 0 in (was, now):
            return Tendency.LOOSER if now == 0 else Tendency.STRICTER
        return Tendency.STRICTER if now < was else Tendency.LOOSER
    if key in _LESS_IS_STRICTER:
        return Tendency.STRICTER if now < was else Tendency.LOOSER
    if key in _MORE_IS_STRICTER:
        return Tendency.STRICTER if now > was else Tendency.LOOSER
    return Tendency.CANNOT_TELL


def _of_window(key: tuple[str, str], was: str, now: str) -> Tendency:
    if Decimal(was) == Decimal(now):
        return Tendency.NEITHER
    narrower = (Decimal(now) > Decimal(was)) == _WINDOW[key]
    return Tendency.STRICTER if narrower else Tendency.LOOSER


def _of_lists(key: tuple[str, str], was: Sequence[object], now: Sequence[object]) -> Tendency:
    gained, lost = set(now) - set(was), set(was) - set(now)
    if not gained and not lost:
        return Tendency.NEITHER
    if key in _NONE_IS_ALL and not (was and now):
        return Tendency.STRICTER if was else Tendency.LOOSER
    if key not in _LONGER_IS_STRICTER | _LONGER_IS_LOOSER or (gained and lost):
        return Tendency.CANNOT_TELL
    longer_is_stricter = key in _LONGER_IS_STRICTER
    return Tendency.STRICTER if bool(gained) == longer_is_stricter else Tendency.LOOSER


def change_words(change: Change, *, gettext: Gettext) -> str:
    """A difference in a sentence."""
    _ = gettext
    match change.what:
        case "added":
            words = _("Rule {rule} is added: {new}.")
        case "removed":
            words = _("Rule {rule} is gone; it was: {old}.")
        case "predicate":
            words = _("Rule {rule} asks something else: {new}; before: {old}.")
        case "strength":
            words = _("Rule {rule} now {new}; before, it {old}.")
        case "source":
            words = _("Rule {rule} names another source: {new}; before: {old}.")
        case _:
            words = _("Rule {rule}, {what}: {new}; before: {old}.")
    shown = {
        "rule": change.rule,
        "what": change.what,
        "old": _value(change.old, _),
        "new": _value(change.new, _),
    }
    return words.format(**shown)


def _value(text: str, gettext: Gettext) -> str:
    _ = gettext
    return {"": _("nothing"), "all": _("all"), "stops": _("stops"), "warns": _("warns")}.get(text, text)


def tendency_words(tendency: Tendency, *, gettext: Gettext) -> str:
    """Which way a change goes, in words."""
    _ = gettext
    return {
        Tendency.STRICTER: _("fewer may go out"),
        Tendency.LOOSER: _("more may go out"),
        Tendency.NEITHER: _("no answer changes"),
        Tendency.CANNOT_TELL: _("cannot be told without asking the fleet"),
    }[tendency]
