"""Whether the sensors of a detector grow slow: the t90 that its bump tests' seconds to the alarm stand for.

For a first-order response the time to an alarm, without the delay of a hose, is in proportion to t90. So the
seconds that a test took, over those that the challenge calculation expects of the stated t90 in the gas that
reached the sensor, tell the t90 that it had; the hand on the button is in it and makes it look slower.
Each month's median is one reading; the trend of them is carried on as that of the sensitivity is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any, Final

from pitbird.fleet.state import ChannelFact, CylinderState, DetectorState, OtherState
from pitbird.fleet.times import DAY, Ms, ms_of
from pitbird.rules.delivering import delivered
from pitbird.rules.serving import number, serve
from pitbird.services.knowing import Known, Now
from pitbird.services.quick import QUICK
from pitbird.store import book

if TYPE_CHECKING:
    from pitbird.science.drift import Drift, Passing

#: A twelfth of a year, over which the tests of a channel make one reading.
MONTH_DAYS: Final = 365.25 / 12
#: Fewer tests in a month make no reading.
FEWEST_TESTS: Final = 3


@dataclass(frozen=True, slots=True)
class Month:
    """The tests of a month: when in the middle, the median of the t90 that they stand for, how many."""

    at: Ms
    t90_s: float
    tests: int


@dataclass(frozen=True, slots=True)
class Creep:
    """One channel: the t90 of its months, and when it will pass the slowest with which the alarm still comes.

    ``limit_s`` is that slowest t90 for the usual gas-on time (``gas_on_s``, the median of the last month) in
    the gas used then; None where nothing says it. ``chance`` that it lies above at the end of the time.
    """

    channel: str
    gas: str
    stated_s: float | None
    months: tuple[Month, ...]
    limit_s: float | None
    gas_on_s: float | None
    chance: float | None
    passing: Passing | None
    drift: Drift | None


@dataclass(frozen=True, slots=True)
class _Test:
    at: Ms
    t90_s: float
    limit_s: float
    gas_on_s: float


def creep_of(
    detector: DetectorState,
    *,
    now: Ms,
    days: float,
    known: Known | None = None,
    tests: Iterable[Mapping[str, Any]] | None = None,
) -> tuple[Creep, ...]:
    """Each channel of a detector, since it was last repaired or a sensor changed; ``days`` to look ahead.

    ``tests`` are bodies of bump tests where the caller has them; else those of the book, corrections heeded.
    """
    source = known or Now()
    since = max((event.at for event in detector.repairs), default=Ms(0))
    listed = _tests(detector.subject) if tests is None else tests
    bodies = [body for body in listed if since <= ms_of(body["at"]) <= now]
    things = source.some(sorted(_things(bodies)))
    found: dict[str, list[_Test]] = defaultdict(list)
    for body in bodies:
        for name, test in _timed(body, detector, things):
            found[name].append(test)
    return tuple(_creep(channel, found.get(channel.name, []), now, days) for channel in detector.channels)


def _tests(detector: str) -> Iterator[Mapping[str, Any]]:
    """The bump tests of a detector as they count."""
    rows = book.about(detector)
    corrections = {}
    for row in rows:
        if row.kind == "correction":
            body = QUICK.decode(row.leaf)["body"]
            corrections[body["corrects"]] = body.get("replacement")
    for row in rows:
        if row.kind == "bump-test":
            said = corrections.get(row.entry_id, QUICK.decode(row.leaf)["body"])
            if said is not None and said["kind"] == "bump-test" and said["detector"] == detector:
                yield said


def _things(bodies: Sequence[Mapping[str, Any]]) -> set[str]:
    applied = [each for body in bodies for each in body["applications"]]
    return {each["cylinder"] for each in applied} | {
        each["regulator"] for each in applied if "regulator" in each
    }


def _timed(
    body: Mapping[str, Any], detector: DetectorState, things: Mapping[str, Any]
) -> Iterator[tuple[str, _Test]]:
    """What each channel whose alarm was timed says of its t90."""
    channels = {channel.name: channel for channel in detector.channels}
    for applied in body["applications"]:
        gas, fitted = things.get(applied["cylinder"]), things.get(applied.get("regulator", ""))
        if not isinstance(gas, CylinderState) or not applied.get("gas_off") or not applied.get("gas_on"):
            continue
        regulator = fitted if isinstance(fitted, OtherState) else None
        delivery = delivered(detector.draws, detector.pump_l_min, regulator).delivery
        on_s = (ms_of(applied["gas_off"]) - ms_of(applied["gas_on"])) / 1000
        for seen in applied["channels"]:
            channel, after = channels.get(seen["channel"]), number(seen.get("after_s"))
            if channel is None or seen["reached"] != "yes" or not after or on_s <= 0:
                continue
            asked = serve(channel, gas.components, gas.balance, on_s, delivery=delivery).asked
            stated = number(channel.t90_s)
            if asked is None or not asked.time_s or not stated:
                continue
            late = delivery.delay_s
            share = stated / (asked.time_s - late)
            if after > late:
                test = _Test(ms_of(body["at"]), share * (after - late), share * (on_s - late), on_s)
                yield channel.name, test


def _creep(channel: ChannelFact, tests: list[_Test], now: Ms, days: float) -> Creep:
    months = tuple(_months(tests))
    recent = [test for test in tests if months and test.at >= months[-1].at - MONTH_DAYS * DAY]
    limit = median(test.limit_s for test in recent) if recent else None
    gas_on = median(test.gas_on_s for test in recent) if recent else None
    chance, passing, drift = _forecast(months, limit, now, days)
    return Creep(
        channel.name, channel.gas, number(channel.t90_s), months, limit, gas_on, chance, passing, drift
    )


def _months(tests: Sequence[_Test]) -> Iterator[Month]:
    if not tests:
        return
    start = min(test.at for test in tests)
    by_month: dict[int, list[float]] = defaultdict(list)
    for test in tests:
        by_month[int((test.at - start) / DAY / MONTH_DAYS)].append(test.t90_s)
    for month, values in sorted(by_month.items()):
        if len(values) >= FEWEST_TESTS:
            yield Month(Ms(int(start + (month + 0.5) * MONTH_DAYS * DAY)), median(values), len(values))


def _forecast(
    months: Sequence[Month], limit: float | None, now: Ms, days: float
) -> tuple[float | None, Passing | None, Drift | None]:
    """As for a sensitivity that falls, with the sign turned: slower is lower."""
    from pitbird.science.drift import FEWEST, NoDrift, fit_drift

    if limit is None or len(months) < FEWEST:
        return None, None, None
    start = months[0].at
    times = [(month.at - start) / DAY for month in months]
    end = max((now - start) / DAY + days, times[-1] + 1.0)
    try:
        drift = fit_drift(times, [-month.t90_s for month in months])
    except NoDrift:
        return None, None, None
    return drift.chance_below(-limit, end), drift.passes(-limit, upto_days=end), drift
