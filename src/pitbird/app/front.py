"""The front of the pages: whoever sends or reads slowly, or goes away in the middle, holds no thread.

The pages are a WSGI application, whose threads are few. Where a thread itself takes a request from the
network or gives an answer to it, as many phones as there are threads, each out of signal in the middle of an
upload or a download, stop the pages for everybody. Here a request is there in full before a thread takes it
up, and an answer is put down where the event loop sends it from, as fast as its reader reads. Waiting costs
memory, above ``IN_MEMORY`` a temporary file. Decision 22 says why this is ours.
"""

from __future__ import annotations

import asyncio
import os
import threading
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from tempfile import SpooledTemporaryFile
from typing import IO, Any, Protocol, cast

from asgiref.wsgi import WsgiToAsgiInstance

Message = MutableMapping[str, Any]
Receive = Callable[[], Coroutine[Any, Any, Message]]
Send = Callable[[Message], Coroutine[Any, Any, None]]


class Pieces(Protocol):
    """What a WSGI application answers with; Django's always have a ``close``."""

    def __iter__(self) -> Iterator[bytes]: ...
    def close(self) -> None: ...


Wsgi = Callable[..., Pieces]

#: Bytes of a request or an answer that are kept in memory before a temporary file takes them.
IN_MEMORY = 1 << 20
#: So short a request (a sign-in, a bump test) is taken also where those under way are too many bytes already.
SHORT = 1 << 16
_PIECE = 1 << 16


@dataclass(frozen=True)
class Patience:
    """How long the next piece may take, in seconds; how many bytes one request and all at once may have."""

    to_send: float = 30
    to_read: float = 60
    largest: int = 64 << 20
    together: int = 512 << 20


class ReaderGone(ConnectionError):
    """The reader of an answer is not there any more; whoever makes the answer may stop."""


class _Refused(Exception):
    """A request that is not handed on: its status, and what its sender can do."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


class Answer:
    """An answer under way from the thread that makes it to the loop that sends it.

    ``begin``, ``put`` and ``end`` are the thread's; ``pieces`` and ``leave`` are the loop's. ``whole`` tells
    whether it came to its end: one that broke off must not look like a whole one to its reader.
    """

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._more = asyncio.Event()
        self._lock = threading.Lock()
        self._kept: IO[bytes] = SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - closed by leave
        self._put = self._sent = 0
        self._ended = self._left = self.whole = False
        self.start: Message | None = None

    def begin(self, status: str, headers: list[tuple[str, str]], _fault: object = None) -> None:
        """WSGI's ``start_response``; without its ``write``, which Django does not use."""
        self.start = {
            "type": "http.response.start",
            "status": int(status.partition(" ")[0]),
            "headers": [
                (name.lower().encode("latin-1"), text.strip().encode("latin-1")) for name, text in headers
            ],
        }

    def put(self, piece: bytes) -> None:
        """Put a piece down; :class:`ReaderGone` where nobody will read it."""
        with self._lock:
            if self._left:
                raise ReaderGone("the reader went away in the middle of the answer")
            self._kept.seek(self._put)
            self._put += self._kept.write(piece)
        self._wake()

    def end(self, *, whole: bool) -> None:
        """There is no more to come."""
        with self._lock:
            self.whole = whole and not self._left
            self._ended = True
        self._wake()

    def _wake(self) -> None:
        with suppress(RuntimeError):  # the loop was closed: the server stops
            self._loop.call_soon_threadsafe(self._more.set)

    async def pieces(self) -> AsyncIterator[bytes]:
        """The pieces in order, each as soon as it is there."""
        while True:
            self._more.clear()
            ended = self._ended
            with self._lock:
                if self._left:
                    return
                self._kept.seek(self._sent)
                piece = self._kept.read(_PIECE)
                self._sent += len(piece)
            if piece:
                yield piece
            elif ended:
                return
            else:
                await self._more.wait()

    def leave(self) -> None:
        """Nobody reads any more; what is kept goes."""
        with self._lock:
            self._left, self.whole = True, False
            self._kept.close()


