"""``pitbird calc``: a request as JSON on standard input, the answer as JSON on standard output."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import typer


def command(
    name: str = typer.Argument("", metavar="[NAME]", help="The calculation; --list names them."),
    listing: bool = typer.Option(False, "--list", help="Name the calculations and what each answers."),
    schema: bool = typer.Option(False, "--schema", help="The JSON Schema of its request and its result."),
    example: bool = typer.Option(False, "--example", help="A request that it answers, to begin from."),
) -> None:
    """Calculate: one JSON object on standard input, one on standard output.

    Numbers are in the units that the names of the fields end with. Every answer says what it stands on and
    what must be heeded. Nothing of the book is read.
    """
    from pitbird.calc.registry import LISTED, load
    from pitbird.cli.refusing import Refused

    if listing:
        width = max(map(len, LISTED))
        typer.echo("\n".join(f"{each:<{width}}  {question}" for each, question in LISTED.items()))
        return
    if not name:
        raise Refused(f"NAME: missing; name one of {', '.join(LISTED)}, or ask for --list")
    calculation = load(name)
    if schema:
        _say(calculation.schema())
    elif example:
        _say(calculation.examples[0].request)
    else:
        from pitbird.calc.definition import as_values, parsed

        _say(as_values(calculation.answer(parsed(_request(name)))))


def _request(name: str) -> bytes:
    import sys

    from pitbird.cli.refusing import Refused

    if sys.stdin.isatty():
        raise Refused(
            f"the request is missing: pitbird calc {name} < request.json;"
            f" pitbird calc {name} --example > request.json makes one to begin from"
        )
    return sys.stdin.buffer.read()


def _say(values: Mapping[str, Any]) -> None:
    import json

    typer.echo(json.dumps(values, indent=2, ensure_ascii=False, allow_nan=False))
