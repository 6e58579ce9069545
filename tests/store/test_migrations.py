"""A migration that rebuilds a guarded table leaves it guarded, and fills what is new from the entries."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]


def moved(**environment: str) -> dict[str, Any]:
    """Move a book's tables back and forward in a process of its own; what it saw."""
    around = {name: value for name, value in os.environ.items() if not name.startswith("PITBIRD_")}
    ended = subprocess.run(
        [sys.executable, "-m", "tests.store.rebuilding"],
        cwd=ROOT,
        env={**around, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'src'}",
             "DJANGO_SETTINGS_MODULE": "pitbird.app.settings", **environment},
        capture_output=True, check=False, timeout=120,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr.decode()
    told: dict[str, Any] = json.loads(ended.stdout)
    return told


def assert_rebuilt_and_guarded(told: dict[str, Any]) -> None:
    """Guards stand at every step, nothing is lost, and what is new is what the entries say."""
    for step in ("before", "back", "forward", "entries rebuilt"):
        seen = told[step]
        assert seen["missing"] == [], step
        refusals = ("update refused", "delete refused", "entry update refused", "entry delete refused")
        assert all(seen[each] for each in refusals), step
        assert len(seen["replacing refused"]) >= 2, step
        assert all(seen["replacing refused"]), step
        assert len(seen["entries"]) == 5, step
        assert seen["entries"] == told["before"]["entries"], step
        assert seen["mentions"] == told["before"]["mentions"], step
    assert set(told["before"]["columns"]) - set(told["back"]["columns"]) == {"at", "correction"}
    assert told["forward"]["columns"] == told["before"]["columns"]
    assert {kind for *_, kind in told["times"]} >= {"correction", "bump-test", "note", "detector"}
    for subject, nth, mentioned_at, at, correction, kind in told["times"]:
        assert mentioned_at == at, (subject, nth)
        assert bool(correction) is (kind == "correction"), (subject, nth)
    assert len(told["digests"]) >= 2
    for subject, state, digest in told["digests"]:
        assert sha256(state.encode()).hexdigest() == digest, subject


def test_a_rebuilt_table_is_guarded_and_filled(tmp_path: Path) -> None:
    told = moved(PITBIRD_HOME=str(tmp_path))
    assert_rebuilt_and_guarded(told)
    # So the guards that stand in the end are those that were put back, not those that had been there.
    assert told["lost with the table"] == [
        "store_entry_no_update", "store_entry_no_delete", "store_entry_no_replace"
    ]  # fmt: skip


@pytest.mark.postgres
def test_a_rebuilt_table_is_guarded_and_filled_on_postgresql(postgres_url: str, tmp_path: Path) -> None:
    assert_rebuilt_and_guarded(moved(PITBIRD_HOME=str(tmp_path), PITBIRD_DATABASE=postgres_url))
