"""Serving: a real server in a process of its own, its addresses, a busy port, a quiet end."""

import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from pitbird.cli.refusing import Refused
from pitbird.cli.serve import check_before, drop_old_bundles, look_whether_due
from tests.cli.conftest import BEGIN, Pitbird

LARGE = "/static/pitbird/vendor/qr/decode.js"


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port: int = trial.getsockname()[1]
        return port


@pytest.fixture
def taken() -> Iterator[int]:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        yield listening.getsockname()[1]


def test_a_busy_port_is_said_before_anything_is_made(program: Pitbird, taken: int, tmp_path: Path) -> None:
    refused = program(f"serve --port {taken}")
    assert (refused.status, refused.out) == (2, "")
    assert refused.faults[0].startswith(f"port: {taken} on 127.0.0.1 is taken by another program; ")
    assert f"--port {taken + 1}" in refused.faults[0]
    assert len(refused.faults) == 1
    assert not (tmp_path / "home").exists()


def test_half_a_certificate_and_a_busy_port_are_both_named(taken: int, tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        check_before("127.0.0.1", taken, tmp_path / "missing.pem", None)
    assert [line.partition(":")[0] for line in refused.value.lines] == ["certificate", "certificate", "port"]


def test_an_address_of_no_machine_is_refused(program: Pitbird) -> None:
    # 192.0.2.0/24 is for documentation (RFC 5737): no machine has it.
    refused = program("serve --host 192.0.2.1")
    assert refused.status == 2
    assert refused.faults[0].startswith("host: cannot listen on 192.0.2.1 port 8321")


#: ``pitbird serve``, with less than a second for the headers of a request.
HASTY = (
    "from pitbird.app.connections import Connection; Connection.head_within = 0.8;"
    " from pitbird.cli import main; main()"
)


@contextmanager
def served(
    home: Path, *more: str, program: tuple[str, ...] = ("-m", "pitbird")
) -> Iterator[tuple[int, Path]]:
    """A server in a process of its own: its port and what it says. It must end quietly when it is stopped."""
    port, said = free_port(), home.parent / "said"
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("PITBIRD_", "DJANGO_"))
    }
    environment |= {"PITBIRD_HOME": str(home), "PYTHONUNBUFFERED": "1"}
    with said.open("w") as out:
        running = subprocess.Popen(
            [sys.executable, *program, "serve", "--port", str(port), *more],
            stdout=out, stderr=subprocess.STDOUT, env=environment,
        )  # fmt: skip
    try:
        wait_until(lambda: "first-start?key=" in said.read_text(), running)
        yield port, said
    finally:
        running.send_signal(signal.SIGTERM if more else signal.SIGINT)
        running.wait(timeout=30)
    assert running.returncode == 0, said.read_text()
    assert said.read_text().splitlines()[-1] == "Stopped."
    assert "Traceback" not in said.read_text()
    assert "Warning" not in said.read_text()


@pytest.mark.slow
def test_it_answers_shows_the_first_start_address_and_ends_quietly(tmp_path: Path) -> None:
    with served(tmp_path / "home") as (port, said):
        (address,) = re.findall(r"http://\S+first-start\S+", said.read_text())
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health") as answer:
            assert answer.status == 200
        with urllib.request.urlopen(address) as answer:
            assert answer.status == 200


@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
def test_phones_that_lose_signal_in_the_middle_stop_nobody_else(tmp_path: Path, workers: str) -> None:
    """Many more than there are threads: half an upload each, or a download that nobody reads."""
    with served(tmp_path / "home", "--trial-authority", "--workers", workers) as (port, _said):
        trust = ssl.create_default_context(
            cafile=str(tmp_path / "home" / "trial-authority" / "authority.pem")
        )
        half = (
            f"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: https://127.0.0.1:{port}\r\n"
            f"Cookie: pitbird-csrf={'a' * 32}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
            "Content-Length: 5000\r\n\r\nname="
        )
        unread = f"GET {LARGE} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n" * 20
        with ExitStack() as open_ones:
            for request in (half, unread) * 40:
                plain = socket.socket()
                plain.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
                plain.connect(("127.0.0.1", port))
                one = open_ones.enter_context(trust.wrap_socket(plain, server_hostname="127.0.0.1"))
                one.sendall(request.encode())
            for _ in range(20):
                with urllib.request.urlopen(
                    f"https://127.0.0.1:{port}/sign-in", timeout=10, context=trust
                ) as answer:
                    assert b"</html>" in answer.read()


