"""Limits of mixtures in air, and the gas in the cylinder by ISO 10156, against published examples."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from chemicals import safety
from hypothesis import given
from hypothesis import strategies as st

from pitbird.science.flammability import (
    ISO_10156_1996,
    ISO_10156_2010,
    cylinder_gas,
    in_air,
    le_chatelier,
)
from pitbird.science.gases import IEC, NFPA
from pitbird.science.mixtures import Mixture, Refused, mixture
from pitbird.science.substances import find


def of(balance: str | None, **vol_pct: float) -> Mixture:
    """A mixture of gases by formula, in % vol."""
    return mixture([(gas, value, "vol_pct") for gas, value in vol_pct.items()], balance)


def test_natural_gas_burns_from_4_55_percent() -> None:
    """H. F. Coward and G. W. Jones, Bureau of Mines Bulletin 503 (1952): methane 80, ethane 15, propane 4 and
    butane 1 %, limits 5.3, 3.22, 2.37 and 1.86 (from memory, high)."""
    assert le_chatelier([(80, 5.3), (15, 3.22), (4, 2.37), (1, 1.86)]) == pytest.approx(4.55, abs=0.005)


@given(st.lists(st.tuples(st.floats(0.01, 1), st.floats(0.5, 20)), min_size=1, max_size=5))
def test_mixed_limits_agree_with_the_chemicals_library(parts: list[tuple[float, float]]) -> None:
    total = sum(amount for amount, _ in parts)
    there: float = safety.fire_mixing(  # type: ignore[no-untyped-call]
        [amount / total for amount, _ in parts], [limit / 100 for _, limit in parts]
    )
    assert le_chatelier(parts) == pytest.approx(there * 100)


@pytest.mark.parametrize("parts", [[], [(0.0, 5.0)], [(1.0, 0.0)]])
def test_limits_of_nothing_are_refused(parts: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="more than 0"):
        le_chatelier(parts)


@pytest.mark.parametrize(
    ("gas", "vol_pct", "iec", "nfpa"),
    # By hand from IEC 60079-20-1 (2010) and NFPA 497 (2008).
    [("methane", 2.5, 56.8, 50.0), ("n-pentane", 0.75, 68.2, 50.0), ("hydrogen", 2.0, 50.0, 50.0)],
)
def test_one_gas_in_air_on_both_bases(gas: str, vol_pct: float, iec: float, nfpa: float) -> None:
    for basis, expected in ((IEC, iec), (NFPA, nfpa)):
        found = in_air([(gas, vol_pct)], basis)
        assert found.pct_lfl == pytest.approx(expected, abs=0.05)
        assert found.mixture_lfl_vol_pct == found.parts[0].lfl_vol_pct


def test_shares_of_the_limits_add_up_over_what_burns() -> None:
    """By hand, IEC: 1.1/4.4 + 0.55/1.1 = 25 % + 50 %; limit of the two 1.65/0.75 = 2.2 % vol."""
    found = in_air([("methane", 1.1), ("CO2", 5), ("pentane", 0.55), ("nitrogen", 40)], IEC)
    assert [part.pct_lfl for part in found.parts] == pytest.approx([25, 0, 50, 0])
    assert [part.lfl_vol_pct for part in found.parts] == [4.4, None, 1.1, None]
    assert found.pct_lfl == pytest.approx(75)
    assert found.mixture_lfl_vol_pct == pytest.approx(2.2)


def test_nothing_that_burns_has_no_limit_and_no_percent() -> None:
    found = in_air([("CO2", 5), ("methane", 0)], IEC)
    assert (found.mixture_lfl_vol_pct, found.pct_lfl) == (None, 0)


@given(st.floats(0.1, 5), st.floats(0.1, 5), st.sampled_from([IEC, NFPA]))
def test_at_100_percent_the_mixture_stands_at_its_own_limit(a: float, b: float, basis: str) -> None:
    found = in_air([("methane", a), ("propane", b)], basis)
    limit = found.mixture_lfl_vol_pct
    assert limit is not None
    assert found.pct_lfl == pytest.approx(100 * (a + b) / limit)
    limits = [part.lfl_vol_pct or 0 for part in found.parts]
    assert min(limits) <= limit <= max(limits)


def test_every_fault_is_told_and_nothing_that_burns_is_left_out() -> None:
    with pytest.raises(Refused) as refused:
        in_air([("phosphine", 0.001), ("isobutylene", 0.5), ("methan", 1), ("CO", 101), ("O2", 18)], NFPA)
    assert [str(problem) for problem in refused.value.problems] == [
        (
            "components[0].gas = 'phosphine': phosphine burns but has no lower flammable limit in NFPA 497 "
            "(2008)"
        ),
        (
            "components[1].gas = 'isobutylene': isobutylene burns but has no lower flammable limit in "
            "NFPA 497 (2008); IEC 60079-20-1 (2010) has one"
        ),
        (
            "components[2].gas = 'methan': 'methan' is not a gas that is known here; did you mean methane or "
            "methanol or ethane?"
        ),
        "components[3].vol_pct = 101: must lie between 0 and 100",
    ]


@pytest.mark.parametrize(
    ("components", "basis", "said"),
    [
        ([], IEC, "components = []: there must be at least one component"),
        ([("methane", 60), ("CO2", 41)], IEC, "components = 101.0: more than 100 % vol in all"),
        ([("methane", 1), ("CH4", 1)], IEC, "components[1].gas = 'CH4': the same gas as components[0]"),
        ([("methane", 1)], "lel", "basis = 'lel': must be one of"),
    ],
)
def test_what_does_not_add_up_is_refused(components: Any, basis: str, said: str) -> None:
    with pytest.raises(Refused) as refused:
        in_air(components, basis)
    assert said in str(refused.value)


# The example of UN GHS, chapter 2.2: 2 % hydrogen, 6 % methane, 27 % argon, 65 % helium.
GHS = of(None, H2=2, CH4=6, Ar=27, He=65)


def test_the_example_of_ghs_by_the_coefficients_of_2010() -> None:
    """UN GHS, chapter 2.2, later revisions: 1.29, more than 1 (inputs from memory, high)."""
    found = cylinder_gas(GHS, ISO_10156_2010)
    assert found.verdict == "flammable"
    assert found.total == pytest.approx(1.29, abs=0.006)
    assert found.footing[0] == "ISO 10156:2010 (Kk also ISO 10156:2017)"


def test_the_example_of_ghs_by_the_coefficients_of_1996() -> None:
    """UN GHS, chapter 2.2, first revisions: equivalents 54 %, 3.7/5.7 + 11.1/14.3 = 1.42 (from memory)."""
    found = cylinder_gas(GHS, ISO_10156_1996)
    assert found.verdict == "flammable"
    assert found.total == pytest.approx(1.42, abs=0.01)


def test_coefficients_of_two_editions_together_would_turn_the_answer_over() -> None:
    """Tci of 1996 with Kk of 2010 give 0.95, "not flammable": an answer of neither edition."""
    mixed = replace(ISO_10156_2010, edition="none", tci=ISO_10156_1996.tci)
    found = cylinder_gas(GHS, mixed)
    assert found.total == pytest.approx(0.947, abs=0.001)
    assert found.verdict == "not flammable"
    assert {cylinder_gas(GHS, edition).verdict for edition in (ISO_10156_1996, ISO_10156_2010)} == {
        "flammable"
    }


def test_equivalents_of_inert_gases_are_those_of_the_chemicals_library() -> None:
    """ISO 10156:2017 as carried by ``chemicals``."""
    shared = 0
    for name, kk in ISO_10156_2010.kk.items():
        there = safety.ISO_10156_2017_Kks.get(find(name).cas)
        if there is not None:
            assert kk == there, name
            shared += 1
    assert shared >= 9


@pytest.mark.parametrize(
    ("vol_pct", "total", "verdict"),
    # By hand: a share of 8.7 %.
    [
        (2.5, 0.287, "not flammable"),
        (5.0, 0.575, "not flammable"),
        (8.6, 0.989, "not flammable"),
        (8.8, 1.011, "flammable"),
    ],
)
def test_methane_in_nitrogen_may_burn_from_8_7_percent(vol_pct: float, total: float, verdict: str) -> None:
    found = cylinder_gas(of("nitrogen", CH4=vol_pct))
    assert found.total == pytest.approx(total, abs=0.001)
    assert found.verdict == verdict


def test_a_fuel_without_a_coefficient_is_taken_with_its_lower_limit_and_that_is_said() -> None:
    """n-pentane: 1.1 % vol by IEC, 1.5 by NFPA; the lower one decides."""
    found = cylinder_gas(of("nitrogen", pentane=0.75))
    assert found.total == pytest.approx(0.75 / 1.1)
    assert "n-pentane: its lower LFL of 1.1 % vol stands for its Tci" in found.reasons
    assert cylinder_gas(of("nitrogen", pentane=1.2)).verdict == "flammable"


def test_no_coefficient_lies_below_the_limit_that_would_stand_for_it() -> None:
    """A mixture in nitrogen never burns in air more readily than its fuel alone."""
    for name, tci in ISO_10156_2010.tci.items():
        limit = find(name).lowest_lfl_vol_pct
        assert limit is None or tci >= limit, name


def test_the_usual_four_gas_mixture_is_not_flammable() -> None:
    four = mixture(
        [("CH4", 2.5, "vol_pct"), ("O2", 18, "vol_pct"), ("CO", 100, "ppm"), ("H2S", 25, "ppm")], "nitrogen"
    )
    found = cylinder_gas(four)
    assert found.verdict == "not flammable"
    # By hand, the lower of each limit: 2.5/4.4 + 0.01/10.9 + 0.0025/4.
    assert found.total == pytest.approx(0.5697, abs=0.0001)


def test_above_the_limit_with_air_the_cylinder_itself_may_explode() -> None:
    found = cylinder_gas(of("air", CH4=5))
    assert found.verdict == "flammable"
    assert "may explode inside the cylinder" in found.reasons[0]


def test_what_does_not_burn_is_not_flammable() -> None:
    found = cylinder_gas(mixture([("NO2", 10, "ppm"), ("O2", 18, "vol_pct")], "nitrogen"))
    assert (found.verdict, found.total) == ("not flammable", 0)


def test_more_than_a_percent_of_silane_is_flammable() -> None:
    """UN GHS, chapter 2.2: more than 1 % of a pyrophoric component."""
    assert cylinder_gas(of("nitrogen", SiH4=1.1)).verdict == "flammable"


@pytest.mark.parametrize(
    ("balance", "vol_pct", "reason"),
    [
        ("oxygen", {"CH4": 2.5}, "more oxygen beside the fuel than air has"),
        ("helium", {"CH4": 2.5, "O2": 18}, "oxygen with helium"),
        ("nitrogen", {"CH4": 2.5, "Cl2": 1}, "holds an oxidiser besides oxygen (chlorine)"),
        ("nitrogen", {"methyl bromide": 1}, "methyl bromide is a halogenated fuel"),
        ("nitrogen", {"vinyl chloride": 1}, "vinyl chloride is a halogenated fuel"),
        ("air", {"phosphine": 0.1}, "phosphine burns, and its LFL is not known here"),
    ],
)
def test_beyond_its_validity_it_cannot_tell(balance: str, vol_pct: dict[str, float], reason: str) -> None:
    found = cylinder_gas(of(balance, **vol_pct))
    assert (found.verdict, found.total) == ("cannot tell", None)
    assert any(reason in each for each in found.reasons)


@given(st.floats(0.1, 20), st.floats(0.1, 20), st.sampled_from(["nitrogen", "CO2", "argon", "helium"]))
def test_more_fuel_never_burns_less(a: float, b: float, balance: str) -> None:
    low, high = (cylinder_gas(of(balance, CH4=x, H2=1)) for x in sorted((a, b)))
    assert low.total is not None
    assert high.total is not None
    assert low.total <= high.total * (1 + 1e-12)


@given(st.floats(0.1, 15))
def test_noble_gases_quench_less_than_nitrogen_and_carbon_dioxide_more(vol_pct: float) -> None:
    totals = [cylinder_gas(of(gas, CH4=vol_pct)).total for gas in ("argon", "helium", "nitrogen", "CO2")]
    assert totals == sorted(totals, key=lambda total: -(total or 0))
