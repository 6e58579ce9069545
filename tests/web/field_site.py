"""A site for trials of the field page: the real server over TLS, which can go away and come back, and a desk.

The certificate is by the trial authority; Chromium is told to trust that key and no other, so that the page's
origin is a secure one and its worker is taken as on a phone that trusts the authority.
"""

from __future__ import annotations

import base64
import json
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import time
import urllib.request
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

import run
from pitbird.record.leaf import read_leaf
from tests.web.test_pages_browser import environment

PIN = "4071"
#: What the desk does before it takes orders: a small book, two people with PINs, detectors with known t90.
BEGIN = f"""
import json, sys
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from django.db import connection
from pitbird.services import clock, phones, pins, waiting
from pitbird.services.writing import Actor, write
from tests.bodies import CHANNELS
from tests.web.bump_book import begin, calibration, detector
keeper = begin(spare=40)
for number in range(8):
    quick = [{{**each, "t90_s": "20"}} for each in CHANNELS]
    write(detector(f"T-{{number:03}}", quick), keeper)
    write(calibration(f"T-{{number:03}}", quick), keeper)
rui = {{"kind": "person", "person": "person:P-07", "name": "Rui Marrel", "roles": ["tester", "wearer"],
       "home": "site:north-works"}}
write(rui, keeper)
trained = {{"kind": "training", "person": "person:P-07", "topic": "bump-test"}}
write(trained, keeper)
for person in (keeper.person, "person:P-07"):
    pins.set_pin(person, "{PIN}", by=person)
out = sys.stdout
sys.stdout = sys.stderr
out.write(json.dumps("ready") + chr(10)); out.flush()
for line in sys.stdin:
    said = {{}}
    exec(json.loads(line), globals(), said)
    out.write(json.dumps(said.get("said")) + chr(10)); out.flush()
"""


@dataclass
class Site:
    """The server at its address, the keeper's desk, and detectors that no trial has used yet."""

    address: str
    port: int
    home: Path
    key: str
    desk_process: subprocess.Popen[str]
    spare: Iterator[int] = field(default_factory=lambda: iter(range(30)))
    phones: Iterator[int] = field(default_factory=lambda: iter(range(100)))
    server: subprocess.Popen[bytes] | None = None

    def desk(self, text: str) -> Any:
        """Do something at the keeper's desk, in a process of its own; what it put into ``said``."""
        assert self.desk_process.stdin is not None
        assert self.desk_process.stdout is not None
        self.desk_process.stdin.write(json.dumps(text) + "\n")
        self.desk_process.stdin.flush()
        answer = self.desk_process.stdout.readline()
        assert answer, (self.home / "desk.log").read_text()
        return json.loads(answer)

    @property
    def links(self) -> Iterator[str]:
        """The secret of a fresh link for a phone of another code each time."""
        while True:
            code = f"device:PH-{next(self.phones):02}"
            yield self.desk(f'said = phones.pair("{code}", keeper, label="Digester store")[0]')

    def written(self, detector: str) -> list[Any]:
        """The leaves of all bump tests of a detector, from the book itself."""
        return [leaf for leaf in self.leaves() if leaf.body.get("detector") == f"detector:{detector}"]

    def leaves(self) -> list[Any]:
        """The leaves of all bump tests."""
        with closing(sqlite3.connect(f"file:{self.home / 'book.sqlite3'}?mode=ro", uri=True)) as database:
            rows = database.execute(
                "SELECT leaf FROM store_entry WHERE kind = 'bump-test' ORDER BY \"index\""
            ).fetchall()
        return [read_leaf(leaf.encode()) for (leaf,) in rows]

    def twice(self) -> list[str]:
        """Ids of tests that stand in the book more than once."""
        return [each for each, many in Counter(leaf.body["id"] for leaf in self.leaves()).items() if many > 1]

    def start(self, home: Path | None = None) -> None:
        """Start the server, on this book or on that of another home."""
        where = home or self.home
        log = (where / "server.log").open("a")
        self.server = subprocess.Popen(
            [sys.executable, "-m", "pitbird", "serve", "--port", str(self.port), "--trial-authority"],
            env=environment(where), cwd=run.ROOT, stdout=log, stderr=subprocess.STDOUT,
        )  # fmt: skip
        log.close()
        for _ in range(160):
            try:
                with urllib.request.urlopen(
                    f"{self.address}/health", timeout=2, context=_trust(where)
                ) as said:
                    if said.read() == b"ok\n":
                        return
            except (OSError, ssl.SSLError):
                assert self.server.poll() is None, (where / "server.log").read_text()
                time.sleep(0.1)
        pytest.fail("the server does not answer: " + (where / "server.log").read_text())

    def post(self, path: str, data: bytes, headers: dict[str, str]) -> int:
        """Send something as a phone does that will not hear the answer; the answer's status."""
        asked = urllib.request.Request(f"{self.address}{path}", data, headers, method="POST")
        with urllib.request.urlopen(asked, timeout=20, context=_trust(self.home)) as said:
            return int(said.status)

    def stop(self, how: int = signal.SIGTERM) -> None:
        """The server goes away."""
        if self.server is not None:
            self.server.send_signal(how)
            self.server.wait(timeout=20)
            self.server = None


def _trust(home: Path) -> ssl.SSLContext:
    authority = home / "trial-authority" / "authority.pem"
    return (
        ssl.create_default_context(cafile=str(authority))
        if authority.exists()
        else ssl.create_default_context()
    )


def key_of(home: Path) -> str:
    """What Chromium knows the server's key by: SHA-256 over its SubjectPublicKeyInfo, in base64."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    from pitbird.services.trial_authority import make_ready, names_here

    made = make_ready(home, names_here("127.0.0.1"))
    certificate = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    public = certificate.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return base64.b64encode(sha256(public).digest()).decode()


@contextmanager
def open_site(home: Path) -> Iterator[Site]:
    """A site with its server running; everything is ended afterwards."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with (home / "desk.log").open("w") as log:
        desk = subprocess.Popen(
            [sys.executable, "-c", BEGIN], env=environment(home), cwd=run.ROOT, text=True, stderr=log,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
    try:
        assert desk.stdout is not None
        assert desk.stdout.readline(), (home / "desk.log").read_text()
        site = Site(f"https://127.0.0.1:{port}", port, home, key_of(home), desk)
        site.start()
        try:
            yield site
        finally:
            site.stop()
    finally:
        desk.terminate()
        desk.communicate(timeout=20)
