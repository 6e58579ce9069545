"""How the simulation writes: ids, instants, and the desk that hands entries over in order of recording."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from random import Random
from typing import Any, Final

from pitbird.fleet.times import DAY, Ms

_EPOCH_DAY: Final = date(1970, 1, 1)

Body = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Fault:
    """A hidden truth: since when a part has not worked, and why.

    A part is a channel, by its name, or ``sound``, ``light`` or ``vibration``.
    """

    detector: str
    part: str
    cause: str
    since: Ms


@dataclass(frozen=True, slots=True)
class Simulated:
    """One entry to be: its body, the plain texts of its sealed fields, when it was recorded, and the truth.

    ``body`` lacks the sealed fields named in ``texts``; whoever appends it commits to them. ``truth`` holds
    the faults that the detector really in hand had at that moment, whether anybody saw them or not.
    """

    body: Body
    texts: dict[str, str]
    recorded_at: Ms
    truth: tuple[Fault, ...] = ()


@lru_cache(maxsize=4096)
def _day_text(day: int) -> str:
    return (_EPOCH_DAY + timedelta(days=day)).isoformat()


def instant(at: int) -> str:
    """The book's form of an instant; the same as ``times.text_of``, four times as fast."""
    day, ms = divmod(at, DAY)
    seconds, ms = divmod(ms, 1000)
    minutes, seconds = divmod(seconds, 60)
    return f"{_day_text(day)}T{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}.{ms:03d}Z"


def uuid7(rng: Random, at: int) -> str:
    """A UUIDv7 (RFC 9562, section 5.7) from simulated milliseconds and seeded bits."""
    bits = rng.getrandbits(74)
    number = (at << 80) | (0x7 << 76) | ((bits >> 62) << 64) | (0x2 << 62) | (bits & ((1 << 62) - 1))
    text = f"{number:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


class Desk:
    """Takes entries in any order and gives them out in the order in which they are recorded."""

    def __init__(self, rng: Random, start: Ms, end: Ms) -> None:
        self._rng = rng
        self._start = start
        self._end = end
        self._waiting: list[tuple[int, int, Simulated]] = []
        self._count = 0

    def write(
        self,
        kind: str,
        at: int,
        zone: str,
        by: str,
        where: str | None,
        about: tuple[str, ...],
        fields: Body,
        *,
        texts: dict[str, str] | None = None,
        delay: int = 0,
        truth: tuple[Fault, ...] = (),
    ) -> Body:
        """Write one entry, recorded ``delay`` ms after ``at`` but not after the end; gives back its body."""
        body: Body = {
            "kind": kind,
            "v": 1,
            "id": uuid7(self._rng, max(at, self._start)),
            "at": instant(at),
            "zone": zone,
            "by": by,
            "about": list(dict.fromkeys(about)),
        }
        if where is not None:
            body["where"] = where
        body.update(fields)
        recorded = Ms(max(self._start, at, min(at + delay, self._end)))
        self._count += 1
        heapq.heappush(self._waiting, (recorded, self._count, Simulated(body, texts or {}, recorded, truth)))
        return body

    def until(self, limit: int) -> Iterator[Simulated]:
        """Everything recorded before ``limit``, in order."""
        waiting = self._waiting
        while waiting and waiting[0][0] < limit:
            yield heapq.heappop(waiting)[2]
