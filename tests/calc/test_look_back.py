"""Looking back from a failed test, from plain values to plain values; every refusal in words."""

from __future__ import annotations

import math
from typing import Any

import pytest

from pitbird.calc.definition import Refused, as_values
from pitbird.calc.look_back import CALCULATION

WEEK: dict[str, Any] = {
    "last_pass": "2026-03-02T08:00+01:00",
    "first_fail": "2026-03-09T08:00+01:00",
    "uses": [
        {"start": "2026-03-02T08:00+01:00", "end": "2026-03-02T20:00+01:00", "label": "first"},
        {"start": "2026-03-08T07:00+00:00", "end": "2026-03-08T19:00+00:00", "label": "last"},
    ],
    "rate_per_day": 0.1,
}


def found(**changed: Any) -> dict[str, Any]:
    return as_values(CALCULATION.answer(WEEK | changed))


def faults(**changed: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(WEEK | changed)
    return [str(fault) for fault in refused.value.faults]


def test_on_the_calendar_it_is_the_truncated_exponential() -> None:
    """By hand: (1 - exp(-rate t)) / (1 - exp(-rate T)), T seven days, zones reckoned."""
    first, last = found()["uses"]

    def chance(days: float) -> float:
        return (1 - math.exp(-0.1 * days)) / (1 - math.exp(-0.7))

    assert first["label"] == "first"
    assert first["probability_failed_at_start"] == 0
    assert first["probability_failed_by_end"] == pytest.approx(chance(0.5))
    assert last["probability_failed_at_start"] == pytest.approx(chance(6))
    assert last["probability_failed_by_end"] == pytest.approx(chance(6.5))
    # In use only, half of the one day in use had passed, or all of it.
    in_use = (1 - math.exp(-0.05)) / (1 - math.exp(-0.1))
    assert first["worst_probability_failed_by_end"] == pytest.approx(in_use)
    assert last["worst_probability_failed_by_end"] == 1


def test_on_the_clock_of_use_only_uses_count() -> None:
    first, last = found(clock="in-use")["uses"]
    assert (
        first["probability_failed_by_end"]
        == last["probability_failed_at_start"]
        == pytest.approx(0.5125, abs=1e-4)
    )
    assert last["probability_failed_by_end"] == 1


def test_a_small_number_never_clears_a_use() -> None:
    assert any("never clears a use" in caution for caution in found(rate_per_day=0)["cautions"])


def test_times_may_be_days_on_any_scale() -> None:
    uses = [{"start": 100, "end": 100.5}, {"start": 106, "end": 106.5}]
    days = found(last_pass=100, first_fail=107.0, uses=uses)["uses"]
    dates = found()["uses"]
    for one, other in zip(days, dates, strict=True):
        for name in ("probability_failed_at_start", "probability_failed_by_end"):
            assert one[name] == pytest.approx(other[name])


def test_times_without_zone_are_taken_as_of_one_clock_and_it_says_so() -> None:
    uses = [{"start": "2026-03-02 08:00", "end": "2026-03-02 20:00"}]
    told = found(last_pass="2026-03-02T08:00", first_fail="2026-03-09T08:00", uses=uses)
    assert told["uses"][0]["probability_failed_by_end"] == pytest.approx(
        found()["uses"][0]["probability_failed_by_end"]
    )
    assert any("without their zone" in caution for caution in told["cautions"])
    assert not any("without their zone" in caution for caution in found()["cautions"])


def test_without_uses_there_is_nothing_to_say_and_on_their_clock_no_answer() -> None:
    assert found(uses=[])["uses"] == []
    (fault,) = faults(uses=[], clock="in-use")
    assert fault.startswith(
        "look-back.clock = 'in-use': no use lies between the last pass and the first fail"
    )


def test_every_fault_is_told_at_once() -> None:
    told = faults(
        first_fail="2026-03-01T08:00Z",
        uses=[{"start": "2026-03-05T08:00Z", "end": "2026-03-05T07:00Z"}, WEEK["uses"][0]],
    )
    assert told == [
        "look-back.first_fail = '2026-03-01T08:00Z': not after the last good test (2026-03-02T08:00+01:00)",
        "look-back.uses[0].end = '2026-03-05T07:00Z': before its start (2026-03-05T08:00Z)",
    ]


def test_times_of_two_sorts_are_not_mixed() -> None:
    rest = "where last_pass is a time with its zone; write all in one way"
    told = faults(first_fail=7, uses=[{"start": "2026-03-05T08:00", "end": "2026-03-05T09:00+01:00"}])
    assert told == [
        f"look-back.first_fail = '7.0': a number of days, {rest}",
        f"look-back.uses[0].start = '2026-03-05T08:00': a time without zone, {rest}",
    ]


def test_what_is_no_time_is_refused_with_its_field() -> None:
    told = faults(
        last_pass="yesterday", first_fail=True, uses=[{"start": None, "end": "2026-13-01"}], rate_per_day=-1
    )
    assert [line.partition(": ")[0] for line in told] == [
        "look-back.last_pass = 'yesterday'",
        "look-back.first_fail = true",
        "look-back.uses[0].start = null",
        "look-back.uses[0].end = '2026-13-01'",
        "look-back.rate_per_day = -1",
    ]
    assert faults(last_pass="nan")[0].startswith("look-back.last_pass = 'nan': not a time")


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda example: example.title)
def test_the_examples_are_answered(example: Any) -> None:
    told = as_values(CALCULATION.answer(example.request))
    assert [use["label"] for use in told["uses"]] == [use["label"] for use in example.request["uses"]]
