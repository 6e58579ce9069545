"""Rule sets as data: read from a document with every fault at once, shipped with the package, written
back."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from typing import Any, Final

from pitbird.record.canonical import MAX_INT, canonical
from pitbird.rules.decision import Rule, RuleSet
from pitbird.rules.predicates import PREDICATES, Predicate

STRENGTHS: Final = ("stops", "warns")
KNOWN: Final = ("seen", "seen-2", "memory-high", "memory-medium", "memory-low", "common-practice")
#: Predicates that always stop (or always warn), whatever a rule set says; see docs/rules.md.
ALWAYS_STOPS: Final = ("described", "understood", "in-service", "footing-accepted", "nothing-lost-since-test")
ALWAYS_WARNS: Final = ("untested-issue-noted",)

_CODE: Final = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}")
_SETS: Final = "sets"
_FIELDS: Final = ("id", "predicate", "strength", "source", "edition", "known", "parameters")


@dataclass(frozen=True, slots=True)
class RuleFault:
    """One thing wrong with a rule set: where, what, and what to do about it. ``rule`` (counted from 1) and
    ``field`` say where in the document; ``line`` where in its text, 0 if that is not known."""

    where: str
    what: str
    todo: str
    rule: int = 0
    field: str = ""
    line: int = 0

    def __str__(self) -> str:
        line = f"line {self.line}, " if self.line else ""
        return f"{line}{self.where}: {self.what}. {self.todo}"


_AT_LINE: Final = re.compile(r"\s*\(at line (\d+), column \d+\)")
_RULE_HEAD: Final = re.compile(r"\s*\[\[\s*rule\s*\]\]")
_ONLY_ONE: Final = "Put it right and check again: what else is wrong could not be looked at."


def read_rules(text: str) -> tuple[RuleSet | None, tuple[RuleFault, ...]]:
    """A rule set from the text of a TOML file, or every fault of it at once, each with its line.

    As ``parse_rules``; text that is not TOML (v1.0.0), or in which a name stands twice, has that one fault.
    """
    text = text.removeprefix("\ufeff")
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, (_not_toml(str(error)),)
    rules, faults = parse_rules(document)
    return rules, tuple(_placed(faults, text, document))


def _not_toml(message: str) -> RuleFault:
    """The fault of a text that the TOML reader refuses; it stops at the first."""
    found = _AT_LINE.search(message)
    line = int(found.group(1)) if found else 0
    said = _AT_LINE.sub("", message)
    if said.startswith("Cannot overwrite a value"):
        return RuleFault("the file", "a name stands twice in the same table", _ONLY_ONE, line=line)
    if said.startswith("Cannot declare"):
        return RuleFault("the file", "a table stands twice", _ONLY_ONE, line=line)
    return RuleFault("the file", f"is not TOML: {said}", _ONLY_ONE, line=line)


def _placed(faults: tuple[RuleFault, ...], text: str, document: Mapping[str, Any]) -> Iterator[RuleFault]:
    """The faults with their lines, as far as these can be told."""
    lines = text.splitlines()
    heads = [number for number, line in enumerate(lines, start=1) if _RULE_HEAD.match(line)]
    listed = document.get("rule")
    plain = isinstance(listed, list) and len(heads) == len(listed)
    for fault in faults:
        if not plain and (fault.rule or heads):
            yield fault  # rules written in another way: a wrong line is worse than none
            continue
        first = heads[fault.rule - 1] if fault.rule else 1
        later = [head for head in heads if head > first or not fault.rule]
        wanted = re.compile(rf"\s*(?:\[\s*rule\s*\.\s*)?[\"']?{re.escape(fault.field)}[\"']?\s*[=\]]")
        block = range(first, min(later, default=len(lines) + 1))
        named = (number for number in block if fault.field and wanted.match(lines[number - 1]))
        yield replace(fault, line=next(named, first if fault.rule else 0))


def parse_rules(document: Mapping[str, Any]) -> tuple[RuleSet | None, tuple[RuleFault, ...]]:
    """A rule set from its document (as TOML or JSON give it), or every fault of it at once.

    Exactly one of the two is given: a rule set, or at least one fault. Nothing is filled in: a parameter that
    is missing is a fault, so that a rule set says the same under every version of the program.
    """
    faults: list[RuleFault] = []
    head = _head(document, faults)
    listed = document.get("rule")
    if not isinstance(listed, list | tuple) or not listed:
        faults.append(RuleFault("rule", "there is no rule", "Give at least one [[rule]]: no rules, no yes."))
        listed = []
    rules = []
    seen: set[str] = set()
    for place, item in enumerate(listed, start=1):
        rule = _rule(place, item, seen, faults)
        if rule is not None:
            rules.append(rule)
    if faults:
        return None, tuple(faults)
    made = RuleSet(head["id"], head["version"], head["title"], tuple(rules), "", head["about"])
    return RuleSet(made.id, made.version, made.title, made.rules, digest_of(made), made.about), ()


def _head(document: Mapping[str, Any], faults: list[RuleFault]) -> dict[str, Any]:
    for key in document:
        if key not in ("id", "version", "title", "about", "rule"):
            faults.append(
                RuleFault(
                    str(key),
                    "no such field",
                    "Use id, version, title, about and [[rule]] only.",
                    field=str(key),
                )
            )
    name = document.get("id")
    if type(name) is not str or not _CODE.fullmatch(name):
        todo = "Use small letters, figures, '.', '_' and '-', such as \"north-works\"."
        faults.append(RuleFault("id", f"{name!r} is no identifier", todo, field="id"))
    version = document.get("version")
    if type(version) is not int or not 1 <= version <= MAX_INT:
        todo = "Use a whole number from 1 on."
        faults.append(RuleFault("version", f"{version!r} is no version", todo, field="version"))
    head: dict[str, Any] = {"id": name, "version": version}
    for field, needed in (("title", True), ("about", False)):
        text = document.get(field, "" if not needed else None)
        if type(text) is not str or (needed and not text.strip()) or not _plain(text):
            todo = "Write a line of plain text."
            faults.append(RuleFault(field, f"{text!r} is no text", todo, field=field))
        head[field] = text
    return head


def _plain(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _rule(place: int, item: object, seen: set[str], faults: list[RuleFault]) -> Rule | None:
    """One rule; None if something about it is wrong."""
    if not isinstance(item, Mapping):
        todo = "Write it as [[rule]] with its fields."
        faults.append(RuleFault(f"rule {place}", "is not a table", todo, rule=place))
        return None
    before = len(faults)
    name = item.get("id")
    where = f"rule {place}" + (f" ({name})" if isinstance(name, str) else "")

    def fault(field: str, what: str, todo: str, at: str = "") -> None:
        faults.append(RuleFault(f"{where}, {field}", what, todo, rule=place, field=at or field))

    if type(name) is not str or not _CODE.fullmatch(name):
        fault("id", f"{name!r} is no identifier", "Use small letters, figures, '.', '_' and '-'.")
    elif name in seen:
        fault("id", "stands twice", "Give every rule an id of its own.")
    else:
        seen.add(name)
    for key in item:
        if key not in _FIELDS:
            fault(str(key), "no such field", f"Use {', '.join(_FIELDS)}.")
    asked = item.get("predicate")
    predicate = PREDICATES.get(asked) if isinstance(asked, str) else None
    if predicate is None:
        fault("predicate", f"{asked!r} is not known", f"Use one of: {', '.join(sorted(PREDICATES))}.")
    _strength(item.get("strength"), predicate, fault)
    for field, needed in (("source", True), ("edition", False)):
        text = item.get(field, None if needed else "")
        if type(text) is not str or not _plain(text) or (needed and not text.strip()):
            fault(field, f"{text!r} is no text", 'Say where the rule comes from, or "common practice".')
    known = item.get("known")
    if type(known) is not str or known not in KNOWN:
        fault("known", f"{known!r} says not how well the source is known", f"Use one of: {', '.join(KNOWN)}.")
    parameters = item.get("parameters", {})
    if not isinstance(parameters, Mapping):
        fault("parameters", "is not a table", "Write it as [rule.parameters].")
    elif predicate is not None:
        for parameter, what, todo in parameter_faults(predicate, parameters):
            fault("parameters", what, todo, parameter)
    if len(faults) > before:
        return None
    return Rule(
        id=item["id"],
        predicate=item["predicate"],
        strength=item["strength"],
        parameters=_copied(parameters),
        source=item["source"],
        edition=item.get("edition", ""),
        known=item["known"],
    )


def _strength(strength: object, predicate: Predicate | None, fault: Any) -> None:
    if type(strength) is not str or strength not in STRENGTHS:
        fault("strength", f"{strength!r} is not known", 'Use "stops" or "warns".')
    elif predicate is not None and predicate.name in ALWAYS_STOPS and strength != "stops":
        fault("strength", f"{predicate.name} always stops", 'Write strength = "stops".')
    elif predicate is not None and predicate.name in ALWAYS_WARNS and strength != "warns":
        fault("strength", f"{predicate.name} always warns and never stops", 'Write strength = "warns".')


def parameter_faults(predicate: Predicate, given: Mapping[str, object]) -> list[tuple[str, str, str]]:
    """What is wrong with the parameters given to a predicate: (name, what, what to do), all at once."""
    faults = []
    known = {parameter.name: parameter for parameter in predicate.parameters}
    for name in given:
        if name not in known:
            use = f"Use {', '.join(known)}." if known else "This predicate takes none."
            faults.append((str(name), f"{predicate.name} has no parameter {name!r}", use))
    for name, parameter in known.items():
        called_for = parameter.when is None or given.get(parameter.when[0]) == parameter.when[1]
        if name in given and not called_for and parameter.when is not None:
            other, word = parameter.when
            faults.append((name, f"{name} stands only with {other} = {word!r}", f"Leave {name} out."))
        elif name in given:
            wrong = parameter.fault(given[name])
            if wrong is not None:
                faults.append((name, f"{name} {wrong}", f"It says {parameter.about}."))
        elif called_for:
            faults.append((name, f"{name} is missing", f"Give it: {parameter.about}."))
    return faults


def document_of(rules: RuleSet) -> dict[str, Any]:
    """The rule set as plain values (no floats): what an entry that adopts it holds, and what the digest is
    over."""
    return {
        "id": rules.id,
        "version": rules.version,
        "title": rules.title,
        **({"about": rules.about} if rules.about else {}),
        "rule": [
            {
                "id": rule.id,
                "predicate": rule.predicate,
                "strength": rule.strength,
                "source": rule.source,
                **({"edition": rule.edition} if rule.edition else {}),
                "known": rule.known,
                **({"parameters": _copied(rule.parameters)} if rule.parameters else {}),
            }
            for rule in rules.rules
        ],
    }


def _copied(parameters: Mapping[str, object]) -> dict[str, object]:
    return {
        name: list(value) if isinstance(value, list | tuple) else value for name, value in parameters.items()
    }


def digest_of(rules: RuleSet) -> str:
    """``sha256:`` and the hash of the canonical document (RFC 8785, FIPS 180-4)."""
    return "sha256:" + hashlib.sha256(canonical(document_of(rules))).hexdigest()


def shipped() -> tuple[str, ...]:
    """The ids of the rule sets that come with the package."""
    names = (file.name for file in resources.files(__package__).joinpath(_SETS).iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def shipped_text(name: str) -> str:
    """The TOML text of a rule set that comes with the package. Raises LookupError naming those there are."""
    if name not in shipped():
        raise LookupError(f"no rule set {name!r} comes with pitbird; there are: {', '.join(shipped())}")
    return resources.files(__package__).joinpath(_SETS, f"{name}.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=16)
def load_shipped(name: str) -> RuleSet:
    """A rule set that comes with the package. Raises LookupError naming those there are."""
    rules, faults = parse_rules(tomllib.loads(shipped_text(name)))
    if rules is None:
        raise ValueError(f"the shipped rule set {name} is faulty: " + " ".join(map(str, faults)))
    return rules
