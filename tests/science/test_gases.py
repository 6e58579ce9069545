"""The table of gases: made again from the open library ``chemicals``, and checked by value."""

from __future__ import annotations

from decimal import Decimal

import pytest
from chemicals import safety

from pitbird.science.gases import BASES, GASES, IEC, NFPA, gas_of, lfl_vol_pct, same_gas


def test_the_flammable_limits_are_those_of_the_chemicals_library() -> None:
    """Data files of ``chemicals``: IEC 60079-20-1 (2010) and NFPA 497 (2008)."""
    for gas in GASES:
        for basis, method in ((IEC, safety.IEC), (NFPA, safety.NFPA)):
            value = safety.LFL(CASRN=gas.cas, method=method) if gas.name != "air" else None
            expected = None if value is None else Decimal(repr(value)) * 100
            assert lfl_vol_pct(gas.name, basis) == expected, (gas.name, basis)


# IEC 60079-20-1:2010 and NFPA 497:2008 as carried in those data files; % vol in air.
@pytest.mark.parametrize(
    ("gas", "iec", "nfpa"),
    [
        ("methane", "4.4", "5.0"),
        ("propane", "1.7", "2.1"),
        ("n-butane", "1.4", "1.9"),
        ("n-pentane", "1.1", "1.5"),
        ("n-hexane", "1.0", "1.1"),
        ("n-heptane", "0.85", "1.0"),
        ("hydrogen", "4.0", "4.0"),
        ("ammonia", "15", "15"),
        ("carbon monoxide", "10.9", "12.5"),
        ("2-butanone", "1.5", "1.4"),
        ("styrene", "1.0", "0.9"),
    ],
)
def test_both_bases_are_kept_apart(gas: str, iec: str, nfpa: str) -> None:
    assert (lfl_vol_pct(gas, IEC), lfl_vol_pct(gas, NFPA)) == (Decimal(iec), Decimal(nfpa))


def test_what_is_not_known_has_no_limit() -> None:
    assert lfl_vol_pct("biogas", IEC) is None
    assert lfl_vol_pct("methane", "some-other-basis") is None
    assert lfl_vol_pct("oxygen", IEC) is None
    assert lfl_vol_pct("isobutylene", NFPA) is None


def test_a_gas_is_found_by_name_formula_number_and_either_spelling() -> None:
    for text in ("hydrogen sulfide", "Hydrogen  Sulphide", " h2s ", "7783-06-4"):
        found = gas_of(text)
        assert found is not None
        assert found.name == "hydrogen sulfide"
    assert gas_of("biogas") is None


def test_gases_that_are_not_known_are_compared_as_they_stand() -> None:
    assert same_gas("H2S", "hydrogen sulphide")
    assert same_gas("Biogas", " biogas ")
    assert not same_gas("biogas", "methane")
    assert not same_gas("CO", "CO2")


def test_no_name_stands_for_two_gases() -> None:
    names = [name.lower() for gas in GASES for name in (gas.name, gas.cas, *gas.other_names)]
    assert len(names) == len(set(names))
    assert len(GASES) >= 30
    assert BASES == (IEC, NFPA)


def test_numbers_of_the_registry_have_their_check_digit() -> None:
    """CAS: the last digit is the sum of the others, weighted 1, 2, 3... from the right, modulo 10."""
    for gas in GASES:
        *digits, check = [int(digit) for digit in gas.cas if digit.isdigit()]
        total = sum(weight * digit for weight, digit in enumerate(reversed(digits), start=1))
        assert total % 10 == check, gas.name