class Front:
    """An ASGI application around a WSGI one.

    Args:
        pages: the WSGI application; its iterables are run to their end and closed in the thread that called.
        threads: how many requests are worked on at once; the others wait their turn.
        patience: how long a sender and a reader may take over a piece, and how much is taken.
    """

    def __init__(self, pages: Wsgi, threads: int | None = None, patience: Patience | None = None) -> None:
        self._pages = pages
        self._patience = patience or Patience()
        wanted = threads or min(8, 2 * (os.cpu_count() or 1))
        self._threads = ThreadPoolExecutor(wanted, thread_name_prefix="pages")
        self._held = 0

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer one request. Sender gone: nothing; too slow, too large, too much at once: 408, 413, 503."""
        if scope["type"] != "http":
            raise ValueError(f"only http is answered, not {scope['type']}")
        with SpooledTemporaryFile(max_size=IN_MEMORY) as body, self._counted() as take:
            try:
                if _declared(scope) > self._patience.largest:
                    raise self._too_large()
                length = await self._gather(receive, body, take)
            except _Refused as refused:
                await _say(send, refused)
                return
            if length is not None:
                await self._answer(environ_of(scope, body, length), receive, send)

    @contextmanager
    def _counted(self) -> Iterator[Callable[[int], int]]:
        """Count the bytes of one request, and with those of all under way until it has ended."""
        mine = 0

        def take(more: int) -> int:
            nonlocal mine
            mine += more
            self._held += more
            if mine > self._patience.largest:
                raise self._too_large()
            if mine > SHORT and self._held > self._patience.together:
                raise _Refused(503, "Too much is being sent here at once. Send it again in a little while.")
            return mine

        try:
            yield take
        finally:
            self._held -= mine

    def _too_large(self) -> _Refused:
        most = self._patience.largest >> 20
        return _Refused(413, f"The request is larger than {most} MB. Send it in parts.")

    async def _gather(self, receive: Receive, body: IO[bytes], take: Callable[[int], int]) -> int | None:
        """Take the whole request; its length, None where its sender went away."""
        length, more = 0, True
        while more:
            try:
                message = await asyncio.wait_for(receive(), self._patience.to_send)
            except TimeoutError:
                raise _Refused(408, "The request did not come to its end in time. Send it again.") from None
            if message["type"] != "http.request":
                return None
            piece = message.get("body", b"")
            length = take(len(piece))
            body.write(piece)
            more = message.get("more_body", False)
        body.seek(0)
        return length

    async def _answer(self, environ: dict[str, Any], receive: Receive, send: Send) -> None:
        """Have the pages make the answer in a thread, and send it from here."""
        loop = asyncio.get_running_loop()
        answer = Answer()
        made = loop.run_in_executor(self._threads, self._make, environ, answer)
        sent = asyncio.create_task(self._send(answer, send))
        left = asyncio.create_task(_gone(receive))
        try:
            await asyncio.wait((sent, left), return_when=asyncio.FIRST_COMPLETED)
        finally:
            answer.leave()
            left.cancel()
            if not sent.done():
                sent.cancel()
            # The thread reads the request and must be through with it before that is closed.
            with suppress(ReaderGone):
                await asyncio.shield(made)
        if sent.done() and not sent.cancelled():
            sent.result()

    def _make(self, environ: dict[str, Any], answer: Answer) -> None:
        """In a thread: run the pages to the end of what they answer."""
        whole = False
        try:
            with closing(self._pages(environ, answer.begin)) as pieces:
                for piece in pieces:
                    answer.put(piece)
            whole = True
        finally:
            answer.end(whole=whole)

    async def _send(self, answer: Answer, send: Send) -> None:
        """Send what is put down, the head with the first of it; a reader who takes too long is left."""
        begun = False

        async def piece_by_piece(piece: bytes, *, more: bool) -> None:
            nonlocal begun
            if not begun:
                if answer.start is None:
                    raise RuntimeError("the pages gave a piece of an answer before its status")
                await asyncio.wait_for(send(answer.start), self._patience.to_read)
                begun = True
            body = {"type": "http.response.body", "body": piece, "more_body": more}
            await asyncio.wait_for(send(body), self._patience.to_read)

        with suppress(TimeoutError):
            async for piece in answer.pieces():
                await piece_by_piece(piece, more=True)
            if answer.whole:
                await piece_by_piece(b"", more=False)


def _declared(scope: Message) -> float:
    """The length that the request says it has; the server has looked that it is a number (RFC 9110, 8.6)."""
    declared: bytes = dict(scope["headers"]).get(b"content-length", b"0")
    return float(declared)


async def _gone(receive: Receive) -> None:
    """Wait until the reader has left, or has got everything."""
    while (await receive())["type"] != "http.disconnect":
        pass


async def _say(send: Send, refused: _Refused) -> None:
    words = str(refused).encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(words)).encode()),
        (b"connection", b"close"),
    ]
    if refused.status == 503:
        headers.append((b"retry-after", b"10"))
    await send({"type": "http.response.start", "status": refused.status, "headers": headers})
    await send({"type": "http.response.body", "body": words, "more_body": False})


def environ_of(scope: Message, body: IO[bytes], length: int) -> dict[str, Any]:
    """WSGI's environment of a request that is there in full (PEP 3333).

    A header whose name has an underscore is left out: in the environment it would pass for the one with a
    hyphen, which a proxy in front may vouch for.
    """
    known = [(name, text) for name, text in scope["headers"] if b"_" not in name]
    one = cast("Any", WsgiToAsgiInstance)(None, duplicate_header_limit=0)
    one.scope = {**scope, "headers": known}
    environ: dict[str, Any] = one.build_environ(one.scope, body)
    return environ | {"CONTENT_LENGTH": str(length), "wsgi.multiprocess": False}
