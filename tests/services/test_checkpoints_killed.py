"""Whoever makes checkpoints, changes the key or takes signatures and is killed leaves nothing half that looks
whole, and loses nothing that was done."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from bench.killing_keys import faults, faults_afterwards, key_of, witness
from pitbird.record.note import cosign_note, read_note
from pitbird.services import checkpoints
from pitbird.services.key_rotation import rotate
from pitbird.services.witnessing import take_back
from pitbird.services.writing import Actor
from tests.services.test_killed import ROOT, needs_kill


@needs_kill
@pytest.mark.slow
@pytest.mark.own_book
def test_two_dozen_kills_leave_keys_and_checkpoints_whole() -> None:
    seed = int.from_bytes(os.urandom(4), "big")
    around = {name: value for name, value in os.environ.items() if not name.startswith("PITBIRD_")}
    ended = subprocess.run(
        [sys.executable, "-m", "bench.killing_keys", "24", str(seed)],
        cwd=ROOT,
        env={**around, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'src'}",
             "DJANGO_SETTINGS_MODULE": "pitbird.app.settings"},
        capture_output=True, check=False, timeout=600,
    )  # fmt: skip
    assert ended.returncode == 0, f"seed {seed}:\n{ended.stderr.decode()}"
    report = json.loads(ended.stdout)

    assert report["faults"] == [], (seed, report)
    assert report["kills"] == 24
    assert sum(count for act, count in report["inside"].items() if act != "nothing") >= 8, report
    assert report["keys"] + report["checkpoints"] > 8, report


# What the look after a kill would say if something were wrong.


def test_a_whole_folder_has_no_faults(fleet: Actor, tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    key = rotate(tmp_path, fleet).new.text()
    done: list[dict[str, Any]] = [{"checkpoint": made.checkpoint.size}, {"key": key}]

    assert [*faults(tmp_path, done), *faults_afterwards(tmp_path)] == []


def test_what_was_done_and_is_gone_is_told(fleet: Actor, tmp_path: Path) -> None:
    made = checkpoints.make_checkpoint(tmp_path)
    note = read_note(made.path.read_bytes())
    signed = note.with_signature(cosign_note(note.text, witness(0).name, key_of(0), 1_772_000_000))
    take_back(signed.to_bytes(), tmp_path, witness=witness(0))
    done: list[dict[str, Any]] = [
        {"signed": [made.path.name, 0]},
        {"checkpoint": 4},
        {"key": "k"},
        {"seen": 3},
    ]
    made.path.write_bytes(note.to_bytes())

    assert list(faults(tmp_path, done)) == [
        f"the signature of witness 0 under {made.path.name} is gone",
        "the checkpoint of 4 entries is gone",
        "the change to k is gone",
        "3 were signed of the other book, 0 are kept",
    ]


def test_half_a_note_and_a_key_that_lies_about_are_told(fleet: Actor, tmp_path: Path) -> None:
    rotate(tmp_path, fleet)
    made = checkpoints.make_checkpoint(tmp_path)
    (tmp_path / "keys" / "old.pem").write_bytes((tmp_path / "book-key.pem").read_bytes())

    told = list(faults_afterwards(tmp_path))
    assert told == ["left over: ['old.pem']", "a private key lies in old.pem"]

    made.path.write_bytes(made.path.read_bytes()[:-20])
    assert any(each.startswith(made.path.name) for each in faults(tmp_path, []))


def test_what_a_killed_process_left_goes_after_an_hour(fleet: Actor, tmp_path: Path) -> None:
    folder = checkpoints.make_checkpoint(tmp_path).path.parent
    old, young = folder / ".new-old", tmp_path / ".new-young"
    for each in (old, young):
        each.write_bytes(b"half")
    os.utime(old, (1_700_000_000, 1_700_000_000))

    checkpoints.sweep(tmp_path)

    assert (old.exists(), young.exists()) == (False, True)
