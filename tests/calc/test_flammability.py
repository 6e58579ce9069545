"""The calculation flammability: figures by hand from the two tables, refusals in words, cautions."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.calc.definition import Refused
from pitbird.calc.flammability import CALCULATION
from pitbird.calc.registry import answer


def ask(basis: str, **vol_pct: float) -> dict[str, Any]:
    components = [{"gas": gas, "vol_pct": value} for gas, value in vol_pct.items()]
    return answer("flammability", {"basis": basis, "components": components})


def faults(raw: object) -> list[str]:
    with pytest.raises(Refused) as refused:
        answer("flammability", raw)
    return [str(fault) for fault in refused.value.faults]


@pytest.mark.parametrize(
    ("basis", "pct_lfl", "limit"),
    # 2.5 % methane over 4.4 (IEC 60079-20-1, 2010) and 5.0 (NFPA 497, 2008).
    [("iec-60079-20-1", 56.8, 4.4), ("nfpa-497", 50.0, 5.0)],
)
def test_two_and_a_half_percent_methane(basis: str, pct_lfl: float, limit: float) -> None:
    said = ask(basis, methane=2.5)
    assert said["pct_lfl"] == pytest.approx(pct_lfl, abs=0.05)
    assert said["mixture_lfl_vol_pct"] == limit
    assert said["components"] == [
        {"gas": "methane", "vol_pct": 2.5, "lfl_vol_pct": limit, "pct_lfl": pytest.approx(pct_lfl, abs=0.05)}
    ]


def test_components_keep_order_and_names_and_what_does_not_burn_counts_nothing() -> None:
    """By hand, IEC: 1.1/4.4 + 0.55/1.1 = 75 %; 1.65 / 0.75 = 2.2 % vol."""
    said = ask("iec-60079-20-1", CO2=5, pentane=0.55, **{"7727-37-9": 30.0}, CH4=1.1)
    assert [(each["gas"], each["lfl_vol_pct"]) for each in said["components"]] == [
        ("CO2", None),
        ("pentane", 1.1),
        ("7727-37-9", None),
        ("CH4", 4.4),
    ]
    assert [each["pct_lfl"] for each in said["components"]] == pytest.approx([0, 50, 0, 25])
    assert said["pct_lfl"] == pytest.approx(75)
    assert said["mixture_lfl_vol_pct"] == pytest.approx(2.2)


def test_nothing_that_burns() -> None:
    said = ask("nfpa-497", argon=50)
    assert (said["pct_lfl"], said["mixture_lfl_vol_pct"], said["cautions"]) == (0, None, [])


def test_the_standard_and_its_edition_are_told() -> None:
    assert "NFPA 497 (2008)" in ask("nfpa-497", methane=1)["footing"][0]
    assert "IEC 60079-20-1 (2010)" in ask("iec-60079-20-1", methane=1)["footing"][0]


def test_every_fault_is_told_at_once() -> None:
    raw = {
        "basis": "lel",
        "components": [
            {"gas": "methan", "vol_pct": 1},
            {"gas": "CO", "vol_pct": 101},
            {"gas": "H2", "ppm": 5},
        ],
    }
    said = faults(raw)
    assert said[0].startswith("flammability.basis = 'lel': must be 'iec-60079-20-1' or 'nfpa-497'")
    assert said[1].startswith("flammability.components[0].gas = 'methan': not a gas that is known here")
    assert said[2] == "flammability.components[1].vol_pct = 101: must be 100 or less"
    assert said[3] == "flammability.components[2].vol_pct: missing"
    assert said[4].startswith("flammability.components[2].ppm: no field of that name")


@pytest.mark.parametrize(
    ("components", "said"),
    [
        ([], "flammability.components = []: must have at least 1"),
        (
            [{"gas": "isobutylene", "vol_pct": 1}],
            (
                "flammability.components[0].gas = 'isobutylene': isobutylene burns but has no lower "
                "flammable limit in NFPA 497 (2008); IEC 60079-20-1 (2010) has one"
            ),
        ),
        (
            [{"gas": "CH4", "vol_pct": 60}, {"gas": "CO2", "vol_pct": 60}],
            "flammability.components = 120.0: more than 100 % vol in all",
        ),
        (
            [{"gas": "CH4", "vol_pct": 1}, {"gas": "methane", "vol_pct": 1}],
            "flammability.components[1].gas = 'methane': the same gas as components[0]; each stands once",
        ),
    ],
)
def test_what_does_not_add_up_is_refused(components: list[dict[str, Any]], said: str) -> None:
    assert faults({"basis": "nfpa-497", "components": components}) == [said]


@pytest.mark.parametrize(
    ("vol_pct", "words"),
    [
        # 29 CFR 1910.146(b): more than 10 % of the lower flammable limit; 0.5 / 4.4 is 11 %.
        ({"methane": 0.5}, "a hazardous atmosphere by 29 CFR 1910.146(b)"),
        ({"methane": 4.4}, "can burn or explode. Leave"),
        ({"methane": 1, "hydrogen": 1}, "rough for mixtures with hydrogen"),
        ({"methane": 1, "nitrous oxide": 5}, "nitrous oxide feeds a fire as oxygen does"),
        ({"methane": 1, "oxygen": 25}, "More oxygen than in air"),
        ({"methane": 1}, "not what a detector shows"),
    ],
)
def test_what_must_be_heeded_is_said(vol_pct: dict[str, float], words: str) -> None:
    assert any(words in caution for caution in ask("iec-60079-20-1", **vol_pct)["cautions"])


def test_a_larger_share_on_the_other_basis_is_told() -> None:
    """By hand: 2.5 / 4.4 is 56.8 % by IEC; by NFPA it is less, and that needs no caution."""
    assert "By IEC 60079-20-1 (2010) it is more: 56.8 %LFL." in ask("nfpa-497", methane=2.5)["cautions"]
    assert not any("it is more" in said for said in ask("iec-60079-20-1", methane=2.5)["cautions"])


def test_ten_percent_itself_is_not_yet_hazardous() -> None:
    assert not any("hazardous" in said for said in ask("iec-60079-20-1", methane=0.44)["cautions"])


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda each: str(each.title))
def test_every_example_is_answered(example: Any) -> None:
    assert CALCULATION.answer(example.request).pct_lfl > 0
