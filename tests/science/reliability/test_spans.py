"""Observations: what is taken in, what is refused and in which words, rows of tests to spans."""

from math import inf, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.reliability.spans import BadSpans, SpanFault, grouped, spans, spans_from_rows


def test_failures_survivors_and_the_time_known_good_are_counted() -> None:
    seen = spans([0, 30, 60, 0], [30, 60, None, None], [1, 2, 3, 4])
    assert (seen.failures, seen.censored, seen.exposure) == (3, 7, 240.0)


def test_observations_that_count_nothing_are_dropped() -> None:
    assert spans([0, 5], [1, 6], [0, 2]).left.tolist() == [5.0]


@pytest.mark.parametrize(
    ("left", "right", "count", "words"),
    [
        ([5], [5], None, "observation 0: both ends are 5; the interval is open on the left"),
        ([6], [5], None, "observation 0: left 6 comes after right 5; the ends are reversed"),
        ([nan], [5], None, "observation 0: an end of the interval is not a number"),
        ([1], [nan], None, "observation 0: an end of the interval is not a number"),
        ([None], [5], None, "observation 0: an end of the interval is not a number"),
        ([-1], [5], None, "observation 0: left is -1; ages start at 0"),
        ([inf], [inf], None, "observation 0: left is infinite; it must be the age at a test"),
        ([1], [5], [1.5], "observation 0: count is 1.5; it must be a whole number from 0"),
        ([1], [5], [-1], "observation 0: count is -1; it must be a whole number from 0"),
        ([1], [5], [nan], "observation 0: count is nan; it must be a whole number from 0"),
        ([1, 2], [5], None, "left, right and count are of unequal length: 2, 1 and 2"),
        ([], [], None, "there is no observation"),
        ([1], [5], [0], "there is no observation"),
        (["x"], [5], None, "left must be a list of numbers"),
        ([[1]], [5], None, "left must be one list of numbers"),
    ],
)
def test_what_cannot_be_is_refused_in_words(left: object, right: object, count: object, words: str) -> None:
    with pytest.raises(BadSpans) as refused:
        spans(left, right, count)  # type: ignore[arg-type]
    assert words in str(refused.value)


def test_every_fault_is_named_at_once() -> None:
    with pytest.raises(BadSpans) as refused:
        spans([5, 0, 9], [5, 1, 8])
    assert [fault.index for fault in refused.value.faults] == [0, 2]


def test_a_flood_of_faults_is_cut_and_counted() -> None:
    with pytest.raises(BadSpans) as refused:
        spans(np.full(60, 2.0), np.ones(60))
    assert len(refused.value.faults) == 50
    assert str(refused.value).endswith("and 10 more")


ends = st.lists(
    st.tuples(st.integers(0, 6), st.integers(1, 5), st.booleans(), st.integers(1, 3)), min_size=1, max_size=40
)


@given(ends, st.sampled_from([1.0, 1 / 3]))
def test_grouping_keeps_every_interval_and_its_count(
    rows: list[tuple[int, int, bool, int]], unit: float
) -> None:
    left = [a * unit for a, _, _, _ in rows]
    right = [inf if good else (a + d) * unit for a, d, good, _ in rows]
    count = [n for *_, n in rows]
    wanted: dict[tuple[float, float], int] = {}
    for a, b, n in zip(left, right, count, strict=True):
        wanted[a, b] = wanted.get((a, b), 0) + n
    together = grouped(spans(left, right, count))
    pairs = zip(together.left.tolist(), together.right.tolist(), strict=True)
    assert dict(zip(pairs, together.count.tolist(), strict=True)) == wanted


def literal(rows: list[tuple[int, int, bool]], sensors: int) -> dict[int, tuple[float, float]]:
    """The rule read word by word: the last pass before the first fail."""
    out: dict[int, tuple[float, float]] = {}
    for sensor in range(sensors):
        fails = [age for who, age, passed in rows if who == sensor and not passed]
        first = min(fails, default=inf)
        passes = [age for who, age, passed in rows if who == sensor and passed and age < first]
        if first > 0 and (passes or fails):
            out[sensor] = (max(passes, default=0), first)
    return out


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 9), st.booleans()), min_size=1, max_size=60))
def test_rows_of_tests_in_any_order_give_last_pass_and_first_fail(rows: list[tuple[int, int, bool]]) -> None:
    wanted = literal(rows, 5)
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    if not wanted:
        with pytest.raises(BadSpans, match="no sensor has a life to observe"):
            spans_from_rows(*columns, sensors=5)
        return
    seen, who = spans_from_rows(*columns, sensors=5)
    pairs = zip(seen.left.tolist(), seen.right.tolist(), strict=True)
    assert dict(zip(who.tolist(), pairs, strict=True)) == wanted


def test_a_pass_at_the_moment_of_the_first_fail_does_not_count() -> None:
    seen, _ = spans_from_rows(np.array([0, 0, 0]), [10, 20, 20], np.array([True, True, False]))
    assert (seen.left.tolist(), seen.right.tolist()) == ([10.0], [20.0])


@pytest.mark.parametrize(
    ("sensor", "age", "words"),
    [
        ([], [], "there is no test"),
        ([0, 1], [1.0], "unequal length"),
        ([0], [nan], "negative, infinite or not a number"),
        ([0], [inf], "negative, infinite or not a number"),
        ([0], [-1.0], "negative, infinite or not a number"),
        ([-1], [1.0], "lies outside 0 to"),
    ],
)
def test_rows_that_cannot_be_are_refused(sensor: list[int], age: list[float], words: str) -> None:
    with pytest.raises(BadSpans, match=words):
        spans_from_rows(np.array(sensor, dtype=np.int64), age, np.ones(len(sensor), dtype=bool))


def test_a_fault_of_the_list_itself_has_no_place() -> None:
    assert str(SpanFault(None, "there is no test")) == "there is no test"
