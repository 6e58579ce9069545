"""``pitbird evidence``: what this fleet's record says about failures that show only at tests."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from pitbird.calc.prevalence import Prevalence
    from pitbird.cli.refusing import Faults
    from pitbird.services.evidence import Evidence, Record

CAUTION = (
    "Evidence may tighten an interval. By itself it never loosens the instrument's manual, the law or the"
    " site rules; a low rate clears no sensor and no past use."
)

ADJUSTED_MEANS = (
    "Time since a sensor was last replaced, repaired or adjusted, not since it was new: what an old sensor"
    " does does not show from it (--by age is its age)."
)
AGE_MEANS = (
    "Age since a sensor was put in: by an entry, by the day that its detector's description gives, or by the"
    " day of first use of a detector described soon after. Where none tells it, it is not known."
)
MEANS = {"age": AGE_MEANS, "adjusted": ADJUSTED_MEANS}


def command(
    by: str = typer.Option(
        "channel", help="What is put together: channel, type, site, age, or adjusted (time since)."
    ),
    clock: str = typer.Option("calendar", help="When a sensor ages: calendar, or only while handed-out."),
    site: str | None = typer.Option(None, help="Only the detectors of this site."),
    confidence: float = typer.Option(0.95, min=0.5, max=0.9999, help="Of the limits."),
    without_calibrations: bool = typer.Option(
        False, "--without-calibrations", help="Found outside at a calibration does not count as failed."
    ),
    target: float | None = typer.Option(
        None, help="At most so many % of the time failed and not known: the longest interval."
    ),
    one_in: str | None = typer.Option(
        None, help="Take into account that one in so many was found failed elsewhere: your assumption."
    ),
    mean_untested_days: str | None = typer.Option(
        None, help="Of those: the mean time since their last good test, days."
    ),
    worth_failures: str | None = typer.Option(
        None, help="Of those: how many failures of your own record they shall be worth."
    ),
    as_json: bool = typer.Option(
        False, "--json", help="As JSON, with the share undetected at each interval."
    ),
) -> None:
    """Failure rates with their limits, and what tests as they are made now leave undetected."""
    from pitbird.cli.naming import known
    from pitbird.cli.ready import make_ready_with_book
    from pitbird.cli.refusing import Faults, near_words

    make_ready_with_book()
    from pitbird.services.evidence import evidence

    faults = Faults()
    for name, given, allowed in (
        ("--by", by, ("channel", "type", "site", "age", "adjusted")),
        ("--clock", clock, ("calendar", "handed-out")),
    ):  # fmt: skip
        if given not in allowed:
            faults.add(f"{name} {given}: write {' or '.join(allowed)}{near_words(given, allowed)}")
    if target is not None and not 0 < target < 100:
        faults.add(f"--target {target:g}: more than 0 and less than 100, in % of the time")
    prevalence = _prevalence(one_in, mean_untested_days, worth_failures, faults)
    place = known("site", site, faults) if site else None
    faults.refuse()
    told = evidence(
        by=by,  # type: ignore[arg-type] # looked at above
        clock=clock,  # type: ignore[arg-type]
        calibration_counts=not without_calibrations,
        site=place,
        confidence=confidence,
        target=None if target is None else target / 100,
        prevalence=prevalence,
    )
    typer.echo(_json(told) if as_json else _table(told))


def _prevalence(one_in: str | None, days: str | None, worth: str | None, faults: Faults) -> Prevalence | None:
    """The three options together, or none of them; anything else is a fault of the one that is wrong."""
    from pitbird.calc.definition import Refused
    from pitbird.calc.prevalence import prevalence_of

    try:
        return prevalence_of({"one_in": one_in, "mean_untested_days": days, "worth_failures": worth})
    except Refused as refused:
        for fault in refused.faults:
            option = f"--{fault.where.replace('_', '-')} {fault.value}".rstrip()
            faults.add(f"{option}: {fault.problem}")
        return None


def _table(told: Evidence) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.services.evidence import YEAR_DAYS

    rows = [
        [
            code(record.group) if told.by == "site" else record.group,
            str(record.sensors),
            f"{record.fit.exposure / YEAR_DAYS:.1f}",
            str(record.fit.failures),
            _rate(record),
            _number(record.gap_days, 1),
            _number(record.gap_longest_days, 1),
            _share(record),
        ]
        for record in told.records
    ]
    heads = [
        told.by, "sensors", "sensor-years", "failed", "failures a sensor-year", "days between tests",
        "longest", "failed and not known",
    ]  # fmt: skip
    lines = (
        [table(heads, rows, width=terminal_width())] if rows else ["No test shows a sensor to be good yet."]
    )
    if told.by in MEANS:
        lines.append(MEANS[told.by])
    if told.prevalence is not None:
        lines += _with_prevalence(told)
    if told.target is not None:
        lines += [_keeps(record, told) for record in told.records]
    if told.asked_days is not None:
        lines.append(f"The rules in force ask for a test at least every {_number(told.asked_days, 1)} days.")
    if told.differ is not None:
        lines.append(
            "Chance alone sets groups as far apart as these in"
            f" {_number(told.differ.p_value, 100)} % of cases ({told.differ.rounds} draws)."
        )
    if told.in_store:
        lines.append(
            f"Left out, since nothing was handed out between: {told.in_store} failures found in store."
        )
    return "\n\n".join([*lines, CAUTION])


def _with_prevalence(told: Evidence) -> list[str]:
    """The rates with the prevalence beside those without it, and what it weighs."""
    from pitbird.calc.prevalence import AT_ODDS, DETECTORS_ARE_NOT_SENSORS, OWN_ASSUMPTION
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.services.evidence import YEAR_DAYS

    rows, at_odds = [], []
    for record in told.records:
        found = record.with_prevalence
        if found is None:
            continue
        name = code(record.group) if told.by == "site" else record.group
        if found.weight.at_odds is not None:
            at_odds.append(f"{name}: {AT_ODDS[found.weight.at_odds]}")
        after, weight = found.posterior, found.weight
        median, low, high = (_number(rate, YEAR_DAYS) for rate in (after.median, after.low, after.high))
        rows.append(
            [
                name,
                _rate(record),
                f"{median} ({low} to {high})",
                f"{weight.record_failures} in {_number(weight.record_days, 1 / YEAR_DAYS)}",
                f"{weight.worth_failures:g} in {_number(weight.worth_days, 1 / YEAR_DAYS)}",
                f"{_number(weight.weight_fraction, 100)} %",
                f"{_number(weight.failures_fraction, 100)} %",
            ]
        )
    heads = [
        told.by, "failures a sensor-year without", "with the prevalence", "record: failures in sensor-years",
        "prevalence: failures in sensor-years", "its share of the time", "of the failures",
    ]  # fmt: skip
    shown = [table(heads, rows, width=terminal_width())] if rows else []
    footing = told.prevalence.footing() if told.prevalence is not None else ""
    return [
        *shown,
        f"{OWN_ASSUMPTION} {footing[0].upper()}{footing[1:]}.",
        DETECTORS_ARE_NOT_SENSORS,
        *at_odds,
    ]


def _keeps(record: Record, told: Evidence) -> str:
    found = record.longest
    share = f"{_number(told.target, 100)} %"
    if found is None or found.cautious_days is None:
        return f"{record.group}: by this record no interval is shown to keep it at most {share}."
    return (
        f"{record.group}: at most {share} failed and not known with a test every "
        f"{_number(found.cautious_days, 1)} days at the longest, by the upper limit of the rate "
        f"({_number(found.days, 1)} by the estimate)."
    )


def _rate(record: Record) -> str:
    from pitbird.services.evidence import YEAR_DAYS

    low, high = _number(record.fit.rate_low, YEAR_DAYS), _number(record.fit.rate_high, YEAR_DAYS)
    if record.fit.rate is None:
        return f"at most {high}" if record.fit.rate_high is not None else f"at least {low}"
    return f"{_number(record.fit.rate, YEAR_DAYS)} ({low} to {high})"


def _share(record: Record) -> str:
    band = record.undetected_now
    if band is None or band.high is None:
        return "not known"
    if band.value is None:
        return f"at most {_number(band.high, 100)} %"
    return f"{_number(band.value, 100)} % ({_number(band.low, 100)} to {_number(band.high, 100)})"


def _number(value: float | None, times: float) -> str:
    return "not known" if value is None else f"{float(f'{value * times:.2g}'):g}"


def _json(told: Evidence) -> str:
    import json

    from pitbird.services.evidence import INTERVALS

    def ends(band: Any) -> Any:
        return None if band is None else {"value": band.value, "low": band.low, "high": band.high}

    def together(record: Record) -> Any:
        found = record.together
        if found is None:
            return None
        return {
            "rate_per_day": found.rate,
            "rate_low": found.rate_low,
            "rate_high": found.rate_high,
            "above_mean": found.above_mean,
        }

    def with_prevalence(record: Record) -> Any:
        found = record.with_prevalence
        if found is None:
            return None
        return {
            "posterior_mean": found.posterior.mean,
            "posterior_median": found.posterior.median,
            "posterior_low": found.posterior.low,
            "posterior_high": found.posterior.high,
            "undetected_now": ends(found.undetected_now),
            **found.weight.model_dump(),
        }

    return json.dumps(
        {
            "by": told.by,
            "clock": told.clock,
            "calibration_counts": told.calibration_counts,
            "site": told.site,
            "confidence": told.confidence,
            "detectors": told.detectors,
            "failures_in_store": told.in_store,
            "rules_ask_days": told.asked_days,
            "target": told.target,
            "prevalence": None if told.prevalence is None else told.prevalence.model_dump(),
            "mean_rate_per_day": told.mean_rate,
            "groups_differ_p_value": told.differ.p_value if told.differ else None,
            "groups_not_compared_because": told.why_not or None,
            "records": [
                {
                    "group": record.group,
                    "sensors": record.sensors,
                    "failures": record.fit.failures,
                    "censored": record.fit.censored,
                    "exposure_days": record.fit.exposure,
                    "rate_per_day": record.fit.rate,
                    "rate_low": record.fit.rate_low,
                    "rate_high": record.fit.rate_high,
                    "interval_method": record.fit.interval_method,
                    "gap_days": record.gap_days,
                    "gap_longest_days": record.gap_longest_days,
                    "undetected_now": ends(record.undetected_now),
                    "undetected": [
                        {"interval_days": days, **ends(band)}
                        for days, band in zip(INTERVALS, record.undetected, strict=True)
                    ],
                    "in_the_light_of_all": together(record),
                    "with_prevalence": with_prevalence(record),
                    "wanting_days": record.wanting_days,
                    "longest_days": record.longest.days if record.longest else None,
                    "longest_days_by_upper_limit": record.longest.cautious_days if record.longest else None,
                }
                for record in told.records
            ],
            "caution": CAUTION,
        },
        indent=2,
        ensure_ascii=False,
    )
