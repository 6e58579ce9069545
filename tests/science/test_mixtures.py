"""Amounts in ppm, % vol and %LFL with the basis shown; mixtures that add up or are refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.gases import IEC, NFPA
from pitbird.science.mixtures import Refused, Unit, convert, mixture

# From the limits of IEC 60079-20-1 (2010) and NFPA 497 (2008), by hand.
PCT_LFL = [
    ("methane", 2.5, 56.8, 50.0), ("methane", 2.2, 50.0, 44.0), ("n-pentane", 0.75, 68.2, 50.0),
    ("n-pentane", 0.55, 50.0, 36.7), ("propane", 1.05, 61.8, 50.0), ("hydrogen", 2.0, 50.0, 50.0),
]  # fmt: skip


@pytest.mark.parametrize(("gas", "vol_pct", "iec", "nfpa"), PCT_LFL)
def test_percent_of_the_limit_on_both_bases(gas: str, vol_pct: float, iec: float, nfpa: float) -> None:
    for basis, expected in ((IEC, iec), (NFPA, nfpa)):
        turned = convert(gas, vol_pct, "vol_pct", "pct_lfl", basis)
        assert turned.value == pytest.approx(expected, abs=0.05)
        assert convert(gas, turned.value, "pct_lfl", "vol_pct", basis).value == pytest.approx(vol_pct)


def test_a_unit_set_on_the_other_basis_reads_12_percent_low() -> None:
    """Gas labelled 50 %LFL by IEC (2.2 % vol methane), a scale by NFPA: 44 %LFL."""
    there = convert("methane", 50, "pct_lfl", "vol_pct", IEC).value
    read = convert("methane", there, "vol_pct", "pct_lfl", NFPA).value
    assert read / 50 - 1 == pytest.approx(-0.12)


def test_the_basis_is_shown_beside_every_percent_of_the_limit() -> None:
    said = str(convert("CH4", 2.5, "vol_pct", "pct_lfl", NFPA))
    assert said == "50 %LFL methane (LFL 5 % vol, NFPA 497 (2008))"
    assert str(convert("H2S", 25, "ppm", "vol_pct")) == "0.0025 % vol hydrogen sulfide"


@given(st.floats(0, 1e6), st.sampled_from(["ppm", "vol_pct", "pct_lfl"]), st.sampled_from(["ppm", "vol_pct"]))
def test_there_and_back_is_the_same_amount(ppm: float, via: Unit, unit: Unit) -> None:
    start = convert("propane", ppm, "ppm", unit, IEC).value
    there = convert("propane", start, unit, via, IEC)
    assert convert("propane", there.value, via, unit, IEC).value == pytest.approx(start, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("gas", "value", "unit", "to", "basis", "said"),
    [
        ("methane", 2.5, "vol_pct", "pct_lfl", None, ["basis = None: %LFL needs a basis"]),
        ("methane", 2.5, "vol_pct", "pct_lfl", "LEL", ["basis = 'LEL': %LFL needs a basis"]),
        ("nitrogen", 5, "pct_lfl", "vol_pct", IEC, ["nitrogen does not burn"]),
        ("isobutylene", 5, "pct_lfl", "ppm", NFPA, ["has no lower flammable limit in NFPA 497 (2008)"]),
        ("metane", -1, "ppm", "vol_pct", None, ["did you mean methane", "value = -1: must be 0 or more"]),
        ("methane", float("nan"), "ppm", "vol_pct", None, ["must be 0 or more"]),
        ("methane", 1_000_001, "ppm", "vol_pct", None, ["more than 100 % vol (100)"]),
        (
            "methane",
            1,
            "percent",
            "vol_pct",
            None,
            ["unit = 'percent': must be one of ppm, vol_pct, pct_lfl"],
        ),
    ],
)
def test_what_cannot_be_turned_is_refused_with_every_fault(
    gas: str, value: float, unit: Unit, to: Unit, basis: str | None, said: list[str]
) -> None:
    with pytest.raises(Refused) as refused:
        convert(gas, value, unit, to, basis)
    assert all(words in str(refused.value) for words in said)
    assert len(refused.value.problems) == len(said)


def test_a_mixture_is_filled_up_with_its_balance() -> None:
    four = mixture(
        [("methane", 50, "pct_lfl"), ("O2", 18, "vol_pct"), ("CO", 100, "ppm"), ("H2S", 25, "ppm")],
        "nitrogen",
        IEC,
    )
    assert four.vol_pct("methane") == pytest.approx(2.2)
    assert four.vol_pct("nitrogen") == pytest.approx(100 - 2.2 - 18 - 0.01 - 0.0025)
    assert sum(component.vol_pct for component in four.components) == pytest.approx(100)


def test_air_stands_in_a_mixture_as_oxygen_and_nitrogen() -> None:
    """U.S. Standard Atmosphere 1976: 20.9476 % vol oxygen (from memory, high)."""
    gas = mixture([("methane", 2.5, "vol_pct")], "air")
    assert gas.vol_pct("oxygen") == pytest.approx(0.975 * 20.9476)
    assert gas.vol_pct("air") == 0


def test_a_composition_without_balance_must_make_100_percent() -> None:
    assert mixture([("CH4", 60, "vol_pct"), ("CO2", 40, "vol_pct")], None).vol_pct("methane") == 60
    with pytest.raises(Refused, match=r"balance = None: 40 % vol are missing: name the balance gas"):
        mixture([("CH4", 60, "vol_pct")], None)


def test_every_fault_of_a_mixture_is_told_at_once() -> None:
    parts: list[tuple[str, float, Unit]] = [
        ("methan", 50, "vol_pct"),
        ("CO", 70, "vol_pct"),
        ("carbon monoxide", 40, "vol_pct"),
        ("H2S", -5, "ppm"),
    ]
    with pytest.raises(Refused) as refused:
        mixture(parts, "CO")
    assert [problem.where for problem in refused.value.problems] == [
        "components[0].gas",
        "components[2].gas",
        "components[3].amount",
        "balance",
        "components",
    ]
    assert "components[2].gas = 'carbon monoxide': the same gas as components[1]" in str(refused.value)
    assert "components = 110.0: more than 100 % vol in all" in str(refused.value)


def test_percent_of_the_limit_in_a_mixture_needs_the_basis() -> None:
    with pytest.raises(Refused, match="basis = None"):
        mixture([("methane", 50, "pct_lfl")], "air")
