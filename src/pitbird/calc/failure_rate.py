"""How often do these fail, from failures that show only at tests?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, Final, Literal

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.fields import Confidence, Many, NotNegative, Positive, Whole
from pitbird.calc.prevalence import Prevalence, PrevalenceWeight, weight_cautions, weight_of
from pitbird.record.faults import Fault, shown
from pitbird.science.reliability.exponential import (
    ENOUGH_FAILURES,
    ExponentialFit,
    fit_exponential,
    gamma_posterior,
)
from pitbird.science.reliability.prevalence import Prior as GammaPrior
from pitbird.science.reliability.spans import BadSpans, Spans, spans
from pitbird.science.reliability.weibull import fit_weibull

#: Some 2,700 years, and a tenth of a second: what lies beyond is a wrong unit.
_LONGEST: Final = 1e6
_SHORTEST: Final = 1e-6
_FEW: Final = (
    f"Fewer than {ENOUGH_FAILURES} failures: the limits say more than the estimate, which may be several "
    "times off either way."
)

Age = Annotated[float, Field(ge=0, le=_LONGEST)]
Observation = Annotated[tuple[Age, Age | None], Field(strict=False)]


class Prior(Part):
    """What is held of the rate beforehand, as a gamma distribution."""

    shape: Positive
    rate_days: NotNegative
    """The mean of the prior is shape / rate_days; it weighs as much as that many days of observation."""


class FailureRateRequest(Request):
    """What was seen of each sensor's life, and the model to fit."""

    observations: Many[Observation]
    """Age in days at the last good test, and at the test that found it failed; open where it is still good; 0
    first where it failed by its first test."""
    counts: Many[Annotated[Whole, Field(ge=0, le=1_000_000_000)]] | None = None
    """How many sensors each observation stands for; one each if left out."""
    model: Literal["exponential", "weibull", "turnbull"]
    """A constant rate; a rate that rises or falls with age; no form at all."""
    confidence: Confidence = 0.95
    """Of both limits together."""
    prior: Prior | None = None
    """For the exponential model: what is held of the rate beforehand."""
    prevalence: Prevalence | None = None
    """For the exponential model, in place of a prior: a share found failed, by the user's own choice."""


class FailureRateResult(Result):
    """The fit; what does not belong to the model that was asked for is null."""

    log_likelihood: float | None
    converged: bool
    """False where there is no finite estimate; the cautions say why."""
    n_failures: int
    n_censored: int
    """Still good when last tested."""
    exposure_days: float
    """Days known good, of all together."""
    interval_method: str
    """How the limits were made."""
    rate_per_day: float | None = None
    rate_low: float | None = None
    rate_high: float | None = None
    posterior_mean: float | None = None
    posterior_median: float | None = None
    posterior_low: float | None = None
    posterior_high: float | None = None
    prevalence: PrevalenceWeight | None = None
    """Where a prevalence was entered: its weight against the record. The rate and its limits are without it,
    the posterior is with it."""
    shape: float | None = None
    shape_low: float | None = None
    shape_high: float | None = None
    scale_days: float | None = None
    """Age by which 63 % have failed."""
    scale_low_days: float | None = None
    scale_high_days: float | None = None
    support: Many[tuple[float, float | None]] | None = None
    """Spans of age that carry the failures, open on the left; open to the right: outlives all tests."""
    masses: Many[float] | None = None
    """Share of the failures in each."""
    certificate: float | None = None
    """How far from the maximum the likelihood can be at most, for each observation."""


