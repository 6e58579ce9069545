"""The pages that say what a cylinder serves, what it can miss and what is left in it."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from pitbird.fleet.times import MINUTE, Ms, text_of
from pitbird.web.views.serving import loss_words
from tests.bodies import CHANNELS
from tests.web.conftest import Cast, ago, detector


@pytest.fixture
def quick(cast: Cast) -> Cast:
    """D-020 says its response times; C-113 its size, and its gauge was read."""
    channels = [{**channel, "t90_s": "20", "t90_fast_s": "10"} for channel in CHANNELS]
    cast.write({**detector("D-020", "Q-9"), "channels": channels}, minutes_ago=60)
    cast.write(
        {
            "kind": "cylinder", "cylinder": "cylinder:C-113", "balance": "nitrogen", "expires": "2027-10-06",
            "minimum_pressure_bar": "2", "free_gas_l": "58", "full_pressure_bar": "69",
            "home": "site:north-works", "components": [
                {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm", "expanded_uncertainty_pct": "5"},
            ],
        },
        minutes_ago=59,
    )  # fmt: skip
    cast.write({"kind": "gauge-read", "cylinder": "cylinder:C-113", "gauge_bar": "35"}, minutes_ago=30)
    return cast


def test_a_cylinder_says_what_is_left_and_whom_it_serves(keeper: Client, quick: Cast) -> None:
    page = keeper.get("/gas/C-113").content.decode()
    assert "Tests left" in page
    assert "Taken for granted" in page
    # nitrogen without oxygen brings the falling alarms of an oxygen channel too
    assert "in part; not CH4, CO" in page
    assert 'href="/gas/C-113/serves/D-020"' in page


def gassed(at: Ms, bar: str, minutes: float) -> dict[str, Any]:
    """A spoiled attempt on C-113: only its gas and its gauge matter here."""
    on, off = text_of(at), text_of(Ms(int(at + minutes * MINUTE)))
    application = {
        "cylinder": "cylinder:C-113",
        "gauge_bar": bar,
        "gas_on": on,
        "gas_off": off,
        "channels": [],
    }
    return {
        "kind": "bump-test", "detector": "detector:D-020", "at": on, "outcome": "spoiled",
        "spoiled_because": "other", "applications": [application],
    }  # fmt: skip


def test_more_gas_written_than_left_the_cylinder_is_told_and_is_no_verdict(
    keeper: Client, quick: Cast
) -> None:
    for start in (28, 18):
        quick.write(gassed(ago(start), "35", 8), minutes_ago=start - 9, by=quick.tester)
    quick.write({"kind": "gauge-read", "cylinder": "cylinder:C-113", "gauge_bar": "35"}, minutes_ago=2)
    page = keeper.get("/gas/C-113").content.decode()
    assert "More tests are written than its gas could serve." in page
    assert "no verdict on anybody" in page


def test_gas_that_left_without_tests_is_told_as_a_leak(keeper: Client, quick: Cast) -> None:
    quick.write({"kind": "gauge-read", "cylinder": "cylinder:C-113", "gauge_bar": "12"}, minutes_ago=2)
    assert "It leaks, or gas was used and not written down." in keeper.get("/gas/C-113").content.decode()


def test_a_gauge_read_once_balances_nothing(keeper: Client, quick: Cast) -> None:
    assert "Gas and tests" not in keeper.get("/gas/C-113").content.decode()


def test_a_cylinder_that_says_too_little_says_why_nothing_can_be_told(keeper: Client, cast: Cast) -> None:
    assert "Cannot be told: neither its water capacity" in keeper.get("/gas/C-112").content.decode()


@pytest.fixture
def thin(quick: Cast) -> Cast:
    """D-021 has a pump that draws 0.5 l/min; C-114 was opened with a regulator that gives 0.3, through 2 m of
    hose, and its label is on another basis than the detector."""
    channels = [{**channel, "t90_s": "20", "t90_fast_s": "10"} for channel in CHANNELS]
    channels[0]["lfl_basis"] = "nfpa-497"
    pumped = {**detector("D-021", "Q-10"), "channels": channels, "draws": "pump", "pump_l_min": "0.5"}
    quick.write(pumped, minutes_ago=58)
    quick.write(
        {
            "kind": "regulator",
            "regulator": "regulator:R-08",
            "flow": "fixed",
            "flow_l_min": "0.3",
            "hose_m": "2",
        },
        minutes_ago=57,
    )
    gas = [
        {"gas": "methane", "amount": "2.2", "unit": "vol_pct", "label_pct_lfl": "50"},
        {"gas": "oxygen", "amount": "15", "unit": "vol_pct"},
        {"gas": "carbon monoxide", "amount": "100", "unit": "ppm"},
        {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm"},
    ]
    quick.write(
        {
            "kind": "cylinder", "cylinder": "cylinder:C-114", "balance": "nitrogen", "expires": "2027-10-06",
            "minimum_pressure_bar": "2", "home": "site:north-works", "components": gas,
            "traceable_to": "the national standards", "made": "2025-10-06", "water_capacity_l": "0.85",
        },
        minutes_ago=56,
    )  # fmt: skip
    opened = {"at_site": "site:north-works", "regulator": "regulator:R-08", "gauge_bar": "60"}
    quick.write({"kind": "cylinder-opened", "cylinder": "cylinder:C-114", **opened}, minutes_ago=55)
    return quick


def test_what_reaches_the_sensors_through_regulator_pump_and_hose_is_told(keeper: Client, thin: Cast) -> None:
    page = keeper.get("/gas/C-114/serves/D-021").content.decode()
    # 0.3 / 0.5 = 60 % (conservation of amount); 3 s a metre, HSE CEMHD1-2020 as summarised
    assert "the sensors get 60 % of the certified strength, the rest is air" in page
    assert "2 m at 3 s a metre: 6 s, in every time below" in page
    assert "CEMHD1-2020" in page
    # 60 % of the 20 ppm on the certificate; 60 ppm of CO do not pass the alarm at 60
    assert "hydrogen sulfide takes it to 12 ppm" in page
    # IEC 60079-20-1:2010 4.4, NFPA 497:2008 5.0 % vol: 50 %LFL on the label reads 44
    assert "so a healthy one reads 44 %LFL" in page
    listed = keeper.get("/gas/C-114").content.decode()
    assert "its regulator gives less than the pump draws, 60 % of it is test gas" in listed
    assert "is not the detector" in listed
    assert "fixed flow, 0.3 l/min, hose of 2 m" in listed
    assert "Traceable to" in listed
    assert "the national standards" in listed


def test_a_pump_of_which_the_book_says_nothing_is_named_and_reckoned_as_certified(
    keeper: Client, thin: Cast
) -> None:
    channels = [{**channel, "t90_s": "20", "t90_fast_s": "10"} for channel in CHANNELS]
    thin.write({**detector("D-022", "Q-11"), "channels": channels, "draws": "pump"}, minutes_ago=50)
    page = keeper.get("/gas/C-114/serves/D-022").content.decode()
    assert "the book does not say what the pump of the detector draws" in page
    assert "takes all of it to be test gas" in page


def test_a_detector_and_a_cylinder_are_told_channel_by_channel(keeper: Client, quick: Cast) -> None:
    page = keeper.get("/gas/C-112/serves/D-020").content.decode()
    assert "it sets off every alarm that gas must show" in page
    # 20 ppm, alarm at 10, gas on to the end: the loss is a half, less what 30 s of a t90 of 10 s leave out
    assert "could miss 50 %: a true 10 ppm may show 5" in page
    assert page.count('<svg role="img"') == 8
    part = keeper.get("/gas/C-113/serves/D-020").content.decode()
    assert "the others need another cylinder" in part
    assert part.count("Not served.") == 2


def test_the_time_that_gas_is_on_is_chosen_and_a_time_that_is_none_is_refused(
    keeper: Client, quick: Cast
) -> None:
    short = keeper.get("/gas/C-112/serves/D-020?seconds=3").content.decode()
    assert "With gas on for 3 s it does not set off" in short or "alarms of some channels" in short
    refused = keeper.get("/gas/C-112/serves/D-020?seconds=soon")
    assert refused.status_code == 422
    assert "“soon” is no time" in refused.content.decode()


def test_without_response_times_it_cannot_be_told(keeper: Client, cast: Cast) -> None:
    page = keeper.get("/gas/C-112/serves/D-017").content.decode()
    assert "That cannot be told" in page
    assert "the book does not say its t90" in page


@pytest.mark.parametrize("address", ["/gas/C-999/serves/D-017", "/gas/C-112/serves/D-999"])
def test_what_the_book_does_not_know_is_not_found(keeper: Client, cast: Cast, address: str) -> None:
    assert keeper.get(address).status_code == 404


def test_a_falling_alarm_tells_its_loss_from_clean_air_down() -> None:
    from pitbird.rules.serving import serve
    from tests.rules.builders import O2, changed, cylinder

    channel = changed(O2, t90_s="15", alarms=O2.alarms[:2])
    served = serve(channel, cylinder().components, "nitrogen", 30.0)
    assert served.found is not None
    (low, *_) = served.found.alarms
    assert low.undetected_loss is not None
    assert "a true 19.5 % vol may show 20." in loss_words(served.found, low)
