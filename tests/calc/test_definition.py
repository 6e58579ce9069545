"""A calculation reads plain values, refuses with every fault in words, and answers with plain values."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest

from pitbird.calc.definition import Calculation, Part, Refused, Request, Result, as_values, parsed
from pitbird.calc.fields import GasName, Many, Positive
from pitbird.record.faults import Fault, shown


class Portion(Part):
    gas: GasName
    vol_pct: Positive


class MixRequest(Request):
    portions: Many[Portion]
    """What is in it."""
    flow_l_min: Positive = 0.5
    label: str | None = None


class MixResult(Result):
    total_vol_pct: float


def check(request: MixRequest) -> Iterator[Fault]:
    total = sum(portion.vol_pct for portion in request.portions)
    if total > 100:
        yield Fault("portions", shown(total), "more than 100 % vol in all")


def solve(request: MixRequest) -> MixResult:
    if request.label == "unsolvable":
        raise Refused([Fault("label", shown(request.label), "asks for what cannot be answered")])
    total = math.fsum(portion.vol_pct for portion in request.portions)
    return MixResult(footing=("sum",), cautions=(), total_vol_pct=total)


MIX = Calculation("mix", MixRequest, MixResult, solve, check)


def faults(raw: object) -> list[str]:
    with pytest.raises(Refused) as refused:
        MIX.answer(raw)
    return [str(fault) for fault in refused.value.faults]


def test_plain_values_are_answered_with_plain_values() -> None:
    raw = {"portions": [{"gas": "methane", "vol_pct": 2}, {"gas": "CO", "vol_pct": 0.5}]}
    assert as_values(MIX.answer(raw)) == {"footing": ["sum"], "cautions": [], "total_vol_pct": 2.5}


def test_every_fault_of_every_field_is_told_at_once_in_words() -> None:
    raw = {
        "portions": [{"gas": "methan", "vol_pct": -1}, {"gas": "CO", "vol_pct": "2"}, {"gas": "CO"}, 7],
        "flow_l_min": True,
        "labl": "x",
    }
    near = "not a gas that is known here; did you mean methane, methanol or ethane?"
    assert faults(raw) == [
        f"mix.portions[0].gas = 'methan': {near}; use its name or its CAS number",
        "mix.portions[0].vol_pct = -1: must be more than 0",
        "mix.portions[1].vol_pct = '2': not a number; write it without quotes, as 20.9",
        "mix.portions[2].vol_pct: missing",
        "mix.portions[3] = 7: not an object; write {…} with its fields",
        "mix.flow_l_min = true: not a number; write it without quotes, as 20.9",
        "mix.labl: no field of that name; did you mean label?; there are portions, flow_l_min, label",
    ]


def test_an_unknown_field_deep_within_names_the_fields_that_are_there() -> None:
    raw = {"portions": [{"gas": "methane", "vol_pct": 1, "ppm": 3}]}
    assert faults(raw) == ["mix.portions[0].ppm: no field of that name; there are gas, vol_pct"]


@pytest.mark.parametrize("raw", [None, [], "mix", 3])
def test_what_is_no_object_is_refused(raw: object) -> None:
    (fault,) = faults(raw)
    assert fault.startswith("mix")
    assert "not an object" in fault


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_is_finite(value: float) -> None:
    (fault,) = faults({"portions": [{"gas": "methane", "vol_pct": value}]})
    assert fault.startswith("mix.portions[0].vol_pct")


def test_what_only_the_whole_shows_is_told_with_the_field() -> None:
    raw = {"portions": [{"gas": "methane", "vol_pct": 60}, {"gas": "argon", "vol_pct": 60}]}
    assert faults(raw) == ["mix.portions = 120.0: more than 100 % vol in all"]


def test_what_only_calculating_shows_is_told_with_the_field() -> None:
    assert faults({"portions": [], "label": "unsolvable"}) == [
        "mix.label = 'unsolvable': asks for what cannot be answered"
    ]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('{"a": 1, "a": 2}', "the key 'a' stands twice"),
        ('{"a": NaN}', "NaN is no number in JSON"),
        ('{"a": }', "not JSON (Expecting value at line 1, column 7)"),
        (b'{"a": "\xff"}', "not UTF-8"),
        ("[" * 100_000, "nested too deep"),
    ],
)
def test_text_that_is_no_plain_json_is_refused(text: str | bytes, problem: str) -> None:
    with pytest.raises(Refused) as refused:
        parsed(text)
    assert problem in str(refused.value)


def test_the_schema_describes_fields_and_refuses_others() -> None:
    schema = MIX.schema()
    assert schema["request"]["properties"]["portions"]["description"] == "What is in it."
    assert schema["request"]["additionalProperties"] is False
    assert "footing" in schema["result"]["required"]
