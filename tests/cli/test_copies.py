"""``pitbird book backup`` and ``put-back``, as whoever keeps the machine uses them."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from tests.cli.conftest import BEGIN, PASSES, THINGS, Pitbird
from tests.services.test_killed import needs_kill

pytestmark = [pytest.mark.own_book, pytest.mark.slow]

NOTE = '{"kind": "note", "subject": "site:north-works", "text": "swept"}'
KNOWN = re.compile(r"^\d+:[0-9a-f]{64}$", re.MULTILINE)


@pytest.fixture
def kept(program: Pitbird, tmp_path: Path) -> Path:
    """A begun book with its things, a passed test and a checkpoint; where copies of it are to lie."""
    assert program(BEGIN).status == 0
    assert program("write -", "\n".join(map(json.dumps, THINGS))).status == 0
    assert program(PASSES).status == 0
    assert program("checkpoint make").status == 0
    return tmp_path / "kept"


def test_a_copy_of_all_there_was_comes_back_with_the_same_answers_and_goes_on(
    program: Pitbird, kept: Path, tmp_path: Path
) -> None:
    made = program(f"book backup {kept} --secrets")
    assert made.status == 0, made.err
    (known,) = KNOWN.findall(made.out)
    (copy,) = kept.iterdir()
    new = {"PITBIRD_HOME": str(tmp_path / "new")}

    back = program(f"book put-back {copy} --known {known} --nothing-since", **new)
    assert back.status == 0, back.err
    assert "its tests count on" in back.out
    assert "private keys" not in back.out

    assert "Nothing is lacking" in program(f"book restored {known}", **new).out
    assert program("doctor", **new).status == 0
    assert program("gate D-017", **new).out.startswith(program("gate D-017").out[:20])
    assert program("write -", NOTE, **new).status == 0
    assert program("checkpoint make", **new).status == 0
    again = program(f"book put-back {copy}", **new)
    assert again.status == 2
    assert again.faults[0].startswith("there is a book in ")


def test_after_a_copy_is_put_back_a_new_epoch_begins(program: Pitbird, kept: Path, tmp_path: Path) -> None:
    """What was written since the copy was made is not in it; that may be a fail."""
    assert program(f"book backup {kept}").status == 0
    (copy,) = kept.iterdir()
    assert program("write -", NOTE).status == 0
    (later,) = KNOWN.findall(program(f"book backup {tmp_path / 'other'}").out)
    for number, known in enumerate(("", f"--known {later}")):
        new = {"PITBIRD_HOME": str(tmp_path / f"new-{number}")}
        back = program(f"book put-back {copy} {known}", **new)
        assert back.status == 0, back.err
        assert "a new epoch begins" in back.out
        assert "The copy held no private keys" in back.out
        size = int(back.out.split()[0])
        epoch = program(f"book show {size}", **new).out
        assert '"kind": "epoch"' in epoch
        assert f'"known_size": {later.partition(":")[0] if known else size}' in epoch


def test_a_copy_of_another_book_than_is_known_is_taken_away_again(
    program: Pitbird, kept: Path, tmp_path: Path
) -> None:
    assert program(f"book backup {kept}").status == 0
    (copy,) = kept.iterdir()
    for wrong, words in (
        (f"--known 1:{'0' * 64}", "another root"),
        ("--by K-9", "the book knows no person"),
        ("--known ten", "SIZE:HEX"),
    ):
        refused = program(f"book put-back {copy} {wrong}", PITBIRD_HOME=str(tmp_path / "new"))
        assert refused.status == 2
        assert words in refused.err
        assert not (tmp_path / "new" / "book.sqlite3").exists()


def test_a_copy_that_does_not_hold_leaves_no_book_that_could_be_served_without_its_epoch(
    begun: Pitbird, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pitbird.services import backing_up, checking

    taken: list[Path] = []
    found = (checking.Check("the clock goes on", "it is behind", "set it"),)
    monkeypatch.setattr(backing_up, "put_back", lambda folder, home: backing_up.Copy(folder, 1, b"", False))
    monkeypatch.setattr(backing_up, "take_away", taken.append)
    monkeypatch.setattr(checking, "quick_check", lambda: found)
    assert begun(f"book put-back {tmp_path}").status == 1
    assert len(taken) == 1


def test_copies_made_while_others_write_are_of_one_moment(
    program: Pitbird, kept: Path, tmp_path: Path
) -> None:
    ended = threading.Event()

    def write_on() -> None:
        while not ended.is_set():
            assert program("write -", "\n".join([NOTE] * 200)).status == 0

    writing = threading.Thread(target=write_on)
    writing.start()
    try:
        while len(list(kept.glob("pitbird-*"))) < 2:
            assert program(f"book backup {kept} --secrets").status == 0
    finally:
        ended.set()
        writing.join()
    for number, copy in enumerate(sorted(kept.iterdir())):
        new = {"PITBIRD_HOME": str(tmp_path / f"new-{number}")}
        assert program(f"book put-back {copy} --nothing-since", **new).status == 0
        doctor = program("doctor", **new)
        assert doctor.status == 0, doctor.out


@needs_kill
def test_a_copy_that_was_killed_does_not_bear_the_name_of_one(
    program: Pitbird, kept: Path, tmp_path: Path
) -> None:
    around = {name: value for name, value in os.environ.items() if not name.startswith("PITBIRD_")}
    around["PITBIRD_HOME"] = str(tmp_path / "home")
    begun = time.monotonic()
    assert program(f"book backup {kept}").status == 0
    whole = time.monotonic() - begun
    for part in range(1, 7):
        running = subprocess.Popen(
            [sys.executable, "-m", "pitbird", "book", "backup", str(kept)],
            env=around, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        time.sleep(whole * (0.4 + part / 10))
        running.send_signal(signal.SIGKILL)
        running.wait()
    for copy in kept.glob("pitbird-*"):
        named = {*json.loads((copy / "about.json").read_text())["files"], "about.json"}
        assert {str(each.relative_to(copy)) for each in copy.rglob("*") if each.is_file()} == named


def test_without_a_book_there_is_nothing_to_copy(program: Pitbird, tmp_path: Path) -> None:
    refused = program(f"book backup {tmp_path / 'kept'}")
    assert refused.status == 2
    assert "there is no book in" in refused.faults[0]
    assert not (tmp_path / "kept").exists()


def test_what_is_no_copy_is_refused_and_nothing_is_made(program: Pitbird, tmp_path: Path) -> None:
    refused = program(f"book put-back {tmp_path}")
    assert refused.status == 2
    assert "is no copy of a book" in refused.faults[0]
    assert not (tmp_path / "home" / "book.sqlite3").exists()
