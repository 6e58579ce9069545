"""Which cylinders serve which detectors, and what is left in a cylinder."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from pitbird.fleet import state as facts
from pitbird.fleet.state import CylinderState, GaugeFact, OtherState
from pitbird.fleet.times import DAY, Ms
from pitbird.services.gas_left import gas_left
from pitbird.services.serving import detector_served, types, types_served
from tests.rules.builders import CH4, CO, CO2, FOUR, H2S, changed, cylinder, detector

NOW = Ms(1_772_452_800_000)
#: Four channels with response times; of oxygen the alarms that fall.
SLOW = tuple(
    changed(each, t90_s="30", alarms=each.alarms[:2]) if each.gas == "oxygen" else changed(each, t90_s="30")
    for each in FOUR
)


class Fleet:
    """What is known, of states alone."""

    def __init__(self, *states: Any) -> None:
        self.states = states

    def state(self, subject: str) -> Any:
        return next((each for each in self.states if each.subject == subject), None)

    def all_of(self, sort: Any, site: str | None = None) -> list[Any]:
        return [e for e in self.states if isinstance(e, sort) and (site is None or e.site == site)]

    def some(self, subjects: Any) -> dict[str, Any]:
        return {}


def gas(**other: Any) -> CylinderState:
    return cylinder(**other)


def test_detectors_are_alike_by_make_model_and_channels_whatever_the_life_of_their_sensors() -> None:
    one = detector(channels=SLOW)
    other = detector(
        subject="detector:D-018", channels=(changed(SLOW[0], sensor_ends="2027-01-01"), *SLOW[1:])
    )
    third = detector(subject="detector:D-019", channels=SLOW[2:])
    assert list(types(known=Fleet(one, other, third)).values()) == [
        ["detector:D-017", "detector:D-018"],
        ["detector:D-019"],
    ]


def test_a_cylinder_serves_a_type_whole_in_part_or_not() -> None:
    four, single, co2 = (
        detector(channels=SLOW),
        detector(subject="detector:D-018", channels=(SLOW[3],)),
        detector(subject="detector:D-019", channels=(changed(CO2, t90_s="30"),)),
    )
    five = detector(subject="detector:D-020", channels=(*SLOW, changed(CO2, t90_s="30")))
    found = {
        each.detectors[0]: each.serves for each in types_served(gas(), known=Fleet(four, single, co2, five))
    }
    # 1.2 % vol methane is 27 %LFL of IEC 60079-20-1 (LFL 4.4 % vol); the high alarm stands at 20
    assert found == {
        "detector:D-017": "serves",
        "detector:D-018": "serves",
        "detector:D-019": "not",
        "detector:D-020": "in-part",
    }


def test_what_a_pass_could_hide_is_the_largest_loss_over_the_channels() -> None:
    served = detector_served(detector(channels=SLOW[2:]), gas(), 30.0)
    losses = [
        each.asked.undetected_loss for each in served.served if each.asked and each.asked.undetected_loss
    ]
    assert served.worst_loss == max(losses)
    assert len(losses) == 2


def test_a_channel_without_a_response_time_makes_it_not_known() -> None:
    assert detector_served(detector(channels=(CO, SLOW[3])), gas(), 30.0).serves == "cannot-tell"
    assert detector_served(detector(channels=(CH4, CO, H2S)), gas(), 30.0).serves == "cannot-tell"


# --- what is left -------------------------------------------------------------------------------------------


def small(**other: Any) -> CylinderState:
    """A 58 L cylinder, 69 bar when full, at 35 bar."""
    fields: dict[str, Any] = {
        "free_gas_l": "58", "full_pressure_bar": "69", "minimum_pressure_bar": "2", "water_capacity_l": None,
        "gauges": (GaugeFact(Ms(NOW - DAY), "35", "g-1"),), "tests": 0, "gas_on_ms": 0, "recent": (),
        "regulator": None, "opened_at": Ms(NOW - 20 * DAY), **other,
    }  # fmt: skip
    return replace(cylinder(), **fields)


def test_tests_left_follow_from_gauge_certificate_and_the_gas_that_tests_took() -> None:
    left = gas_left(small(tests=100, gas_on_ms=100 * 30_000), now=NOW, known=Fleet())
    # about half of 58 L above 2 bar, 0.25 L a test: ideal gas gives (35 - 2) / (69 + 1.013) x 58 / 0.25 = 109
    assert left.tests is not None
    assert left.tests_low is not None
    assert left.tests_high is not None
    assert left.tests == pytest.approx(109, abs=2)
    assert left.tests_low < left.tests < left.tests_high
    assert left.seconds_per_test == 30
    # a hundred tests in twenty days
    assert left.days == pytest.approx(left.tests / 5)
    assert left.full == pytest.approx(33 / 67, rel=0.01)


def test_what_is_taken_for_granted_is_said() -> None:
    left = gas_left(small(), now=NOW, known=Fleet())
    assert left.assumed == ("a fixed flow of 0.5 L/min", "a test takes 25 s of gas")
    assert left.days is None


def test_the_flow_is_that_of_the_regulator() -> None:
    regulator = OtherState("regulator:R-1", description={"flow": "fixed", "flow_l_min": "1"})
    usual = gas_left(small(), now=NOW, known=Fleet())
    fast = gas_left(small(regulator="regulator:R-1"), now=NOW, known=Fleet(regulator))
    assert usual.tests is not None
    assert fast.tests == pytest.approx(usual.tests / 2, abs=1)
    assert "flow" not in " ".join(fast.assumed)


def test_tests_made_since_the_gauge_was_read_are_taken_off() -> None:
    before = gas_left(small(), now=NOW, known=Fleet())
    recent = tuple(
        facts.TestedOn(Ms(NOW - hours), "detector:D-017", False) for hours in (1000, 2000, 2 * DAY)
    )
    after = gas_left(small(recent=recent), now=NOW, known=Fleet())
    assert before.tests is not None
    assert (after.tests, after.since_gauge) == (before.tests - 2, 2)


@pytest.mark.parametrize(
    ("other", "why"),
    [
        ({"gauges": ()}, "gauge has not been read"),
        ({"free_gas_l": None}, "neither its water capacity nor its contents"),
        ({"minimum_pressure_bar": None}, "minimum pressure is not described"),
        ({"gauges": (GaugeFact(NOW, "90", "g-1"),)}, "check the unit of the gauge"),
    ],
)
def test_what_cannot_be_told_says_why_and_gives_no_number(other: dict[str, Any], why: str) -> None:
    left = gas_left(small(**other), now=NOW, known=Fleet())
    assert left.tests is None
    assert why in "; ".join(left.why)


def test_below_its_minimum_pressure_nothing_is_left() -> None:
    left = gas_left(small(gauges=(GaugeFact(NOW, "1.5", "g-1"),)), now=NOW, known=Fleet())
    assert left.tests in (None, 0)
