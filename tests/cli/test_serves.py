"""``pitbird serves``: the same answer as the page, with what reaches the sensors."""

import json

import pytest

from tests.cli.conftest import Pitbird

REGULATOR = {
    "kind": "regulator",
    "regulator": "regulator:R-08",
    "flow": "fixed",
    "flow_l_min": "0.3",
    "hose_m": "2",
}
CYLINDER = {
    "kind": "cylinder", "cylinder": "cylinder:C-114", "balance": "nitrogen", "expires": "2099-10-06",
    "minimum_pressure_bar": "2", "home": "site:north-works",
    "components": [
        {"gas": "methane", "amount": "2.2", "unit": "vol_pct", "label_pct_lfl": "50"},
        {"gas": "oxygen", "amount": "18", "unit": "vol_pct"},
    ],
}  # fmt: skip
OPENED = {
    "kind": "cylinder-opened", "cylinder": "cylinder:C-114", "at_site": "site:north-works",
    "regulator": "regulator:R-08",
}  # fmt: skip
DETECTOR = {
    "kind": "detector", "detector": "detector:D-021", "make": "Heron Works", "model": "Quartet P",
    "serial": "Q-10", "draws": "pump", "pump_l_min": "0.5", "signals": ["sound"], "home": "site:north-works",
    "channels": [
        {
            "name": "LEL", "gas": "methane", "principle": "catalytic", "unit": "pct_lfl", "range_high": "100",
            "clean_air": "0", "clean_air_tolerance": "1", "lfl_basis": "nfpa-497", "t90_s": "20",
            "alarms": [{"name": "low", "at": "10"}, {"name": "high", "at": "20"}],
        }
    ],
}  # fmt: skip


@pytest.fixture
def stocked(begun: Pitbird) -> Pitbird:
    """A book with a pumped detector and a cylinder on a regulator that gives too little."""
    written = begun("write -", stdin=json.dumps([REGULATOR, CYLINDER, OPENED, DETECTOR]))
    assert written.status == 0, written.err
    return begun


def test_what_reaches_the_sensors_is_told_with_its_numbers(stocked: Pitbird) -> None:
    # 0.3 / 0.5 = 60 % (conservation of amount); 3 s a metre (HSE CEMHD1-2020, as summarised); methane 5.0 %
    # vol (NFPA 497:2008): 2.2 % vol is 44 %LFL, thinned 26.4.
    told = json.loads(stocked("serves C-114 D-021 --json").out)
    assert (told["serves"], told["share_of_test_gas"], told["hose_delay_s"]) == ("serves", 0.6, 6)
    [channel] = told["channels"]
    assert channel["reads"] == pytest.approx(26.4)
    done = stocked("serves C-114 D-021")
    assert done.status == 0
    assert "the sensors get 60 % of the certified strength" in done.out
    assert "The hose takes 6 s" in done.out
    assert "a healthy one reads 44 %LFL" in done.out


def test_too_short_a_time_is_no_and_what_is_not_in_the_book_is_named(stocked: Pitbird) -> None:
    assert stocked("serves C-114 D-021 --seconds 8").status == 1
    refused = stocked("serves C-999 D-998")
    assert refused.status == 2
    assert "C-999" in refused.err
    assert "D-998" in refused.err


@pytest.mark.parametrize(
    ("entry", "against", "said"),
    [
        ({**CYLINDER, "expires": "2020-10-06"}, "expired", "its last day of use was 2020-10-06"),
        (
            {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-114", "because": "leak"},
            "withdrawn",
            "its gas is in doubt",
        ),
        (
            {"kind": "cylinder-emptied", "cylinder": "cylinder:C-114"},
            "emptied",
            "it was written down as empty",
        ),
    ],
)
def test_gas_with_which_no_test_is_made_is_no_yes(
    stocked: Pitbird, entry: dict[str, object], against: str, said: str
) -> None:
    assert json.loads(stocked("serves C-114 D-021 --json").out)["against"] is None
    assert stocked("write -", stdin=json.dumps([entry])).status == 0
    told = stocked("serves C-114 D-021")
    assert told.status == 1
    assert told.out.startswith(f"Do not test with it: {said}")
    assert json.loads(stocked("serves C-114 D-021 --json").out)["against"] == against
