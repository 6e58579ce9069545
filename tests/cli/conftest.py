"""A small book to give commands to: a site, a keeper, a tester, a detector with two channels, a cylinder."""

import json
import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pitbird.fleet.times import HOUR

CHANNELS = [
    {
        "name": name,
        "gas": gas,
        "principle": "electrochemical",
        "unit": "ppm",
        "range_high": end,
        "clean_air": "0",
        "clean_air_tolerance": "2",
        "alarms": [{"name": "low", "at": low}, {"name": "high", "at": high}],
        "t90_s": "30",
    }
    for name, gas, end, low, high in (
        ("H2S", "hydrogen sulfide", "100", "5", "10"),
        ("CO", "carbon monoxide", "500", "20", "60"),
    )
]
COMPONENTS = [
    {"gas": "carbon monoxide", "amount": "100", "unit": "ppm", "expanded_uncertainty_pct": "2"},
    {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm", "expanded_uncertainty_pct": "2"},
]
THINGS: list[dict[str, Any]] = [
    {
        "kind": "person", "person": "person:P-07", "name": "Nuria Sandelo", "roles": ["tester"],
        "home": "site:north-works",
    },
    {
        "kind": "detector", "detector": "detector:D-017", "make": "Heron Works", "model": "Quartet P",
        "serial": "Q-1", "signals": ["sound", "light", "vibration"], "home": "site:north-works",
        "channels": CHANNELS,
    },
    {
        "kind": "cylinder", "cylinder": "cylinder:C-112", "components": COMPONENTS, "balance": "nitrogen",
        "made": "2020-01-01", "expires": "2099-01-01", "minimum_pressure_bar": "2",
        "home": "site:north-works", "minimum_temperature_c": "0",
    },
    {"kind": "cylinder-opened", "cylinder": "cylinder:C-112", "at_site": "site:north-works"},
    {"kind": "training", "person": "person:P-07", "topic": "bump-test", "valid_until": "2098-01-01"},
    {
        "kind": "calibration", "detector": "detector:D-017", "cylinders": ["cylinder:C-112"], "zeroed": "yes",
        "channels": [
            {"channel": "H2S", "applied": "20", "as_found": "19", "as_left": "20", "result": "within"},
            {"channel": "CO", "applied": "100", "as_found": "99", "as_left": "100", "result": "within"},
        ],
        "tolerance_pct": "10", "result": "passed",
    },
]  # fmt: skip
BEGIN = (
    "begin --title 'Portable gas detectors' --site north-works --site-name 'North works' --zone "
    "Europe/Lisbon --keeper K-1 --keeper-name 'Ilda Morvane'"
)
PASSES = (
    "test D-017 --cylinder C-112 --all-checks-well --clean-air H2S=0 --clean-air CO=1 --reached all --sound"
    " yes --light yes --vibration yes --gas-seconds 40 --cleared yes --gauge 41 --temperature 12 --by P-07"
)


class Outcome:
    """What a command said and how it ended."""

    def __init__(self, status: int, out: str, err: str) -> None:
        self.status = status
        self.out = out
        self.err = err

    @property
    def faults(self) -> list[str]:
        """The lines on standard error."""
        return self.err.splitlines()


Pitbird = Callable[..., Outcome]


@pytest.fixture
def pitbird(db: None, monkeypatch: pytest.MonkeyPatch) -> Pitbird:
    """Give a command line to the commands in this process, on the test's own database."""
    from pitbird.cli.app import app

    for name in ("PITBIRD_BY", "PITBIRD_SITE"):
        monkeypatch.delenv(name, raising=False)

    def give(line: str, stdin: str | None = None) -> Outcome:
        result = CliRunner().invoke(app, shlex.split(line), input=stdin)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Outcome(result.exit_code, result.stdout, result.stderr)

    return give


@pytest.fixture
def begun(pitbird: Pitbird) -> Pitbird:
    """As ``pitbird``, with a book begun an hour ago and its things written."""
    from pitbird.services import clock

    an_hour_ago = clock.now() - HOUR
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(clock, "now", lambda: an_hour_ago)
        assert pitbird(BEGIN).status == 0
        written = pitbird("write -", "\n".join(map(json.dumps, THINGS)))
    assert written.status == 0, written.err
    return pitbird


@pytest.fixture
def size() -> Callable[[], int]:
    """How many entries the book has."""
    from pitbird.store import book

    return lambda: book.head().size


@pytest.fixture
def program(tmp_path: Path) -> Pitbird:
    """Start the real program in a process of its own, with a home folder of its own."""
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("PITBIRD_", "DJANGO_"))
    }
    environment["PITBIRD_HOME"] = str(tmp_path / "home")

    def start(line: str, stdin: str = "", **more: str) -> Outcome:
        ended = subprocess.run(
            [sys.executable, "-m", "pitbird", *shlex.split(line)],
            input=stdin, capture_output=True, text=True, timeout=120, check=False,
            env={**environment, **more},
        )  # fmt: skip
        assert "Traceback" not in ended.stderr, ended.stderr
        return Outcome(ended.returncode, ended.stdout, ended.stderr)

    return start
