"""Papers from the command line: written to a file, or refused with every fault and nothing written."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitbird.store import book
from tests.cli.conftest import PASSES, Pitbird
from tests.papers import pdf

COMMANDS = (
    "bump-test", "calibration-certificate", "detector-history", "morning-sheet", "book-page",
    "cylinder-standing", "training-record",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A key of the test's own."""
    monkeypatch.setattr("pitbird.cli.ready.home", lambda: tmp_path / "home")
    monkeypatch.delenv("PITBIRD_KEY_PASSPHRASE", raising=False)


def last_of(kind: str) -> int:
    (*_, row) = book.of_kind(kind)
    return row.index


def test_every_paper_has_its_command(pitbird: Pitbird) -> None:
    told = pitbird("paper --help").out
    for name in COMMANDS:
        assert name in told


def test_the_record_of_a_test_is_written_to_a_file(begun: Pitbird, tmp_path: Path) -> None:
    assert begun(PASSES).status == 0
    index, out = last_of("bump-test"), tmp_path / "test.pdf"
    said = begun(f"paper bump-test {index} --out {out}")
    assert (said.status, said.out) == (0, f"bump-test-{index}.pdf: {out}\n")
    pdf.assert_archival(out.read_bytes(), title="Bump test of detector D-017")
    assert "Signed when this was printed" in pdf.words(out.read_bytes())


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("calibration-certificate {calibration}", "CO ppm 100 99 −1 100 0"),
        ("detector-history D-017 --last 2098-01-01", "from the beginning to 1 Jan 2098"),
        ("morning-sheet north-works", "0 of 1 may go out."),
        ("cylinder-standing C-112", "carbon monoxide 100 ppm, hydrogen sulfide 20 ppm, rest nitrogen"),
        ("training-record P-07", "Training record of Nuria Sandelo"),
        ("book-page 2020-01-02 --site north-works", "Nothing is written about this day."),
    ],
)
def test_each_other_paper_says_what_it_is_about(
    begun: Pitbird, tmp_path: Path, line: str, words: str
) -> None:
    out = tmp_path / "paper.pdf"
    said = begun(f"paper {line.format(calibration=last_of('calibration'))} --out {out}")
    assert said.status == 0, said.err
    assert words in pdf.words(out.read_bytes())


def test_size_and_locale_are_as_asked_for(begun: Pitbird, tmp_path: Path) -> None:
    out = tmp_path / "paper.pdf"
    assert begun(f"paper training-record P-07 --paper us-letter --locale en-US --out {out}").status == 0
    assert pdf.page_size(out.read_bytes()) == pytest.approx((612, 792))
    assert "holds until Jan 1, 2098" in pdf.words(out.read_bytes())


def test_every_fault_is_named_and_nothing_is_written(begun: Pitbird, tmp_path: Path) -> None:
    out = tmp_path / "paper.pdf"
    line = (
        f"paper detector-history D-071 --first yesterday --last 2026-02-30 --paper a5 --locale xx --out {out}"
    )
    refused = begun(line)
    assert (refused.status, refused.out) == (2, "")
    assert [fault.partition(":")[0] for fault in refused.faults] == [
        "paper", "locale", "detector", "first", "last",
    ]  # fmt: skip
    assert "did you mean D-017?" in refused.err
    assert not out.exists()


def test_an_entry_of_another_kind_is_refused(begun: Pitbird, tmp_path: Path) -> None:
    refused = begun(f"paper bump-test 0 --out {tmp_path / 'paper.pdf'}")
    assert refused.status == 2
    assert refused.faults == ["entry: entry 0 is a genesis, not a bump-test"]