def check(request: FailureRateRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    counts, seen = request.counts, request.observations
    if counts is not None and len(counts) != len(seen):
        problem = f"there are {len(counts)} for {len(seen)} observations; write one for each"
        yield Fault("counts", "", problem)
    if request.prior is not None and request.model != "exponential":
        problem = f"belongs to the exponential model, not to {request.model}; leave it out"
        yield Fault("prior", shown({"shape": request.prior.shape}), problem)
    if request.prevalence is not None and request.model != "exponential":
        problem = f"belongs to the exponential model, not to {request.model}; leave it out"
        yield Fault("prevalence", f"1 in {request.prevalence.one_in:g}", problem)
    if request.prior is not None and request.prevalence is not None:
        problem = "a prior is given too, and only one of the two can hold; keep one"
        yield Fault("prevalence", f"1 in {request.prevalence.one_in:g}", problem)
    for i, (left, right) in enumerate(seen):
        if right is not None and 0 < right - left < _SHORTEST:
            problem = "the ends lie less than a tenth of a second apart; ages are in days"
            yield Fault(f"observations[{i}]", f"[{left:g}, {right:g}]", problem)
    yield from _span_faults(request)


def _span_faults(request: FailureRateRequest) -> Iterator[Fault]:
    try:
        _spans(request)
    except BadSpans as bad:
        for fault in bad.faults:
            if fault.index is None:
                yield Fault("observations", "", fault.why)
                continue
            left, right = request.observations[fault.index]
            value = f"[{left:g}, {'null' if right is None else f'{right:g}'}]"
            yield Fault(f"observations[{fault.index}]", value, fault.why)
        if bad.left_out:
            yield Fault("observations", "", f"and {bad.left_out} more that cannot be")
        return
    flat = request.prior is not None and request.prior.rate_days == 0
    if flat and request.model == "exponential" and not _spans(request).exposure:
        problem = "must be more than 0 where no time was known good: nothing else bounds the rate above"
        yield Fault("prior.rate_days", "0", problem)


def _spans(request: FailureRateRequest) -> Spans:
    counts = request.counts
    if counts is not None and len(counts) != len(request.observations):
        counts = None
    lefts = [left for left, _ in request.observations]
    return spans(lefts, [right for _, right in request.observations], counts)


def solve(request: FailureRateRequest) -> FailureRateResult:
    """The fit of the model asked for."""
    seen = _spans(request)
    if request.model == "weibull":
        return _weibull(seen, request.confidence)
    if request.model == "turnbull":
        return _turnbull(seen)
    return _exponential(seen, request)


def _exponential(seen: Spans, request: FailureRateRequest) -> FailureRateResult:
    fit = fit_exponential(seen, request.confidence)
    prior = _prior(request)
    posterior = None
    footing = [
        "a failure rate that does not change with age",
        _LIKELIHOOD,
        *_limits_footing(fit),
        *_FOOTING,
    ]
    if prior is not None:
        a, b = prior.shape, prior.rate_time
        posterior = gamma_posterior(seen, shape=a, rate=b, confidence=request.confidence)
        if request.prevalence is not None:
            footing.append(request.prevalence.footing())
        footing.append(
            f"posterior from a gamma prior (shape {a:g}, rate {b:g} days) under the exact likelihood of the "
            "intervals; equal tails"
        )
    # Left out where no prior was given, so that pages show only what was asked for.
    with_prior: dict[str, Any] = {}
    if posterior is not None:
        with_prior = {
            f"posterior_{name}": getattr(posterior, name) for name in ("mean", "median", "low", "high")
        }
    if request.prevalence is not None and prior is not None:
        with_prior["prevalence"] = weight_of(prior, seen, fit)
    return FailureRateResult(
        footing=tuple(footing),
        cautions=tuple(_exponential_cautions(seen, fit, request)),
        log_likelihood=fit.log_likelihood,
        converged=fit.converged,
        n_failures=fit.failures,
        n_censored=fit.censored,
        exposure_days=fit.exposure,
        interval_method=fit.interval_method,
        rate_per_day=fit.rate,
        rate_low=fit.rate_low,
        rate_high=fit.rate_high,
        **with_prior,
    )


def _prior(request: FailureRateRequest) -> GammaPrior | None:
    """The prior that was asked for, given as it is or by a prevalence."""
    if request.prevalence is not None:
        return request.prevalence.prior()
    if request.prior is None:
        return None
    shape, days = request.prior.shape, request.prior.rate_days
    return GammaPrior(shape, days, math.inf if days == 0 else shape / days)


_LIKELIHOOD: Final = "maximum likelihood on intervals open on the left and closed on the right"
_FOOTING: Final = (
    "sensors fail independently, and are tested whether or not something is suspected of them",
)


def _limits_footing(fit: ExponentialFit) -> list[str]:
    if fit.rate_low is None and fit.rate_high is None:
        return []
    return [f"limits of {100 * fit.confidence:g} %: {fit.interval_method}"]


def _exponential_cautions(seen: Spans, fit: ExponentialFit, request: FailureRateRequest) -> Iterator[str]:
    if fit.why:
        yield fit.why
    if 0 < fit.failures < ENOUGH_FAILURES and fit.rate is not None:
        yield _FEW
    prior = _prior(request)
    if prior is None:
        return
    if request.prevalence is not None:
        yield from weight_cautions(weight_of(prior, seen, fit))
        return
    yield (
        f"The prior is the user's own; it weighs {100 * prior.weight(seen):.3g} % against the days observed. "
        "What is seen in one place is no rate for another."
    )


def _weibull(seen: Spans, confidence: float) -> FailureRateResult:
    fit = fit_weibull(seen, confidence)
    values = (fit.shape, fit.shape_low, fit.shape_high, fit.scale, fit.scale_low, fit.scale_high)
    shape, shape_low, shape_high, scale, scale_low, scale_high = (
        None if value is None or not math.isfinite(value) else value for value in values
    )
    cautions = [fit.why] if fit.why else []
    if fit.converged and fit.failures < ENOUGH_FAILURES:
        cautions.append(_FEW)
    if shape_low is not None and shape_high is not None and shape_low < 1 < shape_high:
        cautions.append(
            "The limits of the shape hold 1: whether the rate rises or falls with age is not told."
        )
    if shape_high is not None and shape_high < 1:
        cautions.append(
            "Sensors of several kinds, each with a constant rate, look like a falling rate when put "
            "together: look at each kind by itself."
        )
    return FailureRateResult(
        footing=(
            "Weibull life: the chance of failing by an age t is 1 - exp(-(t / scale)^shape)",
            _LIKELIHOOD,
            f"limits of {100 * confidence:g} %: {fit.interval_method}",
            *_FOOTING,
        ),
        cautions=tuple(cautions),
        log_likelihood=fit.log_likelihood,
        converged=fit.converged,
        n_failures=fit.failures,
        n_censored=fit.censored,
        exposure_days=fit.exposure,
        interval_method=fit.interval_method,
        shape=shape,
        shape_low=shape_low,
        shape_high=shape_high,
        scale_days=scale,
        scale_low_days=scale_low,
        scale_high_days=scale_high,
    )


def _turnbull(seen: Spans) -> FailureRateResult:
    from pitbird.science.reliability.npmle import fit_npmle  # loads the sparse solvers

    fit = fit_npmle(seen)
    support = [
        (float(left), float(right) if math.isfinite(right) else None)
        for left, right in zip(fit.left, fit.right, strict=True)
    ]
    return FailureRateResult(
        footing=(
            "no form of life is assumed (Turnbull's non-parametric estimate)",
            _LIKELIHOOD,
            f"log-likelihood within {max(fit.certificate, 0.0):.1e} of its maximum for each observation",
            *_FOOTING,
        ),
        cautions=(
            *([fit.why] if fit.why else []),
            "Within a span of the support the data do not say where the failures lie; no limits are given.",
        ),
        log_likelihood=fit.log_likelihood,
        converged=fit.converged,
        n_failures=fit.failures,
        n_censored=fit.censored,
        exposure_days=fit.exposure,
        interval_method="none: no limits without a form of life",
        support=tuple(support),
        masses=tuple(float(mass) for mass in fit.mass),
        certificate=fit.certificate,
    )


#: Monthly tests for two years of forty sensors, made up.
_WEARING: Final = [[30.0 * n, 30.0 * (n + 1)] for n in (7, 12, 14, 17, 18, 20, 21, 23)]

CALCULATION: Final = Calculation(
    "failure-rate",
    FailureRateRequest,
    FailureRateResult,
    solve,
    check,
    examples=(
        Example(
            "Sixty sensors tested daily, three found failed",
            {
                "observations": [[112, 113], [290, 293], [301, 302], [365, None]],
                "counts": [1, 1, 1, 57],
                "model": "exponential",
            },
        ),
        Example(
            "Twenty detectors for a year, no failure: an upper limit only",
            {"observations": [[365.25, None]], "counts": [20], "model": "exponential"},
        ),
        Example(
            "The same twenty, with a share found failed elsewhere",
            {
                "observations": [[365.25, None]],
                "counts": [20],
                "model": "exponential",
                "prevalence": {"one_in": 1000, "mean_untested_days": 14, "worth_failures": 0.5},
            },
        ),
        Example(
            "Forty sensors tested monthly for two years: do they wear out?",
            {
                "observations": [*_WEARING, [720, None]],
                "counts": [*[1] * len(_WEARING), 32],
                "model": "weibull",
            },
        ),
        Example(
            "The same without a form",
            {
                "observations": [*_WEARING, [720, None]],
                "counts": [*[1] * len(_WEARING), 32],
                "model": "turnbull",
            },
        ),
    ),
)
