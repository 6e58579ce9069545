"""``pitbird retention``: what is past its period, by which periods, and erasing it."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from pitbird.fleet.times import DAY, Ms
from pitbird.services import clock
from pitbird.store import blobs, book, seals
from tests.cli.conftest import Pitbird


@pytest.fixture
def own_file() -> Iterator[Path]:
    from django.conf import settings

    file = settings.CONFIG.home / "retention.toml"
    yield file
    file.unlink(missing_ok=True)


@pytest.fixture
def old(begun: Pitbird, monkeypatch: pytest.MonkeyPatch) -> Pitbird:
    """A note was written, P-07 left yesterday, and six years have passed."""
    now = clock.now()
    left = "2020-01-01"
    lines = [
        {"kind": "note", "subject": "detector:D-017", "text": "clip loose"},
        {"kind": "person", "person": "person:P-07", "name": "Nuria Sandelo", "left": left},
    ]
    assert begun("write -", "\n".join(map(json.dumps, lines))).status == 0
    monkeypatch.setattr(clock, "now", lambda: Ms(now + 6 * 366 * DAY))
    monkeypatch.setattr(seals, "rewrite", lambda: True)
    return begun


def test_the_survey_only_looks(old: Pitbird) -> None:
    size = book.head().size
    shown = old("retention")
    assert shown.status == 0
    assert "3 names, texts and photos are past their period. Entries stay in any case." in shown.out
    assert ": clip loose" in shown.out
    assert "P-07  2020-01-01  2" in shown.out
    assert book.head().size == size


def test_what_is_past_is_erased_when_the_number_is_typed(old: Pitbird) -> None:
    assert old("retention --erase", "4\n").status == 2
    assert len(list(blobs.every_text())) == 4
    done = old("retention --erase", "3\n")
    assert done.status == 0, done.err
    assert [blob.text for blob in blobs.every_text()] == ["Ilda Morvane"]
    again = old("retention --erase --yes")
    assert (again.status, again.out.splitlines()[-1]) == (0, "Nothing to erase.")


def test_only_a_keeper_erases_and_yes_alone_confirms_nothing(old: Pitbird) -> None:
    assert "only a keeper" in old("retention --erase --yes --by P-07 --site north-works").err
    assert old("retention --yes").status == 2
    assert len(list(blobs.every_text())) == 4


def test_the_periods_are_shown_with_source_and_how_well_it_is_known(begun: Pitbird) -> None:
    shown = begun("retention --periods").out
    assert "29 CFR 1910.146(e)(6) and (f)(10)" in shown
    assert "[seen]" in shown
    assert "life of the instrument" in shown


def test_every_fault_of_the_own_file_is_told_and_nothing_is_erased_by_it(
    old: Pitbird, own_file: Path
) -> None:
    own_file.write_text('[[period]]\nid = "x"\nkinds = ["notes"]\nyears = -1\n')
    refused = old("retention --erase --yes")
    assert (refused.status, refused.out) == (2, "")
    assert len(refused.faults) == 8
    assert all(line.startswith("retention.toml: period[1] (x).") for line in refused.faults)
    assert len(list(blobs.every_text())) == 4
