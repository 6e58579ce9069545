"""``pitbird paper``: records, sheets and certificates as PDF, to hand over or to hang up."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from pitbird.cli.refusing import Faults
    from pitbird.services.papers.making import Made, Order

app = typer.Typer(no_args_is_help=True, help="Records, sheets and certificates as PDF (PDF/A, tagged).")

OUT = typer.Option(help="The file to write the PDF to.")
PAPER = typer.Option("a4", "--paper", help="a4 or us-letter.")
LOCALE = typer.Option("en-GB", help="Dates and numbers: en-GB, en-US, de, fr, es or nl.")


@app.command("bump-test")
def bump_test(
    index: int = typer.Argument(help="The place of the entry in the book."),
    out: Path = OUT,
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """The record of one bump test."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.services.papers.bump_test import bump_test as make

        return make(index, order)

    _written(out, paper, locale, make)


@app.command("calibration-certificate")
def calibration_certificate(
    index: int = typer.Argument(help="The place of the entry in the book."),
    out: Path = OUT,
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """The certificate of a calibration: as found, as left, uncertainty, gas, tolerance."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.services.papers.calibration_certificate import calibration_certificate as make

        return make(index, order)

    _written(out, paper, locale, make)


@app.command("detector-history")
def detector_history(
    detector: str = typer.Argument(help="The detector: D-017."),
    out: Path = OUT,
    first: str | None = typer.Option(None, help="First day, on the clock of its site: 2026-03-02."),
    last: str | None = typer.Option(None, help="Last day, itself included."),
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """Every entry about a detector, of a period where one is given."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.services.papers.detector_history import detector_history as make

        subject = known("detector", detector, faults)
        days = [_day(text, field, faults) for text, field in ((first, "first"), (last, "last"))]
        faults.refuse()
        return make(str(subject), order, first=days[0], last=days[1])

    _written(out, paper, locale, make)


@app.command("morning-sheet")
def morning_sheet(
    site: str = typer.Argument(help="The site: north-works."),
    out: Path = OUT,
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """What may go out at a site, for its wall; people by their codes."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.services.papers.morning_sheet import morning_sheet as make

        subject = known("site", site, faults)
        faults.refuse()
        return make(str(subject), order)

    _written(out, paper, locale, make)


@app.command("book-page")
def book_page(
    day: str = typer.Argument(help="The day: 2026-03-02."),
    out: Path = OUT,
    site: str | None = typer.Option(None, help="Only this site, and the day on its clock (else UTC)."),
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """Every entry about a day."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.services.papers.book_page import book_page as make

        place = known("site", site, faults) if site else None
        when = _day(day, "day", faults)
        faults.refuse()
        assert when is not None  # noqa: S101 - else it was refused
        return make(when, order, site=place)

    _written(out, paper, locale, make)


@app.command("cylinder-standing")
def cylinder_standing(
    cylinder: str = typer.Argument(help="The cylinder: C-112."),
    out: Path = OUT,
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """What is in a cylinder, what speaks against it, what is left, whom it serves."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.services.papers.cylinder_standing import cylinder_standing as make

        subject = known("cylinder", cylinder, faults)
        faults.refuse()
        return make(str(subject), order)

    _written(out, paper, locale, make)


@app.command("training-record")
def training_record(
    person: str = typer.Argument(help="The person: P-07."),
    out: Path = OUT,
    paper: str = PAPER,
    locale: str = LOCALE,
) -> None:
    """What a person was trained in, and what of it holds."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.cli.who_saw import saw
        from pitbird.services.papers.training_record import training_record as make

        subject = known("person", person, faults)
        faults.refuse()
        saw("person", about=str(subject))
        return make(str(subject), order)

    _written(out, paper, locale, make)


@app.command("key-sheet")
def key_sheet(out: Path = OUT, paper: str = PAPER, locale: str = LOCALE) -> None:
    """By which key the book signs, to hand over on paper."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.services.papers.key_sheet import key_sheet as make

        return make(order)

    _written(out, paper, locale, make)


@app.command("labels")
def labels(
    things: list[str] = typer.Argument(None, help="Codes of what to print labels for: D-017 C-112."),
    of: str | None = typer.Option(None, help="All of them: detectors, cylinders, regulators or people."),
    site: str | None = typer.Option(None, help="With --of: only those of this site."),
    grid: str = typer.Option("3x8 of 70x37", help="Columns x rows of width x height in mm; gap, margin."),
    start: int = typer.Option(1, help="The first free label of the first sheet."),
    out: Path = OUT,
    paper: str = PAPER,
) -> None:
    """Sheets of labels with a code that the pages take as scanned."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.cli.who_saw import saw
        from pitbird.services.papers.labels import all_of
        from pitbird.services.papers.labels import labels as make

        place = known("site", site, faults) if site else None
        wanted = [_thing(text, faults) for text in things or []]
        faults.refuse()
        listed = [*filter(None, wanted), *(all_of(of, place) if of else ())]
        if any(subject.startswith("person:") for subject in listed):
            saw("people")
        return make(list(dict.fromkeys(listed)), order, grid=grid, start=start)

    _written(out, paper, "en-GB", make)


@app.command("slips")
def slips(
    detectors: list[str] = typer.Argument(help="The detectors: D-017 D-018."),
    out: Path = OUT,
    paper: str = PAPER,
) -> None:
    """Slips for bump tests where phones are barred, to be filled in by hand and entered later."""

    def make(order: Order, faults: Faults) -> Made:
        from pitbird.cli.naming import known
        from pitbird.services.papers.slips import slips as make

        found = [known("detector", text, faults) for text in detectors]
        faults.refuse()
        return make([*filter(None, found)], order)

    _written(out, paper, "en-GB", make)


def _thing(text: str, faults: Faults) -> str | None:
    """The one thing of a code, whatever its sort."""
    from pitbird.services.knowing import Now
    from pitbird.services.papers.labels import SORTS

    named = [text] if ":" in text else [f"{sort}:{text}" for sort in SORTS.values()]
    found = sorted(Now().some(named))
    if len(found) == 1:
        return found[0]
    if found:
        faults.add(f"labels: {text!r} is the code of several things; write one of {', '.join(found)}")
    else:
        faults.add(f"labels: the book knows nothing of the code {text!r}")
    return None


def _day(text: str | None, field: str, faults: Faults) -> date | None:
    if text is None:
        return None
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    faults.add(f"{field}: {text!r} is not a day; write it like 2026-03-02")
    return None


def _written(out: Path, paper: str, locale: str, make: Callable[[Order, Faults], Made]) -> None:
    """Make a paper and write it to its file whole."""
    from pitbird.cli.checkpoint import passphrase
    from pitbird.cli.ready import home, make_ready_with_book
    from pitbird.cli.refusing import Faults

    make_ready_with_book()
    from pitbird.services.papers.making import Order, PaperRefused

    faults = Faults()
    order = Order(home(), passphrase(), paper, locale)
    try:
        order = order.checked()
    except PaperRefused as refused:
        for line in str(refused).splitlines():
            faults.add(line)
    made = make(order, faults)
    faults.refuse()
    from pitbird.services.papers.signing import signed

    made = signed(made)
    out.write_bytes(made.pdf)
    typer.echo(f"{made.name}: {out}")
