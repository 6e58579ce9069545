"""Evidence: what this fleet's record says about failures that show only at tests."""

from __future__ import annotations

from typing import Any, Final, cast, get_args

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_safe

from pitbird.calc.definition import Refused
from pitbird.calc.prevalence import AT_ODDS, Prevalence, prevalence_of
from pitbird.papers.charts import evidence as charts
from pitbird.papers.charts.drawing import NARROW, WIDE
from pitbird.services.evidence import (
    INTERVALS,
    LITTLE_CHANCE,
    YEAR_DAYS,
    By,
    Clock,
    Evidence,
    Record,
    evidence,
)
from pitbird.web import names as naming
from pitbird.web.calc_words import number_shown
from pitbird.web.names import Names
from pitbird.web.vocabulary import word

BY_WORDS: Final = {
    "channel": gettext_lazy("Kind of channel"),
    "type": gettext_lazy("Type of detector"),
    "site": gettext_lazy("Site"),
    "age": gettext_lazy("Age of the sensor"),
    "adjusted": gettext_lazy("Time since last adjusted"),
}
AGE_WORDS: Final = {
    "first-year": gettext_lazy("first year"),
    "second-year": gettext_lazy("second year"),
    "third-year": gettext_lazy("third year"),
    "later": gettext_lazy("later than that"),
    "not-known": gettext_lazy("age not known"),
}
#: A group as it stands in a sentence by itself.
AGE_SENTENCES: Final = {
    "age": {
        "first-year": gettext_lazy("Sensors in their first year"),
        "second-year": gettext_lazy("Sensors in their second year"),
        "third-year": gettext_lazy("Sensors in their third year"),
        "later": gettext_lazy("Sensors older than three years"),
        "not-known": gettext_lazy("Sensors of an age that is not known"),
    },
    "adjusted": {
        "first-year": gettext_lazy("Sensors in the first year after they were last adjusted"),
        "second-year": gettext_lazy("Sensors in the second year after they were last adjusted"),
        "third-year": gettext_lazy("Sensors in the third year after they were last adjusted"),
        "later": gettext_lazy("Sensors last adjusted more than three years before"),
    },
}
#: The boxes of a prevalence and the fields that they stand for.
PREVALENCE: Final = {"one_in": "one_in", "untested": "mean_untested_days", "worth": "worth_failures"}
PREVALENCE_WORDS: Final = {
    "one_in": gettext_lazy("Found failed, 1 in"),
    "mean_untested_days": gettext_lazy("Mean time untested, days"),
    "worth_failures": gettext_lazy("Worth how many failures"),
}
CLOCK_WORDS: Final = {
    "calendar": gettext_lazy("All the time"),
    "handed-out": gettext_lazy("Only while handed out"),
}


@require_safe
def evidence_page(request: HttpRequest) -> HttpResponse:
    """The record of the fleet, or of one site, by kind of channel, type of detector or site."""
    by = cast(By, _chosen(request, "by", get_args(By)))
    clock = cast(Clock, _chosen(request, "clock", get_args(Clock)))
    sites = {state.subject: state.name for state in naming.sites()}
    site = request.GET.get("site", "")
    counts = request.GET.get("calibration", "yes") != "no"
    faults: list[tuple[str, str]] = []
    target = _target(request.GET.get("target", ""), faults)
    prevalence = _prevalence(request, faults)
    told = evidence(
        by=by, clock=clock, calibration_counts=counts, site=site if site in sites else None, target=target,
        prevalence=prevalence,
    )  # fmt: skip
    names = Names([record.group for record in told.records] if by == "site" else [])
    context = {
        "told": told,
        "by": by,
        "by_words": BY_WORDS,
        "clock": clock,
        "clock_words": CLOCK_WORDS,
        "counts": counts,
        "site": told.site,
        "sites": sites,
        "failures": sum(record.fit.failures for record in told.records),
        "years": number_shown(round(sum(r.fit.exposure for r in told.records) / YEAR_DAYS, 1)),
        "apart": apart_words(told),
        "asked": _days(told.asked_days) if told.asked_days is not None else "",
        "target": request.GET.get("target", "").strip(),
        "faults": faults,
        "boxes": {name: request.GET.get(name, "").strip()[:40] for name in PREVALENCE},
        "wrong": {box for box, _fault in faults},
        "kept": {
            "by": by,
            "clock": clock,
            "calibration": "yes" if counts else "no",
            "site": told.site or "",
            "target": request.GET.get("target", "").strip()[:20],
        },
        "assumed": prevalence.footing() if prevalence else "",
        "with_prevalence": [_with(record, title_of(record.group, by, names)) for record in told.records]
        if prevalence
        else [],
        "at_odds": _at_odds(told, names),
        "mean": _two(told.mean_rate * YEAR_DAYS) if told.mean_rate is not None else "",
        "rows": [_row(record, told, names) for record in told.records],
    }
    return render(request, "pitbird/evidence.html", context, status=422 if faults else 200)


