"""Life without a form: published masses, open and closed ends, the certificate, laws."""

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.reliability.npmle import fit_npmle
from pitbird.science.reliability.spans import Spans, spans
from tests.science.reliability import published


def listed(seen: Spans) -> dict[tuple[float, float], float]:
    fit = fit_npmle(seen)
    assert fit.converged
    ends = zip(fit.left.tolist(), fit.right.tolist(), strict=True)
    return {pair: round(mass, 4) for pair, mass in zip(ends, fit.mass.tolist(), strict=True)}


def test_intervals_that_touch_share_no_point() -> None:
    fit = fit_npmle(spans([0, 30], [30, 60]))
    assert fit.mass.tolist() == [0.5, 0.5]
    assert fit.survival(30) == (0.5, 0.5)
    assert fit.survival(60) == (0.0, 0.0)
    assert fit.survival(45) == (0.0, 0.5)


def test_the_arm_with_radiation_has_the_published_masses() -> None:
    # Fay and Shaw, vignette of the R package interval (J. Stat. Software 36(2), 2010).
    assert listed(published.arm(published.RADIATION)) == pytest.approx(
        {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926, (33, 34): 0.0818,
         (38, 40): 0.1209, (46, 48): 0.4656},
        abs=1e-4,
    )  # fmt: skip


def test_the_arm_with_radiation_and_chemotherapy_has_the_published_masses() -> None:
    assert listed(published.arm(published.RADIATION_AND_CHEMOTHERAPY)) == pytest.approx(
        {(4, 5): 0.0433, (5, 8): 0.0433, (11, 12): 0.0692, (16, 17): 0.1454, (18, 19): 0.1411,
         (19, 20): 0.1157, (24, 25): 0.0999, (30, 31): 0.0709, (35, 36): 0.1608, (44, 48): 0.0552,
         (48, 60): 0.0552},
        abs=1e-4,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("seen", "log_likelihood"),
    [
        # R npsurv and icenReg.
        (published.arm(published.RADIATION), -58.060022),
        (published.arm(published.RADIATION_AND_CHEMOTHERAPY), -65.636965),
        (published.turbine(), -184.988153),
    ],
)
def test_the_likelihood_is_that_of_other_programs(seen: Spans, log_likelihood: float) -> None:
    fit = fit_npmle(seen)
    assert fit.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)
    assert fit.certificate <= 1e-8


def test_turbine_wheels_have_the_failed_shares_of_other_programs() -> None:
    # R npsurv and icenReg agree with isotonic regression of the shares failed.
    fit = fit_npmle(published.turbine())
    ages = [10, 18, 22, 26, 34, 38, 46]
    shares = [1 - fit.survival(age)[0] for age in ages]
    wanted = [0.069767, 0.095890, 0.166667, 0.222222, 0.461538, 0.581081, 0.583333]
    assert shares == pytest.approx(wanted, abs=1e-6)


def test_cracks_have_the_shares_counted() -> None:
    fit = fit_npmle(published.cracks())
    shares = [1 - fit.survival(day)[0] for day in published.CRACKS_DAYS]
    assert shares == pytest.approx((np.cumsum(published.CRACKS_FAILED) / 167).tolist(), rel=1e-9)


def test_turnbull_1974_has_the_published_survival() -> None:
    # Turnbull 1974 prints .538 .295 .210 .095; R survfit gives more digits.
    fit = fit_npmle(published.turnbull_1974())
    alive = [fit.survival(t)[0] for t in (1, 2, 3, 4)]
    assert alive == pytest.approx([0.537568, 0.294594, 0.209760, 0.094846], abs=1e-6)


def test_when_none_failed_all_mass_lies_beyond_the_last_test() -> None:
    fit = fit_npmle(spans([10, 20], [inf, inf]))
    assert (fit.left.tolist(), fit.right.tolist(), fit.mass.tolist()) == ([20.0], [inf], [1.0])
    assert (fit.log_likelihood, fit.failures, fit.censored) == (0.0, 0, 2)


