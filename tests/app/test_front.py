"""The front of the pages: slow senders and readers hold no thread, and what broke off does not look whole."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from typing import Any
from wsgiref.validate import validator

import pytest

from pitbird.app.front import IN_MEMORY, SHORT, Front, Message, Patience, environ_of

Headers = tuple[tuple[bytes, bytes], ...]
SECONDS = 10


class Client:
    """One request, sent and read by hand: ``comes`` is what the server receives, ``got`` what it sent."""

    def __init__(
        self, *pieces: bytes, more: bool = False, headers: tuple[tuple[bytes, bytes], ...] = ()
    ) -> None:
        self.comes: asyncio.Queue[Message] = asyncio.Queue()
        self.got: list[Message] = []
        self.reads = asyncio.Event()
        self.reads.set()
        self.scope: Message = {
            "type": "http", "method": "POST", "path": "/entries", "query_string": b"as=json",
            "http_version": "1.1", "scheme": "https", "root_path": "",
            "server": ("127.0.0.1", 8321), "client": ("192.0.2.7", 40000),
            "headers": [(b"host", b"pit.example"), (b"content-type", b"text/plain"), *headers],
        }  # fmt: skip
        for place, piece in enumerate(pieces, 1):
            self.sends(piece, more=more or place < len(pieces))

    def sends(self, piece: bytes, *, more: bool = False) -> None:
        self.comes.put_nowait({"type": "http.request", "body": piece, "more_body": more})

    def leaves(self) -> None:
        self.comes.put_nowait({"type": "http.disconnect"})

    async def _read(self, message: Message) -> None:
        await self.reads.wait()
        self.got.append(message)

    def asks(self, front: Front) -> Coroutine[Any, Any, None]:
        return front(self.scope, self.comes.get, self._read)

    @property
    def status(self) -> int | None:
        return self.got[0]["status"] if self.got else None

    @property
    def body(self) -> bytes:
        return b"".join(each.get("body", b"") for each in self.got)

    @property
    def whole(self) -> bool:
        return bool(self.got) and self.got[-1].get("more_body") is False


class Told:
    """The pieces of an answer, which note in which thread they were made and closed."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self.pieces, self.closed_by = pieces, ""

    def __iter__(self) -> Iterator[bytes]:
        return self.pieces

    def close(self) -> None:
        self.closed_by = threading.current_thread().name


