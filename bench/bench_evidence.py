"""Failure rates from tests: speed against other programs in the same run, and coverage of the limits.

surpyval and, for the Weibull life, lifelines take part where they can be imported; without surpyval that is
said, and our own times stand alone.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import time
import warnings
from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np

from pitbird.science.drift import fit_drift
from pitbird.science.reliability.actual_log import gaps_from_rows
from pitbird.science.reliability.bands import rate_band
from pitbird.science.reliability.exponential import ENOUGH_FAILURES, fit_exponential
from pitbird.science.reliability.groups import NoGroups, shrunk_rates
from pitbird.science.reliability.intervals import undetected_fraction_of_log
from pitbird.science.reliability.npmle import fit_npmle
from pitbird.science.reliability.spans import Spans, spans, spans_from_rows
from pitbird.science.reliability.weibull import fit_weibull

SENSORS = int(os.environ.get("PITBIRD_BENCH_SENSORS", "100000"))
ROWS = int(os.environ.get("PITBIRD_BENCH_ROWS", "10000000"))
FLEETS = int(os.environ.get("PITBIRD_BENCH_FLEETS", "2000"))
ROUNDS = 5
#: "processor" counts the processor's time, which other work on the machine moves less than the clock's.
CLOCK = time.process_time if os.environ.get("PITBIRD_BENCH_CLOCK") == "processor" else time.perf_counter
#: "fits" measures the fits of 100,000 sensors alone.
ONLY = os.environ.get("PITBIRD_BENCH_ONLY", "")


def fleet(sensors: int, *, whole: bool, seed: int = 1) -> Spans:
    """Sensors of a Weibull life tested at their own intervals, in whole days with ties or without any."""
    random = np.random.default_rng(seed)
    life = 1500 * random.weibull(1.5, sensors)
    end, gap = random.uniform(365, 1800, sensors), random.uniform(1, 90, sensors)
    if whole:
        end, gap = np.ceil(end), np.ceil(gap)
    left = np.floor(np.minimum(life, end) / gap) * gap
    return spans(left, np.where(left + gap > end, np.inf, left + gap))


def timed(work: Callable[[], Any], rounds: int = ROUNDS) -> tuple[float, Any]:
    """Median seconds, and what the last run gave."""
    times, result = [], None
    for _ in range(rounds):
        begun = CLOCK()
        result = work()
        times.append(CLOCK() - begun)
    return median(times), result


def against(name: str, ours: float, target: float, peers: dict[str, float]) -> None:
    """One line: our time, its target, and how many times longer each other program takes."""
    ratios = ", ".join(f"{peer} {seconds:.3f} s = {seconds / ours:.1f} x" for peer, seconds in peers.items())
    verdict = "" if ours <= target else "  ABOVE ITS TARGET"
    print(f"{name:34} {1000 * ours:8.1f} ms (target {1000 * target:.0f}){verdict}  {ratios}", flush=True)


def speed(seen: Spans, days: str, surpyval: Any) -> None:
    """The fits of one fleet."""
    ends = {"xl": seen.left, "xr": seen.right}

    def peer(work: Callable[[], Any], rounds: int = 3) -> tuple[dict[str, float], Any]:
        if not surpyval:
            return {}, None
        seconds, said = timed(work, rounds)
        return {"surpyval": seconds}, said

    ours, exponential = timed(lambda: fit_exponential(seen))
    peers, said = peer(lambda: surpyval.Exponential.fit(**ends))
    assert said is None or exponential.log_likelihood >= -said.neg_ll() - 1e-6 * abs(said.neg_ll())
    against(f"exponential with limits, {days}", ours, 0.020, peers)
    ours, weibull = timed(lambda: fit_weibull(seen, limits=False))
    peers, said = peer(lambda: surpyval.Weibull.fit(**ends))
    assert said is None or weibull.log_likelihood >= -said.neg_ll() - 1e-6 * abs(said.neg_ll())
    peers |= lifelines_weibull(seen)
    against(f"Weibull, {days}", ours, 0.060, peers)
    ours, weibull = timed(lambda: fit_weibull(seen))
    peers, _ = peer(lambda: likelihood_limits(surpyval.Weibull.fit(**ends)), 1)
    against(f"Weibull with both limits, {days}", ours, 0.25, peers)
    ours, free = timed(lambda: fit_npmle(seen))
    assert free.converged
    peers, _ = peer(lambda: surpyval.Turnbull.fit(**ends, turnbull_estimator="Kaplan-Meier"))
    against(f"without a form, {days}", ours, 0.4 if days == "days" else 0.5, peers)
    print(f"    certificate {free.certificate:.1e}, log-likelihood {free.log_likelihood:.6f}")


def likelihood_limits(fit: Any) -> None:
    """surpyval's likelihood-ratio limits of both parameters."""
    for name in ("alpha", "beta"):
        fit.param_cb(name, method="lr")


def lifelines_weibull(seen: Spans) -> dict[str, float]:
    """lifelines' fit of the same life; it wants open ends above every other."""
    if not importlib.util.find_spec("lifelines"):
        return {}
    fitter = importlib.import_module("lifelines").WeibullFitter
    seconds, _ = timed(lambda: fitter().fit_interval_censoring(seen.left, seen.right), 1)
    return {"lifelines": seconds}


