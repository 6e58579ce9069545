"""``pitbird rules``: the site rules that come with pitbird, checking one's own, adopting them at sites."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.rules.decision import RuleSet

app = typer.Typer(
    help="Site rules: look at them, check your own, adopt them.", no_args_is_help=True, rich_markup_mode=None
)


@app.command("list")
def list_rules() -> None:
    """The site rules that come with pitbird."""
    from pitbird.rules.loading import load_shipped, shipped

    for name in shipped():
        rules = load_shipped(name)
        typer.echo(f"{rules.id}  version {rules.version}, {len(rules.rules)} rules: {rules.title}")


@app.command("show")
def show(
    rules_id: str = typer.Argument(metavar="ID", help="Site rules that come with pitbird, or a TOML file."),
) -> None:
    """Every rule of a set: what it asks, whether it stops or warns, its parameters and its source."""
    rules = load(rules_id)
    typer.echo(f"{rules.id}, version {rules.version}: {rules.title}")
    typer.echo(rules.digest)
    if rules.about:
        typer.echo(rules.about)
    from pitbird.rules.predicates import PREDICATES

    for rule in rules.rules:
        typer.echo(f"\n{rule.id}  ({rule.strength})")
        typer.echo(f"  asks: {PREDICATES[rule.predicate].about}")
        for name, value in rule.parameters.items():
            words = ", ".join(map(str, value)) if isinstance(value, list | tuple) else value
            typer.echo(f"  {name} = {words}")
        typer.echo(f"  source: {rule.source}{f' ({rule.edition})' if rule.edition else ''} [{rule.known}]")


@app.command("check")
def check(file: Path = typer.Argument(metavar="FILE.toml", help="A rule set of your own.")) -> None:
    """Say everything that is wrong with a rule set of your own; nothing is written."""
    rules = load_file(file)
    typer.echo(
        f"{rules.id}, version {rules.version}: {len(rules.rules)} rules, nothing wrong. {rules.digest}"
    )


@app.command("compare")
def compare(
    old: str = typer.Argument(metavar="OLD", help="Site rules that come with pitbird, or a TOML file."),
    new: str = typer.Argument(metavar="NEW", help="The same, to compare with."),
) -> None:
    """The difference from one rule set to another, rule by rule, and which way each change goes."""
    from pitbird.cli.would import difference_lines

    for line in difference_lines(load(old), load(new)):
        typer.echo(line)


@app.command("would")
def would(
    rules_id: str = typer.Argument(metavar="ID", help="Site rules that come with pitbird, or a TOML file."),
    site: str | None = typer.Option(None, help="Only this site's detectors."),
) -> None:
    """Under these rules, today's answer would be: what differs, what would change in the fleet, and why.

    The rules are taken to have been in force all along. Nothing of it counts as an answer.
    """
    from pitbird.cli.naming import known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults
    from pitbird.cli.would import from_in_force, what_changes

    rules = load(rules_id)
    make_ready_with_book()
    from pitbird.services import clock
    from pitbird.services.what_if import what_if

    faults = Faults()
    place = known("site", site, faults) if site else None
    faults.refuse()
    now = clock.now()
    for line in (
        *from_in_force(rules, now, site=place),
        "",
        *what_changes(what_if(rules, now=now, site=place)),
    ):
        typer.echo(line)


@app.command("adopt")
def adopt(
    rules_id: str = typer.Argument(metavar="ID", help="Site rules that come with pitbird, or a TOML file."),
    sites: list[str] = typer.Option(
        ..., "--sites", help="Sites, with commas or given several times; 'all' for all."
    ),
    since: str | None = typer.Option(None, "--from", metavar="TIME", help="When they take effect; else now."),
    by: str | None = typer.Option(None, help="Who adopts; else PITBIRD_BY, else the only keeper."),
    site: str | None = typer.Option(
        None, help="The site whose clock counts; else PITBIRD_SITE, else the home."
    ),
) -> None:
    """Adopt site rules at sites, from a time on; the entry holds the whole rule set.

    Says what differs from the rules in force there until then; `pitbird rules would` says it beforehand.
    """
    from pitbird.cli.naming import code, known, writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults
    from pitbird.cli.times import read_time, show_time
    from pitbird.cli.would import from_in_force
    from pitbird.fleet.times import text_of
    from pitbird.rules.loading import document_of

    rules = load(rules_id)
    make_ready_with_book()
    from pitbird.services import clock
    from pitbird.services.writing import write
    from pitbird.store import book

    faults = Faults()
    names = [name.strip() for given in sites for name in given.split(",") if name.strip()]
    chosen = (
        book.subjects("site")
        if names == ["all"]
        else [known("site", name, faults, field="sites") for name in names]
    )
    actor, said = writer(by, site, faults)
    effective = clock.now()
    if since is not None:
        try:
            effective = read_time(since, actor.zone if actor else "UTC", field="from")
        except ValueError as fault:
            faults.add(str(fault))
    faults.refuse()
    assert actor is not None  # noqa: S101 - writer() gives None only with a fault
    differs = [
        line for each in dict.fromkeys(chosen) for line in from_in_force(rules, effective, site=str(each))
    ]
    entry = write(
        {
            "kind": "rules-adopted",
            "rules": f"rules:{rules.id}",
            "sites": list(dict.fromkeys(chosen)),
            "effective": text_of(effective),
            "document": document_of(rules),
        },
        actor,
    )
    if said:
        typer.echo(said, err=True)
    where = ", ".join(code(name) for name in dict.fromkeys(chosen))
    typer.echo(
        f"{rules.id} version {rules.version} adopted at {where} from {show_time(effective, actor.zone)}."
    )
    for line in dict.fromkeys(differs):
        typer.echo(line)
    typer.echo(f"Entry {entry.index}, {entry.entry_id}.")


def load(name: str) -> RuleSet:
    """Site rules by the name under which they come with pitbird, or from a TOML file."""
    from pitbird.cli.refusing import Refused, near_words
    from pitbird.rules.loading import load_shipped, shipped

    if name.endswith(".toml"):
        return load_file(Path(name))
    if name not in shipped():
        raise Refused(
            f"rules: no site rules {name!r} come with pitbird{near_words(name, shipped())}; there are "
            f"{', '.join(shipped())}, or name a file that ends in .toml"
        )
    return load_shipped(name)


def load_file(file: Path) -> RuleSet:
    """Site rules from a TOML file, or every fault in it, each with its line."""
    from pitbird.cli.refusing import Refused
    from pitbird.rules.loading import read_rules

    rules, faults = read_rules(file.read_text(encoding="utf-8"))
    if rules is None:
        raise Refused(*(f"{file}: {fault}" for fault in faults))
    return rules