def echo(environ: dict[str, Any], start: Callable[..., Any]) -> Told:
    start("200 OK", [("Content-Type", "text/plain")])
    return Told(iter([environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"]))]))


def within(asked: Coroutine[Any, Any, None]) -> None:
    """In a thread of its own: where a browser is driven in this one, a loop runs here already."""

    async def in_time() -> None:
        await asyncio.wait_for(asked, SECONDS)

    with ThreadPoolExecutor(1) as thread:
        thread.submit(lambda: asyncio.run(in_time())).result()


async def until(true: Callable[[], bool]) -> None:
    while not true():
        await asyncio.sleep(0.005)


def test_half_a_request_holds_no_thread_and_its_rest_is_answered() -> None:
    async def run() -> None:
        front, slow, other = Front(echo, threads=1), Client(b"gas ", more=True), Client(b"clean air")
        waiting = asyncio.create_task(slow.asks(front))
        await other.asks(front)
        assert (other.status, other.body, other.whole) == (200, b"clean air", True)
        assert slow.got == []
        slow.sends(b"on")
        await waiting
        assert (slow.body, slow.whole) == (b"gas on", True)

    within(run())


def test_a_reader_who_stands_still_holds_no_thread_and_gets_every_byte_later() -> None:
    async def run() -> None:
        front, slow, other = Front(echo, threads=1), Client(long := bytes(range(256)) * 16_000), Client(b"x")
        assert len(long) > 3 * IN_MEMORY
        slow.reads.clear()
        waiting = asyncio.create_task(slow.asks(front))
        await other.asks(front)
        assert other.body == b"x"
        slow.reads.set()
        await waiting
        assert slow.body == long
        assert slow.whole

    within(run())


def test_a_reader_who_takes_too_long_is_left_and_the_thread_ends() -> None:
    made = Told(iter(()))

    def endless(_environ: dict[str, Any], start: Callable[..., Any]) -> Told:
        start("200 OK", [])
        made.pieces = iter(lambda: b"page " * 1000, b"")
        return made

    async def run() -> None:
        client = Client(b"")
        client.reads.clear()
        await client.asks(Front(endless, threads=1, patience=Patience(to_read=0.05)))
        assert client.got == []

    within(run())
    assert made.closed_by.startswith("pages")


def test_a_reader_who_goes_away_ends_what_is_being_made() -> None:
    made = Told(iter(lambda: b"line\n", b""))

    def endless(_environ: dict[str, Any], start: Callable[..., Any]) -> Told:
        start("200 OK", [])
        return made

    async def run() -> None:
        client = Client(b"")
        asked = asyncio.create_task(client.asks(Front(endless, threads=1)))
        await until(lambda: len(client.got) > 3)
        client.leaves()
        await asked
        assert not client.whole

    within(run())
    assert made.closed_by.startswith("pages")


def test_pieces_are_sent_while_the_next_are_made() -> None:
    read = threading.Event()

    def told(_environ: dict[str, Any], start: Callable[..., Any]) -> Told:
        start("200 OK", [])

        def pieces() -> Iterator[bytes]:
            yield b"1 of 2"
            assert read.wait(SECONDS)
            yield b"2 of 2"

        return Told(pieces())

    async def run() -> None:
        client = Client(b"")
        asked = asyncio.create_task(client.asks(Front(told, threads=1)))
        await until(lambda: client.body == b"1 of 2")
        read.set()
        await asked
        assert (client.body, client.whole) == (b"1 of 22 of 2", True)

    within(run())


def test_an_answer_that_breaks_off_is_not_ended_as_if_it_were_whole() -> None:
    def broken(_environ: dict[str, Any], start: Callable[..., Any]) -> Told:
        start("200 OK", [])

        def pieces() -> Iterator[bytes]:
            yield b"detectors fit to go out:"
            raise OSError("the disk is full")

        return Told(pieces())

    client: list[Client] = []

    async def run() -> None:
        client.append(Client(b""))
        await client[0].asks(Front(broken))

    with pytest.raises(OSError, match="the disk is full"):
        within(run())
    assert not client[0].whole


@pytest.mark.parametrize(
    ("patience", "status", "words"),
    [(Patience(to_send=0.05), 408, b"in time"), (Patience(largest=1 << 20), 413, b"larger than 1 MB")],
)
def test_what_comes_too_slowly_or_is_too_large_is_refused_before_the_pages_see_it(
    patience: Patience, status: int, words: bytes
) -> None:
    async def run() -> None:
        client = Client(bytes(2 << 20), more=True)
        await client.asks(Front(never, patience=patience))
        assert client.status == status
        assert words in client.body
        assert (b"connection", b"close") in client.got[0]["headers"]

    within(run())


def test_a_request_that_says_it_is_too_large_is_refused_before_any_of_it_is_taken() -> None:
    async def run() -> None:
        client = Client(headers=((b"content-length", str((64 << 20) + 1).encode()),))
        await client.asks(Front(never))
        assert client.status == 413
        assert b"larger than 64 MB" in client.body

    within(run())


def test_requests_under_way_hold_no_more_together_than_they_may() -> None:
    async def run() -> None:
        front = Front(echo, patience=Patience(together=4 * SHORT))
        waits, leaves = Client(bytes(3 * SHORT), more=True), Client(bytes(SHORT), more=True)
        waiting, leaving = (asyncio.create_task(each.asks(front)) for each in (waits, leaves))
        await until(lambda: waits.comes.empty() and leaves.comes.empty())

        await (refused := Client(bytes(SHORT + 1), more=True)).asks(front)
        assert refused.status == 503
        assert (b"retry-after", b"10") in refused.got[0]["headers"]
        assert b"Send it again in a little while." in refused.body
        await (short := Client(b"gas on")).asks(front)
        assert (short.status, short.body) == (200, b"gas on")

        leaves.leaves()
        await leaving
        await (taken := Client(bytes(SHORT))).asks(front)
        assert taken.status == 200
        waits.sends(b"")
        await waiting
        await (taken := Client(bytes(4 * SHORT))).asks(front)
        assert taken.status == 200

    within(run())


def never(_environ: dict[str, Any], _start: Callable[..., Any]) -> Told:
    raise AssertionError("the pages were asked")


def test_a_sender_who_goes_away_is_not_answered() -> None:
    async def run() -> None:
        client = Client(b"half", more=True)
        client.leaves()
        await client.asks(Front(never))
        assert client.got == []

    within(run())


def test_only_http_is_answered() -> None:
    client: list[Client] = []

    async def run() -> None:
        client.append(Client(b""))
        client[0].scope["type"] = "websocket"
        await client[0].asks(Front(never))

    with pytest.raises(ValueError, match="websocket"):
        within(run())


def test_the_environment_is_what_the_standard_asks_for() -> None:
    """PEP 3333 by its own checker, ``wsgiref.validate`` of the standard library."""

    def simple(environ: dict[str, Any], start: Callable[..., Any]) -> list[bytes]:
        start("200 OK", [("Content-Type", "text/plain")])
        return [environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"]))]

    async def run() -> None:
        client = Client(b"gas", b" on")
        await client.asks(Front(validator(simple)))  # type: ignore[arg-type] # what it answers has a close
        assert (client.body, client.whole) == (b"gas on", True)

    within(run())


def test_a_header_with_an_underscore_does_not_pass_for_one_with_a_hyphen() -> None:
    forged = ((b"x_forwarded_proto", b"https"), (b"x-real", b"1"))

    async def run() -> None:
        client = Client(b"", headers=forged)
        environ = environ_of(client.scope, BytesIO(), 0)
        assert environ["HTTP_X_REAL"] == "1"
        assert "HTTP_X_FORWARDED_PROTO" not in environ
        assert environ["REMOTE_ADDR"] == "192.0.2.7"

    within(run())


def test_cookies_stay_apart_and_without_a_blank_before_them() -> None:
    def baked(_environ: dict[str, Any], start: Callable[..., Any]) -> Told:
        start("204 No Content", [("Set-Cookie", " a=1; Secure"), ("Set-Cookie", " b=2")])
        return Told(iter(()))

    async def run() -> None:
        client = Client(b"")
        await client.asks(Front(baked))
        assert client.got[0]["headers"] == [(b"set-cookie", b"a=1; Secure"), (b"set-cookie", b"b=2")]
        assert client.whole

    within(run())