def logs() -> None:
    """Undetected share with its band on the actual log of a fleet: 5 million tests of 10,000 detectors."""
    random = np.random.default_rng(5)
    who = np.repeat(np.arange(10_000), 500)
    day = np.cumsum(random.choice([1, 3, 11], who.shape, p=[0.8, 0.15, 0.05]).reshape(10_000, 500), axis=1)
    fit = fit_exponential(spans([365.0, 200], [np.inf, 201], [10_000, 40]))

    def work() -> Any:
        gaps = gaps_from_rows(who, day.ravel())
        return rate_band(lambda r: undetected_fraction_of_log(r, gaps), fit, at_none=0.0, at_all=1.0)

    ours, band = timed(work, 3)
    print(f"{len(who):,} tests to a share with its band {1000 * ours:8.1f} ms: {band.value:.2e}", flush=True)


def group_coverage(fleets: int) -> None:
    """How often limits of shrunk rates hold the truth, on the average over groups of 20 detectors."""
    random = np.random.default_rng(6)
    for variance, groups, mean in ((1.0, 15, 0.2), (0.5, 6, 0.2), (0.5, 30, 0.05), (0.125, 30, 0.2)):
        held = seen = 0
        for _ in range(fleets):
            rates = np.maximum(random.gamma(1 / variance, mean * variance, groups), 1e-6)
            last = np.minimum(np.floor(random.exponential(1 / rates[:, None], (groups, 20)) * 12), 12)
            made = [spans(each / 12, np.where(each < 12, (each + 1) / 12, np.inf)) for each in last]
            try:
                told = shrunk_rates(made).groups
            except NoGroups:
                continue
            held += sum(g.rate_low <= rate <= g.rate_high for g, rate in zip(told, rates, strict=True))
            seen += groups
        print(
            f"  {groups} groups, variance {variance}, mean {mean}/yr: {100 * held / seen:.1f} % of {seen}",
            flush=True,
        )


def drift_coverage(sensors: int) -> None:
    """Drift: how often 95 % limits of forecasts hold the truth; their error over the last reading's."""
    random = np.random.default_rng(7)
    t = np.arange(0, 900, 30.0)
    for name in ("steady", "falling", "wandering", "turning"):
        held, miss, last, seen = 0.0, 0.0, 0.0, 0
        for _ in range(sensors):
            truth = {
                "steady": np.full(len(t), 100.0),
                "falling": 100 - 0.03 * t,
                "wandering": 100 + np.cumsum(random.normal(0, 1, len(t))),
                "turning": 100 + np.cumsum(30 * (np.cumsum(random.normal(0, 0.003, len(t))) - 0.02)),
            }[name]
            y = truth + random.normal(0, 0.7, len(t)) + random.normal(0, 1)
            fit = fit_drift(t[:20], y[:20], gas_sd=1.0)
            for j in range(20, 30):
                told = fit.forecast(float(t[j]))
                held += told.low <= truth[j] <= told.high
                miss, last, seen = miss + abs(told.median - truth[j]), last + abs(y[19] - truth[j]), seen + 1
        print(
            f"  drift, {name}: {100 * held / seen:.1f} % held, error {miss / last:.2f} x the last reading's"
        )


def rows() -> None:
    """Rows of tests, shuffled, to observations."""
    random = np.random.default_rng(2)
    sensors = 20_000
    who = random.integers(0, sensors, ROWS)
    age = random.uniform(0, 1800, ROWS)
    passed = age < (1500 * random.weibull(1.5, sensors))[who]
    ours, (seen, _) = timed(lambda: spans_from_rows(who, age, passed, sensors=sensors), 3)
    assert len(seen) == sensors
    against(f"{ROWS:,} rows to observations", ours, 0.5, {})


def coverage() -> None:
    """How often 95 % limits hold the true rate, by fleet and by whether there were failures enough."""
    print(f"coverage of 95 % limits over {FLEETS} fleets each, monthly tests for a year:")
    random = np.random.default_rng(3)
    for sensors, rate in (
        (20, 0.02), (20, 0.1), (20, 0.5), (20, 1.0), (200, 0.005), (200, 0.1), (200, 0.5),
        (2000, 0.0005), (2000, 0.02), (2000, 0.2),
    ):  # fmt: skip
        held = {True: 0, False: 0}
        fleets = {True: 0, False: 0}
        for _ in range(FLEETS):
            last = np.minimum(np.floor(random.exponential(1 / rate, sensors) * 12), 12)
            fit = fit_exponential(spans(last / 12, np.where(last < 12, (last + 1) / 12, np.inf)))
            enough = fit.failures >= ENOUGH_FAILURES
            low, high = fit.rate_low or 0.0, np.inf if fit.rate_high is None else fit.rate_high
            fleets[enough] += 1
            held[enough] += low <= rate <= high
        parts = [
            f"{words} {100 * held[key] / fleets[key]:.1f} % of {fleets[key]}"
            for key, words in ((True, "five or more failures"), (False, "fewer"))
            if fleets[key]
        ]
        whole = 100 * sum(held.values()) / FLEETS
        print(f"  {sensors:5} sensors at {rate:6}/yr: {whole:.1f} % ({'; '.join(parts)})", flush=True)


