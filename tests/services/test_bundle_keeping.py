"""Bundles kept for a day beside the book."""

from __future__ import annotations

import os
from collections.abc import Generator
from pathlib import Path

import pytest

from pitbird.services import bundle_keeping, clock
from pitbird.services.bundle_keeping import KEPT_SECONDS, Ready, drop_old, keep_bundle, kept_bundle
from pitbird.services.bundle_scope import Asked
from pitbird.services.bundles import Progress
from pitbird.services.writing import Actor
from tests.bodies import ms


def ended(steps: Generator[Progress, None, Ready]) -> Ready:
    """What the steps give when they have all been taken."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            ready: Ready = end.value
            return ready


def test_a_bundle_is_there_under_its_name_once_it_is_whole(fleet: Actor, tmp_path: Path) -> None:
    steps = keep_bundle(Asked(detectors=("detector:D-017",)), tmp_path, None)
    next(steps)
    (halfway,) = (tmp_path / "bundles").iterdir()
    assert halfway.name.startswith(".")
    ready = ended(steps)
    (path,) = (tmp_path / "bundles").iterdir()
    assert path == kept_bundle(tmp_path, ready.name)
    assert path.stat().st_size == ready.made.length
    assert (tmp_path / "bundles").stat().st_mode & 0o077 == 0
    assert kept_bundle(tmp_path, "another") is None


def test_what_is_broken_off_leaves_nothing(fleet: Actor, tmp_path: Path) -> None:
    steps = keep_bundle(Asked(detectors=("detector:D-017",)), tmp_path, None)
    next(steps)
    steps.close()
    assert list((tmp_path / "bundles").iterdir()) == []


def test_after_a_day_bundles_go_whole_and_half(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = ms("12:00")
    monkeypatch.setattr(clock, "now", lambda: now)
    folder = tmp_path / bundle_keeping._FOLDER
    folder.mkdir()
    for name, age in (("a.zip", 1), (".b.part", 1), ("c.zip", -1)):
        (folder / name).write_bytes(b"x")
        moment = now / 1000 - KEPT_SECONDS - 60 * age
        os.utime(folder / name, (moment, moment))
    drop_old(tmp_path)
    assert [path.name for path in folder.iterdir()] == ["c.zip"]


def test_where_none_was_ever_made_there_is_nothing_to_drop(tmp_path: Path) -> None:
    drop_old(tmp_path)
    assert list(tmp_path.iterdir()) == []
