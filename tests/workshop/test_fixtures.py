"""The means of testing themselves: the network cut, the private server, the browser, accessibility checks."""

import hashlib
import os
import re
import socket
import subprocess
import sys
import tempfile
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

import psycopg
import pytest
from django.conf import settings as django_settings

import run

if TYPE_CHECKING:
    from playwright.sync_api import Page

AXE = run.ROOT / "tests" / "vendor" / "axe-core"


# 192.0.2.0/24 and 2001:db8::/32 are set aside for documentation (RFC 5737, RFC 3849), .invalid by RFC 2606.
@pytest.mark.parametrize("address", ["192.0.2.1", "2001:db8::1"])
def test_connecting_beyond_this_machine_is_refused(address: str) -> None:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family) as outward, pytest.raises(RuntimeError, match="loopback only"):
        outward.connect((address, 80))


def test_sending_beyond_this_machine_is_refused() -> None:
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward,
        pytest.raises(RuntimeError, match="loopback only"),
    ):
        outward.sendto(b"x", ("192.0.2.1", 9))


def test_looking_up_a_name_elsewhere_is_refused() -> None:
    with pytest.raises(RuntimeError, match="look up localhost only"):
        socket.getaddrinfo("gas.invalid", 80)


def test_loopback_stays_open() -> None:
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        socket.create_connection(("127.0.0.1", server.getsockname()[1]), timeout=5) as client,
    ):
        accepted, _ = server.accept()
        client.sendall(b"reached")
        assert accepted.recv(16) == b"reached"
        accepted.close()
    assert socket.getaddrinfo("localhost", 80)


def test_unix_sockets_stay_open(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as server, socket.socket(socket.AF_UNIX) as client:
        server.bind(str(tmp_path / "s"))
        server.listen()
        client.connect(str(tmp_path / "s"))


def test_the_private_postgres_keeps_what_it_is_told_with_fsync_on(postgres_url: str) -> None:
    with psycopg.connect(postgres_url) as connection:
        assert connection.execute("show fsync").fetchone() == ("on",)
        assert connection.execute("show server_encoding").fetchone() == ("UTF8",)
        assert connection.info.server_version >= 150000
    with pytest.raises(psycopg.OperationalError):
        psycopg.connect(re.sub(r":[^:@]+@", ":wrong@", postgres_url))


@pytest.mark.postgres
@pytest.mark.slow
def test_tests_can_be_run_on_postgres_in_place_of_sqlite(tmp_path: Path) -> None:
    (tmp_path / "test_here.py").write_text(
        "from django.db import connection\n\n"
        "def test_vendor():\n    assert connection.vendor == 'postgresql'\n"
    )
    config = ["-c", str(run.ROOT / "pyproject.toml"), "--rootdir", str(run.ROOT)]
    command = [sys.executable, "-m", "tests.workshop.postgres", *config, str(tmp_path)]
    ended = subprocess.run(command, cwd=run.ROOT, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stdout
    assert "1 passed" in ended.stdout


def test_settings_live_in_a_home_of_their_own() -> None:
    home = Path(os.environ["PITBIRD_HOME"])
    assert home.parent == Path(tempfile.gettempdir())
    assert django_settings.SETTINGS_MODULE == "tests.settings"


PAGE = b"""<!doctype html><html lang=en><title>Ledger</title><main><h1>Ledger</h1>
<img src=missing.png><button onclick="this.textContent='turned'">turn</button></main>"""


class _Page(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200 if self.path == "/" else 404)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(PAGE if self.path == "/" else b"")

    def log_message(self, *_: object) -> None:
        pass


def test_the_browser_runs_a_page_and_axe_finds_its_fault(page: "Page") -> None:
    with ThreadingHTTPServer(("127.0.0.1", 0), _Page) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        page.goto(f"http://127.0.0.1:{server.server_port}/")
        page.get_by_role("button").click()
        assert page.get_by_role("button").inner_text() == "turned"
        page.add_script_tag(path=AXE / "axe.min.js")
        found = page.evaluate("() => axe.run().then(r => r.violations.map(v => v.id))")
        server.shutdown()
    assert found == ["image-alt"]


def test_the_copy_of_axe_is_the_file_that_its_note_names() -> None:
    note = (AXE / "README.md").read_text("utf-8")
    noted = re.findall(r"\| (\S+) \| ([0-9a-f]{64}) \|", note)
    assert [name for name, _ in noted] == ["axe.min.js"]
    for name, digest in noted:
        assert hashlib.sha256((AXE / name).read_bytes()).hexdigest() == digest
