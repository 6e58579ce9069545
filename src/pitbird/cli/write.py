"""``pitbird write``: one or many entries from JSON, all or none."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.intake.faults import Fault


def command(
    file: str = typer.Argument("-", help="JSON Lines, or a JSON array; - reads standard input."),
    by: str | None = typer.Option(None, help="Who writes; else PITBIRD_BY, else the only keeper."),
    site: str | None = typer.Option(None, help="The site; else PITBIRD_SITE, else the writer's home."),
) -> None:
    """Write entries from JSON objects: all or none; every fault of every entry is named with its line.

    Left out, 'v', 'id', 'at', 'zone', 'by' and 'where' are filled in. `pitbird book kinds` shows the kinds.
    """
    from pitbird.cli.naming import writer
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, Refused

    text = _text_of(file)
    make_ready_with_book()
    from pitbird.services.writing import write_all

    lines = Faults()
    actor, said = writer(by, site, lines)
    drafts, faults = read_drafts(text)
    if actor is None:
        raise Refused(*lines.lines, *(str(fault) for fault in faults))
    if not drafts and not faults:
        raise Refused(
            f"{'standard input' if file == '-' else file}: no entries; write one JSON object on each line"
        )
    written = write_all([d for _, d in drafts], actor, lines=[line for line, _ in drafts], found=faults)
    if said:
        typer.echo(said, err=True)
    for (_, draft), entry in zip(drafts, written, strict=True):
        typer.echo(
            f"{entry.index}  {entry.entry_id} "
            f" {draft['kind']}{'  (stood there already)' if entry.again else ''}"
        )


def _text_of(file: str) -> str:
    if file == "-":
        return sys.stdin.buffer.read().decode("utf-8-sig")
    with open(file, encoding="utf-8-sig") as opened:
        return opened.read()


def read_drafts(text: str) -> tuple[list[tuple[int, dict[str, Any]]], list[Fault]]:
    """The drafts in a text with the line each begins on, and every fault of the text itself.

    The text is one JSON array of objects, or objects one after another (each on its line, or over several).
    """
    from pitbird.intake.faults import Fault

    drafts: list[tuple[int, dict[str, Any]]] = []
    faults: list[Fault] = []
    for line, piece in _pieces(text):
        if isinstance(piece, Fault):
            faults.append(piece)
            continue
        value = _value(piece, line)
        if isinstance(value, list):
            faults.extend(value)
        else:
            drafts.append((line, value))
    return drafts, faults


def _pieces(text: str) -> list[tuple[int, str | Fault]]:
    """The texts of the objects, each with its line; a fault where one is no JSON, and on at the next line."""
    import json

    decode = json.JSONDecoder().raw_decode
    found: list[tuple[int, str | Fault]] = []
    place = _skip(text, 0, " \t\r\n")
    in_array = text.startswith("[", place)
    if in_array:
        place = _skip(text, place + 1, " \t\r\n")
    between = " \t\r\n," if in_array else " \t\r\n"
    while place < len(text):
        if in_array and text[place] == "]":
            rest = _skip(text, place + 1, " \t\r\n")
            if rest < len(text):
                found.append(_fault(text, rest, "there is more after the end of the array"))
            return found
        try:
            _, end = decode(text, place)
        except (ValueError, RecursionError) as refused:
            # What breaks off at the end of the text is at fault where its last sign stands.
            at = min(getattr(refused, "pos", place), len(text.rstrip()) - 1)
            found.append(_fault(text, at, f"not JSON ({getattr(refused, 'msg', 'nested too deep')})"))
            if in_array:
                return found
            end = text.find("\n", max(at, place))
            place = len(text) if end < 0 else _skip(text, end, between)
            continue
        found.append((_line(text, place), text[place:end]))
        place = _skip(text, end, between)
    if in_array:
        found.append(_fault(text, len(text), "the array has no end; a ']' is missing"))
    return found


def _fault(text: str, place: int, problem: str) -> tuple[int, Fault]:
    from pitbird.intake.faults import Fault

    line = _line(text, min(place, len(text)))
    return line, Fault("entry", "", problem, line)


def _line(text: str, place: int) -> int:
    return text.count("\n", 0, place) + 1


def _skip(text: str, place: int, signs: str) -> int:
    while place < len(text) and text[place] in signs:
        place += 1
    return place


def _value(piece: str, line: int) -> dict[str, Any] | list[Fault]:
    """The object that a piece of JSON holds; a key given twice is refused, whatever it says."""
    import json

    from pitbird.intake.faults import Fault, shown
    from pitbird.record.canonical import parse
    from pitbird.record.errors import DuplicateKey, NotCanonical

    try:
        value = parse(piece)
    except DuplicateKey as refused:
        where = refused.where.removeprefix("$").removeprefix(".") or "entry"
        return [
            Fault(where, "", f"the key {refused.key!a} stands twice in one object; keep one of the two", line)
        ]
    except NotCanonical:
        # Bare floats and the like: the entry's own reading names every such field.
        value = json.loads(piece)
    if not isinstance(value, dict):
        return [Fault("entry", shown(value), "not an entry; an entry is an object with a 'kind'", line)]
    return value
