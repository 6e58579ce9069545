"""What sensors finally read: by principle, own gas apart from the rest."""

from __future__ import annotations

import pytest
from chemicals.elements import simple_formula_parser
from chemicals.identifiers import search_chemical

from pitbird.science.challenge.readings import (
    OXYGEN_PER_PCT_LFL,
    OXYGEN_TO_BURN,
    NotJudged,
    mixture_pct_lfl,
    oxygen_needed_vol_pct,
    read,
)
from pitbird.science.challenge.values import Component, Mixture
from pitbird.science.gases import GASES, IEC, NFPA
from tests.science.challenge.making import CO, H2S, METHANE, OXYGEN, QUAD, mixture, sensor

IN_AIR_METHANE = mixture(("methane", 2.2, "vol_pct", 2), balance="air")


def refusal(*args: object) -> str:
    with pytest.raises(NotJudged) as refused:
        read(*args)  # type: ignore[arg-type]
    return "\n".join(f"{p.where}: {p.problem}" for p in refused.value.problems)


# 2.2 and 2.5 % vol methane, 0.55 % n-pentane, 2 % hydrogen on LFLs of IEC 60079-20-1:2010 and NFPA 497:2008.
@pytest.mark.parametrize(
    ("gas", "vol_pct", "iec", "nfpa"),
    [
        ("methane", 2.2, 50, 44),
        ("methane", 2.5, 56.818, 50),
        ("n-pentane", 0.55, 50, 36.667),
        ("hydrogen", 2, 50, 50),
    ],
)
def test_a_flammable_channel_reads_its_own_gas_in_percent_of_the_lfl_of_its_basis(
    gas: str, vol_pct: float, iec: float, nfpa: float
) -> None:
    channel = sensor(METHANE, gas=gas)
    gas_in_air = mixture((gas, vol_pct, "vol_pct"), balance="air")
    assert read(channel, gas_in_air, IEC).own == pytest.approx(iec, rel=1e-4)
    assert read(channel, gas_in_air, NFPA).own == pytest.approx(nfpa, rel=1e-4)


def test_the_ends_and_the_spread_follow_the_expanded_uncertainty() -> None:
    reading = read(H2S, QUAD, NFPA)
    assert (reading.own, reading.own_low, reading.own_high) == pytest.approx((25, 23.75, 26.25))
    assert reading.own_sd == pytest.approx(25 * 0.025)  # k = 2


def test_steps_towards_a_falling_alarm_are_counted_downwards() -> None:
    reading = read(OXYGEN, QUAD, NFPA)
    assert reading.ends(OXYGEN, falling=True) == pytest.approx((2.9, 20.9 - 18.18, 20.9 - 17.82))
    assert reading.ends(OXYGEN, falling=False) == pytest.approx((-2.9, 17.82 - 20.9, 18.18 - 20.9))


def test_a_bead_sees_all_that_burns_through_the_factors_given_before_those_of_the_model() -> None:
    """50 %LFL methane and 0.75 % n-pentane (50 %LFL, NFPA) seen with 0.45: 72.5 %LFL."""
    both = mixture(("methane", 2.5, "vol_pct", 2), ("n-pentane", 0.75, "vol_pct", 4), balance="air")
    asked = []

    def model(calibrated_on: str, exposed_to: str, basis: str) -> float:
        asked.append((calibrated_on, exposed_to, basis))
        return 0.468

    modelled = read(METHANE, both, NFPA, model)
    assert asked == [("methane", "n-pentane", NFPA)]
    assert modelled.own == pytest.approx(50 + 0.468 * 50)
    given = read(sensor(METHANE, relative_response=(("pentane", 0.45),)), both, NFPA, model)
    assert given.own == pytest.approx(72.5)
    assert given.own_sd == pytest.approx((0.5**2 + (22.5 * 0.02) ** 2) ** 0.5)
    assert given.own_low == pytest.approx(49 + 22.5 * 0.96)


