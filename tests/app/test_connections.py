"""Connections that ask nothing are closed, by a real server in a thread; those that ask are not."""

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from pitbird.app.connections import Connection, ask_after
from pitbird.services.trial_authority import make_ready

ASK = b"GET / HTTP/1.1\r\nHost: pit\r\n\r\n"
SECONDS = 10


class Hasty(Connection):
    head_within = 0.6


class Few(Connection):
    head_within = 3
    to_be_told = 2


async def pages(scope: Any, receive: Any, send: Any) -> None:
    body, more = b"", True
    while more:
        message = await receive()
        body, more = body + message.get("body", b""), message.get("more_body", False)
    await asyncio.sleep(float(scope["path"].strip("/") or 0))
    answer = body or b"fit"
    headers = [(b"content-length", str(len(answer)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": answer})


@contextmanager
def serving(http: type[Connection] = Hasty, **more: Any) -> Iterator[Callable[[], socket.socket]]:
    """A way to connect to the pages."""
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        pages, http=http, ws="none", lifespan="off", loop="asyncio", log_level="critical",
        timeout_keep_alive=SECONDS, timeout_graceful_shutdown=1, **more,
    )  # fmt: skip
    server = uvicorn.Server(config)
    running = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    running.start()
    with ExitStack() as open_ones:

        def connect() -> socket.socket:
            return open_ones.enter_context(socket.create_connection(listening.getsockname(), SECONDS))

        try:
            yield connect
        finally:
            server.should_exit = True
            running.join(SECONDS)
    assert not running.is_alive()


def answered(one: socket.socket) -> bool:
    """Whether a whole answer comes."""
    got = b""
    while not got.endswith(b"\r\n\r\nfit"):
        if not (more := one.recv(4096)):
            return False
        got += more
    return got.startswith(b"HTTP/1.1 200")


def until_closed(one: socket.socket) -> float:
    """The seconds until it is closed, without another byte."""
    begun = time.monotonic()
    assert one.recv(4096) == b""
    return time.monotonic() - begun


@pytest.mark.parametrize("begun", [b"", b"GET / HTTP/1.1\r\nHost: p"])
def test_who_asks_nothing_or_half_is_closed(begun: bytes) -> None:
    with serving() as connect:
        silent = connect()
        silent.sendall(begun)
        assert 0.3 < until_closed(silent) < 5


def test_a_drip_of_headers_does_not_hold_it_nor_does_one_after_an_answer() -> None:
    def closed_though_it_drips(one: socket.socket) -> bool:
        one.settimeout(0.1)
        end = time.monotonic() + 5
        try:
            one.sendall(b"GET / HTTP/1.1\r\nX-Drip: ")
            while time.monotonic() < end:
                one.sendall(b"x")
                try:
                    return one.recv(1) == b""
                except TimeoutError:
                    continue
        except ConnectionError:
            return True
        return False

    with serving() as connect:
        assert closed_though_it_drips(connect())
        known = connect()
        known.sendall(ASK)
        assert answered(known)
        assert closed_though_it_drips(known)


def test_time_begins_anew_with_every_request_and_not_while_one_is_under_way() -> None:
    with serving() as connect:
        one = connect()
        for _ in range(4):  # longer in all than the headers of one may take
            time.sleep(0.25)
            one.sendall(ASK)
            assert answered(one)
        one.sendall(ASK.replace(b"GET /", b"GET /0.9"))
        assert answered(one)
        one.sendall(b"POST / HTTP/1.1\r\nHost: pit\r\nContent-Length: 3\r\n\r\nf")
        time.sleep(0.9)
        one.sendall(b"it")
        assert answered(one)
        one.sendall(ASK + ASK.replace(b"GET /", b"GET /0.9"))
        assert answered(one)
        assert answered(one)
        assert 0.3 < until_closed(one) < 5


def test_as_many_as_may_be_there_stop_nobody_for_longer_than_that_and_more_are_not_let_in() -> None:
    with serving(Few, limit_concurrency=3) as connect:
        silent = [connect() for _ in range(4)]
        told = connect()
        told.sendall(ASK)
        assert told.recv(4096).startswith(b"HTTP/1.1 503 ")
        while told.recv(4096):
            pass
        silent.append(connect())
        beyond = connect()
        until_closed(beyond)
        for one in silent:
            one.setblocking(False)
            with pytest.raises(BlockingIOError):
                one.recv(1)
            one.settimeout(SECONDS)
        for one in silent:
            until_closed(one)
        late = connect()
        late.sendall(ASK)
        assert answered(late)


def test_who_says_nothing_in_the_tls_handshake_is_closed_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By asyncio itself, after its 60 s, which are shortened here: the server must not ask for others."""
    monkeypatch.setattr("asyncio.constants.SSL_HANDSHAKE_TIMEOUT", 0.5)
    made = make_ready(tmp_path, ["127.0.0.1"])
    trust = ssl.create_default_context(cafile=str(made.authority))
    with serving(ssl_certfile=made.certificate, ssl_keyfile=made.key) as connect:
        before = connect()
        assert 0.3 < until_closed(before) < 5
        with trust.wrap_socket(connect(), server_hostname="127.0.0.1") as after:
            after.sendall(ASK)
            assert answered(after)
            assert 0.3 < until_closed(after) < 5


def test_the_system_asks_whether_the_other_side_is_there() -> None:
    with socket.socket() as one:
        ask_after(one)
        assert one.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
        if hasattr(socket, "TCP_KEEPIDLE"):
            assert one.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) == 60