def _target(text: str, faults: list[tuple[str, str]]) -> float | None:
    """A share of time as typed in percent; None for none."""
    plain = text.strip().removesuffix("%").strip().replace(",", ".")
    if not plain:
        return None
    try:
        value = float(plain)
    except ValueError:
        value = -1.0
    if 0 < value < 100:
        return value / 100
    words = _("“%(text)s” is no share of time; write percent, such as 0.1.") % {"text": text[:20]}
    faults.append(("target", words))
    return None


def _prevalence(request: HttpRequest, faults: list[tuple[str, str]]) -> Prevalence | None:
    """A prevalence as typed; its faults are added with the boxes that they are of."""
    boxes = {field: name for name, field in PREVALENCE.items()}
    try:
        return prevalence_of({field: request.GET.get(name) for field, name in boxes.items()})
    except Refused as refused:
        for fault in refused.faults:
            given = f" “{fault.value[:20]}”" if fault.value else ""
            words = f"{PREVALENCE_WORDS[fault.where]}{given}: {fault.problem}."
            faults.append((boxes[fault.where], words))
        return None


def _with(record: Record, title: str) -> dict[str, str]:
    """A group with the prevalence and without it, and what that weighs."""
    told = record.with_prevalence
    if told is None:  # it is asked of all groups or of none
        return {}
    weight = told.weight
    median, low, high = (
        _two(rate * YEAR_DAYS) for rate in (told.posterior.median, told.posterior.low, told.posterior.high)
    )
    counts = _("%(failures)s in %(years)s")
    return {
        "title": title,
        "without": rate_words(record),
        "with": _("%(rate)s (%(low)s to %(high)s)") % {"rate": median, "low": low, "high": high},
        "now": _band(told.undetected_now),
        "record": counts % {
            "failures": weight.record_failures, "years": _two(weight.record_days / YEAR_DAYS)
        },
        "own": counts % {
            "failures": f"{weight.worth_failures:g}", "years": _two(weight.worth_days / YEAR_DAYS)
        },
        "time": _share(weight.weight_fraction),
        "failures": _share(weight.failures_fraction),
    }  # fmt: skip


def _at_odds(told: Evidence, names: Names) -> list[tuple[str, str]]:
    """The groups whose record the assumed rate contradicts, and what to make of it."""
    found: dict[str, list[str]] = {}
    for record in told.records:
        way = record.with_prevalence.weight.at_odds if record.with_prevalence else None
        if way is not None:
            found.setdefault(AT_ODDS[way], []).append(title_of(record.group, told.by, names))
    return [("; ".join(titles), words) for words, titles in found.items()]


def _chosen(request: HttpRequest, name: str, values: tuple[str, ...]) -> str:
    given = request.GET.get(name, "")
    return given if given in values else values[0]


def _row(record: Record, told: Evidence, names: Names) -> dict[str, Any]:
    title = title_of(record.group, told.by, names)
    spoken = str(AGE_SENTENCES[told.by][record.group]) if told.by in AGE_SENTENCES else title
    shares = [
        (days, band.value, band.low, band.high)
        for days, band in zip(INTERVALS, record.undetected, strict=True)
    ]
    label = _("%(group)s: share of time failed and not known, against the days between tests") % {
        "group": spoken
    }
    drawn = [
        charts.undetected(shares, record.gap_days, label, asked_days=told.asked_days, size=size)
        for size in (WIDE, NARROW)
    ]
    return {
        "title": title,
        "record": record,
        "years": _years(record.fit.exposure),
        "rate": rate_words(record),
        "gap": _days(record.gap_days),
        "longest": _days(record.gap_longest_days),
        "now": _band(record.undetected_now),
        "together": together_words(record),
        "stands_out": stands_out(record),
        "sentence": sentence(record, spoken, told),
        "wanting": wanting(record),
        "keeps": longest_words(record, told),
        "shares": [
            (f"{days:g}", _share(value), _share(low), _share(high)) for days, value, low, high in shares
        ],
        "label": label,
        "wide": mark_safe(drawn[0]),  # noqa: S308 (drawn here)
        "narrow": mark_safe(drawn[1]),  # noqa: S308
    }


def title_of(group: str, by: By, names: Names) -> str:
    """What a group is called."""
    if by == "site":
        return names(group) if group else _("without a site")
    if by in {"age", "adjusted"}:
        return str(AGE_WORDS[group])
    if by == "channel":
        gas, _comma, principle = group.partition(", ")
        return gas if principle == gas else f"{gas}, {word(principle)}"
    return group or _("type not stated")


