"""An audit bundle of a large fleet: time, memory and size, and what checking it takes.

The book takes minutes to make and is kept in the system's temp folder between runs (a folder
``pitbird-bench-bundle-...``; take it away when it is no longer wanted).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random

from bench import homes, making

SITES, PER_SITE = 20, int(os.environ.get("PITBIRD_BENCH_BUNDLE_DETECTORS", "500")) // 20
DAYS = 365
FLUSH_DAYS = 5
VERSION = 1

#: Done in a process of its own, so that its memory is that of the bundle alone; all it says is its last line.
_MAKE = """
import json, os, resource, sys, time
from pathlib import Path
os.environ["PITBIRD_HOME"], out = sys.argv[1:3]
os.environ["DJANGO_SETTINGS_MODULE"] = "pitbird.app.settings"
import django
django.setup()
from pitbird.services.bundle_scope import Asked
from pitbird.services.bundles import make_bundle
from pitbird.services.book_keys import public_key
from pitbird.services.checkpoints import make_checkpoint
from pitbird.store import book
home = Path(sys.argv[1])
make_checkpoint(home)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
begun, cpu = time.perf_counter(), time.process_time()
sites = tuple(book.subjects("site"))[: int(sys.argv[3])]
with open(out, "wb") as file:
    made = make_bundle(Asked(sites=sites), file, home)
print(json.dumps({
    "clock": time.perf_counter() - begun, "cpu": time.process_time() - cpu, "before": before,
    "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, "entries": made.entries, "size": made.size,
    "length": made.length, "fingerprint": public_key(home).fingerprint(),
}))
"""


def make(home: Path) -> None:
    """A year of daily tests of the whole fleet, through the ledger."""
    from pitbird.fleet.times import DAY, HOUR, Ms

    home.mkdir(parents=True)
    homes.set_up(home)
    homes.migrate()
    random, begun = Random(7), time.perf_counter()
    with making.quickly() as add:
        add(making.beginnings(SITES, PER_SITE), making.START)
    for first in range(0, DAYS, FLUSH_DAYS):
        with making.quickly() as add:
            for day in range(first, first + FLUSH_DAYS):
                at = Ms(making.START + day * DAY + HOUR)
                add(making.tests_of_a_day(at, SITES, PER_SITE, random), Ms(at + HOUR))
    homes.close()
    print(f"the book made in {time.perf_counter() - begun:.0f} s", flush=True)


def bundle(home: Path, out: Path, sites: int) -> dict[str, float]:
    """Make a bundle in a process of its own and say what it took."""
    line = [sys.executable, "-c", _MAKE, str(home), str(out), str(sites)]
    done = subprocess.run(line, capture_output=True, text=True, check=True)
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    print(
        f"{found['entries']:,.0f} of {found['size']:,.0f} entries: {found['clock']:.1f} s, of those "
        f"{found['cpu']:.1f} s of the processor; {found['length'] / 1e6:.1f} MB; peak "
        f"{found['peak'] / 1024:.0f} MB, {found['before'] / 1024:.0f} MB before",
        flush=True,
    )
    return found


def check(out: Path, fingerprint: str) -> None:
    """Check it by both verifiers of Python, each in a process of its own."""
    inside = Path(__file__).parent.parent / "src" / "pitbird" / "papers" / "bundle" / "verify.py"
    for name, line in (
        ("verify.py", [sys.executable, str(inside)]),
        ("pitbird verify", [sys.executable, "-m", "pitbird", "verify"]),
    ):
        begun = time.perf_counter()
        measured = ["-c", _MEASURED, *line, str(out), "--key", fingerprint]
        done = subprocess.run([sys.executable, *measured], capture_output=True, text=True, check=False)
        status, peak = json.loads(done.stdout.splitlines()[-1])
        assert status == 0, done.stdout + done.stderr
        print(f"{name}: {time.perf_counter() - begun:.1f} s, peak {peak / 1024:.0f} MB", flush=True)


_MEASURED = """
import json, resource, subprocess, sys
done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)
print(json.dumps([done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss]))
"""


def main() -> None:
    """Make the book where it is not kept from an earlier run, then bundles of one site and of all."""
    home = Path(tempfile.gettempdir()) / f"pitbird-bench-bundle-{VERSION}-{SITES * PER_SITE}"
    if not (home / "book.sqlite3").exists():
        shutil.rmtree(home, ignore_errors=True)
        half = home.with_name(f"{home.name}.making")
        shutil.rmtree(half, ignore_errors=True)
        make(half)
        half.rename(home)
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "bundle.zip"
        bundle(home, out, 1)
        found = bundle(home, out, SITES)
        check(out, str(found["fingerprint"]))
