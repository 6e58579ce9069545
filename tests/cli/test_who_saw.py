"""``pitbird seen``: who saw what, and what the terminal itself leaves there."""

from pathlib import Path
from typing import Any

import pytest

from pitbird.services import seeing
from tests.cli.conftest import Pitbird

K, P = "person:K-1", "person:P-07"


def test_the_list_is_shown_and_narrowed(begun: Pitbird) -> None:
    seeing.record("person", account=7, person=K, about=P)
    seeing.record("export", account=7, person=P)
    shown = begun("seen")
    assert shown.out.splitlines()[0] == "2 of 2 lines"
    assert "the page of a person" in shown.out
    assert "PITBIRD_SEEN is not 1" in shown.err
    assert "export" not in begun("seen --about P-07").out
    assert "the page" not in begun("seen --viewer P-07").out
    assert begun("seen --last 1").out.splitlines()[0] == "1 of 2 lines"
    refused = begun("seen --about P-70 --viewer K-70")
    assert (refused.status, len(refused.faults)) == (2, 2)


def test_what_the_terminal_shows_is_written_down_too(
    begun: Pitbird, settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun(f"book export {tmp_path / 'a.jsonl'}")
    assert seeing.count() == 0
    settings.SEEN = True
    begun(f"book export {tmp_path / 'b.jsonl'}")
    monkeypatch.setenv("PITBIRD_BY", "K-1")
    begun("erase P-07 --because request", "no\n")
    found = [(each.what, each.account, each.person, each.about) for each in seeing.sights()]
    assert found == [("erasing", 0, K, P), ("export", 0, "", "")]
    assert "terminal" in begun("seen").out
