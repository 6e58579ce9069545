"""The difference between two rule sets, rule by rule, and whether it lets more detectors out or fewer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from pitbird.rules.decision import Rule, RuleSet

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


#: Parameters of which a smaller number lets fewer out (0, where it turns the question off, lets more out).
_LESS_IS_STRICTER: Final = frozenset({
    ("gas-test-within-days", "days"), ("gas-test-current", "hours"), ("calibrated-within-days", "days"),
    ("attempts-within", "spoiled"), ("gas-on-within", "seconds"),
})  # fmt: skip
_NOUGHT_IS_OFF: Final = frozenset({
    ("cylinder-not-in-question", "in_a_row"), ("cylinder-not-in-question", "detectors"),
})  # fmt: skip
_MORE_IS_STRICTER: Final = frozenset({("gas-on-at-least", "seconds"), ("attempts-within", "hours")})
#: Lists of which a longer one lets fewer out, and those of which a longer one lets more out.
_LONGER_IS_STRICTER: Final = frozenset({
    ("no-event-since-test", "events"), ("calibrated-since", "events"), ("checks-made", "checks"),
    ("cleared-after-test", "what"),
})  # fmt: skip
_LONGER_IS_LOOSER: Final = frozenset({("returned-properly", "remedies")})
#: Words from the stricter to the looser.
_WORDS: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("gas-test-current", "lasts"): ("shift", "working-day"),
    ("footing-accepted", "reported"): ("does-not-count", "counts"),
    ("cylinder-above-minimum-temperature", "unknown_is"): ("stops", "warns"),
    ("calibrated-within-days", "calibrated_by_maker"): ("not-exempt", "exempt"),
    ("calibrated-this-shift", "calibrated_by_maker"): ("not-exempt", "exempt"),
    ("calibrated-since", "calibrated_by_maker"): ("not-exempt", "exempt"),
}


def compare(old: RuleSet, new: RuleSet) -> tuple[Change, ...]:
    """Every difference from one rule set to another, in the order of the new one, what was removed last.

    Rules are matched by their id. Only stopping rules decide, so a change of a rule that only warns goes
    neither way.
    """
    before = {rule.id: rule for rule in old.rules}
    after = {rule.id: rule for rule in new.rules}
    changes: list[Change] = []
    for rule in new.rules:
        if rule.id in before:
            changes.extend(_changes(before[rule.id], rule))
        else:
            tendency = Tendency.STRICTER if rule.strength == "stops" else Tendency.NEITHER
            changes.append(Change(rule.id, "added", "", _said(rule), tendency))
    for rule in old.rules:
        if rule.id not in after:
            tendency = Tendency.LOOSER if rule.strength == "stops" else Tendency.NEITHER
            changes.append(Change(rule.id, "removed", _said(rule), "", tendency))
    return tuple(changes)


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
            warns = "stops" not in (old.strength, new.strength)
            tendency = Tendency.NEITHER if warns else _tendency((new.predicate, name), was, now)
            yield Change(new.id, name, _shown(was), _shown(now), tendency)
    source = (old.source, old.edition, old.known), (new.source, new.edition, new.known)
    if source[0] != source[1]:
        shown = [" ".join(part for part in one if part) for one in source]
        yield Change(new.id, "source", shown[0], shown[1], Tendency.NEITHER)


def _plain(value: object) -> object:
    return tuple(value) if isinstance(value, list | tuple) else value


def _shown(value: object) -> str:
    return "" if value is None else _text(value)


def _tendency(key: tuple[str, str], was: object, now: object) -> Tendency:
    if isinstance(was, int) and isinstance(now, int):
        return _of_numbers(key, was, now)
    if isinstance(was, list | tuple) and isinstance(now, list | tuple):
        return _of_lists(key, was, now)
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


def _of_lists(key: tuple[str, str], was: Sequence[object], now: Sequence[object]) -> Tendency:
    gained, lost = set(now) - set(was), set(was) - set(now)
    if not gained and not lost:
        return Tendency.NEITHER
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
            words = _("Rule {rule}: {new}; before, it {old}.")
        case "source":
            words = _("Rule {rule} names another source: {new}; before: {old}.")
        case _:
            words = _("Rule {rule}, {what}: {new}; before: {old}.")
    shown = {
        "rule": change.rule,
        "what": change.what,
        "old": change.old or _("nothing"),
        "new": change.new or _("nothing"),
    }
    return words.format(**shown)


def tendency_words(tendency: Tendency, *, gettext: Gettext) -> str:
    """Which way a change goes, in words."""
    _ = gettext
    return {
        Tendency.STRICTER: _("fewer may go out"),
        Tendency.LOOSER: _("more may go out"),
        Tendency.NEITHER: _("no answer changes"),
        Tendency.CANNOT_TELL: _("cannot be told without asking the fleet"),
    }[tendency]
