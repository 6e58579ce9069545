"""Looking back from a failed test: chances on two clocks, laws, refusals."""

from itertools import pairwise
from math import exp, inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.reliability.look_back import Clock, look_back, share_failed


def test_at_a_rate_of_nothing_the_failure_lies_anywhere_alike() -> None:
    (chance,) = look_back([(2, 5)], last_pass=0, first_fail=10, rate=0)
    assert (chance.failed_at_start, chance.failed_by_end) == (0.2, 0.5)


def test_on_the_calendar_it_is_the_truncated_exponential() -> None:
    (chance,) = look_back([(2, 5)], last_pass=0, first_fail=10, rate=0.1)
    assert chance.failed_at_start == pytest.approx((1 - exp(-0.2)) / (1 - exp(-1)))
    assert chance.failed_by_end == pytest.approx((1 - exp(-0.5)) / (1 - exp(-1)))


def test_in_use_only_the_hours_of_use_count() -> None:
    uses = [(1.0, 2.0), (8.0, 9.0)]
    first, second = look_back(uses, last_pass=0, first_fail=10, rate=0, clock="in-use")
    assert (first.failed_at_start, first.failed_by_end) == (0.0, 0.5)
    assert (second.failed_at_start, second.failed_by_end) == (0.5, 1.0)
    # The calendar says 0.2 by the end of the first use; the worse of the two stands beside it.
    (calendar, _) = look_back(uses, last_pass=0, first_fail=10, rate=0)
    assert (calendar.failed_by_end, calendar.worst_failed_by_end) == (0.2, 0.5)


def test_uses_that_overlap_count_their_hours_once() -> None:
    chances = look_back([(0, 4), (2, 6), (8, 10)], last_pass=0, first_fail=10, rate=0, clock="in-use")
    assert [c.failed_by_end for c in chances] == pytest.approx([0.5, 0.75, 1.0])


def test_before_the_last_pass_nothing_and_after_the_first_fail_all() -> None:
    chances = look_back([(-5, -1), (-1, 5), (9, 12), (11, 12)], last_pass=0, first_fail=10, rate=0.01)
    assert chances[0].worst_failed_by_end == 0
    assert chances[1].failed_at_start == 0
    assert chances[2].failed_by_end == 1
    assert chances[3].failed_at_start == 1


def test_without_any_use_the_in_use_clock_has_no_answer_and_the_calendar_has() -> None:
    with pytest.raises(ValueError, match="no use lies between"):
        look_back([(11, 12)], last_pass=0, first_fail=10, rate=0.1, clock="in-use")
    (chance,) = look_back([(11, 12)], last_pass=0, first_fail=10, rate=0.1)
    assert chance.worst_failed_by_end == 1


uses = st.lists(
    st.tuples(st.floats(-5, 110), st.floats(0, 20)).map(lambda u: (u[0], u[0] + u[1])), min_size=1, max_size=8
)


@given(uses, st.floats(0, 2), st.sampled_from(["calendar", "in-use"]))
def test_chances_rise_with_time_and_never_leave_zero_to_one(
    times: list[tuple[float, float]], rate: float, clock: Clock
) -> None:
    times = [(10.0, 20.0), *times]
    chances = look_back(times, last_pass=0, first_fail=100, rate=rate, clock=clock)
    for chance in chances:
        assert 0 <= chance.failed_at_start <= chance.failed_by_end <= 1
        assert chance.failed_by_end <= chance.worst_failed_by_end <= 1
    by_end = sorted(zip([end for _, end in times], [c.failed_by_end for c in chances], strict=True))
    assert all(a[1] <= b[1] + 1e-12 for a, b in pairwise(by_end))


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0, 10))
def test_a_higher_rate_never_makes_a_use_look_better(low: float, more: float, passed: float) -> None:
    assert share_failed(low + more, passed, 10) >= share_failed(low, passed, 10) - 1e-12


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ({"last_pass": 10, "first_fail": 0, "rate": 1}, "must come after the last pass"),
        ({"last_pass": 1, "first_fail": 1, "rate": 1}, "must come after the last pass"),
        ({"last_pass": nan, "first_fail": 1, "rate": 1}, "must come after the last pass"),
        ({"last_pass": 0, "first_fail": 1, "rate": -1}, "the rate is -1"),
        ({"last_pass": 0, "first_fail": 1, "rate": inf}, "the rate is inf"),
    ],
)
def test_tests_and_rates_that_cannot_be_are_refused(call: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        look_back([(0, 1)], **call)  # type: ignore[arg-type]


def test_a_use_that_ends_before_it_begins_is_named() -> None:
    with pytest.raises(ValueError, match="use 1 runs from 5 to 4"):
        look_back([(0, 1), (5, 4)], last_pass=0, first_fail=10, rate=1)
