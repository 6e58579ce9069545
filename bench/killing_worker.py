"""A process that writes to a book until it is killed: `python -m bench.killing_worker HOME SEED`.

It tells on its standard output, one JSON value a line: how its connection is set (``ready``); what it is
about to write (``begin``: the ids, all of which stand or fall together); what the book has acknowledged
(``done``).
It touches the book only after a line came on its standard input.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

from bench import homes

PIECE = 40


def tell(**what: Any) -> None:
    """One line, written at once, past every buffer of this process."""
    os.write(1, json.dumps(what).encode() + b"\n")


def settings_of(connection: Any) -> dict[str, Any]:
    """How the connection that writes makes its commits durable."""
    asked = (
        ("PRAGMA synchronous", "PRAGMA journal_mode")
        if connection.vendor == "sqlite"
        else ("SHOW synchronous_commit", "SHOW fsync")
    )
    found = {}
    with connection.cursor() as cursor:
        for question in asked:
            cursor.execute(question)
            found[question.split()[1]] = cursor.fetchone()[0]
    return found


class Writer:
    """The acts of the worker: single entries on time and late, corrections, whole pieces, folding anew."""

    def __init__(self, seed: int) -> None:
        from bench import making
        from pitbird.fleet import times
        from pitbird.services import appending, bulk, clock, moving, writing
        from pitbird.store import book

        self.making, self.appending, self.bulk, self.moving = making, appending, bulk, moving
        self.clock, self.writing, self.book = clock, writing, book
        self.random, self.times = Random(seed), times
        bulk._PIECE = PIECE  # type: ignore[misc]

    def act(self) -> None:
        """One act, chosen at random."""
        acts: list[Callable[[], None]] = [self.on_time, self.late, self.note, self.correct, self.history]
        weights = [6, 3, 3, 3, 2]
        if self.random.random() < 0.05:
            tell(begin=[])
            found = self.moving.rebuild()
            tell(done=[], rebuilt=list(found.differed))
        else:
            self.random.choices(acts, weights)[0]()

    def _test(self, at: int) -> dict[str, Any]:
        site = "site:S-0"
        return self.making.bump(
            self.times.Ms(at),
            self.making.detector_of(site, self.random.randrange(5)),
            self.making.cylinder_of(site),
            site,
            self.random.choice([None, None, "CO"]),
        )

    def _append(self, body: dict[str, Any], blobs: tuple[Any, ...] = ()) -> None:
        tell(begin=[body["id"]])
        self.appending.append(body, recorded_at=self.clock.now(), blobs=blobs)
        tell(done=[body["id"]])

    def on_time(self) -> None:
        self._append(self._test(self.clock.now()))

    def late(self) -> None:
        self._append(self._test(self.clock.now() - self.random.randrange(1, 100_000)))

    def note(self) -> None:
        blob = self.writing.seal(f"seen by {self.random.random()}")
        self._append(
            self.making.whole("note", self.clock.now(), "site:S-0", subject="detector:S-0-1",
                              text=blob.commitment),
            (blob,),
        )  # fmt: skip

    def correct(self) -> None:
        rows = [row for row in self.book.newest(30) if row.kind == "bump-test"]
        if not rows:
            return
        body = json.loads(self.random.choice(rows).leaf)["body"]
        fields: dict[str, Any] = {"how": "void"}
        if self.random.random() < 0.6:
            moved = self.times.text_of(self.times.Ms(self.clock.now() - self.random.randrange(60_000)))
            fields = {"how": "replace", "replacement": {**body, "at": moved}}
        reason = self.writing.seal("entered in a hurry")
        self._append(
            self.making.whole("correction", self.clock.now(), "site:S-0", corrects=body["id"],
                              of_about=body["about"], reason=reason.commitment, **fields),
            (reason,),
        )  # fmt: skip

    def history(self) -> None:
        """Three pieces; each is announced by what it draws, and acknowledged as it is yielded."""
        now = self.clock.now()
        whole = [
            self.bulk.Recorded({k: v for k, v in self._test(now + n).items() if k != "note"},
                               {"note": f"piece {n}"}, now)
            for n in range(3 * PIECE)
        ]  # fmt: skip
        pieces = [[each.body["id"] for each in whole[n : n + PIECE]] for n in range(0, len(whole), PIECE)]
        told = iter(pieces)

        def drawn() -> Any:
            for number, each in enumerate(whole):
                if number % PIECE == 0:
                    tell(begin=pieces[number // PIECE])
                yield each

        for _ in self.bulk.append_history(drawn()):
            tell(done=next(told))


def main(home: str, seed: str) -> None:
    """Set up, wait for the word, then write until killed."""
    homes.set_up(Path(home))
    from django.db import connection

    writer = Writer(int(seed))
    tell(up=True)
    sys.stdin.readline()
    tell(ready=settings_of(connection))
    while True:
        writer.act()


if __name__ == "__main__":
    main(*sys.argv[1:])
