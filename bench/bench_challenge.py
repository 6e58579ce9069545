"""Test gas against a fleet: on arrays, against the plain loop over the scalar function in the same run.

Both give the same answers, which is asserted. Once with as many equal detectors as a fleet has, once without
any two alike; there the loop runs over a part of the detectors.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median
from typing import Any

import numpy as np

from pitbird.science.challenge.fleet import Fleet, alarm_numbers, judge_fleet, load_fleet
from pitbird.science.challenge.judging import judge
from pitbird.science.challenge.readings import NotJudged
from pitbird.science.challenge.values import Alarm, Component, Mixture, Sensor
from pitbird.science.gases import NFPA
from pitbird.science.relative import model_response

DETECTORS = int(os.environ.get("PITBIRD_BENCH_DETECTORS", "10000"))
CYLINDERS = int(os.environ.get("PITBIRD_BENCH_CYLINDERS", "50"))
TYPES = int(os.environ.get("PITBIRD_BENCH_TYPES", "60"))
LOOPED = 100
GAS_ON_S = 20.0
ROUNDS = 5

FOUR = (
    Sensor("LEL", "methane", "catalytic", "pct_lfl", 0, 30, (Alarm("A1", 10), Alarm("A2", 20)), 15),
    Sensor("CO", "carbon monoxide", "electrochemical", "ppm", 0, 30, (Alarm("A1", 30), Alarm("A2", 60)), 15),
    Sensor("H2S", "hydrogen sulfide", "electrochemical", "ppm", 0, 30, (Alarm("A1", 5), Alarm("A2", 10)), 15),
    Sensor("O2", "oxygen", "oxygen", "vol_pct", 20.9, 15, (Alarm("A1", 19.5), Alarm("A2", 18.5)), 8),
)


def detectors(count: int, random: np.random.Generator) -> list[tuple[Sensor, ...]]:
    """Four-gas detectors, no two alike: alarms, response times and spreads at random."""
    made = []
    for _ in range(count):
        scale, t90, span = random.uniform(0.7, 1.6), random.uniform(10, 40), random.uniform(1, 8)
        made.append(
            tuple(
                replace(
                    one,
                    t90_s=float(t90),
                    t90_fast_s=float(t90 / 2),
                    delay_s=float(random.uniform(0, 3)),
                    span_sd_pct=float(span),
                    alarms=tuple(replace(alarm, at=_set(one, alarm, float(scale))) for alarm in one.alarms),
                )
                for one in FOUR
            )
        )
    return made


def _set(one: Sensor, alarm: Alarm, scale: float) -> float:
    return one.clean_air_reading + (alarm.at - one.clean_air_reading) * scale


def cylinders(count: int, random: np.random.Generator) -> list[Mixture]:
    """Four-gas mixtures, and one in ten without enough oxygen for a bead."""
    made = []
    for n in range(count):
        oxygen = 5.0 if n % 10 == 9 else float(random.uniform(15, 18.5))
        made.append(
            Mixture(
                (
                    Component("methane", float(random.uniform(0.8, 2.5)), "vol_pct", 2),
                    Component("carbon monoxide", float(random.uniform(50, 200)), "ppm", 3),
                    Component("hydrogen sulfide", float(random.uniform(10, 40)), "ppm", 5),
                    Component("oxygen", oxygen, "vol_pct", 1),
                )
            )
        )
    return made


def looped(fleet: Sequence[tuple[Sensor, ...]], gases: Sequence[Mixture]) -> list[list[bool]]:
    """The plain loop: one detector, one cylinder at a time."""

    def suits(detector: tuple[Sensor, ...], gas: Mixture) -> bool:
        try:
            return judge(gas, detector, basis=NFPA, gas_on_s=GAS_ON_S, model=model_response).suits
        except NotJudged:
            return False

    return [[suits(detector, gas) for gas in gases] for detector in fleet]


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Median seconds, and what the last run gave."""
    times, result = [], None
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - begun)
    return median(times), result


def measure(name: str, fleet: list[tuple[Sensor, ...]], part: list[int], gases: list[Mixture]) -> None:
    """Loading, judging and all numbers of a fleet; the loop over a part of it."""
    loading, loaded = timed(lambda: load_fleet(fleet, NFPA))
    arrays: Fleet = loaded
    judging, found = timed(lambda: judge_fleet(arrays, gases, gas_on_s=GAS_ON_S, model=model_response))
    begun = time.perf_counter()
    alone = looped([fleet[n] for n in part], gases)
    loop = (time.perf_counter() - begun) * len(fleet) / len(part)
    assert np.array_equal(found.suits[part], np.array(alone, dtype=bool))
    pairs = len(fleet) * len(gases)
    print(
        f"{name}: {len(fleet):,} detectors ({len(arrays.types):,} types) x {len(gases)} cylinders: judged in "
        f"{1000 * judging:.0f} ms (target 300), loaded in {1000 * loading:.0f} ms; "
        f"{100 * found.suits.mean():.0f} % of {pairs:,} pairs suit"
    )
    print(
        f"    plain loop over {len(part):,} of them, the same answers: {loop:.1f} s for all = "
        f"{loop / judging:,.0f} x"
    )
    begun = time.perf_counter()
    numbers = alarm_numbers(arrays, gases, gas_on_s=GAS_ON_S, model=model_response)
    took = time.perf_counter() - begun
    print(f"    every number of {numbers.trips.size:,} alarms under gas: {1000 * took:.0f} ms", flush=True)


def main() -> None:
    """With duplicates, then without."""
    random = np.random.default_rng(1)
    gases = cylinders(CYLINDERS, random)
    every = detectors(DETECTORS, random)
    kinds = random.integers(0, TYPES, DETECTORS)
    repeated = [tuple(every[kind]) for kind in kinds]
    one_each = sorted({int(kind): n for n, kind in enumerate(kinds)}.values())
    measure("a fleet of few types", repeated, one_each, gases)
    measure("no two alike", every, list(range(min(LOOPED, DETECTORS))), gases)


if __name__ == "__main__":
    main()
