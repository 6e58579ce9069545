"""The demonstration: in a folder of its own, never over somebody's book."""

from pathlib import Path

import pytest

from pitbird.cli.demo import _prepare_home
from pitbird.cli.refusing import Refused
from tests.cli.conftest import BEGIN, Pitbird


@pytest.mark.parametrize("fresh", ["", " --fresh"])
def test_a_book_that_is_no_demonstration_is_never_touched(
    program: Pitbird, tmp_path: Path, fresh: str
) -> None:
    assert program(BEGIN).status == 0
    refused = program("demo --no-serve" + fresh)
    assert (refused.status, refused.out) == (2, "")
    assert "did not make" in refused.err
    assert program("doctor").status == 0


def test_a_book_half_made_is_made_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PITBIRD_DATABASE", raising=False)
    home = _prepare_home(tmp_path / "demo", fresh=False)
    (home / "book.sqlite3").touch()
    _prepare_home(home, fresh=False)
    assert not (home / "book.sqlite3").exists()
    (home / "book.sqlite3").touch()
    (home / "demo-ready").touch()
    _prepare_home(home, fresh=False)
    assert (home / "book.sqlite3").exists()
    _prepare_home(home, fresh=True)
    assert not (home / "book.sqlite3").exists()


def test_it_keeps_out_of_a_shared_database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PITBIRD_DATABASE", "postgresql://somewhere/book")
    with pytest.raises(Refused, match="PITBIRD_DATABASE"):
        _prepare_home(tmp_path, fresh=True)


@pytest.mark.slow
def test_it_makes_a_book_and_says_what_may_go_out(program: Pitbird, tmp_path: Path) -> None:
    made = program(f"demo --no-serve --home {tmp_path / 'demo'}")
    assert made.status == 0, made.err
    assert "What may go out now?" in made.out
    table = made.out[made.out.index("detector  ") :].splitlines()
    assert len(table) == 7
    home = {"PITBIRD_HOME": str(tmp_path / "demo")}
    assert program("doctor", **home).status == 0
    again = program(f"demo --no-serve --home {tmp_path / 'demo'}")
    assert again.status == 0
    assert "Making up" not in again.out
