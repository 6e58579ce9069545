"""A connection to the server, which is not kept for somebody who asks nothing.

Uvicorn's own begins to count only after an answer, and stops at the next byte: whoever connects and is
silent, or sends half a header, stays for ever, and as many of them as may be there at once stop the pages for
everybody.
"""

from __future__ import annotations

import asyncio
import socket
from contextlib import suppress

from uvicorn.protocols.http.h11_impl import H11Protocol

#: The system asks after a silent other side: after how long, how often (seconds), how many times.
_PROBES = {"TCP_KEEPIDLE": 60, "TCP_KEEPINTVL": 20, "TCP_KEEPCNT": 3}


class Connection(H11Protocol):
    """Uvicorn's, closed where the headers of a request are not whole in time.

    Time runs from the connection, or from the end of the answer before, and not from the last byte. Above
    Uvicorn's ``limit_concurrency``, at which a request is answered with 503, only ``to_be_told`` more are let
    in.
    """

    head_within: float = 30  # seconds
    to_be_told: int = 50
    _due: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as Uvicorn's
        """Begin to count, or let nobody in where there are too many already."""
        super().connection_made(transport)
        if self.limit_concurrency and len(self.connections) > self.limit_concurrency + self.to_be_told:
            transport.abort()
            return
        ask_after(transport.get_extra_info("socket"))
        self._count()

    def data_received(self, data: bytes) -> None:
        """Count no further once the headers are whole."""
        super().data_received(data)
        if not getattr(self.cycle, "response_complete", True):  # before the first request there is none
            self._stop()

    def on_response_complete(self) -> None:
        """Begin anew, unless the next request is there already."""
        super().on_response_complete()
        if self.cycle.response_complete:
            self._count()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is waited for any more."""
        super().connection_lost(exc)
        self._stop()

    def _count(self) -> None:
        self._stop()
        self._due = self.loop.call_later(self.head_within, self._too_late)

    def _stop(self) -> None:
        if self._due:
            self._due.cancel()
            self._due = None

    def _too_late(self) -> None:
        """Close in good order; whoever does not take the end of what was sent is left after as long again."""
        self.timeout_keep_alive_handler()
        self._due = self.loop.call_later(self.head_within, self.transport.abort)


def ask_after(accepted: socket.socket) -> None:
    """Have the system find out that the other side is gone (SO_KEEPALIVE), where it can."""
    with suppress(OSError):
        accepted.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in _PROBES.items():
            if hasattr(socket, name):
                accepted.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