def rate_words(record: Record) -> str:
    """Failures a sensor-year with limits, or the one limit that there is."""
    fit = record.fit
    low, high = (None if end is None else _two(end * YEAR_DAYS) for end in (fit.rate_low, fit.rate_high))
    if fit.rate is None:
        if high is not None:
            return _("at most %(high)s") % {"high": high}
        return _("at least %(low)s") % {"low": low} if low is not None else _("not known")
    rate = _two(fit.rate * YEAR_DAYS)
    return _("%(rate)s (%(low)s to %(high)s)") % {"rate": rate, "low": low or "0", "high": high or "∞"}


def sentence(record: Record, title: str, told: Evidence) -> str:
    """The plain sentence that a keeper can put in a report."""
    fit = record.fit
    percent = number_shown(100 * told.confidence)
    found = ngettext(
        "%(group)s: %(failures)d of %(sensors)d sensors was found failed in %(years)s sensor-years",
        "%(group)s: %(failures)d of %(sensors)d sensors were found failed in %(years)s sensor-years",
        fit.failures,
    ) % {
        "group": title[:1].upper() + title[1:],
        "failures": fit.failures,
        "sensors": record.sensors,
        "years": _years(fit.exposure),
    }
    rate = _("%(rate)s failures a sensor-year; limits of %(percent)s\u00a0%%: %(method)s.") % {
        "rate": rate_words(record),
        "percent": percent,
        "method": fit.interval_method,
    }
    now = record.undetected_now
    if now is None or now.high is None:
        return f"{found}: {rate}"
    tested = _(
        "Tested as now, such a sensor is failed without anybody knowing for %(share)s of the time."
    ) % {"share": _band(now)}
    return f"{found}: {rate} {tested}"


def apart_words(told: Evidence) -> str:
    """Whether the groups differ by more than chance, in a sentence."""
    if told.differ is None:
        return _("Whether they differ cannot be asked: %(why)s.") % {"why": told.why_not}
    chance = {"chance": _share(told.differ.p_value)}
    if told.differ.p_value < LITTLE_CHANCE:
        return (
            _("They differ by more than chance: chance alone sets groups so far apart in %(chance)s.")
            % chance
        )
    return (
        _(
            "That they differ may be chance: groups alike are as far apart in %(chance)s. One that looks "
            "worse than the others has not been shown to be."
        )
        % chance
    )


def together_words(record: Record) -> str:
    """A group's rate in the light of all groups."""
    told = record.together
    if told is None:
        return ""
    low, high = _two(told.rate_low * YEAR_DAYS), _two(told.rate_high * YEAR_DAYS)
    return _("%(rate)s (%(low)s to %(high)s)") % {
        "rate": _two(told.rate * YEAR_DAYS),
        "low": low,
        "high": high,
    }


def stands_out(record: Record) -> str:
    """Whether a group surely lies above or below the mean of all."""
    told = record.together
    if told is None or 0.025 <= told.above_mean <= 0.975:
        return ""
    return _("above the others") if told.above_mean > 0.5 else _("below the others")


def wanting(record: Record) -> str:
    """How much more record would bring the upper limit down to one failure in ten sensor-years."""
    if record.wanting_days is None:
        return ""
    return _(
        "Too little yet to say that fewer than one in ten fails in a year: that would take %(years)s more "
        "sensor-years without another failure."
    ) % {"years": number_shown(round(record.wanting_days / YEAR_DAYS, 1))}


def longest_words(record: Record, told: Evidence) -> str:
    """The longest interval that keeps the target, and how the rules stand to it."""
    if record.longest is None or told.target is None:
        return ""
    cautious = record.longest.cautious_days
    share = {"share": _share(told.target)}
    if cautious is None:
        return _("By this record no interval is shown to keep it at most %(share)s.") % share
    words = _(
        "At most %(share)s of the time failed and not known: a test every %(days)s at the longest, by the "
        "upper limit of the rate (%(estimate)s by the estimate)."
    ) % {
        **share,
        "days": _days(cautious),
        "estimate": _("not known") if record.longest.days is None else _days(record.longest.days),
    }
    if told.asked_days is not None and told.asked_days <= cautious:
        return f"{words} {_('The rules ask for one sooner, and they stand.')}"
    return words


def _years(days: float) -> str:
    """Sensor-years with a decimal, or two figures where that would be nothing."""
    years = days / YEAR_DAYS
    return number_shown(round(years, 1)) if years >= 1 else _two(years)


def _band(band: Any) -> str:
    if band is None or band.high is None:
        return _("not known")
    if band.value is None:
        return _("at most %(high)s") % {"high": _share(band.high)}
    return _("%(value)s (%(low)s to %(high)s)") % {
        "value": _share(band.value),
        "low": _share(band.low),
        "high": _share(band.high),
    }


def _share(value: float | None) -> str:
    if value is None:
        return "–"
    return f"{_two(100 * value)}\u00a0%"


def _days(days: float | None) -> str:
    return _("not known") if days is None else _("%(days)s\u00a0d") % {"days": _two(days)}


def _two(value: float) -> str:
    """Two significant figures: more would promise more than a record gives."""
    return number_shown(float(f"{value:.2g}"))
