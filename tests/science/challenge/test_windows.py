"""The window that BG RCI FAQ 2.9 (table 1, method 1) gives a test by alarm."""

import pytest

from pitbird.science.challenge.values import Alarm, Sensor
from pitbird.science.challenge.windows import outside, window
from pitbird.science.gases import IEC, NFPA
from tests.science.challenge.making import CO, H2S, METHANE, OXYGEN, alarm, sensor


# Worked from the table: 1.2 to 2.0 times the highest alarm, at most 60 %LFL, 45 s; 90 s for toxic gases.
@pytest.mark.parametrize(
    ("base", "alarms", "low", "high", "seconds"),
    [
        (METHANE, (20, 40), 48, 60, 45),
        (METHANE, (10, 20), 24, 40, 45),
        (H2S, (5, 10), 12, 20, 90),
        (CO, (30, 60), 72, 120, 90),
    ],
)
def test_the_window_follows_from_the_highest_alarm(
    base: Sensor, alarms: tuple[float, ...], low: float, high: float, seconds: float
) -> None:
    found = window(sensor(base, alarms=tuple(Alarm(f"A{at}", at) for at in alarms)), NFPA)
    assert found is not None
    assert (found.low, found.high, found.seconds) == pytest.approx((low, high, seconds))


def test_oxygen_should_lie_about_nine_tenths_of_the_lowest_alarm() -> None:
    found = window(sensor(OXYGEN, alarms=(Alarm("A1", 19.5), Alarm("A2", 18))), NFPA)
    assert found is not None
    assert found.low < 16.2 < found.high  # 0.9 x 18
    assert found.seconds == 60
    assert (found.low, found.high) == pytest.approx((15.3, 17.1))  # the spread of 0.05 is ours


def test_a_50_percent_cylinder_fits_only_high_alarms_up_to_41_7() -> None:
    for high, fits in ((41.6, True), (41.7, False)):
        channel = sensor(METHANE, alarms=alarm(high))
        found = window(channel, NFPA)
        assert found is not None
        assert (list(outside(found, channel, 50, 20, 10)) == []) is fits


def test_the_cap_is_the_same_on_a_scale_in_volume() -> None:
    found = window(sensor(METHANE, unit="vol_pct", alarms=alarm(2)), IEC)
    assert found is not None
    assert found.high == pytest.approx(0.6 * 4.4)


def test_alarms_that_gas_does_not_show_and_those_on_too_much_oxygen_have_no_window() -> None:
    assert window(sensor(OXYGEN, alarms=(Alarm("high", 23.5),)), NFPA) is None
    assert window(sensor(CO, alarms=(Alarm("TWA", 30, "none"),)), NFPA) is None
    top_not_shown = window(sensor(CO, alarms=(Alarm("A1", 30), Alarm("STEL", 200, "self-check"))), NFPA)
    assert top_not_shown is not None
    assert top_not_shown.high == 60


@pytest.mark.parametrize(
    ("base", "reading", "on", "time", "words"),
    [
        (CO, 70, 20, 10, "too weak for the guidance: 70 ppm, advised is 72 to 120 ppm (BG RCI"),
        (CO, 121, 20, 10, "too strong for the guidance: 121 ppm"),
        (OXYGEN, 19, 20, 10, "too weak for the guidance: 19 % vol, advised is 16.6 to 18.5 % vol"),
        (OXYGEN, 0, 20, 1, "too strong for the guidance: 0 % vol"),
        (CO, 100, 120, 91, "alarm A2 takes 91 s; the guidance wants it within 90 s"),
        (METHANE, 30, 60, 10, "the gas is on for 60 s; the guidance gives the alarm 45 s"),
        (
            sensor(METHANE, alarms=alarm(55)),
            60,
            20,
            10,
            "no gas fits the guidance for alarm A1: 1.2 times it is 66",
        ),
    ],
)
def test_what_lies_outside_is_told_with_its_numbers(
    base: Sensor, reading: float, on: float, time: float, words: str
) -> None:
    found = window(base, NFPA)
    assert found is not None
    (said,) = outside(found, base, reading, on, time)
    assert words in said


def test_what_lies_inside_is_not_told() -> None:
    found = window(CO, NFPA)
    assert found is not None
    assert list(outside(found, CO, 100, 20, 12)) == []
    assert list(outside(found, CO, 100, 20, None)) == []
