"""Gaps from the times of tests, and failure unnoticed during use: known answers, simulation, refusals."""

from collections.abc import Callable
from math import exp, inf, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from pitbird.science.reliability.actual_log import gaps_from_rows, gaps_of, undetected_fraction_in_use
from pitbird.science.reliability.intervals import undetected_fraction, undetected_fraction_of_log


def test_gaps_lie_between_tests_and_run_on_to_now() -> None:
    assert gaps_of([5, 0, 1, 1, 2]).tolist() == [1, 1, 3]
    assert gaps_of([0, 1], upto=8.5).tolist() == [1, 7.5]
    assert gaps_of([0, 1], upto=1).tolist() == [1]
    assert gaps_of([3], upto=4).tolist() == [1]


def test_gaps_of_a_fleet_lie_within_each_detector() -> None:
    who = np.array([7, 1, 7, 1, 1, 3])
    gaps = gaps_from_rows(who, [0.0, 2.0, 10.0, 5.0, 5.0, 4.0])
    assert sorted(gaps.tolist()) == [3, 10]


@given(st.floats(1e-5, 0.5), st.lists(st.floats(0.1, 90), min_size=1, max_size=20))
def test_in_use_all_the_time_is_the_whole_log(rate: float, gaps: list[float]) -> None:
    ends = np.concatenate(([0.0], np.cumsum(gaps)))
    whole = undetected_fraction_in_use(rate, ends, [(0.0, float(ends[-1]))])
    assert whole == pytest.approx(undetected_fraction_of_log(rate, gaps), rel=1e-9)


@given(st.floats(1e-4, 0.2), st.floats(0.01, 5), st.floats(0.01, 5), st.floats(0.1, 3))
def test_in_use_the_share_is_the_integral_over_the_use(
    rate: float, before: float, used: float, every: float
) -> None:
    tests = np.arange(0, 30, every)
    start, end = before, before + used

    def hidden(t: float) -> float:
        return 1 - exp(-rate * (t - tests[tests <= t][-1]))

    within = [float(t) for t in tests if start < t < end][:80]
    mean = integrate.quad(hidden, start, end, points=within or None, limit=400)[0] / used
    assert undetected_fraction_in_use(rate, tests, [(start, end)]) == pytest.approx(mean, rel=1e-6)


def test_tested_at_handing_out_it_is_the_use_that_counts_and_not_the_week() -> None:
    weeks = [7.0 * week for week in range(52)]
    uses = [(t, t + 10 / 24) for t in weeks]
    assert undetected_fraction_in_use(1 / 1500, weeks, uses) == pytest.approx(
        undetected_fraction(1 / 1500, 10 / 24), rel=1e-9
    )
    # Tested when it comes back instead, nearly the whole week lies before each use.
    back = [-7.0 + 10 / 24, *(t + 10 / 24 for t in weeks)]
    assert undetected_fraction_in_use(1 / 1500, back, uses) > 30 * undetected_fraction(1 / 1500, 10 / 24)


def test_simulated_failures_during_use_agree() -> None:
    random = np.random.default_rng(6)
    tests = np.cumsum(random.exponential(5, 60))
    starts = np.sort(random.uniform(tests[0], tests[-1], 50))
    uses = [(float(s), float(s + 0.5)) for s in starts]
    rate = 0.05
    moments = np.repeat(starts, 20_000) + random.uniform(0, 0.5, 1_000_000)
    since = moments - tests[np.searchsorted(tests, moments, side="right") - 1]
    share = (random.exponential(1 / rate, len(since)) < since).mean()
    assert undetected_fraction_in_use(rate, tests, uses) == pytest.approx(share, rel=0.01)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: gaps_of([1]), "no gap"),
        (lambda: gaps_of([1, 1]), "at least two tests"),
        (lambda: gaps_of([]), "or one and an end"),
        (lambda: gaps_of([1, nan]), "time 1 is not a number"),
        (lambda: gaps_of([1, 2], upto=1.5), "before the last test"),
        (lambda: gaps_of([1, 2], upto=inf), "upto is inf"),
        (lambda: gaps_from_rows(np.array([1, 2]), [0, 1]), "no detector has two tests"),
        (lambda: gaps_from_rows(np.array([1, 2]), [0]), "unequal length: 2 and 1"),
        (lambda: undetected_fraction_in_use(0, [0], [(0, 1)]), "rate is 0"),
        (lambda: undetected_fraction_in_use(1, [5], [(5, 6), (4, 5)]), "use 1 begins at 4"),
        (lambda: undetected_fraction_in_use(1, [0], [(3, 2)]), "use 0 runs from 3 to 2"),
        (lambda: undetected_fraction_in_use(1, [0], [(3, 3)]), "no time in use"),
        (lambda: undetected_fraction_in_use(1, [0], []), "there is no time in use"),
    ],
)
def test_logs_that_cannot_be_are_refused_in_words(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