def test_one_observation_is_answered() -> None:
    fit = fit_npmle(spans([3], [5]))
    assert (fit.left.tolist(), fit.right.tolist(), fit.mass.tolist()) == ([3.0], [5.0], [1.0])


ends = st.lists(
    st.tuples(st.integers(0, 8), st.integers(1, 6), st.booleans(), st.integers(1, 4)), min_size=1, max_size=30
)


def made(rows: list[tuple[int, int, bool, int]], unit: float = 1.0) -> Spans:
    left = [a * unit for a, *_ in rows]
    right = [inf if good else (a + d) * unit for a, d, good, _ in rows]
    return spans(left, right, [n for *_, n in rows])


@given(ends)
def test_the_certificate_holds_by_its_own_definition(rows: list[tuple[int, int, bool, int]]) -> None:
    seen = made(rows)
    fit = fit_npmle(seen)
    assert fit.converged, fit.why
    assert float(fit.mass.sum()) == pytest.approx(1, abs=1e-12)
    inside = (fit.left[None, :] >= seen.left[:, None]) & (fit.right[None, :] <= seen.right[:, None])
    chance = inside @ fit.mass
    assert fit.log_likelihood == pytest.approx(float(seen.count @ np.log(chance)), abs=1e-9)
    # The derivative to mass put on any point, not only on the supports that carry some.
    for point in np.arange(0.5, 20):
        holds = (seen.left < point) & (point <= seen.right)
        assert float((seen.count / chance)[holds].sum()) <= seen.count.sum() * (1 + 2e-8)


@given(ends)
def test_counting_an_observation_twice_is_the_same_as_giving_it_twice(
    rows: list[tuple[int, int, bool, int]],
) -> None:
    again = [(a, d, good, 1) for a, d, good, n in rows for _ in range(n)]
    one, other = fit_npmle(made(rows)), fit_npmle(made(again))
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-6)


@given(ends)
def test_the_likelihood_is_the_same_in_any_unit(rows: list[tuple[int, int, bool, int]]) -> None:
    one, other = fit_npmle(made(rows)), fit_npmle(made(rows, 1 / 365.25))
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_current_status_is_isotonic_regression(seed: int) -> None:
    # The closed form of current-status data: pool-adjacent-violators, here by brute max-min.
    random = np.random.default_rng(seed)
    ages = np.arange(1, 13)
    tested = random.integers(1, 20, 12)
    failed = random.binomial(tested, 1 - np.exp(-ages / 8))
    fit = fit_npmle(spans([*np.zeros(12), *ages], [*ages, *np.full(12, inf)], [*failed, *(tested - failed)]))
    share = [
        max(
            min(failed[a : b + 1].sum() / tested[a : b + 1].sum() for b in range(i, 12)) for a in range(i + 1)
        )
        for i in range(12)
    ]
    chance = np.clip(share, 1e-300, 1)
    good = np.clip(1 - np.array(share), 1e-300, 1)
    best = float(failed @ np.log(chance) + (tested - failed) @ np.log(good))
    assert fit.log_likelihood == pytest.approx(best, abs=1e-7)


@pytest.mark.slow
@pytest.mark.parametrize("whole", [True, False], ids=["whole days", "no ties"])
def test_a_large_fleet_converges_with_its_certificate(whole: bool) -> None:
    random = np.random.default_rng(5)
    life, gap = 1500 * random.weibull(1.5, 20_000), random.uniform(1, 90, 20_000)
    gap = np.ceil(gap) if whole else gap
    left = np.floor(np.minimum(life, 1200) / gap) * gap
    fit = fit_npmle(spans(left, np.where(left + gap > 1200, inf, left + gap)))
    assert fit.certificate <= 1e-8
    assert fit.survival(600)[0] == pytest.approx(np.exp(-((600 / 1500) ** 1.5)), abs=0.03)