def test_on_a_scale_in_volume_the_model_still_speaks_of_equal_percent_of_lfl() -> None:
    # 0.75 % n-pentane = 50 %LFL (NFPA), seen as 23.4 %LFL methane = 1.17 % vol methane.
    channel = sensor(METHANE, unit="vol_pct")
    pentane = mixture(("n-pentane", 0.75, "vol_pct"), balance="air")
    assert read(channel, pentane, NFPA, lambda *_: 0.468).own == pytest.approx(1.17)


def test_a_bead_without_a_factor_is_refused_but_traces_are_left_out_and_named() -> None:
    assert "no factor for n-pentane" in refusal(
        METHANE, mixture(("n-pentane", 0.75, "vol_pct"), balance="air"), NFPA
    )
    reading = read(METHANE, QUAD, NFPA)  # 100 ppm CO and 25 ppm H2S are 0.08 and 0.06 %LFL
    assert reading.own == pytest.approx(50)
    assert reading.left_out == ("carbon monoxide", "hydrogen sulfide")


@pytest.mark.parametrize(
    ("gas_mixture", "needed"),
    [
        (mixture(("methane", 2.5, "vol_pct")), "10"),
        (mixture(("methane", 2.5, "vol_pct"), ("oxygen", 9.9, "vol_pct")), "10"),
        (mixture(("methane", 5.5, "vol_pct"), ("oxygen", 10.5, "vol_pct")), "11"),
    ],
)
def test_a_bead_with_too_little_oxygen_is_refused(gas_mixture: Mixture, needed: str) -> None:
    # "Indicators do not read below 10 % oxygen" (general handbook text); CH4 + 2 O2.
    assert f"it takes {needed} at least" in refusal(METHANE, gas_mixture, NFPA)


def test_a_bead_needs_no_oxygen_where_there_is_nothing_to_burn() -> None:
    assert read(METHANE, mixture(("hydrogen sulfide", 25, "ppm")), NFPA).own == 0


def test_methane_at_its_lower_limit_needs_ten_percent_oxygen() -> None:
    # CH4 + 2 O2: 100 %LFL on NFPA 497 (5.0 %) takes 10 % oxygen.
    assert oxygen_needed_vol_pct(mixture(("methane", 5, "vol_pct"))) == 10
    assert oxygen_needed_vol_pct(mixture(("n-pentane", 1.5, "vol_pct"))) == 12


def test_the_oxygen_that_burns_a_gas_follows_from_its_formula() -> None:
    """Formulas from the open library ``chemicals``; x + y/4 - z/2, sulfur to dioxide, nitrogen to N2."""
    listed = [gas for gas in GASES if gas.name in OXYGEN_TO_BURN]
    assert len(listed) >= 31
    for gas in listed:
        atoms = simple_formula_parser(search_chemical(gas.cas).formula)
        c, h, o, s = (atoms.get(element, 0) for element in "CHOS")
        moles = OXYGEN_TO_BURN[gas.name]
        assert c + h / 4 - o / 2 + s == pytest.approx(moles), gas.name
        for limit in (gas.lfl_iec, gas.lfl_nfpa):
            assert moles * float(limit or 0) < 100 * OXYGEN_PER_PCT_LFL, gas.name


def test_an_infrared_sensor_does_not_see_hydrogen_and_takes_no_factor_from_the_bead_model() -> None:
    infrared = sensor(METHANE, principle="infrared")
    mixed = mixture(("methane", 1, "vol_pct"), ("hydrogen", 2, "vol_pct"), ("carbon monoxide", 100, "ppm"))
    assert read(infrared, mixed, NFPA, lambda *_: 1.0).own == pytest.approx(20)
    said = refusal(infrared, mixture(("propane", 1, "vol_pct")), NFPA, lambda *_: 0.5)
    assert "catalytic model does not hold for propane" in said
    given = sensor(infrared, relative_response=(("propane", 1.8),))
    assert read(given, mixture(("propane", 1.05, "vol_pct")), NFPA).own == pytest.approx(90)


def test_an_infrared_channel_for_carbon_dioxide_reads_carbon_dioxide_only() -> None:
    channel = sensor(
        METHANE, gas="carbon dioxide", principle="infrared", unit="vol_pct", clean_air_reading=0.04
    )
    mixed = mixture(("carbon dioxide", 2.5, "vol_pct"), ("methane", 2.5, "vol_pct"))
    assert (read(channel, mixed, NFPA).own, read(channel, mixed, NFPA).final) == (2.5, 2.5)


