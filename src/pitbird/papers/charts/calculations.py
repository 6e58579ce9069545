"""The pictures that belong to the answers of the calculations."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from pitbird.papers.charts.drawing import (
    DASHES,
    PAGE,
    WIDE,
    Ink,
    Size,
    Spec,
    axis,
    band,
    level,
    line,
    mark_at,
    points,
    svg,
)

_STEPS: Final = 120
_UNITS: Final = {"ppm": "ppm", "vol_pct": "% vol", "pct_lfl": "%LFL"}


@dataclass(frozen=True, slots=True)
class Picture:
    """What a chart shows in words, and its layers in an ink."""

    label: str
    layers: Callable[[Ink], Iterable[Spec]]
    #: Heads and rows of numbers that the picture shows and the answer does not tell.
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[float, ...], ...] = ()

    def svg(self, size: Size = WIDE, ink: Ink = PAGE) -> str:
        """The picture drawn."""
        return svg(self.layers(ink), self.label, ink=ink, size=size)


def pictures(name: str, request: Any, result: Any) -> list[Picture]:
    """The pictures of a calculation's answer, in order; none where a table says it all."""
    draw = _DRAWN.get(name)
    return list(draw(request, result)) if draw else []


def _challenge(request: Any, result: Any) -> Iterator[Picture]:
    for sensor, found in zip(request.sensors, result.sensors, strict=True):
        yield rising(sensor, found.own_gas_reading, request.gas_on_s)


def rising(sensor: Any, own_reading: float, gas_on_s: float) -> Picture:
    """The curve of one sensor in a gas that takes it to ``own_reading``, with its alarms and the gas-on time.

    ``sensor`` is one of the challenge calculation, or of ``pitbird.science.challenge``.
    """
    from pitbird.science.challenge.response import reading_at

    fast = sensor.t90_fast_s or sensor.t90_s
    clean = sensor.clean_air_reading
    rows = [
        {
            "t": t,
            "slow": reading_at(t, clean, own_reading, sensor.t90_s, sensor.delay_s),
            "fast": reading_at(t, clean, own_reading, fast, sensor.delay_s),
        }
        for t in _times(1.25 * gas_on_s)
    ]
    alarms = [
        {"slow": alarm.at, "words": f"{alarm.name} {alarm.at:g}"}
        for alarm in sensor.alarms
        if alarm.shown_by == "gas"
    ]
    label = f"{sensor.name}: reading after gas on; the line at the slowest t90 that counts as healthy"
    band_words = ", the band up to the fastest" if fast != sensor.t90_s else ""
    return Picture(
        f"{label}{band_words}; dashes, the alarms that gas must show",
        _rising(rows, alarms, gas_on_s, _UNITS[sensor.unit]),
    )


def _rising(
    rows: list[dict[str, float]], alarms: list[dict[str, Any]], gas_on_s: float, unit: str
) -> Callable[[Ink], Iterable[Spec]]:
    def layers(ink: Ink) -> Iterator[Spec]:
        x, y = axis("t", "Time from gas on [s]"), axis("slow", f"Reading [{unit}]")
        yield band(rows, x, y, "fast")
        yield line(rows, x, y)
        yield from level(alarms, y, "words", ink)
        yield from mark_at([{"t": gas_on_s, "words": "gas off"}], x, "words")

    return layers


def _room_release(request: Any, result: Any) -> Iterator[Picture]:
    from pitbird.calc.room_release import courses, ppm_at

    whole, near = courses(request)
    end = max(60.0, 3 * request.release_minutes)
    for component, told in zip(request.components, result.components, strict=True):
        rows = [
            {
                "t": t,
                "room": ppm_at(component, whole.share(t)),
                "near": ppm_at(component, near.share(t)) if near else 0.0,
            }
            for t in _times(end)
        ]
        limits = [
            {"room": limit, "words": f"{words} {limit:g}"}
            for words, limit in told_limits(told)
            if limit < 20 * max(max(row["room"], row["near"]) for row in rows)
        ]
        yield Picture(
            f"{component.gas} in the air after the release"
            + ("; the longer dashes, near the person who holds the detector" if near else ""),
            _in_air(rows, limits, near=near is not None),
        )


def told_limits(told: Any) -> list[tuple[str, float]]:
    """The limits that an answer held its figures against, in ppm."""
    pairs = (
        ("ceiling", told.peak_ppm, told.peak_ratio),
        ("15 min", told.twa_15min_ppm, told.twa_15min_ratio),
        ("8 h", told.twa_8h_ppm, told.twa_8h_ratio),
    )
    return [(words, float(f"{value / ratio:.4g}")) for words, value, ratio in pairs if ratio]


