"""A book whose writer was killed is whole: nothing acknowledged is lost, nothing half-written stands."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from bench.killing import faults_of_book
from pitbird.services.writing import Actor, write
from pitbird.store import book, guards
from pitbird.store.models import Blob, FoldPoint, Head, Standing
from tests.bodies import at, bump, ms

ROOT = Path(__file__).parents[2]


def kill_many(kills: int, **environment: str) -> dict[str, Any]:
    """Run ``bench.killing`` in a process of its own, with a random seed, and give its report."""
    seed = int.from_bytes(os.urandom(4), "big")
    around = {name: value for name, value in os.environ.items() if not name.startswith("PITBIRD_")}
    ended = subprocess.run(
        [sys.executable, "-m", "bench.killing", str(kills), str(seed)],
        cwd=ROOT,
        env={**around, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'src'}",
             "DJANGO_SETTINGS_MODULE": "pitbird.app.settings", **environment},
        capture_output=True, check=False, timeout=600,
    )  # fmt: skip
    assert ended.returncode == 0, f"seed {seed}:\n{ended.stderr.decode()}"
    report: dict[str, Any] = {"seed": seed, **json.loads(ended.stdout)}
    return report


needs_kill = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system cannot kill outright")


@needs_kill
@pytest.mark.slow
@pytest.mark.own_book
def test_a_sqlite_book_is_whole_after_dozens_of_kills() -> None:
    report = kill_many(36)
    assert report["faults"] == [], report
    assert report["kills"] == 36
    # PRAGMA synchronous: 2 is FULL (https://www.sqlite.org/pragma.html#pragma_synchronous).
    assert report["settings"] == {"synchronous": 2, "journal_mode": "wal"}
    assert report["inside"] >= 6, "kills that fall between two acts show little"
    assert report["acknowledged"] > 36


@needs_kill
@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.own_book
def test_a_postgresql_book_is_whole_after_its_client_was_killed(postgres_url: str) -> None:
    report = kill_many(16, PITBIRD_DATABASE=postgres_url)
    assert report["faults"] == [], report
    assert report["settings"] == {"synchronous_commit": "on", "fsync": "on"}
    assert report["inside"] >= 3
    assert report["acknowledged"] > 16


def written(fleet: Actor) -> list[str]:
    """The ids of a small book with a fail and a late pass."""
    write(bump(at("07:00"), missed="CO"), fleet, now=ms("07:01"))
    write(bump(at("06:30")), fleet, now=ms("07:10"))
    return [row.entry_id for row in book.all_rows()]


# What the check after a kill would say if something were wrong.


def test_a_whole_book_has_no_faults(fleet: Actor) -> None:
    assert faults_of_book(written(fleet)) == []


def test_a_lost_entry_is_told(fleet: Actor) -> None:
    written(fleet)
    lost = "0195a000-0000-7000-8000-00000000dead"
    assert faults_of_book([lost]) == [f"acknowledged but not in the book: {lost}"]


def test_a_head_behind_its_leaves_is_told(fleet: Actor) -> None:
    before = book.head()
    ids = written(fleet)
    Head.objects.update(size=before.size, frontier=before.to_bytes())
    told = faults_of_book(ids)
    assert told == [f"the head is at {before.size} and not the tree over the {len(ids)} leaves"]


def test_a_state_that_its_entries_do_not_fold_to_is_told(fleet: Actor) -> None:
    before = book.standings(["detector:D-017"])["detector:D-017"]
    ids = written(fleet)
    Standing.objects.filter(subject="detector:D-017").update(state=before)
    assert faults_of_book(ids) == ["the state of detector:D-017 is not what its entries fold to"]


def test_a_fold_point_that_forgot_a_fail_is_told(fleet: Actor) -> None:
    before = json.loads(Standing.objects.get(subject="detector:D-017").state)
    ids = written(fleet)
    point = json.dumps({**before, "last_at": ms("08:00")})
    FoldPoint.objects.create(subject="detector:D-017", at=ms("08:00"), state=point)
    told = faults_of_book(ids)
    assert told == ["detector:D-017 folded from its last fold point is not what its entries fold to"]


def test_a_lost_mention_is_told_and_a_missing_guard(fleet: Actor) -> None:
    ids = written(fleet)
    name = next(name for name in guards.names(connection.vendor) if name.startswith("store_mention_no_"))
    with connection.cursor() as cursor:
        for each in guards.names(connection.vendor):
            if each.startswith("store_mention"):
                on = " ON store_mention" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER {each}{on}")
        cursor.execute("DELETE FROM store_mention WHERE subject = 'person:P-07' AND nth = 2")
    told = faults_of_book(ids)
    assert f"the trigger {name} is gone" in told
    assert any(each.startswith("mentions and leaves differ: [('person:P-07', 2,") for each in told), told
    assert "the census is not what the leaves say" in told


def test_a_note_without_its_text_is_told(fleet: Actor) -> None:
    ids = written(fleet)
    write({"kind": "note", "subject": "detector:D-017", "text": "rattles"}, fleet, now=ms("07:20"))
    Blob.objects.filter(content=b"rattles").delete()
    (told,) = faults_of_book(ids)
    assert told.startswith("1 commitments without their blob")
