"""What another rule set would answer, and how it differs from what is in force: lines for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pitbird.fleet.times import Ms
    from pitbird.rules.decision import RuleSet
    from pitbird.services.what_if import WhatIf, Would

NO_ANSWER: Final = "Nothing of this counts as an answer: the rules in force decide what may go out."


def difference_lines(before: RuleSet, after: RuleSet) -> list[str]:
    """The difference from one set to another: which way it goes on the whole, then rule by rule."""
    from pitbird.rules.comparing import change_words, compare, overall, tendency_words

    changes = compare(before, after)
    head = f"From {before.id} version {before.version} to {after.id} version {after.version}:"
    if not changes:
        return [f"{head} no difference"]
    whole = tendency_words(overall(changes), gettext=str)
    rows = (
        f"  {change_words(change, gettext=str)} ({tendency_words(change.tendency, gettext=str)})"
        for change in changes
    )
    return [f"{head} {len(changes)} {'change' if len(changes) == 1 else 'changes'}; {whole}", *rows]


def from_in_force(rules: RuleSet, at: Ms, *, site: str | None = None) -> list[str]:
    """The difference from what is in force at each site (or one) to another set."""
    from pitbird.cli.naming import code
    from pitbird.services.rule_sets import in_force

    lines: list[str] = []
    for held in in_force(at, site=site):
        where = ", ".join(map(code, held.sites))
        if held.rules is None:
            lines.append(f"At {where} no rules are in force: nothing may go out there until some are.")
        else:
            first, *rest = difference_lines(held.rules, rules)
            lines += [f"At {where}: {first[:1].lower()}{first[1:]}", *rest]
    return lines


def what_changes(answer: WhatIf) -> list[str]:
    """How many detectors would get another answer, and each of them with the reason."""
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.wording import verdict_words

    lines = [_head(answer)]
    for before, after, count in answer.counts():
        lines.append(f"  {count} would go from '{verdict_words(before)}' to '{verdict_words(after)}'")
    if not answer.changed:
        return [*lines, "  no answer would change"]
    heads = ["detector", "now", "would be", "until", "because"]
    return [*lines, table(heads, list(map(_cells, answer.changed)), width=terminal_width()), NO_ANSWER]


def whole_fleet(answer: WhatIf) -> list[str]:
    """Every detector's answer as it is and as it would be, those that would change first."""
    from pitbird.cli.tables import table, terminal_width

    changed = {row.state.subject for row in answer.changed}
    rest = [row for row in answer.rows if row.state.subject not in changed]
    rows = [_cells(row) for row in (*answer.changed, *rest)]
    if not rows:
        return [_head(answer), "No detectors."]
    heads = ["detector", "now", "would be", "until", "because"]
    count = len(changed)
    said = "no answer would change" if not count else f"{count} would change, these first"
    return [f"{_head(answer)} {said}", table(heads, rows, width=terminal_width()), NO_ANSWER]


def _head(answer: WhatIf) -> str:
    count = len(answer.rows)
    whom = f"{count} detector" if count == 1 else f"{count} detectors"
    return f"Under {answer.rules.id} version {answer.rules.version}, of {whom}:"


def _cells(row: Would) -> list[str]:
    from pitbird.cli.naming import code, zone_of
    from pitbird.cli.times import show_time
    from pitbird.cli.wording import sentence, verdict_words

    # A yes has no finding against it; then the reason that falls away is told.
    finding, zone = row.then.decisive or row.now.decisive, zone_of(row.state.site)
    why = sentence(finding, zone) if finding else ""
    if finding and row.then.decisive is None:
        why = f"would no longer stop: {why}"
    return [
        code(row.state.subject),
        verdict_words(row.now.verdict),
        verdict_words(row.then.verdict),
        show_time(row.then.until, zone) if row.then.until is not None else "",
        why,
    ]


def as_json_values(answer: WhatIf) -> dict[str, Any]:
    """Every detector's decision as it is (``now``) and as it would be (``would``)."""
    from pitbird.cli.gate import as_json_values as decision_values
    from pitbird.cli.naming import zone_of
    from pitbird.fleet.times import text_of
    from pitbird.services.gate import GateRow

    return {
        "rules": answer.rules.id,
        "rules_version": answer.rules.version,
        "rules_digest": answer.rules.digest,
        "as_of": text_of(answer.as_of),
        "counts_as_an_answer": False,
        "detectors": [
            {
                "detector": row.state.subject,
                "changes": row.changes,
                **{
                    name: decision_values(
                        GateRow(row.state, decision), zone_of(row.state.site), decision.telling
                    )
                    for name, decision in (("now", row.now), ("would", row.then))
                },
            }
            for row in answer.rows
        ],
    }
