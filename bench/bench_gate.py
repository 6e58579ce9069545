"""How long the gate takes to answer for 10,000 detectors, for one site of 500, and for one detector."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from random import Random
from statistics import median
from typing import Any

from bench import homes, making

SITES = int(os.environ.get("PITBIRD_BENCH_SITES", "20"))
PER_SITE = 500
#: As many tests as a state keeps, so that states have the size they come to in use.
DAYS = 17
ROUNDS = 5
FLEET_TARGET, SITE_TARGET = 1.0, 0.2


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Median seconds of several runs, and what the last one gave."""
    took, result = timed_twice(work)
    return took[0], result


def timed_twice(work: Callable[[], Any]) -> tuple[tuple[float, float], Any]:
    """Median seconds on the clock and of the processor, which hang less on what else the machine does."""
    times, result = [], None
    for _ in range(ROUNDS):
        result = None  # what the run before gave is let go of outside the time
        begun, cpu = time.perf_counter(), time.process_time()
        result = work()
        times.append((time.perf_counter() - begun, time.process_time() - cpu))
    return (median(clock for clock, _ in times), median(cpu for _, cpu in times)), result


def fill() -> int:
    """A fleet with some weeks of daily tests; gives the moment at which to ask."""
    from pitbird.fleet.times import DAY, HOUR, Ms

    random = Random(11)
    with making.quickly() as add:
        add(making.beginnings(SITES, PER_SITE), making.START)
        add(making.calibrations(Ms(making.START + HOUR), SITES, PER_SITE), Ms(making.START + HOUR))
        for day in range(1, DAYS + 1):
            at = Ms(making.START + day * DAY)
            add(making.tests_of_a_day(at, SITES, PER_SITE, random), Ms(at + HOUR))
    return Ms(making.START + DAYS * DAY + 3 * HOUR)


def gate_json(told: Any) -> bytes:
    """Every decision as JSON with the findings that decided and those that warn, as the fleet's JSON is if
    no more is asked for; without sentences."""
    import msgspec

    rows = [
        {
            "detector": row.decision.detector,
            "verdict": row.decision.verdict,
            "until": row.decision.until,
            "test": row.decision.test,
            "findings": row.decision.telling,
        }
        for row in told.rows
    ]
    return msgspec.json.encode({"as_of": told.as_of, "rows": rows})


def gate_json_in_full(told: Any) -> bytes:
    """Every decision with all its findings as JSON, without sentences."""
    import msgspec

    return msgspec.json.encode({"as_of": told.as_of, "rows": [row.decision for row in told.rows]})


def main() -> None:
    """Fill a book and ask."""
    with homes.empty_book():
        from pitbird.fleet.times import Ms
        from pitbird.services import clock
        from pitbird.services.gate import gate, gate_one
        from pitbird.store import book

        now = Ms(fill())
        fleet = SITES * PER_SITE
        client = making.signed_in()
        clock.now = lambda: now  # the pages ask as of this moment
        site = "site:S-1"
        print(f"{book.head().size} entries; {fleet} detectors on {SITES} sites; medians of {ROUNDS} runs")
        took, told = timed(lambda: gate(now=now))
        verdicts = {row.decision.verdict.value: 0 for row in told.rows}
        for row in told.rows:
            verdicts[row.decision.verdict.value] += 1
        print(f"verdicts: {verdicts}; {len(told.rows[0].decision.findings)} findings on the first")
        assert len(told.rows) == fleet
        print(f"whole fleet, decided                   {took:7.3f} s")
        for what, as_json in (("what decided and warns", gate_json), ("all findings", gate_json_in_full)):
            (took, cpu), data = timed_twice(lambda as_json=as_json: as_json(gate(now=now)))  # type: ignore[misc]
            assert len(json.loads(data)["rows"]) == fleet
            print(
                f"whole fleet, JSON of {what} ({len(data) / 1e6:5.1f} MB): {took:.3f} s, of the processor "
                f"{cpu:.3f} s (target {FLEET_TARGET} s)"
            )
        took, data = timed(lambda: gate_json(gate(now=now, site=site)))
        print(f"one site of {PER_SITE}, as JSON               {took:7.3f} s (target {SITE_TARGET} s)")
        took, _ = timed(lambda: gate_one(making.detector_of(site, 3), now=now))
        print(f"one detector                           {took:7.4f} s")
        for address in ("/api/gate?site=S-1", "/?site=S-1", "/api/gate"):
            took, answer = timed(lambda address=address: client.get(address))  # type: ignore[misc]
            print(f"{address:<22} {answer.status_code} {len(answer.content) / 1e6:6.2f} MB {took:9.3f} s")