@pytest.mark.slow
def test_who_connects_and_asks_nothing_is_not_kept(tmp_path: Path) -> None:
    with served(tmp_path / "home", program=("-c", HASTY)) as (port, _said):
        with socket.create_connection(("127.0.0.1", port), 10) as silent:
            silent.sendall(b"GET /health HTTP/1.1\r\n")
            assert silent.recv(1) == b""
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/health") as answer:
            assert answer.status == 200


def wait_until(true: "Callable[[], bool]", running: "subprocess.Popen[bytes]", patience: float = 40) -> None:
    end = time.monotonic() + patience
    while time.monotonic() < end and running.poll() is None:
        if true():
            return
        time.sleep(0.1)
    raise AssertionError("did not come about in time")


def test_an_address_for_other_machines_comes_with_what_phones_need(begun: Pitbird) -> None:
    from pitbird.cli.serve import where_to_look

    assert any("only over https" in line for line in where_to_look("http", "0.0.0.0", 8321))
    assert any("PITBIRD_HOSTS" in line for line in where_to_look("http", "0.0.0.0", 8321))
    assert not any("https" in line for line in where_to_look("http", "127.0.0.1", 8321))
    assert where_to_look("https", "192.0.2.1", 8321)[0].startswith(
        "pitbird answers at https://192.0.2.1:8321/"
    )


@pytest.mark.slow
def test_while_it_serves_a_checkpoint_is_made_where_one_is_due_and_a_locked_key_is_told_of_once(
    program: Pitbird, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    for name in [name for name in os.environ if name.startswith(("PITBIRD_", "DJANGO_"))]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PITBIRD_HOME", str(tmp_path / "home"))
    assert program(BEGIN).status == 0
    assert look_whether_due() == ""
    (made,) = (tmp_path / "home" / "checkpoints").rglob("*.note")
    os.utime(made, (made.stat().st_mtime - 25 * 3600,) * 2)
    assert program("write -", '{"kind": "note", "subject": "site:north-works", "text": "swept"}').status == 0
    key = tmp_path / "home" / "book-key.pem"
    locking = ["openssl", "pkcs8", "-topk8", "-in", str(key), "-passout", "pass:tin"]
    key.write_bytes(subprocess.run(locking, check=True, capture_output=True).stdout)
    capfd.readouterr()

    told = look_whether_due()
    assert "none was given for a key that has one; set PITBIRD_KEY_PASSPHRASE" in told
    assert look_whether_due(told) == told
    assert capfd.readouterr().err.count("No checkpoint was made") == 1
    assert len(list(made.parent.glob("*.note"))) == 1

    monkeypatch.setenv("PITBIRD_KEY_PASSPHRASE", "tin")
    assert look_whether_due(told) == ""
    assert len(list(made.parent.glob("*.note"))) == 2
    assert look_whether_due() == ""
    assert len(list(made.parent.glob("*.note"))) == 2


def test_while_pages_are_served_bundles_of_more_than_a_day_ago_are_dropped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitbird.cli.ready.home", lambda: tmp_path)
    old = tmp_path / "bundles" / "old.zip"
    old.parent.mkdir()
    old.write_bytes(b"PK")
    os.utime(old, (0, 0))

    drop_old_bundles()

    assert list(old.parent.iterdir()) == []


def test_by_a_clock_behind_the_book_nothing_is_served_unless_it_is_said_to_be_right(
    begun: Pitbird, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from dataclasses import replace

    import typer
    from django.conf import settings

    from pitbird.cli.serve import refuse_a_book_in_doubt
    from pitbird.services import clock

    refuse_a_book_in_doubt()
    yesterday = clock.now() - 86_400_000
    monkeypatch.setattr(clock, "now", lambda: yesterday)
    with pytest.raises(typer.Exit):
        refuse_a_book_in_doubt()
    assert "WRONG  the clock goes on from the newest entries" in capsys.readouterr().err
    monkeypatch.setattr(settings, "CONFIG", replace(settings.CONFIG, clock_is_right=True))
    refuse_a_book_in_doubt()
