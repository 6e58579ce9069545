"""The calculation relative-response: the model's figures, every refusal by field, the cautions."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.calc.definition import Refused
from pitbird.calc.registry import answer
from pitbird.calc.relative_response import CALCULATION


def ask(on: str, to: str, basis: str = "iec-60079-20-1") -> dict[str, Any]:
    return answer("relative-response", {"calibrated_on": on, "exposed_to": to, "basis": basis})


def test_a_methane_scale_reads_pentane_at_about_0_4() -> None:
    """J. G. Firth, A. Jones and T. A. Jones 1973, with measured diffusivities by hand: 0.390 (IEC)."""
    said = ask("methane", "n-pentane")
    assert said["relative_response"] == pytest.approx(0.390, rel=0.1)
    assert said["correction_factor"] == pytest.approx(1 / said["relative_response"])


def test_the_answer_is_made_of_the_terms_that_it_shows() -> None:
    said = ask("CH4", "hexane", "nfpa-497")
    on, to = said["calibrated_on"], said["exposed_to"]
    assert (on["gas"], to["gas"]) == ("CH4", "hexane")
    # NFPA 497 (2008).
    assert (on["lfl_vol_pct"], to["lfl_vol_pct"]) == (5.0, 1.1)
    product = [
        each["net_heat_of_combustion_kj_mol"] * each["diffusivity_cm2_s"] * each["lfl_vol_pct"]
        for each in (on, to)
    ]
    assert said["relative_response"] == pytest.approx(product[1] / product[0])


def test_the_basis_changes_the_answer_and_is_told() -> None:
    """n-butane 1.4 and methane 4.4 (IEC), 1.9 and 5.0 (NFPA): by (1.9/5.0)/(1.4/4.4) = 1.194."""
    iec, nfpa = (ask("methane", "butane", basis) for basis in ("iec-60079-20-1", "nfpa-497"))
    assert nfpa["relative_response"] / iec["relative_response"] == pytest.approx(1.194, abs=0.001)
    assert any("NFPA 497 (2008)" in line for line in nfpa["footing"])
    assert any("IEC 60079-20-1 (2010)" in line for line in iec["footing"])


def test_the_manual_comes_first_and_the_spread_is_said() -> None:
    cautions = " ".join(ask("methane", "propane")["cautions"])
    assert "own manual comes first" in cautions
    assert "up to 25 %" in cautions


@pytest.mark.parametrize("gas", ["hydrogen", "carbon monoxide", "ammonia"])
def test_gases_that_do_not_follow_the_model_are_named(gas: str) -> None:
    assert f"{gas} does not follow the model." in ask("methane", gas)["cautions"]


def test_what_the_model_cannot_take_is_refused_field_by_field() -> None:
    raw = {"calibrated_on": "nitrogen", "exposed_to": "isobutylene", "basis": "nfpa-497"}
    with pytest.raises(Refused) as refused:
        answer("relative-response", raw)
    assert [str(fault) for fault in refused.value.faults] == [
        (
            "relative-response.calibrated_on = 'nitrogen': nitrogen does not burn: a catalytic sensor does "
            "not see it"
        ),
        (
            "relative-response.exposed_to = 'isobutylene': isobutylene has no lower flammable limit in "
            "NFPA 497 (2008)"
        ),
    ]


def test_fields_that_are_wrong_are_told_at_once() -> None:
    with pytest.raises(Refused) as refused:
        answer("relative-response", {"calibrated_on": "metane", "exposed": "propane", "basis": "IEC"})
    where = [fault.where for fault in refused.value.faults]
    assert where == [
        "relative-response.calibrated_on",
        "relative-response.exposed_to",
        "relative-response.basis",
        "relative-response.exposed",
    ]


@pytest.mark.parametrize("example", CALCULATION.examples, ids=lambda each: str(each.title))
def test_every_example_is_answered(example: Any) -> None:
    assert CALCULATION.answer(example.request).relative_response > 0