def test_an_infrared_channel_for_carbon_monoxide_is_no_flammable_channel() -> None:
    channel = sensor(CO, principle="infrared")
    mixed = mixture(("carbon monoxide", 100, "ppm"), ("methane", 2.5, "vol_pct"))
    assert not channel.flammable
    assert read(channel, mixed, NFPA).own == 100


def test_cross_sensitivities_count_in_the_final_reading_and_never_as_own_gas() -> None:
    """Hydrogen on a carbon monoxide cell helps, nitrogen dioxide on a sulfur dioxide cell hides."""
    helped = sensor(CO, cross_sensitivity=(("hydrogen", 0.15),))
    reading = read(helped, mixture(("carbon monoxide", 50, "ppm"), ("H2", 500, "ppm")), NFPA)
    assert (reading.own, reading.final) == pytest.approx((50, 125))
    hidden = sensor(H2S, gas="sulfur dioxide", cross_sensitivity=(("nitrogen dioxide", -1.0),))
    reading = read(hidden, mixture(("SO2", 5, "ppm"), ("NO2", 4, "ppm")), NFPA)
    assert (reading.own, reading.final) == pytest.approx((5, 1))


def test_a_channel_without_its_gas_in_the_mixture_reads_nothing_of_its_own() -> None:
    helped = sensor(CO, cross_sensitivity=(("hydrogen", 0.15),))
    reading = read(helped, mixture(("hydrogen", 1000, "ppm")), NFPA)
    assert (reading.own, reading.final) == pytest.approx((0, 150))


def test_oxygen_is_what_is_certified_or_that_of_the_air_in_the_balance() -> None:
    assert read(OXYGEN, mixture(("oxygen", 17, "vol_pct")), NFPA).own == 17
    assert read(OXYGEN, mixture(("methane", 2.5, "vol_pct")), NFPA).own == 0
    assert read(OXYGEN, mixture(("methane", 2.5, "vol_pct"), balance="air"), NFPA).own == pytest.approx(
        0.975 * 20.9
    )


def test_a_photoionisation_sensor_takes_its_factor_and_is_refused_without() -> None:
    lamp = sensor(CO, gas="isobutylene", principle="photoionisation")
    assert read(lamp, mixture(("isobutylene", 100, "ppm"), ("methane", 2.5, "vol_pct")), NFPA).own == 100
    assert "needs its factor for toluene" in refusal(lamp, mixture(("toluene", 50, "ppm")), NFPA)
    given = sensor(lamp, relative_response=(("toluene", 2.0),))
    assert read(given, mixture(("toluene", 50, "ppm")), NFPA).own == 100
    # With its own gas there, another vapour helps the reading and proves nothing.
    both = read(given, mixture(("isobutylene", 100, "ppm"), ("toluene", 50, "ppm")), NFPA)
    assert (both.own, both.final) == (100, 200)


def test_a_limit_that_the_basis_lacks_is_refused_and_never_taken_from_the_other() -> None:
    channel = sensor(METHANE, relative_response=(("isobutylene", 0.5),))
    gas_in_air = mixture(("isobutylene", 0.8, "vol_pct"), balance="air")
    assert "no LFL of isobutylene is known on nfpa-497" in refusal(channel, gas_in_air, NFPA)
    assert read(channel, gas_in_air, IEC).own == pytest.approx(25)


def test_all_that_is_missing_is_told_at_once() -> None:
    said = refusal(METHANE, mixture(("n-pentane", 0.75, "vol_pct"), ("propane", 1, "vol_pct")), NFPA)
    assert len(said.splitlines()) == 3
    assert "principle: a bead burns" in said


def test_percent_of_lfl_sums_over_all_that_burns() -> None:
    both = Mixture((Component("methane", 2.5, "vol_pct"), Component("hydrogen", 1, "vol_pct")))
    assert mixture_pct_lfl(both, NFPA) == pytest.approx(75)