def weibull_coverage(fleets: int) -> None:
    """The same for shape and scale of a Weibull life, irregular tests."""
    random = np.random.default_rng(4)
    for sensors, scale in ((60, 700.0), (200, 1500.0)):
        held, used = np.zeros(2), 0
        for _ in range(fleets):
            life, gap = scale * random.weibull(1.5, sensors), random.uniform(5, 60, sensors)
            left = np.floor(np.minimum(life, 900) / gap) * gap
            fit = fit_weibull(spans(left, np.where(left + gap > 900, np.inf, left + gap)))
            if not fit.converged:
                continue
            used += 1
            held += [
                (fit.shape_low or 0) <= 1.5 <= (fit.shape_high or np.inf),
                (fit.scale_low or 0) <= scale <= (fit.scale_high or np.inf),
            ]
        shape, size = 100 * held / used
        print(
            f"  Weibull, {sensors} sensors, {used} fleets: shape {shape:.1f} %, scale {size:.1f} %",
            flush=True,
        )


def made_fleet(detectors: int, days: int) -> list[Any]:
    """Detectors of four channels with as many days of daily tests folded into the lives of their sensors."""
    from pitbird.fleet.state import AlarmFact, ChannelFact, DetectorState, FittedFact, LifeFact, TestFact
    from pitbird.fleet.times import DAY, Ms

    random = np.random.default_rng(1)
    gases = ("methane", "oxygen", "carbon monoxide", "hydrogen sulfide")
    alarm = (AlarmFact("high", "1", "rising", "gas"),)
    channels = tuple(ChannelFact(gas, gas, "other", "ppm", "1", "0", "1", alarm) for gas in gases)
    tests = tuple(
        TestFact(f"t-{n}", n, Ms((days - n) * DAY), "p", "s", "passed", "shown", (), (), (), (), (), ())
        for n in range(16)
    )

    put_in = (FittedFact(None, Ms(0), Ms(0), 0),)

    def lives(gas: str) -> list[LifeFact]:
        found: list[LifeFact] = []
        at = 0
        while at < days:
            failed = at + int(random.exponential(1800)) + 1
            if failed >= days:
                return [*found, LifeFact(gas, Ms(at * DAY), Ms(days * DAY))]
            good = Ms((failed - 1) * DAY)
            found.append(LifeFact(gas, Ms(at * DAY), good, failed_at=Ms(failed * DAY), failed_at_a="test"))
            at = failed + 3
        return found

    return [
        DetectorState(
            f"detector:{n}", make="Made", model="Up", site="site:s", channels=channels, tests=tests,
            lives=tuple(life for gas in gases for life in lives(gas)), fitted=put_in,
        )
        for n in range(detectors)
    ]  # fmt: skip


def page() -> None:
    """What the evidence page works out for 10,000 detectors with five years of daily tests behind them."""
    from pitbird.papers.charts import evidence as charts
    from pitbird.papers.charts.drawing import NARROW, WIDE
    from pitbird.services.evidence import INTERVALS, evidence

    states = made_fleet(10_000, 1826)

    class Known:
        def all_of(self, sort: Any, site: str | None = None) -> Any:
            return states if sort is type(states[0]) else []

    def draw(told: Any) -> int:
        drawn = [
            charts.undetected(
                [(d, b.value, b.low, b.high) for d, b in zip(INTERVALS, record.undetected, strict=True)],
                record.gap_days, "x", size=size,
            )
            for record in told.records
            for size in (WIDE, NARROW)
        ]  # fmt: skip
        return sum(map(len, drawn))

    known: Any = Known()  # all it asks for
    worked, told = timed(lambda: evidence(known=known))
    by_age, _told = timed(lambda: evidence(by="age", known=known), 1)
    drawn, _size = timed(lambda: draw(told))
    failures = sum(record.fit.failures for record in told.records)
    # fmt: off
    print(f"evidence page, 10,000 detectors    {worked + drawn:8.2f} s (target 3 s): {worked:.2f} s of fits, "
          f"{drawn:.2f} s of charts; {failures} failures of {len(told.records)} kinds; by age {by_age:.2f} s")
    # fmt: on


def main() -> None:
    """Speed, then coverage."""
    surpyval = None
    if importlib.util.find_spec("surpyval"):
        warnings.simplefilter("ignore")
        surpyval = importlib.import_module("surpyval")
    else:
        print("surpyval is not installed here: our own times without ratios")
    for whole, days in ((True, "days"), (False, "no ties")):
        speed(fleet(SENSORS, whole=whole), days, surpyval)
    if ONLY == "fits":
        return
    rows()
    logs()
    page()
    coverage()
    weibull_coverage(FLEETS)
    group_coverage(max(1, FLEETS // 5))
    drift_coverage(max(1, FLEETS // 5))


if __name__ == "__main__":
    main()
