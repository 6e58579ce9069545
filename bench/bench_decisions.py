"""A million decisions over the simulator's books, every yes among them held against the literal reading.

Not a timing: it looks for one yes that the rules forbid. Each book is disturbed (entries made a little
wrong); after every entry about a detector the gate is asked for several moments, as known then.
PITBIRD_BENCH_DECISIONS says how many decisions at least (default 1,000,000).
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from random import Random
from typing import Any

from pitbird.fleet.folding import apply, empty, fold, item_of
from pitbird.fleet.state import DetectorState, OtherState, State
from pitbird.fleet.times import HOUR, MINUTE, Ms, ms_of, text_of
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Verdict
from pitbird.services.gate import Around
from tests.demo.test_gate_literal import Book, by_subject, disturbed, simulated_book
from tests.literal import Reading, moment

END = ms_of("2026-03-02T10:00:00.000Z")
DAYS = 200
#: Moments after an entry was recorded at which the gate is asked.
LATER = (0, MINUTE, 20 * MINUTE, 2 * HOUR, 5 * HOUR, 9 * HOUR, 14 * HOUR, 21 * HOUR, 30 * HOUR, 80 * HOUR)


class Growing:
    """A book as it grows: states as known so far, folded one entry at a time."""

    def __init__(self) -> None:
        self.states: dict[str, State] = {}
        self.entries: dict[str, Book] = {}
        self.known: dict[str, tuple[int, Mapping[str, Any], str]] = {}

    def add(self, entry: tuple[int, Mapping[str, Any], str]) -> None:
        """One more entry."""
        index, body, recorded = entry
        item = item_of(index, body, recorded)
        self.known[body["id"]] = entry
        original = self.known.get(body.get("corrects", ""))
        for subject in body["about"]:
            about = self.entries.setdefault(subject, [])
            about.append(entry)
            if original is not None and subject not in original[1]["about"]:
                about.append(original)  # what was moved here is judged by where it came from
            state = apply(self.states.get(subject) or empty(subject), item)
            self.states[subject] = state if state is not None else fold(subject, about)

    def state(self, subject: str) -> State | None:
        """What is known about a subject."""
        return self.states.get(subject)

    def all_of(self, sort: type[Any], site: str | None = None) -> list[Any]:
        """All states of a sort."""
        return [state for state in self.states.values() if isinstance(state, sort)]

    def some(self, subjects: Iterable[str]) -> dict[str, State]:
        """The states of several subjects."""
        return {subject: self.states[subject] for subject in subjects if subject in self.states}

    def of_the_book(self) -> State | None:
        """The state of the book itself."""
        return next((self.states[name] for name in self.states if name.startswith("book:")), None)

    def regulators(self) -> dict[str, OtherState]:
        """Every regulator as known."""
        found = {name: self.states[name] for name in self.states if name.startswith("regulator:")}
        return {name: state for name, state in found.items() if isinstance(state, OtherState)}

    def relevant(self, detector: str) -> Book:
        """What is known about a detector and all that its entries name."""
        named = {detector}
        for _, entry, _ in self.entries.get(detector, ()):
            for body in (entry, entry.get("replacement") or entry):
                named.update({*body["about"], body["by"], body.get("home", detector)})
        return list({e[0]: e for subject in named for e in self.entries.get(subject, ())}.values())


def live(seed: int) -> tuple[int, int]:
    """One book from its first entry to its last; (decisions, yeses held against the literal reading)."""
    random = Random(seed)
    book = disturbed(simulated_book(seed, DAYS, END), random)
    assert by_subject(book)
    growing = Growing()
    decisions = yeses = 0
    for entry in sorted(book, key=lambda each: each[0]):
        growing.add(entry)
        for detector in (s for s in entry[1]["about"] if s.startswith("detector:")):
            state = growing.state(detector)
            assert isinstance(state, DetectorState)
            around = Around(growing, of=state, regulators=growing.regulators()).of(state)
            moments = [Ms(ms_of(entry[2]) + later) for later in LATER]
            said = [(at, decide(state, around, as_of=at)) for at in moments]
            decisions += len(said)
            yes = [(at, d) for at, d in said if d.verdict is Verdict.MAY_GO_OUT]
            yeses += len(yes)
            if yes:
                _hold(growing.relevant(detector), detector, [at for at, _ in yes], seed)
    return decisions, yeses


def _hold(known: Book, detector: str, moments: list[Ms], seed: int) -> None:
    for at in moments:
        troubles = list(Reading(known, moment(text_of(at))).troubles(detector))
        if troubles:
            raise AssertionError(f"book {seed}: {detector} at {text_of(at)}: gate yes; rules {troubles}")


def main() -> None:
    """Live books on all cores until enough decisions were made."""
    wanted = int(os.environ.get("PITBIRD_BENCH_DECISIONS", "1000000"))
    seed = int(os.environ.get("PITBIRD_BENCH_SEED", "0"))
    began, decisions, yeses, books = time.perf_counter(), 0, 0, 0
    with ProcessPoolExecutor() as pool:
        running: set[Future[tuple[int, int]]] = set()
        while decisions < wanted:
            while len(running) < (os.cpu_count() or 1):
                running.add(pool.submit(live, seed))
                seed += 1
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                decisions += future.result()[0]
                yeses += future.result()[1]
                books += 1
        for future in running:
            future.cancel()
    took = time.perf_counter() - began
    print(f"{decisions:,} decisions over {books} simulated books, {yeses:,} of them yes, {took:.0f} s")
    print("No yes that the rules forbid.")


if __name__ == "__main__":
    main()
