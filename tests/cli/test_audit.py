"""``pitbird audit``: links given, listed and taken back."""

import re
from pathlib import Path

import pytest

from tests.cli.conftest import Pitbird


@pytest.fixture
def own(begun: Pitbird, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Pitbird:
    """A begun book whose keys and checkpoints lie in a folder of the test's own."""
    monkeypatch.setattr("pitbird.cli.ready.home", lambda: tmp_path)
    monkeypatch.delenv("PITBIRD_KEY_PASSPHRASE", raising=False)
    return begun


def test_a_link_is_given_listed_and_taken_back(own: Pitbird) -> None:
    done = own("audit open 'Inspectorate' --detector D-017 --days 3")
    assert done.status == 0, done.err
    assert re.search(r"^address +/audit/in/[A-Za-z0-9_-]{43}$", done.out, re.MULTILINE)
    listed = own("audit list").out
    link, state, *_ = listed.split()
    assert (state, "Inspectorate" in listed) == ("open", True)
    assert own(f"audit close {link}").out == "Taken back.\n"
    assert "taken back" in own("audit list").out
    assert own(f"audit close {link}").out == "It was taken back before.\n"


def test_every_fault_is_told_and_nothing_is_written(own: Pitbird) -> None:
    done = own("audit open 'Inspectorate' --detector D-71 --from someday")
    assert done.status == 2
    assert len(done.err.splitlines()) == 2
    late = own("audit open ' ' --detector D-017 --days 400")
    assert late.status == 2
    assert "reader" in late.err
    assert "until" in late.err
    assert own("audit list").out == ""


def test_an_unknown_link_is_named(own: Pitbird) -> None:
    done = own("audit close 0195a000-0000-7000-8000-000000000021")
    assert (done.status, "no link" in done.err) == (2, True)
