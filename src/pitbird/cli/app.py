"""The commands, each in the module that bears its name."""

from __future__ import annotations

import typer

from pitbird.cli import (
    account,
    attempts,
    audit,
    begin,
    book,
    bundle,
    calc,
    checkpoint,
    copies,
    correct,
    demo,
    device,
    doctor,
    doubts,
    erase,
    evidence,
    gate,
    importing,
    look_back,
    paper,
    proof,
    retention,
    rules,
    serve,
    serves,
    test,
    verify,
    wear,
    who_saw,
    write,
)
from pitbird.cli.refusing import PlainGroup

app = typer.Typer(
    name="pitbird",
    cls=PlainGroup,
    help="The record book, the gate and the bump tests of a fleet of portable gas detectors.",
    epilog=(
        "Exit status: 0 done, or yes; 1 the answer is no; 2 refused, with one line for each fault on standard"
        " error and nothing written. Local codes, the instrument's manual and licensed practice come first."
    ),
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)


def _version(wanted: bool) -> None:
    if wanted:
        from pitbird import __version__

        typer.echo(f"pitbird {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: bool = typer.Option(
        False, "--version", help="Say the version and end.", callback=_version, is_eager=True
    ),
) -> None:
    """The record book, the gate and the bump tests of a fleet of portable gas detectors."""


for module in (
    begin,
    gate,
    test,
    write,
    correct,
    doubts,
    attempts,
    bundle,
    calc,
    evidence,
    account,
    serve,
    serves,
    demo,
    doctor,
    erase,
    retention,
    verify,
    wear,
):
    app.command(name=module.__name__.rpartition(".")[2])(module.command)
app.command(name="look-back")(look_back.command)
app.command(name="countersign")(doubts.countersign)
app.command(name="seen")(who_saw.command)
app.add_typer(audit.app, name="audit")
book.app.command("backup")(copies.backup)
book.app.command("put-back")(copies.put_back)
app.add_typer(book.app, name="book")
app.add_typer(checkpoint.app, name="checkpoint")
app.add_typer(device.app, name="device")
app.add_typer(checkpoint.key_app, name="key")
app.add_typer(rules.app, name="rules")
app.add_typer(importing.app, name="import")
app.add_typer(paper.app, name="paper")
app.add_typer(proof.app, name="proof")
