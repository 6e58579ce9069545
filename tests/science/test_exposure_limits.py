"""Exposure limits: published values, what may never happen in such a table, how well each is known."""

from __future__ import annotations

import pytest
from chemicals import safety

from pitbird.science.exposure_limits import (
    ACGIH,
    EH40,
    EU,
    IDLH,
    KNOWN_WORDS,
    NIOSH,
    OSHA,
    SETS,
    LimitSet,
    UnknownSet,
    idlh,
    limit_set,
    limits_of,
)
from pitbird.science.substances import find

EVERY = [(each, limit) for each in SETS.values() for limit in each.limits]


def test_hydrogen_sulfide_as_a_review_prints_it() -> None:
    """Table 3 of PMC5777517: OSHA C 20, peak 50 for 10 min; REL C 10 over 10 min; IDLH 100; TLV 1, STEL 5."""
    osha, niosh, acgih = (each.of("H2S") for each in (OSHA, NIOSH, ACGIH))
    assert osha is not None
    assert (osha.ceiling_ppm, osha.peak_ppm, osha.peak_minutes, osha.twa_ppm) == (20, 50, 10, None)
    assert niosh is not None
    assert (niosh.ceiling_ppm, niosh.ceiling_minutes) == (10, 10)
    assert acgih is not None
    assert (acgih.twa_ppm, acgih.stel_ppm) == (1, 5)
    found = idlh("hydrogen sulphide")
    assert found is not None
    assert found.ppm == 100


@pytest.mark.parametrize(
    ("gas", "twa", "ceiling"),
    # 29 CFR 1910.1000, table Z-1.
    [("CO", 50, None), ("NH3", 50, None), ("CO2", 5000, None), ("NO", 25, None), ("Cl2", None, 1),
     ("NO2", None, 5), ("SO2", 5, None), ("HCN", 10, None)],
)  # fmt: skip
def test_permissible_limits_of_the_usual_gases(gas: str, twa: float | None, ceiling: float | None) -> None:
    found = OSHA.of(gas)
    assert found is not None
    assert (found.twa_ppm, found.ceiling_ppm, found.known) == (twa, ceiling, "seen")


def test_no_threshold_limit_is_laxer_than_the_older_table_of_ontario() -> None:
    """Ontario exposure limits as the library ``chemicals`` carries them: they follow older ACGIH values, and
    these have only fallen since. Values in mg/m³ there are turned into ppm, so to within 5 %."""
    held = 0
    for limit in ACGIH.limits:
        cas = find(limit.gas).cas
        theirs = [each[0] for each in (safety.TWA(cas), safety.STEL(cas), safety.Ceiling(cas)) if each]
        ours = [each for each in (limit.twa_ppm, limit.stel_ppm, limit.ceiling_ppm) if each is not None]
        if theirs:
            assert max(ours) <= max(theirs) * 1.05, limit.gas
            assert min(ours) <= min(theirs) * 1.05, limit.gas
            held += 1
    assert held >= 15


@pytest.mark.parametrize("gas", ["CO", "NH3", "CO2", "NO", "n-hexane", "toluene"])
def test_where_nothing_changed_the_8_hour_value_is_that_of_the_chemicals_library(gas: str) -> None:
    found = ACGIH.of(gas)
    assert found is not None
    assert safety.TWA(find(gas).cas) == (found.twa_ppm, "ppm")


@pytest.mark.parametrize(
    ("of", "gas", "twa", "stel"),
    # HSE, EH40/2005, 4th ed. (2020), and the EU's lists (from memory, high).
    [(EH40, "CO", 20, 100), (EH40, "H2S", 5, 10), (EH40, "Cl2", None, 0.5), (EU, "NH3", 20, 50)],
)
def test_british_and_european_limits(of: LimitSet, gas: str, twa: float | None, stel: float) -> None:
    found = of.of(gas)
    assert found is not None
    assert (found.twa_ppm, found.stel_ppm) == (twa, stel)


def test_a_short_limit_is_never_below_a_longer_one() -> None:
    for each, limit in EVERY:
        rising = [
            value
            for value in (limit.twa_ppm, limit.stel_ppm, limit.ceiling_ppm, limit.peak_ppm)
            if value is not None
        ]
        assert rising, (each.name, limit.gas)
        assert rising == sorted(rising), (each.name, limit.gas)
        assert min(rising) > 0, (each.name, limit.gas)


def test_a_gas_stands_once_in_a_set_under_the_name_it_has_here() -> None:
    for each, limit in EVERY:
        assert find(limit.gas).name == limit.gas
        assert each.of(find(limit.gas).cas) is limit, (each.name, limit.gas)


def test_nothing_may_be_worked_at_that_is_immediately_dangerous() -> None:
    for each, limit in EVERY:
        danger = idlh(limit.gas)
        if danger is not None:
            values = (limit.twa_ppm, limit.stel_ppm, limit.ceiling_ppm)
            assert all(value is None or value <= danger.ppm for value in values), (each.name, limit.gas)
    assert len({one.gas for one in IDLH}) == len(IDLH)


def test_how_well_a_limit_is_known_stands_beside_it() -> None:
    ozone, monoxide = EH40.of("O3"), OSHA.of("CO")
    assert ozone is not None
    assert monoxide is not None
    assert EH40.cited(ozone) == "HSE, EH40/2005, 4th ed. (2020) (from memory; check it against the source)"
    assert OSHA.cited(monoxide).endswith("as in force in 2024 (read in the source)")
    assert {limit.known for _, limit in EVERY} == set(KNOWN_WORDS)


def test_a_limit_reads_as_it_is_spoken() -> None:
    assert str(NIOSH.of("CO")) == "8 h 35 ppm, ceiling 200 ppm"
    assert str(NIOSH.of("H2S")) == "ceiling 10 ppm over 10 min"
    assert str(OSHA.of("H2S")) == "ceiling 20 ppm, peak 50 ppm for 10 min"


def test_every_limit_of_a_gas_comes_with_its_set() -> None:
    assert [each.name for each, _ in limits_of("7783-06-4")] == list(SETS)
    assert limits_of("methane") == ()
    assert [each.name for each, _ in limits_of("isobutylene")] == ["acgih-tlv"]


def test_a_set_that_is_not_known_is_refused_with_near_names() -> None:
    assert limit_set("eh40") is EH40
    with pytest.raises(UnknownSet, match=r"did you mean osha-pel\? There are osha-pel, niosh-rel"):
        limit_set("osha")
    with pytest.raises(UnknownSet, match="There are osha-pel"):
        limit_set("zzz")
