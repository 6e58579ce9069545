"""Which sensors are likely to need replacing soon, from what their calibrations found."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import pytest

from pitbird.fleet.folding import fold
from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import DAY, Ms
from pitbird.services.wear import WearAhead, readings_of, wear_ahead
from tests.bodies import CHANNELS, at, body, detector, ms

D = "detector:D-017"


class Fleet:
    """What is known, of states alone."""

    def __init__(self, *states: Any) -> None:
        self.states = states

    def state(self, subject: str) -> None:
        return None

    def all_of(self, sort: Any, site: str | None = None) -> list[Any]:
        return [state for state in self.states if isinstance(state, sort)]

    def some(self, subjects: Iterable[str]) -> dict[str, Any]:
        return {each.subject: each for each in self.states if each.subject in set(subjects)}


def day(number: int) -> str:
    return at("06:00", str(date(2024, 1, 1) + timedelta(days=number)))


def calibrated(number: int, as_found: float | None, *, adjusted: str = "yes", **other: Any) -> dict[str, Any]:
    channel = {
        "channel": "CO",
        "applied": "100",
        "as_left": "100",
        "adjusted": adjusted,
        "result": "within",
        **other,
    }
    if as_found is not None:
        channel["as_found"] = f"{as_found:.2f}"
    if adjusted == "no":
        del channel["as_left"]
    return body("calibration", day(number), channels=[channel], tolerance_pct="20", result="passed")


def state(*bodies: dict[str, Any], **other: Any) -> DetectorState:
    folded = fold(D, [(n, b, b["at"]) for n, b in enumerate([detector(day(0), **other), *bodies])])
    assert isinstance(folded, DetectorState)
    return folded


def left(*bodies: dict[str, Any]) -> list[float]:
    known = state(*bodies)
    found = readings_of(bodies, {D: known}, Fleet(known))
    return [round(reading.left, 6) for reading in found.get((D, "CO"), [])]


def test_what_adjusting_made_up_for_is_added_up_again() -> None:
    # 10 % lost before each calibration: 1, 0.9, 0.81
    assert left(calibrated(1, None), calibrated(91, 90), calibrated(181, 90)) == [1, 0.9, 0.81]


def test_without_adjusting_readings_go_on_from_the_same_scale() -> None:
    assert left(calibrated(1, None), calibrated(91, 90, adjusted="no"), calibrated(181, 81)) == [1, 0.9, 0.81]


def test_a_repair_begins_anew() -> None:
    repaired = body("repaired", day(100), replaced=["CO"])
    listed = [calibrated(1, None), calibrated(91, 90), calibrated(181, 90), calibrated(271, 95)]
    known = state(*listed[:2], repaired, *listed[2:])
    found = readings_of(listed, {D: known}, Fleet(known))[D, "CO"]
    assert [round(reading.left, 6) for reading in found] == [1, 0.95]


def test_a_calibration_without_a_reading_before_adjusting_says_nothing() -> None:
    assert left(calibrated(1, None), calibrated(91, None), calibrated(181, 90)) == [1, 0.9]


@pytest.mark.parametrize(("stated", "sd"), [("4", 0.02), (None, 0.025)])
def test_the_uncertainty_of_the_gas_is_that_of_its_certificate_or_a_usual_one(
    stated: str | None, sd: float
) -> None:
    from pitbird.fleet.state import ComponentFact
    from tests.rules.builders import cylinder

    gas: CylinderState = cylinder(components=(ComponentFact("carbon monoxide", "100", "ppm", stated),))
    one = calibrated(1, None)
    one["cylinders"] = [gas.subject]
    known = state(one)
    (reading,) = readings_of([one], {D: known}, Fleet(known, gas))[D, "CO"]
    assert reading.sd == pytest.approx(sd)
    assert reading.cylinder == gas.subject


def ahead(losses: list[float], *, worn: float = 0.5, days: float = 91) -> WearAhead:
    bodies = [calibrated(1, None), *(calibrated(1 + 91 * n, 100 - loss) for n, loss in enumerate(losses, 1))]
    known = state(*bodies)
    now = Ms(ms("06:00", "2024-01-01") + (1 + 91 * len(losses)) * DAY)
    return wear_ahead(now=now, worn=worn, days=days, known=Fleet(known), calibrations=bodies)


def test_a_sensor_that_falls_towards_the_limit_is_listed_with_its_chance() -> None:
    told = ahead([8.0] * 8)
    (worn,) = told.sensors
    assert (worn.detector, worn.channel) == (D, "CO")
    assert worn.left == pytest.approx(0.92**8)
    assert 0.05 <= worn.chance <= 1
    assert told.looked_at == 1
    assert told.too_few == 3


def test_a_steady_sensor_is_not() -> None:
    told = ahead([0.2, -0.1, 0.1, 0.0, 0.2, -0.2])
    assert (told.sensors, told.looked_at) == ((), 1)


def test_the_lower_the_limit_the_smaller_the_chance() -> None:
    chances = [
        max((each.chance for each in ahead([8.0] * 8, worn=worn).sensors), default=0.0)
        for worn in (0.6, 0.5, 0.4)
    ]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > chances[-1]


def test_two_calibrations_tell_no_course() -> None:
    told = ahead([30.0])
    assert (told.sensors, told.looked_at, told.too_few) == ((), 0, 4)


def test_a_stated_last_day_comes_first_whatever_was_read() -> None:
    channels = [{**CHANNELS[0], "sensor_ends": "2024-03-01"}, *CHANNELS[1:]]
    known = state(channels=channels)
    told = wear_ahead(now=ms("06:00", "2024-01-15"), known=Fleet(known), calibrations=[])
    assert [(each.channel, each.ends, each.left) for each in told.sensors] == [("CH4", "2024-03-01", None)]
    later = wear_ahead(now=ms("06:00", "2023-10-15"), known=Fleet(known), calibrations=[])
    assert later.sensors == ()
