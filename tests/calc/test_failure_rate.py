"""Failure rates, from plain values to plain values: published data, exact limits, every refusal in words."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy import stats

from pitbird.calc.definition import Refused, as_values
from pitbird.calc.failure_rate import CALCULATION
from pitbird.calc.prevalence import Prevalence, prevalence_of

# W. Nelson, Applied Life Data Analysis, 1982, p. 415: cracks of 167 turbine parts at 8 inspections, days as
# in the R package survival.
CRACKS: dict[str, Any] = {
    "observations": [
        [0, 186], [186, 606], [606, 902], [902, 1077], [1077, 1209], [1209, 1377], [1377, 1592], [1592, 1932],
        [1932, None],
    ],
    "counts": [5, 16, 12, 18, 18, 2, 6, 17, 73],
}  # fmt: skip


DAYS = "ages are in days"
OPEN = "the interval is open on the left and closed on the right, so nothing lies in it"


def found(**raw: Any) -> dict[str, Any]:
    return as_values(CALCULATION.answer(raw))


def faults(**raw: Any) -> list[str]:
    with pytest.raises(Refused) as refused:
        CALCULATION.answer(raw)
    return [str(fault) for fault in refused.value.faults]


def test_cracks_have_the_rate_that_other_programs_find() -> None:
    """Exponential rate and log-likelihood by R survreg and surpyval on the same data."""
    told = found(**CRACKS, model="exponential")
    assert told["rate_per_day"] == pytest.approx(3.974996e-4, rel=1e-6)
    assert told["log_likelihood"] == pytest.approx(-316.619676, abs=1e-5)
    assert told["rate_low"] < told["rate_per_day"] < told["rate_high"]
    assert (told["n_failures"], told["n_censored"], told["converged"]) == (94, 73, True)
    assert told["interval_method"] == "profile likelihood"
    assert told["exposure_days"] == sum(
        left * n for (left, _), n in zip(CRACKS["observations"], CRACKS["counts"], strict=True)
    )
    assert told["shape"] is told["support"] is told["posterior_mean"] is None


def test_cracks_have_the_weibull_life_that_other_programs_find() -> None:
    """Shape, scale and log-likelihood by R survreg; -309.6 in the tests of R survival (SAS manual)."""
    told = found(**CRACKS, model="weibull")
    assert (told["shape"], told["shape_low"], told["shape_high"]) == pytest.approx(
        (1.484768, 1.215209, 1.789999), rel=1e-6
    )
    assert (told["scale_days"], told["scale_low_days"], told["scale_high_days"]) == pytest.approx(
        (2182.0041, 1907.537, 2567.326), rel=1e-6
    )
    assert told["log_likelihood"] == pytest.approx(-309.631181, abs=1e-5)
    assert told["rate_per_day"] is None


def test_without_a_form_the_masses_are_the_counts() -> None:
    told = found(**CRACKS, model="turnbull")
    assert told["support"] == CRACKS["observations"]
    assert told["masses"] == pytest.approx([n / 167 for n in CRACKS["counts"]])
    assert told["certificate"] <= 1e-8
    assert told["converged"] is True


def test_touching_intervals_share_no_point() -> None:
    """Two sensors, (0, 30] and (30, 60]: by hand half each."""
    told = found(observations=[[0, 30], [30, 60]], model="turnbull")
    assert (told["support"], told["masses"]) == ([[0, 30], [30, 60]], [0.5, 0.5])


def test_no_failure_gives_an_upper_limit_only() -> None:
    """-ln(.05) over twenty years of days: the exact one-sided limit."""
    told = found(observations=[[365.25, None]], counts=[20], model="exponential")
    assert told["rate_per_day"] is None
    assert told["rate_low"] == 0
    assert told["rate_high"] == pytest.approx(-math.log(0.05) / 7305)
    assert "one-sided" in told["interval_method"]
    assert told["cautions"] == ["No failures: no estimate, only an upper limit."]


def test_all_failed_by_the_first_test_gives_a_lower_limit_only() -> None:
    told = found(observations=[[0, 30]], counts=[3], model="exponential")
    assert told["rate_per_day"] is told["rate_high"] is None
    assert (1 - math.exp(-30 * told["rate_low"])) ** 3 == pytest.approx(0.05)
    assert "only a lower limit" in told["cautions"][0]


def test_few_failures_at_equal_intervals_have_exact_limits() -> None:
    """3 in 1000 daily tests: Clopper-Pearson 0.062 to 0.874 %."""
    told = found(observations=[[997, None], [0, 1]], counts=[1, 3], model="exponential")
    low, high = (1 - math.exp(-told[end]) for end in ("rate_low", "rate_high"))
    assert (low, high) == pytest.approx((0.00062, 0.00874), abs=5e-6)
    assert told["interval_method"].startswith("exact (Clopper-Pearson")
    assert "Fewer than 5 failures" in told["cautions"][0]


def test_a_prior_without_failures_stays_a_gamma() -> None:
    told = found(
        observations=[[100, None]], model="exponential", prior={"shape": 2, "rate_days": 400}, confidence=0.9
    )
    after = stats.gamma(2, scale=1 / 500)
    assert told["posterior_mean"] == pytest.approx(2 / 500)
    assert [told[f"posterior_{each}"] for each in ("low", "median", "high")] == pytest.approx(
        after.ppf([0.05, 0.5, 0.95])
    )
    assert "weighs 80 % against the days observed" in told["cautions"][1]


TWENTY: dict[str, Any] = {"observations": [[365.25, None]], "counts": [20], "model": "exponential"}
ONE_IN_2500 = {"one_in": 2500, "mean_untested_days": 30, "worth_failures": 0.5}


def test_a_prevalence_is_told_beside_the_answer_without_it_with_its_weight() -> None:
    """1 in 2,500 untested for 30 days is a failure in 74,985 days; worth half of one, gamma(0.5, 37,492)."""
    told, without = found(**TWENTY, prevalence=ONE_IN_2500), found(**TWENTY)
    assert {name: told[name] for name in ("rate_per_day", "rate_low", "rate_high", "interval_method")} == {
        name: without[name] for name in ("rate_per_day", "rate_low", "rate_high", "interval_method")
    }
    days = 0.5 * 30 / -math.log(1 - 1 / 2500)
    after = stats.gamma(0.5, scale=1 / (days + 7305))
    assert [told[f"posterior_{each}"] for each in ("low", "median", "high")] == pytest.approx(
        after.ppf([0.025, 0.5, 0.975]), rel=1e-9
    )
    weight = told["prevalence"]
    assert (weight["worth_days"], weight["record_days"]) == pytest.approx((days, 7305))
    assert weight["weight_fraction"] == pytest.approx(days / (days + 7305))
    assert (weight["failures_fraction"], weight["record_failures"]) == (1, 0)
    assert "the user's own assumption" in told["cautions"][1]
    assert "0.5 failures in 103 sensor-years, beside 0 in 20" in told["cautions"][1]
    assert "83.7 % of the time and 100 % of the failures are its own" in told["cautions"][1]
    assert any("1 in 2500 found failed, untested for 30 days" in line for line in told["footing"])
    assert without["prevalence"] is without["posterior_mean"] is None


def test_a_prevalence_at_odds_with_the_record_is_said_to_be() -> None:
    failing = {"observations": [[10, 11], [300, None]], "counts": [9, 20], "model": "exponential"}
    low = found(**failing, prevalence=ONE_IN_2500)
    assert low["prevalence"]["at_odds"] == "below"
    assert "Go by the record" in low["cautions"][1]
    high = found(**TWENTY, prevalence={"one_in": 2, "mean_untested_days": 1, "worth_failures": 1})
    assert high["prevalence"]["at_odds"] == "above"


@pytest.mark.parametrize("left_out", ["one_in", "mean_untested_days", "worth_failures"])
def test_no_part_of_a_prevalence_counts_without_the_others(left_out: str) -> None:
    given = {name: value for name, value in ONE_IN_2500.items() if name != left_out}
    assert faults(**TWENTY, prevalence=given) == [f"failure-rate.prevalence.{left_out}: missing"]


def test_a_prevalence_that_cannot_be_is_refused_with_every_field() -> None:
    told = faults(**TWENTY, prevalence={"one_in": 1, "mean_untested_days": 0, "worth_failures": 101})
    assert [line.partition(":")[0] for line in told] == [
        "failure-rate.prevalence.one_in = 1", "failure-rate.prevalence.mean_untested_days = 0",
        "failure-rate.prevalence.worth_failures = 101",
    ]  # fmt: skip
    (other,) = faults(**{**TWENTY, "model": "turnbull"}, prevalence=ONE_IN_2500)
    assert "belongs to the exponential model" in other
    (both,) = faults(**TWENTY, prevalence=ONE_IN_2500, prior={"shape": 1, "rate_days": 5})
    assert "only one of the two can hold" in both


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"one_in": "2,500"}, "without a mark between the thousands"),
        ({"one_in": "1 in 2.500"}, "without a mark between the thousands"),
        ({"one_in": "few"}, "not a number; write it in figures"),
        ({"one_in": "nan"}, "not a finite number"),
        ({"mean_untested_days": " "}, "missing: a prevalence counts only with the time untested"),
        ({"worth_failures": "-1"}, "must be 0.01 or more"),
    ],
)
def test_a_typed_prevalence_is_refused_in_words(typed: dict[str, str], says: str) -> None:
    with pytest.raises(Refused) as refused:
        prevalence_of({"one_in": "1 in 2500", "mean_untested_days": "30", "worth_failures": "0,5", **typed})
    (fault,) = refused.value.faults
    assert (fault.where, says in fault.problem) == (next(iter(typed)), True)


def test_a_prevalence_is_typed_with_a_comma_or_not_at_all() -> None:
    typed = {"one_in": "1 in 2500", "mean_untested_days": "30", "worth_failures": "0,5"}
    assert prevalence_of(typed) == Prevalence(one_in=2500, mean_untested_days=30, worth_failures=0.5)
    assert prevalence_of({"one_in": " ", "mean_untested_days": None}) is None


@pytest.mark.parametrize(
    ("observations", "words"),
    [
        ([[100, None]], "No failures"),
        ([[0, 100]], "failed by their first test"),
        ([[10, 20], [5, 15]], "one and the same age"),
        ([[0, 10], [100, None]], "failed no more often"),
        ([[0, None]], "nothing was observed"),
    ],
)
def test_a_weibull_life_without_a_finite_maximum_is_not_a_number_and_says_why(
    observations: list[Any], words: str
) -> None:
    told = found(observations=observations, model="weibull")
    assert told["shape"] is told["scale_days"] is told["scale_high_days"] is None
    assert told["converged"] is False
    assert words.lower() in told["cautions"][0].lower().replace("its first test", "their first test")


def test_every_observation_that_cannot_be_is_named_at_once() -> None:
    assert faults(
        observations=[[0, 30], [30, 30], [40, 20], [1, 1.00000001]],
        counts=[1, 2, 1],
        model="weibull",
        prior={"shape": 1, "rate_days": 5},
    ) == [
        "failure-rate.counts: there are 3 for 4 observations; write one for each",
        "failure-rate.prior = {…}: belongs to the exponential model, not to weibull; leave it out",
        "failure-rate.observations[3] = [1, 1]: the ends lie less than a tenth of a second apart; " + DAYS,
        f"failure-rate.observations[1] = [30, 30]: both ends are 30; {OPEN}",
        "failure-rate.observations[2] = [40, 20]: left 40 comes after right 20; the ends are reversed",
    ]


def test_single_fields_are_told_with_their_path() -> None:
    told = faults(
        observations=[[-1, 5], [math.nan, 3], [1], "x"], counts=[1.5], model="gompertz", confidence=1
    )
    assert [line.partition(": ")[0] for line in told] == [
        "failure-rate.observations[0][0] = -1",
        "failure-rate.observations[1][0] = NaN",
        "failure-rate.observations[2][1]",
        "failure-rate.observations[3] = 'x'",
        "failure-rate.counts[0] = 1.5",
        "failure-rate.model = 'gompertz'",
        "failure-rate.confidence = 1",
    ]


@pytest.mark.parametrize("raw", [{"observations": []}, {"observations": [[1, 2]], "counts": [0]}])
def test_without_an_observation_there_is_nothing_to_fit(raw: dict[str, Any]) -> None:
    (fault,) = faults(**raw, model="exponential")
    assert fault.startswith("failure-rate.observations")


def test_a_flat_prior_and_no_time_known_good_bound_nothing() -> None:
    (fault,) = faults(observations=[[0, 3]], model="exponential", prior={"shape": 1, "rate_days": 0})
    assert fault.startswith("failure-rate.prior.rate_days = 0: must be more than 0")


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda example: example.title)
def test_the_examples_are_answered(example: Any) -> None:
    told = as_values(CALCULATION.answer(example.request))
    assert told["n_failures"] + told["n_censored"] == sum(example.request["counts"])