def _in_air(
    rows: list[dict[str, float]], limits: list[dict[str, Any]], *, near: bool
) -> Callable[[Ink], Iterable[Spec]]:
    def layers(ink: Ink) -> Iterator[Spec]:
        x, y = axis("t", "Time from the release [min]"), axis("room", "In the air [ppm]", zero=True)
        yield line(rows, x, y)
        if near:
            yield line(rows, x, {**y, "field": "near"}, dash=DASHES[1])
        yield from level(limits, y, "words", ink, dash=DASHES[2])

    return layers


def _test_interval(request: Any, result: Any) -> Iterator[Picture]:
    rows = [
        {"days": each.interval_days, "pct": 100 * each.detector_undetected_fraction}
        for each in sorted(result.intervals, key=lambda each: each.interval_days)
    ]

    def layers(ink: Ink) -> Iterator[Spec]:
        x, y = axis("days", "Days between tests", log=True), axis("pct", "Failed and not known [%]", log=True)
        yield line(rows, x, y)
        yield points(rows, x, y, filled=True)

    if all(row["pct"] > 0 for row in rows):
        yield Picture("Share of time in which a detector is failed and nobody knows", layers)


def _look_back(request: Any, result: Any) -> Iterator[Picture]:
    rows = [
        {"use": each.label or str(number), "order": number, "pct": 100 * each.worst_probability_failed_by_end}
        for number, each in enumerate(result.uses, 1)
    ]

    def layers(ink: Ink) -> Iterator[Spec]:
        y = {"field": "use", "type": "nominal", "title": None, "sort": {"field": "order"}}
        x = axis("pct", "Chance of failed by its end, the larger of both clocks [%]", zero=True)
        yield {
            "data": {"values": rows},
            "mark": {"type": "bar", "height": {"band": 0.55}},
            "encoding": {"x": x, "y": y},
        }

    if rows:
        yield Picture("The chance that the sensor had failed by the end of each use", layers)


def _response_curve(request: Any, result: Any) -> Iterator[Picture]:
    from pitbird.calc.response_curve import fitted

    seen = [{"t": t, "r": r} for t, r in zip(request.t_s, request.reading, strict=True)]
    drawn = [{"t": t, "r": r} for t, r in fitted(request, result, _STEPS * 2)]
    alarms = [{"r": alarm.at, "words": f"{alarm.name} {alarm.at:g}"} for alarm in request.alarms]

    def layers(ink: Ink) -> Iterator[Spec]:
        x, y = axis("t", "Time [s]"), axis("r", "Reading")
        yield points(seen, x, y)
        yield line(drawn, x, y)
        yield from level(alarms, y, "words", ink)
        yield from mark_at([{"t": request.gas_on_s, "words": "gas on"}], x, "words", left_of=False)

    yield Picture("Readings (rings) and the fitted response (line)", layers)


def _failure_rate(request: Any, result: Any) -> Iterator[Picture]:
    from math import exp

    answer: dict[str, Any] = result.model_dump()
    longest = max((end for pair in request.observations for end in pair if end), default=0.0)
    ages = [longest * step / _STEPS for step in range(_STEPS + 1)]
    if answer.get("rate_per_day"):
        rates = answer["rate_per_day"], answer["rate_low"], answer["rate_high"]
        rows = [
            {
                "age": age,
                **{
                    name: 100 * (1 - exp(-(rate or 0) * age)) for name, rate in zip("mlh", rates, strict=True)
                },
            }
            for age in ages
        ]
    elif answer.get("shape") and answer.get("scale_days"):
        rows = [
            {"age": age, "m": 100 * (1 - exp(-((age / answer["scale_days"]) ** answer["shape"])))}
            for age in ages
        ]
    else:
        return

    def layers(ink: Ink) -> Iterator[Spec]:
        x, y = axis("age", "Days in use"), axis("m", "Failed [%]", zero=True)
        if "l" in rows[0]:
            yield band(rows, x, {**y, "field": "l"}, "h")
        yield line(rows, x, y)

    shown = rows[:: _STEPS // 6][1:]
    limits = "l" in rows[0]
    words = " (the band: the limits of the rate)" if limits else ""
    yield Picture(
        f"Share failed by an age under the fitted model{words}",
        layers,
        ("Days in use", "Failed [%]", *(("lower limit [%]", "upper limit [%]") if limits else ())),
        tuple(tuple(row[name] for name in ("age", *("mlh" if limits else "m"))) for row in shown),
    )


def _times(end: float) -> list[float]:
    return [end * step / _STEPS for step in range(_STEPS + 1)]


_DRAWN: Final[dict[str, Callable[[Any, Any], Iterable[Picture]]]] = {
    "challenge": _challenge,
    "room-release": _room_release,
    "test-interval": _test_interval,
    "look-back": _look_back,
    "response-curve": _response_curve,
    "failure-rate": _failure_rate,
}
