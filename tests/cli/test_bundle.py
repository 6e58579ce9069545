"""``pitbird bundle``: made, checked, refused, and never half."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

from pitbird.papers.bundle.verify import verify
from tests.cli.conftest import BEGIN, PASSES, THINGS, Pitbird

FINGERPRINT = "fingerprint  "


@pytest.fixture
def own(begun: Pitbird, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Pitbird:
    """A begun book with one test, whose keys and checkpoints lie in a folder of the test's own."""
    monkeypatch.setattr("pitbird.cli.ready.home", lambda: tmp_path)
    monkeypatch.delenv("PITBIRD_KEY_PASSPHRASE", raising=False)
    assert begun(PASSES).status == 0
    return begun


def fingerprint(out: str) -> str:
    (line,) = [line for line in out.splitlines() if line.startswith(FINGERPRINT)]
    return line.removeprefix(FINGERPRINT)


def test_a_bundle_is_made_and_holds_by_the_fingerprint_that_was_said(own: Pitbird, tmp_path: Path) -> None:
    out = tmp_path / "audit.zip"

    made = own(f"bundle {out} --detector D-017")

    assert made.status == 0, made.err
    assert "11 of 11 entries" in made.out
    assert "by another way than the bundle" in made.out
    assert "names and texts in the open" in made.out
    assert verify(str(out), fingerprint(made.out))["answer"] == "holds"
    assert made.err == ""  # no bar where there is no terminal


def test_a_site_a_period_and_no_names(own: Pitbird, tmp_path: Path) -> None:
    out = tmp_path / "audit.zip"

    made = own(f"bundle {out} --site north-works --from 2020-01-01 --until 2099-12-31 --without-names")

    assert made.status == 0, made.err
    assert "names and texts in the open" not in made.out
    told = verify(str(out), fingerprint(made.out))
    assert (told["answer"], told["withheld"] > 0) == ("holds", True)


def test_every_fault_is_told_at_once_and_nothing_is_written(own: Pitbird, tmp_path: Path) -> None:
    out = tmp_path / "audit.zip"

    refused = own(f"bundle {out} --detector D-71 --site moon --from soon --until 2026-02-30")

    assert refused.status == 2
    assert [line.partition(":")[0] for line in refused.faults] == ["detector", "site", "from", "until"]
    assert "did you mean D-017?" in refused.err
    assert [each.name for each in tmp_path.glob("*.zip")] == []


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ("", "detector"),
        ("--detector D-017 --from 2026-02-02 --until 2026-01-01", "until"),
        ("--detector D-017 --paper-size b5", "paper-size"),
        ("--detector D-017 --since-checkpoint 99", "since-checkpoint"),
    ],
)
def test_what_cannot_be_is_refused_with_its_field(
    own: Pitbird, tmp_path: Path, more: str, field: str
) -> None:
    refused = own(f"bundle {tmp_path / 'audit.zip'} {more}")
    assert refused.status == 2
    assert refused.faults[0].startswith(f"{field}: ")
    assert list(tmp_path.glob(".*.part")) == []


def test_a_folder_that_is_not_there_is_named(own: Pitbird, tmp_path: Path) -> None:
    refused = own(f"bundle {tmp_path}/none/audit.zip --detector D-017")
    assert (refused.status, str(tmp_path / "none") in refused.err) == (2, True)


def test_a_bundle_of_before_is_replaced_only_by_a_whole_one(own: Pitbird, tmp_path: Path) -> None:
    out = tmp_path / "audit.zip"
    out.write_bytes(b"the old one")
    (tmp_path / "book-key.pem").write_bytes(b"damaged")

    assert own(f"bundle {out} --detector D-017").status == 2

    assert out.read_bytes() == b"the old one"
    (tmp_path / "book-key.pem").unlink()
    assert own(f"bundle {out} --detector D-017").status == 0
    assert out.read_bytes()[:2] == b"PK"


@pytest.fixture
def book(program: Pitbird) -> Pitbird:
    """The real program with a book of its own, one test in it."""
    import json

    assert program(BEGIN).status == 0
    things = [thing for thing in THINGS if thing["kind"] not in ("training", "calibration")]
    assert program("write -", "\n".join(map(json.dumps, things))).status == 0
    return program


@pytest.mark.slow
def test_two_processes_make_the_same_bytes(book: Pitbird, tmp_path: Path) -> None:
    for name in ("one", "two"):
        made = book(f"bundle {tmp_path / name}.zip --site north-works", TZ=f"Etc/GMT+{len(name)}")
        assert made.status == 0, made.err
    first, second = (zipfile.ZipFile(tmp_path / f"{name}.zip") for name in ("one", "two"))
    assert [each.CRC for each in first.infolist()[1:]] == [each.CRC for each in second.infolist()[1:]]
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is that of POSIX")
def test_killed_at_any_moment_it_leaves_no_half_bundle(book: Pitbird, tmp_path: Path) -> None:
    out, home = tmp_path / "audit.zip", tmp_path / "home"
    line = [sys.executable, "-m", "pitbird", "bundle", str(out), "--site", "north-works"]
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("PITBIRD_", "DJANGO_"))
    }
    environment["PITBIRD_HOME"] = str(home)
    begun = time.monotonic()
    assert subprocess.run(line, env=environment, capture_output=True, check=False).returncode == 0
    lasts, whole = time.monotonic() - begun, out.read_bytes()
    out.unlink()
    killed = 0
    for _ in range(12):
        started = subprocess.Popen(
            line, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(random.uniform(0.3, 1.0) * lasts)
        started.send_signal(signal.SIGKILL)
        killed += started.wait() == -signal.SIGKILL
        assert not out.exists() or out.read_bytes() == whole
        out.unlink(missing_ok=True)
    assert killed > 3
    done = subprocess.run(line, env=environment, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
    assert out.read_bytes() == whole


def test_the_bar_is_drawn_on_a_terminal_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from pitbird.cli import bundle
    from pitbird.services.bundles import Progress

    bar = bundle._Bar()
    bar.show(Progress(5, 10))
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    bar = bundle._Bar()
    bar.show(Progress(5, 10))
    bar.end()
    assert "[###############...............] 5 of 10 entries" in capsys.readouterr().err
