"""Papers set by a helper process: the same bytes, its faults told, replaced when it has set much or ended."""

from __future__ import annotations

import os
import signal
from datetime import UTC, datetime

import pytest

from pitbird.papers.sheet import (
    Facts,
    Keyed,
    Leaf,
    Loud,
    Sealed,
    Section,
    Sheet,
    Stamp,
    Standing,
    Strong,
    Table,
    print_sheet,
)
from pitbird.services.papers import press as press_module
from pitbird.services.papers.press import Press, PressBroken

BOOK = "0195a000-0000-7000-8000-000000000001"
AT = datetime(2026, 3, 2, 6, 41, tzinfo=UTC)
SHEET = Sheet(
    title="A paper – Prüfblatt",
    running="D-017",
    foot="Printed",
    opening=(Stamp("may-go-out", "May go out", "until 18:00"), Loud("Mind", ("this", Strong("that")))),
    sections=(
        Section("Facts", (Facts((("Serial", Keyed("Q-88213")), ("Gas", ("methane", "oxygen")))),)),
        Section("Table", (Table(("a", "b"), (("1", Keyed("2")),), sides=("left", "right")),), wide=True),
    ),
    shows=("that it was tested",),
    shows_not=("tomorrow",),
    standing=Standing(Leaf(BOOK, BOOK, 7, b"\x01" * 32), Sealed(f"pitbird-book/{BOOK}", 9, b"\x02" * 32)),
    answer=("yes",),
)


@pytest.fixture(scope="module")
def here() -> bytes:
    """The paper as it is set in this process."""
    return print_sheet(SHEET, made_at=AT)


def test_a_helper_sets_the_same_bytes_one_paper_after_another(here: bytes) -> None:
    with Press() as press:
        assert press.print_sheet(SHEET, made_at=AT) == here
        helper = press._helper
        assert press.print_sheet(SHEET, made_at=AT) == here
        assert press._helper is helper
        other = press.print_sheet(SHEET, made_at=AT, paper="us-letter")
    assert other != here
    assert other.startswith(b"%PDF-")
    assert helper is not None
    assert helper.poll() is not None


def test_a_helper_that_has_set_much_is_replaced(here: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(press_module, "WORN", len(here))
    with Press() as press:
        press.print_sheet(SHEET, made_at=AT)
        first = press._helper
        press.print_sheet(SHEET, made_at=AT)
        assert press._helper is None
        assert press.print_sheet(SHEET, made_at=AT) == here
        assert press._helper is not first


@pytest.mark.skipif(os.name != "posix", reason="signals are those of POSIX")
def test_a_helper_that_was_killed_is_started_anew(here: bytes) -> None:
    with Press() as press:
        press.print_sheet(SHEET, made_at=AT)
        assert press._helper is not None
        os.kill(press._helper.pid, signal.SIGKILL)
        press._helper.wait()
        assert press.print_sheet(SHEET, made_at=AT) == here


def test_what_it_cannot_set_is_told_in_its_words_and_it_goes_on(here: bytes) -> None:
    broken = Sheet(**{name: getattr(SHEET, name) for name in SHEET.__struct_fields__} | {"locale": "not one"})
    with Press() as press:
        with pytest.raises(PressBroken, match="Error"):
            press.print_sheet(broken, made_at=AT, paper="b5")  # type: ignore[arg-type]
        assert press.print_sheet(SHEET, made_at=AT) == here


def test_a_time_without_its_zone_is_refused() -> None:
    with Press() as press, pytest.raises(ValueError, match="zone"):
        press.print_sheet(SHEET, made_at=datetime(2026, 3, 2))  # noqa: DTZ001
