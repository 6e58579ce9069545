"""The parts of docs/rules.md that repeat the code. ``python -m tests.rules.page`` writes them anew."""

from __future__ import annotations

from pathlib import Path

from pitbird.rules.deciding import EASE, GATE
from pitbird.rules.loading import load_shipped, shipped
from pitbird.rules.predicates import MODULES, PREDICATES, Predicate, Scope
from pitbird.rules.predicates.base import Kind
from pitbird.rules.words import REMEDIES, SENTENCES

PAGE = Path(__file__).parents[2] / "docs" / "rules.md"


def _plain(text: str) -> str:
    return text


def _codes(predicate: Predicate) -> list[str]:
    lines = ["| code | outcome | remedy | says |", "|---|---|---|---|"]
    for code, meant in predicate.codes.items():
        remedy = f"`{meant.remedy}`" if meant.remedy else ""
        lines.append(f"| `{code}` | {meant.outcome.value} | {remedy} | {SENTENCES[code](_plain)} |")
    return lines


def _predicate(predicate: Predicate) -> list[str]:
    lines = [f"### {predicate.name}", "", predicate.about, ""]
    if predicate.gas_test:
        lines += ["This is a gas-test rule: without one that stops and is met there is no yes.", ""]
    for parameter in predicate.parameters:
        choices = (
            f" ({', '.join(f'`{choice}`' for choice in parameter.choices)})" if parameter.choices else ""
        )
        if parameter.kind is Kind.WHOLE:
            choices = f" from {parameter.least} to {parameter.most}"
        only = f' Stands only with `{parameter.when[0]} = "{parameter.when[1]}"`.' if parameter.when else ""
        lines.append(f"- `{parameter.name}`: {parameter.kind.value}{choices}; {parameter.about}.{only}")
    if predicate.parameters:
        lines.append("")
    return [*lines, *_codes(predicate), ""]


def predicates(scope: Scope) -> str:
    """Every predicate of a scope."""
    themes = [module.__name__ for module in MODULES]
    listed = sorted(PREDICATES.values(), key=lambda predicate: themes.index(predicate.judge.__module__))
    parts = [_predicate(predicate) for predicate in listed if predicate.scope is scope]
    return "\n".join(line for part in parts for line in part).strip()


def gate() -> str:
    """What the gate itself finds."""
    return "\n".join(_codes(GATE))


def remedies() -> str:
    """The remedies in their order."""
    return "\n".join(
        f"{place}. `{remedy}`: {REMEDIES[remedy](_plain)}"
        for place, remedy in enumerate((remedy for remedy in EASE if remedy), start=1)
    )


def sets() -> str:
    """The shipped rule sets with their sources."""
    lines: list[str] = []
    for name in shipped():
        rules = load_shipped(name)
        lines += [f"### {name}, version {rules.version}", "", f"{rules.title}.", "", rules.about, ""]
        lines += ["| rule | asks | strength | parameters | source | known |", "|---|---|---|---|---|---|"]
        for rule in rules.rules:
            values = "; ".join(
                f"{key} = {', '.join(value) or 'all' if isinstance(value, list) else value}"
                for key, value in rule.parameters.items()
            )
            source = f"{rule.source} ({rule.edition})" if rule.edition else rule.source
            lines.append(
                f"| {rule.id} | {rule.predicate} | {rule.strength} | {values} | {source} | {rule.known} |"
            )
        lines.append("")
    return "\n".join(lines).strip()


def _in_set(name: str, predicate: str) -> str:
    """How a shipped set asks a predicate: its strength, once for every rule, with what is short to say."""
    asked = []
    for rule in load_shipped(name).rules:
        if rule.predicate == predicate:
            short = [
                f"{key} {value}"
                for key, value in rule.parameters.items()
                if isinstance(value, int) or key in ("lasts", "reported", "calibrated_by_maker")
            ]
            few = predicate != "gas-in-window"
            asked.append(f"{rule.strength} ({', '.join(short)})" if short and few else rule.strength)
    return "; ".join(dict.fromkeys(asked)) or "–"


def overview() -> str:
    """Which set asks what, and how strongly, side by side."""
    names = shipped()
    lines = [f"| asks | {' | '.join(names)} |", "|---|" + "---|" * len(names)]
    asked = {rule.predicate for name in names for rule in load_shipped(name).rules}
    for predicate in PREDICATES:
        if predicate in asked:
            lines.append(f"| {predicate} | {' | '.join(_in_set(name, predicate) for name in names)} |")
    return "\n".join(lines)


def parts() -> dict[str, str]:
    """Every repeated part, by the name in its marks."""
    return {
        "moment": predicates(Scope.MOMENT),
        "test": predicates(Scope.TEST),
        "gate": gate(),
        "remedies": remedies(),
        "overview": overview(),
        "sets": sets(),
    }


def between(text: str, name: str) -> str:
    """What stands between the marks of a part."""
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    return text.split(begin, 1)[1].split(end, 1)[0].strip()


def renewed(text: str) -> str:
    """The page with every repeated part as the code has it."""
    for name, part in parts().items():
        begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
        head, rest = text.split(begin, 1)
        text = f"{head}{begin}\n\n{part}\n\n{end}{rest.split(end, 1)[1]}"
    return text


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
