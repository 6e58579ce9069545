"""Calculations: the list, and the page of each, which asks, answers and says what the answer stands on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from pitbird.calc import registry
from pitbird.calc.definition import Calculation, Refused, Result, as_values
from pitbird.papers.charts import calculations as charts
from pitbird.papers.charts.drawing import NARROW, WIDE
from pitbird.web import calc_answer
from pitbird.web.calc_words import number_shown
from pitbird.web.forms import calc as forms

#: Under which heading a calculation stands in the list.
GROUPS: Final = (
    (
        _("Gas, sensor, cylinder, room"),
        ("challenge", "cylinder", "flammability", "relative-response", "room-release"),
    ),
    (
        _("How often, and what then"),
        ("failure-rate", "test-interval", "calibration-interval", "look-back", "response-curve"),
    ),
)


@require_safe
def calculations(request: HttpRequest) -> HttpResponse:
    """Every calculation with the question it answers."""
    groups = [(words, [(name, registry.LISTED[name]) for name in names]) for words, names in GROUPS]
    return render(request, "pitbird/calculations.html", {"groups": groups})


@require_http_methods(["GET", "HEAD", "POST"])
def calculation(request: HttpRequest, name: str) -> HttpResponse:
    """One calculation: its form, and below it the answer to what was typed."""
    if name not in registry.LISTED:
        raise Http404(name)
    chosen = registry.load(name)
    schema = chosen.request.model_json_schema()
    context: dict[str, Any] = {
        "name": name,
        "question": registry.LISTED[name],
        "examples": [(number, each.title) for number, each in enumerate(chosen.examples)],
        "gases": forms.GAS_NAMES,
    }
    if request.method != "POST":
        example = _example(chosen, request.GET.get("example", "0"))
        context |= {"sheet": forms.sheet(schema, example)}
        return render(request, "pitbird/calculation.html", context)
    typed = {key: text for key, text in request.POST.items() if isinstance(text, str)}
    asked = forms.sheet(schema, typed, more=typed.get("more", ""))
    if "more" in typed:
        return render(request, "pitbird/calculation.html", {**context, "sheet": asked})
    try:
        answer = _answered(chosen, asked.raw)
    except Refused as refused:
        told = forms.sheet(schema, typed, faults=refused.faults)
        return render(request, "pitbird/calculation.html", {**context, "sheet": told}, status=422)
    return render(request, "pitbird/calculation.html", {**context, "sheet": asked, **answer})


def _example(chosen: Calculation[Any, Any], number: str) -> Mapping[str, str]:
    """The typed text of an example; empty boxes for ``?example=none``."""
    if not number.isdecimal() or int(number) >= len(chosen.examples):
        return {}
    return forms.typed_of(chosen.examples[int(number)].request)


def asked_for(result: Result) -> dict[str, Any]:
    """The values of an answer without the fields that do not belong to what was asked, such as those of
    another model; what was asked and has no answer stays."""
    optional = {name for name, field in type(result).model_fields.items() if field.default is None}
    # That there is no estimate is an answer, and its caution says why.
    kept = {"rate_per_day"} & result.model_fields_set
    return {
        name: value
        for name, value in as_values(result).items()
        if value is not None or name not in optional or name in kept
    }


def _answered(chosen: Calculation[Any, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
    asked = chosen.read(raw)
    result = chosen.answer(raw)
    values = as_values(result)
    return {
        "answer": calc_answer.laid_out(asked_for(result)),
        "footing": values["footing"],
        "cautions": values["cautions"],
        "pictures": [
            {
                "label": picture.label,
                "wide": mark_safe(picture.svg(WIDE)),  # noqa: S308 (drawn here)
                "narrow": mark_safe(picture.svg(NARROW)),  # noqa: S308
                "heads": picture.heads,
                "rows": [
                    list(zip(picture.heads, map(number_shown, row), strict=True)) for row in picture.rows
                ],
            }
            for picture in charts.pictures(chosen.name, asked, result)
        ],
        "command": calc_answer.command_line(chosen.name, raw),
        "python": calc_answer.python_snippet(chosen.name, raw),
    }
