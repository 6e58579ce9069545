"""Hoses and flows: the rule of thumb, the case that forbids it, and dilution by air drawn in."""

import pytest

from pitbird.science.challenge.delivery import diluted, dilution, hose_delay
from pitbird.science.challenge.readings import NotJudged
from tests.science.challenge.making import QUAD, mixture


def test_a_hose_takes_three_seconds_a_metre_unless_the_user_knows_better() -> None:
    # Summary of HSE safety alert CEMHD1-2020.
    assert hose_delay(10, "methane").delay_s == 30
    assert hose_delay(10, "methane", 1.5).delay_s == 15
    assert hose_delay(0, "toluene").delay_s == 0
    assert "CEMHD1-2020" in hose_delay(10, "methane").cautions[0]
    assert "takes up hydrogen sulfide" in hose_delay(10, "hydrogen sulfide").cautions[1]


@pytest.mark.parametrize(
    "gas", ["toluene", "n-hexane", "acetone", "hydrogen cyanide", "chlorine", "swamp gas"]
)
def test_vapours_that_stick_and_gases_not_known_to_pass_have_no_delay(gas: str) -> None:
    with pytest.raises(NotJudged, match="over 15 minutes where methane took seconds"):
        hose_delay(3, gas)


def test_a_regulator_that_gives_less_than_the_pump_draws_dilutes() -> None:
    found = dilution(0.3, 0.5)
    assert found.share == pytest.approx(0.6)
    assert "get 60 % of the certified strength" in found.finding
    assert dilution(0.5, 0.5) == dilution(1.0, 0.5)
    assert (dilution(0.5, 0.5).share, dilution(0.5, 0.5).finding) == (1, "")


def test_thinned_gas_has_less_of_everything_and_the_oxygen_of_the_air_beside_it() -> None:
    thin = diluted(QUAD, 0.6)
    assert [c.amount for c in thin.components] == pytest.approx([1.5, 60, 15, 0.6 * 18 + 0.4 * 20.9])
    assert [c.expanded_uncertainty_pct for c in thin.components] == [2, 2, 5, 1]
    in_air = diluted(mixture(("methane", 2.5, "vol_pct"), balance="air"), 0.5)
    assert (in_air.components[0].amount, in_air.balance) == (1.25, "air")
    assert diluted(QUAD, 1.0).oxygen_vol_pct == 18
    with pytest.raises(NotJudged, match="share"):
        diluted(QUAD, 1.2)


def test_lengths_and_flows_that_cannot_be_are_refused_together() -> None:
    with pytest.raises(NotJudged) as refused:
        dilution(0, -1)
    assert [p.where for p in refused.value.problems] == ["regulator_l_min", "pump_l_min"]
    with pytest.raises(NotJudged) as refused:
        hose_delay(-1, "toluene", 0)
    assert [p.where for p in refused.value.problems] == ["length_m", "seconds_per_metre"]
